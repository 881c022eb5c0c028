"""Offcuts: what a plan says is left of a unit is there, whole, and worth keeping."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from solver.checker.nests import placed_polygon, usable_region
from solver.checker.reading import Reading
from solver.checker.report import Fault
from solver.checker.tolerances import GAP_SLACK_MM, RIGHT_ANGLE
from solver.data.plan import NestPlan, Offcut

SHORT_SIDE_MM = 50.8
LONG_SIDE_MM = 304.8
"""A rectangle of 2 x 12 in is the least that is worth keeping [practice]."""


def offcuts(reading: Reading) -> Iterator[Fault]:
    """Offcuts lie in what may be cut, off every blank by the gap, off one another, large enough."""
    for nest in reading.plan.nests:
        for number, offcut in enumerate(nest.offcuts, start=1):
            for sentence in _faults(reading, nest, number - 1):
                yield Fault("offcut", f'nest "{nest.id}", offcut {number}', sentence)
            if (wrong := _too_small(offcut)) is not None:
                yield Fault("offcut", f'nest "{nest.id}", offcut {number}', wrong)


def _faults(reading: Reading, nest: NestPlan, index: int) -> Iterator[str]:
    gap = reading.job.rules.cutting_gap_mm
    outline = shapely.Polygon(nest.offcuts[index].outline_mm)
    region = usable_region(reading.job, reading.job.stock_of[nest.stock])
    if not shapely.covers(shapely.buffer(region, GAP_SLACK_MM, join_style="mitre"), outline):
        outside = shapely.area(shapely.difference(outline, region))
        yield f"{outside:.1f} mm2 of it lie outside what may be cut of the unit"
    cut = [(one.piece, placed_polygon(reading.piece_of[one.piece], one)) for one in nest.placed]
    cut += [(f"gone {n}", shapely.Polygon(ring)) for n, ring in enumerate(nest.gone_mm, start=1)]
    for name, blank in cut:
        apart = shapely.distance(outline, blank)
        over = shapely.area(shapely.intersection(outline, blank))
        if over > GAP_SLACK_MM * outline.length:
            yield f'{over:.1f} mm2 of it are used already, by piece "{name}"'
        elif apart < gap - GAP_SLACK_MM:
            yield f'lies {apart:.3f} mm from piece "{name}"; the cutting gap is {gap:.3f} mm'
    for before in nest.offcuts[:index]:
        over = shapely.area(shapely.intersection(outline, shapely.Polygon(before.outline_mm)))
        if over > GAP_SLACK_MM * outline.length:
            yield f"{over:.1f} mm2 of it are used already, by another offcut"


def _too_small(offcut: Offcut) -> str | None:
    """Say what is wrong with the rectangle that an offcut holds."""
    corners = np.array(offcut.holds_mm or offcut.outline_mm, dtype=np.float64)
    if len(corners) != 4:
        return "does not say what rectangle it holds"
    sides = np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    if lengths.min() < SHORT_SIDE_MM - GAP_SLACK_MM:
        return f"is {lengths.min():.1f} mm wide at most; less than {SHORT_SIDE_MM} is scrap"
    turned = np.abs((sides * np.roll(sides, -1, axis=0)).sum(axis=1))
    if (turned > RIGHT_ANGLE * lengths * np.roll(lengths, -1)).any():
        return "does not say what rectangle it holds"
    if lengths.max() < LONG_SIDE_MM - GAP_SLACK_MM:
        return f"is {lengths.max():.1f} mm long at most; less than {LONG_SIDE_MM} is scrap"
    if offcut.holds_mm:
        outline = shapely.Polygon(offcut.outline_mm)
        grown = shapely.buffer(outline, GAP_SLACK_MM, join_style="mitre")
        if not shapely.covers(grown, shapely.Polygon(corners)):
            return "does not hold the rectangle that it names"
    return None
