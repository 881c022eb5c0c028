"""Templates: a piece that uses another's template is its mirror image."""

from __future__ import annotations

from collections.abc import Iterator

from solver.checker.reading import PieceReading, Reading
from solver.checker.report import Fault
from solver.checker.tolerances import near, station_slack_mm

_Cover = tuple[str, float, float]


def _mirrored(reading: Reading, piece: PieceReading) -> list[_Cover] | None:
    """What the mirror image of a piece covers; a twin edge is walked from its other end."""
    covers: list[_Cover] = []
    for span in piece.spans:
        edge = reading.job.edge_of[span.edge]
        if edge.twin is None:
            return None
        covers.append((edge.twin, edge.length_mm - span.to_mm, edge.length_mm - span.from_mm))
    return sorted(covers)


def templates(reading: Reading) -> Iterator[Fault]:
    """The template is that of a mirrored piece, held alike, of the same profile and folds."""
    for piece in reading.pieces:
        name = piece.piece.template_of
        if name is None:
            continue
        other = reading.piece_of[name]
        reason = _difference(reading, piece, other)
        if reason:
            yield Fault("template", piece.place, f'cannot use the template of "{name}": {reason}')
    serves: dict[str, str] = {}
    for piece in reading.pieces:
        name = piece.piece.template_of
        if name is not None and serves.setdefault(name, piece.piece.id) != piece.piece.id:
            yield Fault(
                "template", piece.place, f'the template of "{name}" serves {serves[name]} already'
            )


def _difference(reading: Reading, piece: PieceReading, other: PieceReading) -> str | None:
    if other is piece:
        return "it is its own"
    if other.piece.template_of is not None:
        return "that one has none of its own"
    mirrored = _mirrored(reading, piece)
    own = sorted((span.edge, span.from_mm, span.to_mm) for span in other.spans)
    slack = 2 * station_slack_mm(piece.run.length_mm)
    same = (
        mirrored is not None
        and len(mirrored) == len(own)
        and all(
            a[0] == b[0] and abs(a[1] - b[1]) <= slack and abs(a[2] - b[2]) <= slack
            for a, b in zip(mirrored, own, strict=True)
        )
    )
    if not same:
        return "that one does not lie where its mirror image would"
    a, b = piece.profile, other.profile
    if a.treatment != b.treatment:
        return f"it is {a.treatment}, that one {b.treatment}"
    widths = (
        (piece.piece.blank.above_mm, other.piece.blank.above_mm),
        (piece.piece.blank.below_mm, other.piece.blank.below_mm),
        (a.return_mm, b.return_mm),
    )
    if a.out != b.out or not all(near(one, two) for one, two in widths):
        return "their profiles differ"
    if not _cut_alike(piece, other):
        return "their notches differ"
    folded_alike = abs(piece.piece.thickness_mm - other.piece.thickness_mm) <= 1e-6
    if piece.folded and not folded_alike:
        return "they are folded in different thicknesses"
    return None


def _cut_alike(piece: PieceReading, other: PieceReading) -> bool:
    """Whether one is cut out as the other is, seen from either end, but for metal to trim."""
    own = _cuts(piece, turned=False)
    return any(
        len(own) == len(cuts)
        and all(
            a[0] == b[0] and all(abs(x - y) <= _CUT_MM for x, y in zip(a[1:], b[1:], strict=True))
            for a, b in zip(own, cuts, strict=True)
        )
        for cuts in (_cuts(other, turned=False), _cuts(other, turned=True))
    )


def _cuts(piece: PieceReading, *, turned: bool) -> list[tuple[bool, float, float, float]]:
    """Notches as (at a bolt, from, to, depth), within the piece."""
    length = piece.length_mm
    found = []
    for notch in piece.notches:
        low = max(notch.at_mm - notch.wide_mm / 2, 0.0)
        high = min(notch.at_mm + notch.wide_mm / 2, length)
        if turned:
            low, high = length - high, length - low
        found.append((notch.bolt, low, high, notch.deep_mm))
    return sorted(found)


_CUT_MM = 0.1
