"""Blanks to be eased apart, the rooms they lie in, and how both are said to compiled code."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from solver.nests import easing
from solver.nests.depths import Blanks, Body, blanks_of, bodies_of
from solver.nests.shapes import Placement, Points, Shape
from solver.nests.strain import Desk, Rooms, Spots, make_desk, strain_all

SPARE_MM = 0.15
"""Asked beyond the gap, since corners lie between samples."""
MOST_BLANKS = 400
"""More are not eased: pairs of them are listed."""
APART_MM = 1000.0
"""Between rooms that lie one behind the other in one plane."""


@dataclass(frozen=True, eq=False)
class Bed:
    """What stays the same while blanks are eased: their outlines, and room to work in."""

    shapes: tuple[Shape, ...]
    bodies: tuple[Body, ...]
    blanks: Blanks
    desk: Desk

    @property
    def count(self) -> int:
        """Number of blanks."""
        return len(self.shapes)


@dataclass(frozen=True, eq=False)
class Strain:
    """Strain of a layout in all, how deep the worst point lies, and strain between each pair.

    What lies outside its room strains a blank against itself: the diagonal.
    """

    total: float
    worst_mm: float
    between: Points


def make_bed(shapes: Sequence[Shape], gap_mm: float) -> Bed:
    """Bed of blanks, one for each shape named."""
    free = np.array([not shape.square for shape in shapes])
    asked_mm = gap_mm + SPARE_MM
    bodies = bodies_of(shapes, asked_mm)
    blanks = blanks_of(bodies, free, asked_mm)
    return Bed(tuple(shapes), bodies, blanks, make_desk(blanks))


def rooms_of(sizes_mm: Sequence[tuple[float, float, float, float]]) -> tuple[Rooms, Points]:
    """Rooms of so many rectangles, laid one behind the other, and the shift (r, 2) of each."""
    rooms = np.array(sizes_mm, dtype=np.float64)
    starts = np.concatenate(([0.0], np.cumsum(rooms[:, 2] - rooms[:, 0] + APART_MM)[:-1]))
    shift = np.column_stack((starts - rooms[:, 0], -rooms[:, 1]))
    return rooms + np.tile(shift, 2), shift


def spots_of(bed: Bed, placements: Sequence[Placement], shift: Points) -> Spots:
    """Spots of placements, in order of the blanks."""
    turn = np.radians([p.turn_deg for p in placements])
    side = np.array([-1.0 if p.flipped else 1.0 for p in placements])
    room = np.array([p.unit for p in placements], dtype=np.int64)
    middle = np.array([body.middle_mm for body in bed.bodies])
    cos, sin = np.cos(turn), np.sin(turn)
    x = np.array([p.x_mm for p in placements]) + cos * middle[:, 0] - sin * middle[:, 1] * side
    y = np.array([p.y_mm for p in placements]) + sin * middle[:, 0] + cos * middle[:, 1] * side
    return Spots(x + shift[room, 0], y + shift[room, 1], turn, side, room)


def placements_of(bed: Bed, spots: Spots, shift: Points) -> list[Placement]:
    """Placements of spots; square blanks come out square to the last digit."""
    result: list[Placement] = []
    for k, body in enumerate(bed.bodies):
        turn_deg = math.degrees(spots.turn_rad[k]) % 360.0
        if not bed.blanks.free[k]:
            turn_deg = round(turn_deg / 90.0) % 4 * 90.0
        turn, side = math.radians(turn_deg), float(spots.side[k])
        cos, sin = math.cos(turn), math.sin(turn)
        a, b = body.middle_mm.tolist()
        room = int(spots.room[k])
        x = float(spots.x_mm[k] - shift[room, 0]) - (cos * a - sin * b * side)
        y = float(spots.y_mm[k] - shift[room, 1]) - (sin * a + cos * b * side)
        result.append(Placement(bed.shapes[k].id, room, x, y, turn_deg, side < 0))
    return result


def own(spots: Spots) -> Spots:
    """Spots that may be written to."""
    return Spots(
        spots.x_mm.copy(),
        spots.y_mm.copy(),
        spots.turn_rad.copy(),
        spots.side.copy(),
        spots.room.copy(),
    )


def strain_of(bed: Bed, spots: Spots, rooms: Rooms) -> Strain:
    """Strain of a layout, pair by pair."""
    between = np.empty((bed.count, bed.count))
    total, worst_mm = strain_all(bed.blanks, spots, rooms, bed.desk, between)
    return Strain(total, worst_mm, between)


def settle(bed: Bed, spots: Spots, rooms: Rooms, steps: int) -> tuple[Spots, float]:
    """Ease all blanks so many steps, pairs weighing alike; where they lie then and their strain."""
    spots = own(spots)
    everything, alike = np.ones(bed.count, dtype=np.bool_), np.ones((bed.count, bed.count))
    strain = easing.ease(bed.blanks, spots, rooms, everything, steps, math.inf, alike, bed.desk)
    return spots, strain
