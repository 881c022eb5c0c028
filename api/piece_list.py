"""Every piece of a plan as a text table: what it is cut from, how long and wide, and why."""

from __future__ import annotations

from api.summary import count_words, metal_words, width_words
from api.tables import WIDTH, Side, clip, columns, plain, table, wrap
from solver.data.plan import Piece, Plan
from solver.data.units import format_length

_HEAD = ("metal", "length", "width", "held")
_SIDES: tuple[Side, ...] = ("left", "right", "right", "left")


def piece_table(plan: Plan) -> str:
    """Return every piece: id, metal, length, width and mounting, its reason below it.

    Ids too long to stand in the table get a line of their own, so that none is cut.
    """
    if not plan.pieces:
        return f"{clip(plain(plan.title), 60)}: no pieces ({plan.status})\n"
    facts = [_facts(piece, plan.length_unit) for piece in plan.pieces]
    ids = [[piece.id] for piece in plan.pieces]
    lines = table(
        [[*one, *fact] for one, fact in zip(ids, facts, strict=True)],
        head=("piece", *_HEAD),
        sides=("left", *_SIDES),
        width=1000,
    )
    own_line = max(columns(line) for line in lines) > WIDTH
    if own_line:
        lines = table(facts, head=_HEAD, sides=_SIDES, indent="    ", give=0)
    text = [clip(plain(plan.title), 60) + f": {count_words(len(plan.pieces), 'piece')}", lines[0]]
    for line, piece in zip(lines[1:], plan.pieces, strict=True):
        if own_line:
            text += wrap(piece.id, first="  ", rest="  ")
        text += [line, *wrap(_piece_notes(piece, plan), first="       ", rest="       ")]
    return "\n".join(text) + "\n"


def _facts(piece: Piece, unit: str) -> list[str]:
    return [
        metal_words(piece.metal, piece.gauge, piece.thickness_mm),
        format_length(piece.blank.root_length_mm, unit),
        width_words(piece.blank.above_mm + piece.blank.below_mm, unit),
        piece.mounting,
    ]


def _piece_notes(piece: Piece, plan: Plan) -> str:
    edges = list(dict.fromkeys(span.edge for span in piece.spans))
    words = []
    if not piece.id.startswith(piece.run):
        words.append(f"Run {piece.run}.")
    if edges != [piece.run]:
        words.append(f"Edges: {', '.join(edges)}.")
    words.append(f"{piece.reason.sentence.rstrip('.')}.")
    blank = piece.blank
    shape = [] if blank.straight else ["curved blank"]
    if piece.bends_mm:
        shape.append(count_words(len(piece.bends_mm), "bend"))
    if blank.folds:
        shape.append(count_words(len(blank.folds), "fold"))
    if blank.slits_mm:
        shape.append(count_words(len(blank.slits_mm), "slit"))
    if blank.v_notches_mm:
        shape.append(count_words(len(blank.v_notches_mm), "V-notch").replace("notchs", "notches"))
    if blank.notch_count:
        shape.append("1 notch" if blank.notch_count == 1 else f"{blank.notch_count} notches")
    if piece.preform_mm > 0:
        shape.append(f"pre-form {format_length(piece.preform_mm, plan.length_unit)}")
    if piece.clamp_pitch_mm is not None:
        shape.append(f"clamp every {width_words(piece.clamp_pitch_mm, plan.length_unit)}")
    if shape:
        words.append(f"{'; '.join(shape)}.")
    if piece.template_of is not None:
        words.append(f"Template of {piece.template_of}, turned over.")
    return " ".join(words)
