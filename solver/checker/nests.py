"""Nests: every blank lies once on a unit of its own metal, inside it and clear of the others."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator
from typing import cast

import numpy as np
import shapely
from numpy.typing import NDArray

from solver.checker.reading import PieceReading, Reading
from solver.checker.report import Fault
from solver.checker.reuse import gone_polygons, sources_of
from solver.checker.tolerances import (
    EDGE_SLACK_MM,
    GAP_SLACK_MM,
    NEST_AREA,
    ON_EDGE_MM,
    OUTLINE_AREA,
    OUTLINE_MM,
)
from solver.data.job import Job, StockItem
from solver.data.plan import NestPlan, Placed

Floats = NDArray[np.float64]

Side = tuple[tuple[float, float], tuple[float, float]]

_TURN_DEG = 1e-9


def placed_polygon(piece: PieceReading, placed: Placed) -> shapely.Polygon:
    """Outline of a placed blank on its unit: flipped, turned, moved."""
    points = np.array(piece.piece.blank.outline_mm, dtype=np.float64)
    if placed.flipped:
        points = points * (1.0, -1.0)
    turn = np.radians(placed.turn_deg)
    cos, sin = float(np.cos(turn)), float(np.sin(turn))
    x = points[:, 0] * cos - points[:, 1] * sin + placed.x_mm
    y = points[:, 0] * sin + points[:, 1] * cos + placed.y_mm
    return shapely.Polygon(np.column_stack((x, y)))


def unit_region(item: StockItem) -> shapely.Geometry:
    """A whole unit of stock: its rectangle, or the outline of an offcut."""
    if item.outline_mm is not None:
        return shapely.Polygon(item.outline_mm)
    return shapely.box(0.0, 0.0, item.length_mm, item.width_mm)


def usable_region(job: Job, item: StockItem) -> shapely.Geometry:
    """What of a unit may be cut: a roll loses its ends."""
    region = unit_region(item)
    if item.form != "roll":
        return region
    end = job.rules.roll_end_mm
    return shapely.intersection(
        region, shapely.box(end, -1.0, item.length_mm - end, item.width_mm + 1.0)
    )


def _polygons(reading: Reading, nest: NestPlan) -> list[shapely.Polygon]:
    return [placed_polygon(reading.piece_of[one.piece], one) for one in nest.placed]


def placed_once(reading: Reading) -> Iterator[Fault]:
    """Every piece is cut once, unless it is there, and no unit is opened for nothing."""
    counts = Counter(one.piece for nest in reading.plan.nests for one in nest.placed)
    there = sources_of(reading.plan)
    for piece in reading.pieces:
        wanted = 0 if piece.piece.id in there else 1
        if counts[piece.piece.id] != wanted:
            often = "not once" if wanted else "and is there already"
            yield Fault(
                "placed once", piece.place, f"is cut {counts[piece.piece.id]} times, {often}"
            )
    for nest in reading.plan.nests:
        if not nest.placed:
            yield Fault("placed once", f'nest "{nest.id}"', "nothing is cut from it")


def own_metal(reading: Reading) -> Iterator[Fault]:
    """A piece is cut from stock of its own metal and thickness."""
    for nest in reading.plan.nests:
        item = reading.job.stock_of[nest.stock]
        for one in nest.placed:
            piece = reading.piece_of[one.piece]
            if item.sheet_metal != piece.sheet.sheet_metal:
                yield Fault(
                    "own metal",
                    piece.place,
                    f"is {piece.sheet.metal_label}, cut from {item.metal_label} ({item.id})",
                )


def inside(reading: Reading) -> Iterator[Fault]:
    """Blanks lie within the part of their unit that may be cut."""
    for nest in reading.plan.nests:
        item = reading.job.stock_of[nest.stock]
        region = usable_region(reading.job, item)
        blanks = np.array(_polygons(reading, nest), dtype=object)
        if not len(blanks):
            continue
        grown = shapely.buffer(region, GAP_SLACK_MM, join_style="mitre")
        shapely.prepare(grown)
        for one, blank, within in zip(
            nest.placed, blanks, shapely.covers(grown, blanks), strict=True
        ):
            if not within:
                out = shapely.area(shapely.difference(blank, region))
                yield Fault(
                    "inside",
                    f'piece "{one.piece}"',
                    f'{out:.2f} mm2 of it lie outside what may be cut of nest "{nest.id}"',
                )


def cutting_gap(reading: Reading) -> Iterator[Fault]:
    """Blanks keep the cutting gap from one another."""
    gap = reading.job.rules.cutting_gap_mm
    for nest in reading.plan.nests:
        blanks = _polygons(reading, nest)
        names = [one.piece for one in nest.placed]
        gone = gone_polygons(nest)
        if len(blanks) + len(gone) < 2:
            continue
        blanks += gone
        names += [f"cut before, {number}" for number in range(1, len(gone) + 1)]
        # Slack once more, or blanks laid at exactly the gap would be near by rounding.
        close = gap - GAP_SLACK_MM
        tree = shapely.STRtree(blanks)
        pairs = tree.query(blanks, predicate="dwithin", distance=max(close, 0.0))
        for a, b in sorted({(int(i), int(j)) for i, j in pairs.T if i < j}):
            apart = shapely.distance(blanks[a], blanks[b])
            over = shapely.area(shapely.intersection(blanks[a], blanks[b]))
            if max(a, b) >= len(nest.placed) and min(a, b) >= len(nest.placed):
                continue  # both were cut for the old plan
            if apart < close or over > GAP_SLACK_MM:
                one, other = names[a], names[b]
                words = f"overlap by {over:.2f} mm2" if over else f"are {apart:.3f} mm apart"
                yield Fault(
                    "cutting gap",
                    f'nest "{nest.id}"',
                    f'pieces "{one}" and "{other}" {words}; the cutting gap is {gap:.3f} mm',
                )


def turns(reading: Reading) -> Iterator[Fault]:
    """Straight blanks lie square to the stock."""
    for nest in reading.plan.nests:
        for one in nest.placed:
            off = abs((one.turn_deg + 45.0) % 90.0 - 45.0)
            if reading.piece_of[one.piece].track.straight and off > _TURN_DEG:
                yield Fault(
                    "square",
                    f'piece "{one.piece}"',
                    f"is straight and turned {one.turn_deg:g} degrees",
                )


def flips(reading: Reading) -> Iterator[Fault]:
    """A folded blank is turned over only if it is the same from its other end."""
    for nest in reading.plan.nests:
        for one in nest.placed:
            piece = reading.piece_of[one.piece]
            if one.flipped and piece.folded and not _same_from_other_end(piece):
                yield Fault(
                    "flip",
                    piece.place,
                    "is folded and turned over, and differs from its mirror image",
                )


def _same_from_other_end(piece: PieceReading) -> bool:
    """Whether mirroring across the middle of its chord leaves a blank as it is."""
    start, end = piece.strip.points_mm[0], piece.strip.points_mm[-1]
    along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
    middle = (start + end) / 2

    def mirrored(points: Floats) -> Floats:
        image: Floats = points - 2 * ((points - middle) @ along)[:, None] * along
        return image

    outline = shapely.Polygon(mirrored(np.array(piece.piece.blank.outline_mm)))
    if (
        shapely.hausdorff_distance(outline.boundary, piece.outline.boundary) > OUTLINE_MM
        or shapely.area(shapely.symmetric_difference(outline, piece.outline))
        > OUTLINE_AREA * piece.outline.area + OUTLINE_MM * piece.outline.length
    ):
        return False
    cuts = [*piece.piece.blank.slits_mm, *piece.piece.blank.v_notches_mm]
    lines = [shapely.LineString(cast("Floats", np.array(cut))) for cut in cuts]
    if not lines:
        return True
    images = [shapely.LineString(mirrored(np.array(cut))) for cut in cuts]
    apart = shapely.hausdorff_distance(
        shapely.MultiLineString(lines), shapely.MultiLineString(images)
    )
    return bool(apart <= OUTLINE_MM)


def areas(reading: Reading) -> Iterator[Fault]:
    """A unit is its blanks, its offcuts and its scrap, and nothing twice."""
    for nest in reading.plan.nests:
        place = f'nest "{nest.id}"'
        region = unit_region(reading.job.stock_of[nest.stock])
        blanks = _polygons(reading, nest)
        offcuts = [shapely.Polygon(offcut.outline_mm) for offcut in nest.offcuts]
        slack = NEST_AREA * region.area + 1.0
        used = sum(blank.area for blank in (*blanks, *gone_polygons(nest)))
        used += sum(offcut.area for offcut in offcuts)
        if abs(used + nest.scrap_mm2 - region.area) > slack or nest.scrap_mm2 < -slack:
            yield Fault(
                "nest area",
                place,
                f"blanks and offcuts take {used:.1f} mm2 and scrap {nest.scrap_mm2:.1f}; "
                f"the unit has {region.area:.1f}",
            )
        for number, (offcut, stated) in enumerate(zip(offcuts, nest.offcuts, strict=True), start=1):
            if abs(stated.area_mm2 - offcut.area) > slack:
                yield Fault(
                    "offcut",
                    f"{place}, offcut {number}",
                    f"is stated as {stated.area_mm2:.1f} mm2; it is {offcut.area:.1f}",
                )


def cut_lengths(reading: Reading) -> Iterator[Fault]:
    """What is stated to be cut, and to lie on the metal's own edge, is the blanks' border."""
    for nest in reading.plan.nests:
        if nest.cut_mm is None or nest.edge_mm is None:
            continue
        blanks = _polygons(reading, nest)
        item = reading.job.stock_of[nest.stock]
        border = sum(blank.length for blank in blanks)
        on_edge = sum(
            max(_shared_mm(side, edge) for edge in _own_edges(item))
            for blank in blanks
            for side in itertools.pairwise(blank.exterior.coords)
        )
        slack = EDGE_SLACK_MM * (1 + len(blanks))
        if abs(nest.edge_mm - on_edge) > slack or abs(nest.cut_mm + nest.edge_mm - border) > slack:
            yield Fault(
                "cut length",
                f'nest "{nest.id}"',
                f"{nest.cut_mm:.1f} mm are stated to be cut and {nest.edge_mm:.1f} to lie on the "
                f"metal's own edge; of {border:.1f} mm of border {on_edge:.1f} lie there",
            )


def _own_edges(item: StockItem) -> list[Side]:
    """Edges that a unit comes with; the ends of a roll are cut off."""
    if item.form == "roll":
        return [((0.0, y), (item.length_mm, y)) for y in (0.0, item.width_mm)]
    ring = shapely.get_coordinates(shapely.boundary(unit_region(item))).tolist()
    return [(tuple(a), tuple(b)) for a, b in itertools.pairwise(ring)]


def _shared_mm(side: Side, edge: Side) -> float:
    """Length that a side has in common with an edge; none where either end lies off its line."""
    (ax, ay), (bx, by) = edge
    long = math.hypot(bx - ax, by - ay)
    if long <= 0.0:
        return 0.0
    ux, uy = (bx - ax) / long, (by - ay) / long
    if any(abs((x - ax) * uy - (y - ay) * ux) > ON_EDGE_MM for x, y in side):
        return 0.0
    low, high = sorted((x - ax) * ux + (y - ay) * uy for x, y in side)
    return max(0.0, min(high, long) - max(low, 0.0))
