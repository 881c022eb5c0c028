"""The full-size book: templates at 1:1, cut along the strip into sheets that are taped together.

A strip is narrow and long.  A grid of tiles over it would be mostly empty paper, so each template
is cut across its length into sheets instead, each turned to lie level, and several lie on one page.
Neighbours share an overlap with two crosses, the same spot of the blank on both: paper is laid
cross on cross.  Blanks that are straight have no template: tape and square are quicker and truer.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

from api.drawing.blank import blank_drawing
from api.drawing.shapes import Point, Pose, box_of
from api.drawing.strips import Strip, level_turn_deg
from api.papers.book import (
    FINE,
    HAIR,
    MM,
    SLIM_BOTTOM_MM,
    SLIM_LEFT_MM,
    SLIM_RIGHT_MM,
    SLIM_TOP_MM,
    Book,
    Page,
)
from api.papers.captions import bend_lines, edge_line, face_line, title_line, twin_lines
from api.papers.facts import Facts
from api.papers.figures import arrow, check_square, cross, put
from api.papers.lettering import broken
from api.papers.setting_out import Marking, chord_offsets, is_tape_and_square
from api.papers.templates import Entry, entries
from solver.data.plan import Piece

OVERLAP_MM = 20.0
"""Length that neighbouring sheets share."""

AROUND_MM = 3.0
"""Paper kept around a blank, for scissors."""

GAP_MM = 4.0
NARROWEST_MM = 90.0
"""Width that a caption has at least, above however small a blank."""

SAID_PT, SAID_MM = 7.0, 3.1
"""Size and line height of the words above a template."""

MOST_SHEETS = 80
LARGEST_PAGE_MM = 5000.0
"""PDF readers end at 14 400 points (ISO 32000-1, Annex C): 5080 mm."""


@dataclass(frozen=True)
class Join:
    """Where two sheets meet: a station, and the two crosses in the blank's own axes."""

    name: str
    ends: tuple[Point, Point]


@dataclass(frozen=True)
class Sheet:
    """A part of a template: the blank's axes turned level, and what is kept of them."""

    piece: Piece
    number: int
    count: int
    pose: Pose
    wide_mm: float
    high_mm: float
    joins: tuple[Join, ...]
    said: str = ""
    """What is told of the piece, above its first sheet."""

    @property
    def cell_mm(self) -> tuple[float, float]:
        """Width and height on a page, caption and all."""
        return max(self.wide_mm, NARROWEST_MM), self.high_mm + self.caption_mm

    @cached_property
    def caption(self) -> tuple[str, ...]:
        """Lines above the first sheet, below its title; none above the others."""
        if self.number > 1 or not self.said:
            return ()
        return tuple(broken(self.said, max(self.wide_mm, NARROWEST_MM) * MM, SAID_PT))

    @property
    def caption_mm(self) -> float:
        """Height of the words above it."""
        return 5.0 + SAID_MM * len(self.caption)


@dataclass(frozen=True)
class Laid:
    """A sheet on a page of the book: its lower left corner there."""

    sheet: Sheet
    page: int
    x_mm: float
    y_mm: float

    def place(self, at: Point) -> Point:
        """Return where a point of the blank comes on the page."""
        x, y = self.sheet.pose.point(at)
        return x + self.x_mm, y + self.y_mm


def sheets_of(piece: Piece, wide_mm: float, high_mm: float, said: str = "") -> tuple[Sheet, ...]:
    """Return the sheets of a template for a page with this room; one if it fits whole.

    ``said`` stands above the first.

    Raises ValueError where no number of sheets fits.
    """
    whole = _whole(piece, wide_mm, high_mm, said)
    if whole is not None:
        return (whole,)
    strip = Strip(piece.blank)
    length = piece.blank.root_length_mm
    if not strip.root:
        raise ValueError(f"{piece.id}: its outline is no strip; use the drawing files")
    least = max(2, math.ceil(length / (wide_mm - 2 * AROUND_MM - OVERLAP_MM)))
    for count in range(least, MOST_SHEETS):
        # joins are kept off notches where that costs no sheet more
        for clear in (True, False):
            sheets = _cut(piece, strip, count, said, clear=clear)
            if all(one.wide_mm <= wide_mm and one.cell_mm[1] <= high_mm for one in sheets):
                return sheets
    raise ValueError(f"{piece.id}: more than {MOST_SHEETS} sheets; use the long page")


def _whole(piece: Piece, wide_mm: float, high_mm: float, said: str) -> Sheet | None:
    turn = level_turn_deg(piece.blank.outline_mm)
    level = Pose(turn_deg=turn)
    low_x, low_y, high_x, high_y = box_of([level.point(p) for p in piece.blank.outline_mm])
    wide, high = high_x - low_x + 2 * AROUND_MM, high_y - low_y + 2 * AROUND_MM
    pose = Pose(AROUND_MM - low_x, AROUND_MM - low_y, turn)
    sheet = Sheet(piece, 1, 1, pose, wide, high, (), said)
    return sheet if wide <= wide_mm and sheet.cell_mm[1] <= high_mm else None


def _room_about(strip: Strip, station_mm: float) -> float:
    """Return how far a station is from the nearest notch, slit or V-notch; below 0 inside one."""
    cuts = [(notch.from_mm, notch.to_mm) for notch in strip.notches]
    cuts += [(at, at) for at in (*strip.slit_stations_mm, *strip.v_notch_stations_mm)]
    return min((max(a - station_mm, station_mm - b) for a, b in cuts), default=math.inf)


def _clear_station(strip: Strip, station_mm: float, room_mm: float, reach_mm: float) -> float:
    """Return the nearest station that has this room on both sides, else the one with most."""
    tries = [
        station_mm + way * step for step in np.arange(0.0, reach_mm + 0.1, 2.0) for way in (1, -1)
    ]
    rooms = [min(_room_about(strip, at), room_mm) for at in tries]
    return float(tries[rooms.index(max(rooms))])


def _cut(piece: Piece, strip: Strip, count: int, said: str, *, clear: bool) -> tuple[Sheet, ...]:
    """Cut a strip across its length into even sheets; ``clear`` moves joins off notches."""
    length = piece.blank.root_length_mm
    marks = [length * n / count for n in range(count + 1)]
    if clear:
        marks[1:-1] = [_clear_station(strip, at, 9.0, 16.0) for at in marks[1:-1]]
    joins = [_join(strip, station, n) for n, station in enumerate(marks[1:-1], start=1)]
    sheets = []
    for n in range(count):
        begin = max(0.0, marks[n] - OVERLAP_MM / 2)
        end = min(length, marks[n + 1] + OVERLAP_MM / 2)
        shared = tuple(joins[i] for i in (n - 1, n) if 0 <= i < len(joins))
        ring = _band(strip, begin, end)
        first, last = _at(strip, begin), _at(strip, end)
        slope = math.degrees(math.atan2(last[1] - first[1], last[0] - first[0]))
        level = Pose(turn_deg=-slope)
        kept = [level.point(p) for p in ring]
        low_x, low_y, high_x, high_y = box_of(kept)
        around_x = [level.point(p)[0] for join in shared for p in join.ends]
        # whole crosses are kept, though their arms reach past the overlap of a tight curve
        low_x = min([low_x - (AROUND_MM if n == 0 else 0.0), *(x - 5.0 for x in around_x)])
        high_x = max(
            [high_x + (AROUND_MM if n == count - 1 else 0.0), *(x + 5.0 for x in around_x)]
        )
        low_y, high_y = low_y - AROUND_MM, high_y + AROUND_MM
        pose = Pose(-low_x, -low_y, -slope)
        sheets.append(
            Sheet(piece, n + 1, count, pose, high_x - low_x, high_y - low_y, shared, said)
        )
    return tuple(sheets)


def _at(strip: Strip, station_mm: float, offset_mm: float = 0.0) -> Point:
    place = strip.place_of(station_mm, offset_mm)
    assert place is not None  # only strips with a root line are cut
    return place[0]


def _join(strip: Strip, station_mm: float, number: int) -> Join:
    blank = strip.blank
    return Join(
        str(number),
        (
            _at(strip, station_mm, -blank.below_mm + 0.25 * strip.width_mm),
            _at(strip, station_mm, blank.above_mm - 0.25 * strip.width_mm),
        ),
    )


def _band(strip: Strip, begin_mm: float, end_mm: float) -> list[Point]:
    """Return points all round the part of the strip between two stations."""
    blank = strip.blank
    steps = max(8, math.ceil((end_mm - begin_mm) / 8.0))
    stations = [begin_mm + (end_mm - begin_mm) * n / steps for n in range(steps + 1)]
    return [_at(strip, s, off) for s in stations for off in (-blank.below_mm, blank.above_mm)]


def traced(facts: Facts) -> tuple[Entry, ...]:
    """Return the templates that are traced: blanks that no square can mark."""
    return tuple(entry for entry in entries(facts) if not is_tape_and_square(entry.piece))


def lay_sheets(
    groups: Sequence[Sequence[Sheet]], wide_mm: float, high_mm: float
) -> tuple[Laid, ...]:
    """Lay sheets on pages in rows; a template of one sheet fills the first gap that holds it.

    Places are from the lower left corner of the room on each page.
    """
    shelves: list[tuple[int, float, float, float]] = []  # page, top, height, used width
    laid: list[Laid] = []

    def put_on(index: int, sheet: Sheet) -> None:
        page, top, high, used = shelves[index]
        wide, tall = sheet.cell_mm
        laid.append(Laid(sheet, page, used, top - tall))
        shelves[index] = (page, top, high, used + wide + GAP_MM)

    def new_shelf(sheet: Sheet) -> None:
        tall = sheet.cell_mm[1]
        lowest: dict[int, float] = {}
        for page, top, high, _ in shelves:
            lowest[page] = min(lowest.get(page, high_mm), top - high - GAP_MM)
        pages = sorted(lowest) if sheet.count == 1 else sorted(lowest)[-1:]
        fresh = max(lowest, default=-1) + 1
        lowest[fresh] = high_mm
        page = next((one for one in pages if lowest[one] >= tall), fresh)
        shelves.append((page, lowest[page], tall, 0.0))
        put_on(len(shelves) - 1, sheet)

    for group in groups:
        for sheet in group:
            wide, tall = sheet.cell_mm
            last_page = shelves[-1][0] if shelves else -1
            fits = [
                i
                for i, (page, _, high, used) in enumerate(shelves)
                if used + wide <= wide_mm
                and tall <= high
                and (sheet.count == 1 or page == last_page)
            ]
            if fits:
                put_on(fits[0], sheet)
            else:
                new_shelf(sheet)
    return tuple(laid)


@dataclass(frozen=True)
class FullSize:
    """A book at full size, and what lies where in it."""

    book: Book
    laid: tuple[Laid, ...]
    needed_pages: int
    """The first pages hold what offsets cannot tell; the others are for who would rather trace."""

    @property
    def pages_of(self) -> Mapping[str, tuple[int, int]]:
        """First and last page of each template by piece id."""
        on: dict[str, tuple[int, int]] = {}
        for one in self.laid:
            page = one.page + 1
            first, last = on.get(one.sheet.piece.id, (page, page))
            on[one.sheet.piece.id] = (min(first, page), max(last, page))
        return on


def full_size_book(facts: Facts, book: Book) -> FullSize:
    """Write the full-size book on ordinary paper; what cannot be set out by offsets first."""
    book.true_size = True
    high_page, wide_page = book.size_mm
    wide = wide_page - SLIM_LEFT_MM - SLIM_RIGHT_MM
    high = high_page - SLIM_TOP_MM - SLIM_BOTTOM_MM
    made: list[Laid] = []
    needed_pages = 0
    for needed in (True, False):
        groups = [
            sheets_of(entry.piece, wide, high, said_of(facts, entry))
            for entry in traced(facts)
            if (chord_offsets(entry.piece, facts.sizes) is None) == needed
        ]
        begin = max((one.page for one in made), default=-1) + 1
        made += [replace(one, page=one.page + begin) for one in lay_sheets(groups, wide, high)]
        if needed:
            needed_pages = max((one.page for one in made), default=-1) + 1
    pages: list[Page] = []
    for _ in range(max((one.page for one in made), default=-1) + 1):
        page = book.page(lying=True)
        check_square(page, inches=facts.sizes.inches)
        pages.append(page)
    laid = []
    for one in made:
        moved = replace(one, x_mm=one.x_mm + SLIM_LEFT_MM, y_mm=one.y_mm + SLIM_BOTTOM_MM)
        laid.append(moved)
        _draw(pages[one.page], facts, moved)
    return FullSize(book, tuple(laid), needed_pages)


def long_book(facts: Facts, book: Book) -> FullSize:
    """Write each traced template whole on one page of its own size, for a wide printer."""
    book.true_size = True
    laid = []
    for number, entry in enumerate(traced(facts)):
        said = said_of(facts, entry, whole=True)
        sheet = _whole(entry.piece, LARGEST_PAGE_MM, LARGEST_PAGE_MM, said)
        if sheet is None:
            continue
        wide = max(sheet.cell_mm[0], 250.0) + SLIM_LEFT_MM + SLIM_RIGHT_MM
        high = max(sheet.cell_mm[1] + SLIM_BOTTOM_MM + SLIM_TOP_MM, 125.0)
        page = book.page(size_mm=(wide, high))
        check_square(page, inches=facts.sizes.inches)
        one = Laid(sheet, number, SLIM_LEFT_MM, SLIM_BOTTOM_MM)
        laid.append(one)
        _draw(page, facts, one)
    return FullSize(book, tuple(laid), len(laid))


def _draw(page: Page, facts: Facts, laid: Laid) -> None:
    sheet, piece = laid.sheet, laid.sheet.piece
    wide, high = sheet.wide_mm, sheet.high_mm
    inner = Page(page.wide_mm, page.high_mm)
    drawing = blank_drawing(piece, facts.number[piece.id])
    put(inner, drawing, laid.place, thin=0.55)
    _directions(inner, facts, laid)
    _stations(inner, facts, laid)
    for join in sheet.joins:
        low, top = (laid.place(end) for end in join.ends)
        inner.line((low, top), weight=HAIR, dash=(1.5, 1.5))
        cross(inner, low, f"{facts.number[piece.id]}-{join.name}a")
        cross(inner, top, f"{facts.number[piece.id]}-{join.name}b")
    page.clipped(laid.x_mm, laid.y_mm, wide, high, inner)
    if sheet.count > 1:
        page.box(laid.x_mm, laid.y_mm, wide, high, weight=HAIR)
    _caption(page, facts, laid)


def said_of(facts: Facts, entry: Entry, *, whole: bool = False) -> str:
    """Return all that is told of a template: where it goes, its size, sides, folds and twins.

    ``whole`` is a template on one page, however long it is.
    """
    piece = entry.piece
    words, marking = facts.sizes.words, Marking(piece, facts.sizes)
    said = [f"{edge_line(facts, piece)}."]
    said.append(f"Stretch-out length {words(marking.length)}, width {words(marking.width)}.")
    said.append(face_line(facts, piece))
    if piece.blank.below_mm > 1e-6:
        said.append("Up is the free edge; the dashed line lies on the mold surface.")
    else:
        said.append("Up is the free edge; the lower edge stands on the mold.")
    said += [f"{facts.fold_words(piece, fold)}." for fold in piece.blank.folds]
    said += bend_lines(facts, piece)
    strip = Strip(piece.blank)
    if not whole and strip.grip_edge:
        apart = facts.sizes.nearest(math.dist(piece.blank.outline_mm[0], strip.grip_edge[-1]))
        said.append(f"Check: the lower edge's ends stand {words(apart)} apart.")
    said += [f"{facts.number[other.id]} ({other.id}) is cut the same." for other in entry.alike]
    for one in (piece, *entry.alike):
        said += twin_lines(facts, one)
    return " ".join(part for part in said if part)


def _caption(page: Page, facts: Facts, laid: Laid) -> None:
    sheet, piece = laid.sheet, laid.sheet.piece
    y = laid.y_mm + sheet.high_mm + sheet.caption_mm - 3.6
    number = facts.number[piece.id]
    part = f", sheet {sheet.number} of {sheet.count}" if sheet.count > 1 else ""
    page.words(
        f"{number}{part}   {title_line(facts, piece)}   {piece.id}",
        laid.x_mm,
        y,
        size=8,
        bold=True,
        room_mm=sheet.cell_mm[0],
    )
    for line in sheet.caption:
        y -= SAID_MM
        page.words(line, laid.x_mm, y, size=SAID_PT)


def _stations(page: Page, facts: Facts, laid: Laid) -> None:
    """Write its station beside each notch, slit, V-notch and bend, as it is read off a tape."""
    sheet, blank = laid.sheet, laid.sheet.piece.blank
    strip, sizes = Strip(blank), facts.sizes
    marks = [
        # inside the notch's floor, on the metal that stays
        (
            notch.at_mm,
            -blank.below_mm + notch.deep_mm + 1.2
            if notch.side == "grip"
            else blank.above_mm - notch.deep_mm - 3.0,
        )
        for notch in strip.notches
    ]
    for mouth, apex in (
        *blank.slits_mm,
        *((notch[0], notch[1]) for notch in blank.v_notches_mm),
    ):
        at = strip.station_of(apex)
        up = mouth[1] > apex[1]
        height = shapely.distance(shapely.LineString(strip.root), shapely.Point(apex))
        marks.append((at, float(height) - 3.2 if up else -float(height) + 1.2))
    marks += [(at, blank.above_mm - 3.2) for at in laid.sheet.piece.bends_mm]
    last = -math.inf
    for at, off in sorted(marks):
        place = strip.place_of(at, off)
        # figures closer than they are wide would be read as one
        if place is None or at - last < 9.0:
            continue
        x, y = laid.place(place[0])
        if not 5.0 < x - laid.x_mm < sheet.wide_mm - 5.0:
            continue
        last = at
        page.words(
            sizes.words(sizes.nearest(at), unit=False),
            x,
            y,
            size=6,
            side="middle",
            turn_deg=place[1] + sheet.pose.turn_deg,
        )


def _directions(page: Page, facts: Facts, laid: Laid) -> None:
    """Put number and an arrow to the free edge on every sheet, start and end where they are."""
    sheet, piece = laid.sheet, laid.sheet.piece
    strip = Strip(piece.blank)
    length = piece.blank.root_length_mm
    middle = _clear_station(strip, length * (sheet.number - 0.5) / sheet.count, 14.0, 90.0)
    tail = strip.place_of(middle, piece.blank.above_mm * 0.1)
    head = strip.place_of(middle, piece.blank.above_mm * 0.75)
    if tail is None or head is None:
        return
    arrow(page, laid.place(tail[0]), laid.place(head[0]), weight=FINE, size=2.6)
    at = laid.place(head[0])
    page.words(f"{facts.number[piece.id]} up", at[0] + 2.0, at[1] - 2.4, size=7)
    for station, words in ((0.0, "start"), (length, "end")):
        place = strip.place_of(station, (piece.blank.above_mm - piece.blank.below_mm) / 2)
        if place is None:
            continue
        (x, y), heading = place
        turn = heading + sheet.pose.turn_deg + 90.0
        here = laid.place((x, y))
        slip = 3.0 if words == "start" else -1.2
        cos, sin = math.cos(math.radians(turn - 90)), math.sin(math.radians(turn - 90))
        page.words(
            words,
            here[0] + slip * cos,
            here[1] + slip * sin,
            size=6.5,
            side="middle",
            turn_deg=turn,
        )
    if piece.trim_mm > 0:
        ends = [
            strip.place_of(length - piece.trim_mm, off)
            for off in (-piece.blank.below_mm, piece.blank.above_mm)
        ]
        points = [laid.place(end[0]) for end in ends if end is not None]
        page.line(points, weight=HAIR, dash=(0.8, 0.8))
