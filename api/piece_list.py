"""Every piece of a plan as a text table: what it is cut from, how long and wide, and why."""

from __future__ import annotations

from api.summary import count_words, metal_words, width_words
from api.tables import WIDTH, clip, plain, table, wrap
from solver.data.plan import Piece, Plan
from solver.data.units import format_length


def piece_table(plan: Plan) -> str:
    """Return every piece: id, run, metal, length, width and mounting, its reason below it."""
    unit = plan.length_unit
    rows, reasons = [], []
    for piece in plan.pieces:
        width_mm = piece.blank.above_mm + piece.blank.below_mm
        rows.append(
            [
                piece.id,
                piece.run,
                metal_words(piece.metal, piece.gauge, piece.thickness_mm),
                format_length(piece.blank.root_length_mm, unit),
                width_words(width_mm, unit),
                piece.mounting,
            ]
        )
        reasons.append(wrap(_piece_notes(piece, plan), first="       ", rest="       "))
    lines = table(
        rows,
        head=["piece", "run", "metal", "length", "width", "held"],
        sides=["left", "left", "left", "right", "right", "left"],
        give=1,
    )
    text = [f"{plain(plan.title)}: {count_words(len(plan.pieces), 'piece')}", *lines[:1]]
    for line, reason in zip(lines[1:], reasons, strict=True):
        text += [line, *reason]
    if not plan.pieces:
        text = [f"{plain(plan.title)}: no pieces ({plan.status})"]
    return "\n".join(clip(line, WIDTH) for line in text) + "\n"


def _piece_notes(piece: Piece, plan: Plan) -> str:
    edges = list(dict.fromkeys(span.edge for span in piece.spans))
    words = []
    if edges != [piece.run]:
        words.append(f"edges: {', '.join(edges)}.")
    words.append(f"{piece.reason.sentence.rstrip('.')}.")
    blank = piece.blank
    shape = [] if blank.straight else ["curved blank"]
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
