"""What is said of a piece beside its drawing, in the order in which a builder asks."""

from __future__ import annotations

from api.drawing.twins import twin_lay
from api.papers.facts import Facts
from api.papers.setting_out import Cut, Marking, is_tape_and_square
from solver.data.plan import Piece

MOUNTING_WORDS = {
    "pinched": "pinched in the joint",
    "clamped": "clamped on the open edge",
    "standing": "standing on the mold",
}


def title_line(facts: Facts, piece: Piece) -> str:
    """Return metal and mounting: "26 ga aluminium, pinched in the joint"."""
    shows = ", visible" if piece.visible else ""
    return f"{facts.metal(piece)}, {MOUNTING_WORDS[piece.mounting]}{shows}"


def edge_line(facts: Facts, piece: Piece) -> str:
    """Return the edges that the piece covers, with stations where it covers part of one."""
    parts = []
    for span in piece.spans:
        a, b = facts.sizes.nearest(span.from_mm), facts.sizes.nearest(span.to_mm)
        first, last = (b, a) if span.backward else (a, b)
        words = facts.sizes.words
        parts.append(f"{span.edge} from {words(first, unit=False)} to {words(last)}")
    return "Edge: " + "; then ".join(parts)


def face_line(facts: Facts, piece: Piece) -> str:
    """Return what the side that is drawn looks toward; empty where that is not known."""
    shown = facts.toward(piece)
    return f"The side you see looks toward {shown}." if shown else ""


def size_lines(facts: Facts, piece: Piece) -> list[str]:
    """Return length, widths, trim, folds, clamps and pre-forming."""
    marking = Marking(piece, facts.sizes)
    words = facts.sizes.words
    trim = f", of which {words(marking.sizes.nearest(piece.trim_mm))} to trim at the end" * (
        piece.trim_mm > 0
    )
    lines = [f"Stretch-out length {words(marking.length)}{trim}; width {words(marking.width)}."]
    if piece.visible:
        lines.append("It shows on the finished body: keep this edge fair and free of dents.")
    if marking.below:
        lines[0] += f" The mold line lies {words(marking.below)} above the lower edge."
    for fold, at in zip(piece.blank.folds, marking.fold_heights, strict=True):
        flat = is_tape_and_square(piece)
        place = f"{words(at)} above the lower edge" if flat else "as drawn"
        lines.append(
            f"{facts.fold_words(piece, fold)}; line {place}, inside radius "
            f"{facts.sizes.words(facts.sizes.nearest(fold.inside_radius_mm))}."
        )
    lines += bend_lines(facts, piece)
    if piece.clamps:
        pitch = facts.sizes.words(
            facts.sizes.down((piece.to_mm - piece.from_mm) / max(piece.clamps - 1, 1))
        )
        lines.append(f"{piece.clamps} clamps, one at each end and every {pitch} between.")
    if facts.sizes.nearest(piece.preform_mm) > 0:
        length = words(facts.sizes.up(piece.preform_mm))
        lines.append(
            f"Pre-form {length} of it, where the line curves tighter than the metal springs."
        )
    return lines


def bend_lines(facts: Facts, piece: Piece) -> list[str]:
    """Return where the strip is bent round sharp corners, and which way where that is known."""
    bends = facts.bends(piece)
    if not bends:
        return []
    words = facts.sizes.words
    places = []
    for bend in bends:
        at = words(facts.sizes.nearest(bend.at_mm), unit=False)
        if bend.turn_deg is not None:
            way = "away from you" if bend.turn_deg > 0 else "toward you"
            at += f" ({abs(bend.turn_deg):g}° {way})"
        places.append(at)
    many = f"{len(bends)} bends" if len(bends) > 1 else "1 bend"
    known = all(bend.turn_deg is not None for bend in bends)
    text = f"{many} square across, round sharp corners of the mold, from the start at: "
    text += " · ".join(places)
    if not known:
        text += ". Bend each to the mold: angle and way stand in the scenario"
    radius = words(facts.sizes.nearest(facts.rules.bend_radius_mm))
    return [f"{text}. Inside radius {radius}."]


def cut_lines(facts: Facts, piece: Piece) -> list[str]:
    """Return notches, slits and V-notches: one line for those that are alike."""
    groups: dict[tuple[str, str, int, int], list[Cut]] = {}
    for cut in Marking(piece, facts.sizes).cuts:
        groups.setdefault((cut.kind, cut.side, cut.wide, cut.deep), []).append(cut)
    lines = []
    words = facts.sizes.words
    for (kind, side, wide, deep), cuts in groups.items():
        edge = "lower (grip)" if side == "grip" else "upper (free)"
        many = len(cuts) > 1
        name = kind + (("es" if kind != "slit" else "s") if many else "")
        across = f" {words(wide)} wide," if wide else ""
        at = " · ".join(words(cut.at, unit=False) for cut in cuts)
        lines.append(
            f"{len(cuts)} {name} in the {edge} edge,{across} {words(deep)} deep, "
            f"middle{'s' if many else ''} from the start at: {at}"
        )
    return lines


def twin_lines(facts: Facts, piece: Piece) -> list[str]:
    """Return how its mirrored twins are cut from the same template."""
    lines = []
    words = facts.sizes.words
    for other in facts.twins.get(piece.id, ()):
        twin = facts.pieces[other]
        lay = twin_lay(piece, twin)
        number = facts.number[other]
        way = "turned over, printed side down" if lay.turned_over else "as it lies"
        text = f"Mirrored twin {number} ({other}): the same template, {way}."
        if lay.turned_over and lay.leave_off_mm > 0:
            text += (
                f" Leave off the {words(facts.sizes.nearest(lay.leave_off_mm))} to trim at the end."
            )
        if lay.turned_over and lay.add_mm > 0:
            added = words(facts.sizes.nearest(lay.add_mm))
            text += f" Cut it {added} longer at the start, straight on."
        if piece.blank.folds:
            toward = ", ".join(dict.fromkeys(fold.toward for fold in twin.blank.folds))
            text += f" Fold it the other way: toward {toward}."
        if twin.bends_mm:
            text += f" Laid with its own start on the left: {bend_lines(facts, twin)[0]}"
        if not lay.sure:
            text += " Check it against its own drawing in the files before cutting."
        lines.append(text)
    return lines
