"""The setting-out book: every blank once, with what a tape, a square and a batten need.

Twins and blanks that are alike share one entry.  Straight blanks get a figure with dimensions that
is stretched across, gently curved ones a figure to scale over their chord with a table of offsets;
what must be traced says on which pages of the full-size book it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from api.drawing.blank import blank_drawing
from api.drawing.shapes import Drawing, Point, Pose, posed
from api.drawing.strips import level_turn_deg
from api.papers.book import FINE, HAIR, Book
from api.papers.captions import (
    cut_lines,
    edge_line,
    face_line,
    size_lines,
    title_line,
    twin_lines,
)
from api.papers.facts import Facts
from api.papers.figures import arrow, dimension, put
from api.papers.layout import Flow, line_mm
from api.papers.lettering import BOLD, broken, width_pt
from api.papers.setting_out import Marking, Offsets, chord_offsets, is_tape_and_square
from solver.data.plan import Piece


@dataclass(frozen=True)
class Entry:
    """A template: the piece it is drawn for, and pieces that are exactly alike."""

    piece: Piece
    alike: tuple[Piece, ...]


def entries(facts: Facts) -> tuple[Entry, ...]:
    """Return each template once, in the plan's order; alike in blank, folds, metal, mounting."""
    groups: dict[object, list[Piece]] = {}
    for piece in facts.plan.pieces:
        if piece.template_of is not None:
            continue
        blank = piece.blank
        key = (
            piece.metal,
            piece.thickness_mm,
            piece.mounting,
            _rounded(blank.outline_mm),
            tuple((_rounded(fold.line_mm), fold.angle_deg) for fold in blank.folds),
            tuple(_rounded(slit) for slit in blank.slits_mm),
            tuple(_rounded(notch) for notch in blank.v_notches_mm),
            # which hand a leg goes to is told by the patch it goes toward
            tuple(facts.folds_toward_you(piece, fold) for fold in blank.folds),
            piece.clamps,
            tuple((round(b.at_mm, 4), b.turn_deg) for b in facts.bends(piece)),
            round(piece.trim_mm, 4),
        )
        groups.setdefault(key, []).append(piece)
    return tuple(Entry(group[0], tuple(group[1:])) for group in groups.values())


def _rounded(points: Sequence[Point]) -> tuple[Point, ...]:
    return tuple((round(x, 4) + 0.0, round(y, 4) + 0.0) for x, y in points)


def setting_out_book(
    facts: Facts, book: Book, full_size_pages: Mapping[str, tuple[int, int]], full_size_name: str
) -> Book:
    """Write the setting-out book; ``full_size_pages`` are first and last page by piece id."""
    flow = Flow(book)
    _key(flow, facts)
    for entry in entries(facts):
        _entry(flow, facts, entry, full_size_pages.get(entry.piece.id), full_size_name)
    return book


def _key(flow: Flow, facts: Facts) -> None:
    flow.text(
        "Each blank is drawn from the side you mark. Heavy lines are cut, dash-dot lines folded, "
        "dash-dot-dot lines bent round a corner of the mold, dashed lines scribed: there the metal "
        "leaves the mold. Straight blanks are not to scale: go by their figures. Up is the free "
        "edge, the lower edge goes to the mold, the start is on the left. A number with a star is "
        "a mirrored twin, cut from the same template. Stations are measured from the start, along "
        "the dashed line (the lower edge where there is none). Sizes are marked to "
        f"{facts.sizes.words(1)}, outward, so that no blank comes out small. Write its number and "
        "an arrow up on each piece as soon as it is drawn; deburr every edge.",
        size=8.5,
    )
    flow.skip(2.5)


def _entry(
    flow: Flow,
    facts: Facts,
    entry: Entry,
    pages: tuple[int, int] | None,
    full_size_name: str,
) -> None:
    piece = entry.piece
    offsets = chord_offsets(piece, facts.sizes)
    lines = _lines(facts, entry, pages, full_size_name)
    size = 8.0
    wrapped = [part for line in lines for part in broken(line, flow.wide * 72 / 25.4, size)]
    figure = _figure_height(flow, facts, piece, offsets)
    table_mm = _offset_rows(offsets) * line_mm(7.8) + 14 if offsets is not None else 0.0
    flow.need(min(14 + figure + len(wrapped) * line_mm(size) + table_mm + 4, 220))
    _title(flow, facts, entry)
    if is_tape_and_square(piece):
        _straight_figure(flow, facts, piece, figure)
    else:
        _curved_figure(flow, facts, piece, offsets, figure)
    for line in wrapped:
        flow.need(line_mm(size))
        flow.y -= line_mm(size)
        flow.page.words(line, flow.left, flow.y, size=size)
    if offsets is not None:
        _offset_table(flow, facts, offsets)
    flow.skip(3.0)
    flow.page.line(((flow.left, flow.y), (flow.left + flow.wide, flow.y)), weight=HAIR, grey=0.5)
    flow.skip(2.0)


def _lines(
    facts: Facts, entry: Entry, pages: tuple[int, int] | None, full_size_name: str
) -> list[str]:
    piece = entry.piece
    lines = [f"{edge_line(facts, piece)}. {face_line(facts, piece)}"]
    lines += size_lines(facts, piece)
    lines += cut_lines(facts, piece)
    for other in entry.alike:
        lines.append(
            f"{facts.number[other.id]} ({other.id}) is cut the same. {edge_line(facts, other)}."
        )
        lines += twin_lines(facts, other)
    lines += twin_lines(facts, piece)
    if pages is not None:
        first, last = pages
        where = f"page {first}" if first == last else f"pages {first} to {last}"
        lines.append(f"Full size: {where} of {full_size_name}.")
    return lines


def _title(flow: Flow, facts: Facts, entry: Entry) -> None:
    piece = entry.piece
    flow.y -= 6.5
    numbers = [facts.number[piece.id], *(facts.number[other.id] for other in entry.alike)]
    numbers += [
        f"{facts.number[twin]}*"
        for one in (piece, *entry.alike)
        for twin in facts.twins.get(one.id, ())
    ]
    number = ", ".join(numbers)
    page = flow.page
    metal = title_line(facts, piece)
    told = width_pt(metal, 9) * 25.4 / 72
    room = flow.wide - told - 6.0
    # numbers and metal are needed at the bench: the piece's long name gives way first
    size = 13.0
    while size > 7.0 and width_pt(number, size, BOLD) * 25.4 / 72 > room:
        size -= 0.5
    page.words(number, flow.left, flow.y, size=size, bold=True, room_mm=room)
    taken = min(width_pt(number, size, BOLD) * 25.4 / 72, room)
    middle = flow.left + max(taken + 5.0, flow.wide * 0.16)
    right = flow.left + flow.wide
    left = right - told - 3.0 - middle
    if left > 12.0:
        page.words(piece.id, middle, flow.y, size=9, bold=True, room_mm=left)
    page.words(metal, right, flow.y, size=9, side="right", room_mm=flow.wide)
    flow.y -= 1.5


def _figure_height(flow: Flow, facts: Facts, piece: Piece, offsets: Offsets | None) -> float:
    if is_tape_and_square(piece):
        return 26.5
    _, scale, high = _curved_scale(flow, facts, piece, offsets)
    return high * scale + (14.0 if offsets is not None else 10.0)


def _straight_figure(flow: Flow, facts: Facts, piece: Piece, figure: float) -> None:
    """Draw a strip stretched across, with its length and widths."""
    blank, page = piece.blank, flow.page
    sizes, marking = facts.sizes, Marking(piece, facts.sizes)
    tall = blank.above_mm + blank.below_mm
    room = flow.wide - 46.0
    along = min(room / blank.root_length_mm, 1.0)
    across = min(15.0 / tall, 1.0)
    base = flow.y - 5.0 - tall * across
    left = flow.left + 23.0

    def place(point: Point) -> Point:
        return left + point[0] * along, base + (point[1] + blank.below_mm) * across

    put(page, blank_drawing(piece, ""), place, thin=0.8)
    end = left + blank.root_length_mm * along
    top = base + tall * across
    if piece.trim_mm > 0:
        x = left + (blank.root_length_mm - piece.trim_mm) * along
        page.line(((x, base), (x, top)), weight=FINE, dash=(0.8, 0.8))
        page.words("trim", end + 1.5, top + 1.2, size=6.5, side="right")
    dimension(page, (left, base), (end, base), sizes.words(marking.length), off=-4.5)
    dimension(
        page, (left, base), (left, top), sizes.words(marking.width, unit=False), off=9.0, size=7
    )
    if 0 < marking.below < marking.width and tall * across > 6:
        y = base + blank.below_mm * across
        dimension(
            page, (end, base), (end, y), sizes.words(marking.below, unit=False), off=-9.0, size=7
        )
    arrow(page, (end + 18.0, base), (end + 18.0, top), weight=0.3)
    page.words("up", end + 19.5, base + 1.0, size=7)
    page.words("start", left, top + 1.2, size=6.5)
    flow.y -= figure


def _curved_scale(
    flow: Flow, facts: Facts, piece: Piece, offsets: Offsets | None
) -> tuple[Drawing, float, float]:
    drawing = blank_drawing(piece, "")
    level = Pose(turn_deg=level_turn_deg(piece.blank.outline_mm))
    drawing = posed(drawing, offsets.pose if offsets is not None else level)
    low_x, low_y, high_x, high_y = drawing.box
    wide, high = high_x - low_x, high_y - low_y
    scale = min((flow.wide - 46.0) / wide, 62.0 / high, 0.5)
    return drawing, scale, high


def _curved_figure(
    flow: Flow, facts: Facts, piece: Piece, offsets: Offsets | None, figure: float
) -> None:
    """Draw a curved blank to scale, over its chord where it is set out by offsets."""
    page = flow.page
    drawing, scale, _ = _curved_scale(flow, facts, piece, offsets)
    low_x, low_y, high_x, high_y = drawing.box
    left, base = flow.left + 12.0, flow.y - figure + (7.5 if offsets is not None else 5.0)

    def place(point: Point) -> Point:
        return left + (point[0] - low_x) * scale, base + (point[1] - low_y) * scale

    if offsets is not None:
        sizes = facts.sizes
        ground = place((0.0, 0.0))[1]
        page.line(((left - 6, ground), (place((high_x, 0))[0] + 6, ground)), weight=FINE)
        for n, station in enumerate(offsets.stations):
            x = sizes.mm(station.at)
            a, b = place((x, 0.0)), place((x, sizes.mm(station.high)))
            page.line((a, b), weight=HAIR, grey=0.35)
            if n % 2 == 0 or len(offsets.stations) <= 10:
                page.words(
                    sizes.words(station.at, unit=False), a[0], ground - 3.2, size=6, side="middle"
                )
        page.words("base line", place((high_x, 0))[0] + 7, ground - 0.8, size=6)
    put(page, drawing, place, thin=0.7)
    start = next(path for path in drawing.paths if path.meaning == "cut").points[0]
    at = place(start)
    page.words("start", at[0] - 1.0, at[1] - 3.0, size=6.5, side="right")
    page.words(
        f"drawn 1 : {1 / scale:.1f}", flow.left + flow.wide, flow.y - 3.0, size=6.5, side="right"
    )
    if offsets is None:
        size = facts.sizes
        words = size.words
        over = f"fits in {words(size.up(high_x - low_x))} by {words(size.up(high_y - low_y))}"
        page.words(over, flow.left + flow.wide, flow.y - 6.2, size=6.5, side="right")
    flow.y -= figure


_GROUPS = 3


def _offset_rows(offsets: Offsets | None) -> int:
    if offsets is None:
        return 0
    return -(-len(offsets.stations) // _GROUPS) + 1


def _offset_table(flow: Flow, facts: Facts, offsets: Offsets) -> None:
    """Write stations and offsets in three groups side by side, and the corners."""
    words = facts.sizes.words
    size = 7.8
    rows = [
        (words(s.at, unit=False), words(s.low, unit=False), words(s.high, unit=False))
        for s in offsets.stations
    ]
    count = _offset_rows(offsets) - 1
    flow.need(count * line_mm(size) + 9)
    flow.y -= 5.0
    unit = "in" if facts.sizes.inches else "mm"
    page, wide = flow.page, flow.wide / _GROUPS
    top = flow.y
    for group in range(min(_GROUPS, -(-len(rows) // count))):
        left = flow.left + group * wide
        flow.page.box(left, top - 1.2, wide - 4.0, line_mm(size) + 0.6, weight=0, fill=0.92)
        places = (left + 16.0, left + 35.0, left + wide - 5.0)
        for text, x in zip((f"along ({unit})", "lower edge", "upper edge"), places, strict=True):
            page.words(text, x, top, size=6.8, bold=True, side="right")
        y = top - 0.8
        for row in rows[group * count : (group + 1) * count]:
            y -= line_mm(size)
            for text, x in zip(row, places, strict=True):
                page.words(text, x, y, size=size, side="right")
    flow.y = top - 0.8 - count * line_mm(size)
    corners = " · ".join(
        f"{name.replace('grip', 'lower').replace('free', 'upper')} {words(along, unit=False)}, "
        f"{words(up, unit=False)}"
        for name, along, up in offsets.corners
    )
    flow.skip(0.8)
    flow.text(f"Corners, along the base line and up from it: {corners}.", size=size)
