"""The cutting book: each roll, sheet and offcut to scale, with what a tape and a square need."""

from __future__ import annotations

import math
from collections.abc import Callable

import shapely

from api.drawing.nest import StockShape, nest_drawing, placed_outline, pose_of
from api.drawing.shapes import Point, box_of
from api.drawing.strips import Strip
from api.papers.book import FINE, HAIR, MM, Book, Page
from api.papers.cut_order import Item, OutlineCut, StraightCut, cut_order
from api.papers.facts import Facts
from api.papers.figures import put
from api.papers.layout import Column, Flow, table
from api.papers.lettering import width_pt
from api.papers.shop_sizes import ShopSizes
from solver.data.plan import NestPlan, Offcut
from solver.data.units import format_area, format_length

_BAND_ROOM_MM = 92.0
"""Height on the page for the drawing of one nest."""

_SMALLEST_BAND_MM = 17.0
"""A long roll is drawn in bands, one above the other, so that each is at least this high."""


def cutting_book(facts: Facts, book: Book) -> Book:
    """Write one page or more for each nest."""
    flow: Flow | None = None
    for number, nest in enumerate(facts.plan.nests, start=1):
        if flow is None:
            flow = Flow(book, lying=True)
        else:
            flow.turn()
        _nest(flow, facts, nest, number)
    if flow is None:
        flow = Flow(book, lying=True)
        flow.text("This plan cuts no metal.")
    return book


def _nest(flow: Flow, facts: Facts, nest: NestPlan, number: int) -> None:
    stock = facts.stock_shape(nest)
    source = "to buy" if nest.bought else "on hand"
    if nest.rest_of is not None:
        source = f"begun: {nest.rest_of}; dark is cut out already"
    flow.heading(f"{number} of {len(facts.plan.nests)}   {nest.stock}   ({source})", size=12)
    if stock.known:
        unit = facts.plan.length_unit
        size = f"{format_length(stock.width_mm, unit)} wide, "
        size += f"{format_length(stock.length_mm, unit)} long. "
    else:
        size = "Its own size is not in the plan: drawn as far as the blanks reach. "
    flow.text(
        f"{size}Along is measured from the left end, up from the lower factory edge. Begin by "
        "squaring the left end. Mark all blanks before the first cut; check each number twice.",
        size=8.5,
    )
    flow.skip(2.0)
    _bands(flow, facts, nest, stock)
    _places(flow, facts, nest)
    _order(flow, facts, nest)
    _left(flow, facts, nest)


def _bands(flow: Flow, facts: Facts, nest: NestPlan, stock: StockShape) -> None:
    drawing = nest_drawing(nest, facts.pieces, facts.number, stock)
    low_x, low_y, high_x, high_y = drawing.box
    long, wide = high_x - low_x, high_y - low_y
    room = flow.wide - 12.0
    count = 1
    while True:
        scale = room * count / long
        if wide * scale >= _SMALLEST_BAND_MM or count * (wide * scale + 9.0) > _BAND_ROOM_MM:
            break
        count += 1
    scale = min(scale, (_BAND_ROOM_MM / count - 8.0) / wide)
    part = long / count
    rings = {
        one.piece: shapely.Polygon(placed_outline(facts.pieces[one.piece], one)).buffer(0)
        for one in nest.placed
    }
    for band in range(count):
        begin = low_x + band * part
        high = wide * scale
        flow.need(high + 9.0)
        base = flow.y - high - 3.0
        left = flow.left + 8.0

        def place(
            point: Point, begin: float = begin, base: float = base, left: float = left
        ) -> Point:
            return left + (point[0] - begin) * scale, base + (point[1] - low_y) * scale

        inner = Page(flow.page.wide_mm, flow.page.high_mm)
        put(inner, drawing, place, thin=0.6)
        end = min(begin + part, high_x)
        band_ring = shapely.box(begin, low_y, end, high_y)
        for word in drawing.words:
            spot = _spot_in(band_ring, rings[word.of], word.at)
            if spot is None:
                continue
            size = _word_size(facts, word.of, word.text, scale)
            half = width_pt(word.text, size) / MM / 2 + 0.6
            at = place(spot)
            # a number is never cut off where a band ends
            right = left + (end - begin) * scale
            at = min(max(at[0], left + half), right - half), at[1]
            turn = math.radians(word.turn_deg)
            down = 0.12 * size
            inner.words(
                word.text,
                at[0] + down * math.sin(turn),
                at[1] - down * math.cos(turn),
                size=size,
                bold=True,
                side="middle",
                turn_deg=word.turn_deg,
                clear=True,
            )
        _offcut_names(inner, nest, place, band_ring)
        flow.page.clipped(left - 1.0, base - 1.0, (end - begin) * scale + 2.0, high + 2.0, inner)
        _ruler(flow.page, facts, place, begin, end, base)
        flow.y = base - 6.0
    flow.skip(2.6)
    scale_words = f"drawn 1 : {1 / scale:.1f}" + (f", in {count} bands" if count > 1 else "")
    flow.page.words(scale_words, flow.left + flow.wide, flow.y + 0.5, size=6.5, side="right")
    flow.skip(2.0)


def _word_size(facts: Facts, piece: str, text: str, scale: float) -> float:
    """Letters no higher than the strip, and no wider than the piece."""
    strip = facts.strips[piece]
    high = strip.width_mm * scale * 2.0
    wide = strip.blank.root_length_mm * scale * 72 / 25.4 * 0.8
    size = min(9.0, max(4.5, high))
    return min(size, max(4.0, size * wide / width_pt(text, size)))


def _spot_in(band: shapely.Polygon, ring: shapely.Polygon, at: Point) -> Point | None:
    """Return where a piece is named in a band: at its name's place, or on the part that it shows.

    None where too little of it shows.
    """
    if band.contains(shapely.Point(at)):
        return at
    part = shapely.intersection(band, ring)
    low_x, _, high_x, _ = part.bounds if not part.is_empty else (0.0, 0.0, 0.0, 0.0)
    if high_x - low_x < 0.08 * (band.bounds[2] - band.bounds[0]):
        return None
    spot = part.representative_point()
    return float(spot.x), float(spot.y)


def _offcut_names(
    page: Page, nest: NestPlan, place: Callable[[Point], Point], band: shapely.Polygon
) -> None:
    for number, offcut in enumerate(nest.offcuts, start=1):
        part = shapely.intersection(band, shapely.Polygon(offcut.outline_mm))
        least = 0.04 * (band.bounds[2] - band.bounds[0])
        if part.is_empty or part.bounds[2] - part.bounds[0] < least:
            continue
        spot = part.representative_point()
        x, y = place((spot.x, spot.y))
        page.words(f"keep {number}", x, y - 1.0, size=6.5, side="middle", grey=0.25)


def _ruler(
    page: Page, facts: Facts, place: Callable[[Point], Point], begin: float, end: float, base: float
) -> None:
    """Draw a ruler under a band, from the end of the stock."""
    sizes = facts.sizes
    unit = 12 * 25.4 if sizes.inches else 200.0
    across = (end - begin) / unit
    if across > 14:
        unit *= 2
    elif across < 3:
        unit /= 2
    n = math.ceil(begin / unit - 1e-9)
    while n * unit <= end + 1e-6:
        x, _ = place((n * unit, 0.0))
        page.line(((x, base - 1.0), (x, base - 2.4)), weight=HAIR)
        text = sizes.words(sizes.nearest(n * unit), unit=n * unit + unit > end)
        page.words(text, x, base - 5.0, size=6.5, side="middle")
        n += 1
    page.line((place((begin, 0.0)), place((end, 0.0))), weight=FINE)


def _places(flow: Flow, facts: Facts, nest: NestPlan) -> None:
    """Say where each blank lies: its box, and for a turned one the ends of its lower edge."""
    sizes = facts.sizes
    words = sizes.words
    rows = []
    for placed in sorted(nest.placed, key=lambda one: int(facts.number[one.piece][1:])):
        piece = facts.pieces[placed.piece]
        x0, y0, x1, y1 = box_of(placed_outline(piece, placed))
        square = piece.blank.straight and placed.turn_deg % 90.0 < 1e-9
        how = "" if square else "by template"
        edge = Strip(piece.blank).grip_edge
        if not square and edge:
            pose = pose_of(placed)
            ends = [pose.point(p) for p in (edge[0], edge[-1])]
            how = "; ".join(
                f"{name} {words(sizes.nearest(x), unit=False)}, "
                f"{words(sizes.nearest(y), unit=False)}"
                for name, (x, y) in zip(("start", "end"), ends, strict=True)
            )
        if placed.flipped:
            how += "; turned over" if how else "turned over"
        rows.append(
            (
                facts.number[placed.piece],
                placed.piece,
                f"{words(sizes.down(x0), unit=False)} to {words(sizes.up(x1), unit=False)}",
                f"{words(sizes.down(y0), unit=False)} to {words(sizes.up(y1), unit=False)}",
                how,
            )
        )
    unit = "in" if sizes.inches else "mm"
    columns = (
        Column("no.", 0.7),
        Column("piece", 4.2),
        Column(f"along ({unit})", 2.2, "right"),
        Column(f"up ({unit})", 2.0, "right"),
        Column("lower corners of a turned blank: along, up", 4.4),
    )
    table(flow, columns, rows, size=8, ticks=True)


def _order(flow: Flow, facts: Facts, nest: NestPlan) -> None:
    words = facts.sizes.words
    lines = []
    for step in cut_order(items_of(facts, nest), facts.sizes):
        if isinstance(step, StraightCut):
            where = (
                f"at {words(step.mark)} along"
                if step.way == "across"
                else f"at {words(step.mark)} up"
            )
            frees = f"; frees {', '.join(step.frees)}" if step.frees else ""
            lines.append(f"Cut {step.way} {where}{frees}.")
        else:
            lines.append(_outline_words(step))
    if not lines:
        names = ", ".join(facts.number[one.piece] for one in nest.placed)
        lines.append(f"Cut {names} along the outline.")
    flow.heading("Cut order", size=9.5, keep_mm=12)
    for number, line in enumerate(lines, start=1):
        flow.text(line, size=8.5, indent=6.0, mark=f"{number}.")
    flow.skip(2.0)


def _outline_words(step: OutlineCut) -> str:
    if len(step.names) == 1:
        return f"Cut {step.names[0]} along its outline."
    return f"Cut along the outlines, in this order: {', '.join(step.names)}."


def items_of(facts: Facts, nest: NestPlan) -> list[Item]:
    """Return blanks and offcuts of a nest with the boxes they fill."""
    items = [
        Item(facts.number[one.piece], box_of(placed_outline(facts.pieces[one.piece], one)))
        for one in nest.placed
    ]
    items += [
        Item(f"keep {n}", box_of(offcut.outline_mm), offcut=True)
        for n, offcut in enumerate(nest.offcuts, start=1)
    ]
    return items


def _left(flow: Flow, facts: Facts, nest: NestPlan) -> None:
    sizes = facts.sizes
    unit = facts.plan.length_unit
    parts = []
    for number, offcut in enumerate(nest.offcuts, start=1):
        parts.append(f"keep {number}: {offcut_words(sizes, offcut)}")
    area = facts.area_of_nest(nest)
    share = nest.scrap_mm2 / area if area > 0 else 0.0
    flow.heading("Left over", size=9.5, keep_mm=8)
    flow.text(
        (
            "Offcuts to keep, marked with metal and gauge: " + "; ".join(parts) + ". "
            if parts
            else ""
        )
        + f"Waste: {format_area(nest.scrap_mm2, unit)}, {share:.0%} of this piece of stock."
        + cut_words(sizes, nest),
        size=8.5,
    )


def cut_words(sizes: ShopSizes, nest: NestPlan) -> str:
    """Say how much is cut, and what is there already; nothing where a plan does not tell."""
    if nest.cut_mm is None or nest.edge_mm is None:
        return ""
    text = f" To cut: {sizes.long_words(nest.cut_mm)} of outline"
    if nest.edge_mm < 1.0:
        return f"{text}."
    return f"{text}; {sizes.long_words(nest.edge_mm)} more lie on the metal's own edge."


def offcut_words(sizes: ShopSizes, offcut: Offcut) -> str:
    """Say how large an offcut is and where it lies; one that is no rectangle is cut as drawn."""
    words = sizes.words
    x0, y0, x1, y1 = box_of(offcut.outline_mm)
    at = f"from {words(sizes.up(x0), unit=False)} along and {words(sizes.up(y0), unit=False)} up"
    size = f"{words(sizes.down(x1 - x0))} by {words(sizes.down(y1 - y0))}"
    if not offcut.holds_mm:
        return f"{size}, {at}"
    a, b, c, _ = offcut.holds_mm
    held = [words(sizes.down(side)) for side in sorted((math.dist(a, b), math.dist(b, c)))]
    return f"as drawn, within {size}, {at}; it holds {held[1]} by {held[0]}"
