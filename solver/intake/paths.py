"""From what was walked with a tape to a line: curvatures along a length, in the signs of `Line`.

"left" is positive easy-way curvature, "up" positive hard-way curvature; a radius of 0 is a sharp
corner.  A chord c with rise h is an arc of radius c²/8h + h/2 that turns 4·atan(2h/c).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from solver.data.line import Corner, Line, Stretch
from solver.data.scenario import Chord, Cylinder, Turn
from solver.data.units import Measure

_SMOOTH = math.cos(math.radians(100))
"""Three points that turn by more are a corner or a mistake; four round a circle turn by 90°."""

_ROLLED_STEP_DEG = 15.0
"""Corners rolled on a cylinder are cut into stretches that turn by no more: within one the hard-way
curvature cos²θ/R leaves its straight line by under 0.9 % of 1/R, and its mean is kept.
On curves wider than a fifth of the cylinder half of it is taken."""


@dataclass(frozen=True)
class Walk:
    """A line and, for each of its stretches, which item of the written path it came from."""

    line: Line
    items: tuple[int, ...]


class WalkError(ValueError):
    """A step that makes no sense; ``item`` is its place in the path, the message the remedy."""

    def __init__(self, item: int, remedy: str, finding: str | None = None) -> None:
        super().__init__(remedy)
        self.item = item
        self.remedy = remedy
        self.finding = finding


def arc_of_chord(chord_mm: float, rise_mm: float) -> tuple[float, float]:
    """Return length (mm) and turn (degrees) of the arc over a chord with a rise in its middle."""
    if rise_mm == 0:
        return chord_mm, 0.0
    radius_mm = chord_mm**2 / (8 * rise_mm) + rise_mm / 2
    turn = 4 * math.atan(2 * rise_mm / chord_mm)
    return radius_mm * turn, math.degrees(turn)


def walk_steps(
    steps: Sequence[Measure | Turn | Chord], unit: str, *, closed: bool, first_item: int = 0
) -> Walk:
    """Walk straights, turns and chords one after another.

    ``first_item`` is the index of the first step in the path as written.  Raises WalkError.
    """
    stretches: list[Stretch] = []
    items: list[int] = []
    corners: list[Corner] = []
    station_mm = 0.0
    for item, step in enumerate(steps, first_item):
        if isinstance(step, Turn) and step.radius is not None and not step.radius.amount:
            easy_deg, hard_deg = _turns(step)
            if max(abs(easy_deg), abs(hard_deg)) >= 180:
                turned = f"a corner of {max(abs(easy_deg), abs(hard_deg)):g} degrees"
                raise WalkError(item, "a sharp corner turns less than 180 degrees", turned)
            if corners and corners[-1].station_mm == station_mm:
                again = "a second corner at one spot"
                raise WalkError(item, "write one corner, or a length between them", again)
            corners.append(Corner(station_mm, easy_deg, hard_deg))
            continue
        stretch = _stretch(step, unit, item)
        stretches.append(stretch)
        items.append(item)
        station_mm += stretch.length_mm
    if not stretches:
        raise WalkError(first_item, "a path has a length between its marks", "has no length")
    return Walk(Line(tuple(stretches), tuple(corners), closed), tuple(items))


def _turns(turn: Turn) -> tuple[float, float]:
    return (turn.left or 0.0) - (turn.right or 0.0), (turn.up or 0.0) - (turn.down or 0.0)


def _stretch(step: Measure | Turn | Chord, unit: str, item: int) -> Stretch:
    if isinstance(step, Measure):
        return Stretch(step.mm(unit))
    if isinstance(step, Chord):
        chord_mm, rise_mm = step.chord.mm(unit), step.rise.mm(unit)
        if rise_mm > chord_mm / 2:
            found = f"rises {rise_mm / chord_mm:.2f} of its chord"
            raise WalkError(item, "the rise of a chord is at most half of it; check both", found)
        length_mm, turn_deg = arc_of_chord(chord_mm, rise_mm)
        easy_deg = {"left": turn_deg, "right": -turn_deg}.get(step.to, 0.0)
        hard_deg = {"up": turn_deg, "down": -turn_deg}.get(step.to, 0.0)
        return arc(length_mm, easy_deg, hard_deg)
    easy_deg, hard_deg = _turns(step)
    if step.length is not None:
        return arc(step.length.mm(unit), easy_deg, hard_deg)
    assert step.radius is not None
    length_mm = step.radius.mm(unit) * math.radians(abs(easy_deg) + abs(hard_deg))
    if length_mm == 0:
        remedy = "a turn is more than 0 degrees; leave it out otherwise"
        raise WalkError(item, remedy, "turns 0 degrees")
    return arc(length_mm, easy_deg, hard_deg)


def arc(length_mm: float, easy_deg: float, hard_deg: float) -> Stretch:
    """Return a stretch of even curvature that turns by these angles."""
    easy = math.radians(easy_deg) / length_mm
    hard = math.radians(hard_deg) / length_mm
    return Stretch(length_mm, easy, easy, hard, hard)


def rectangle(width_mm: float, height_mm: float, radius_mm: float) -> Walk:
    """Walk round a rectangle to the left, from the middle of its first side (``width_mm``).

    The items of the walk are 0 for the sides of the first measure and 1 for those of the second.
    """
    if 2 * radius_mm > min(width_mm, height_mm) * (1 + 1e-9):
        raise WalkError(0, "the radius is at most half of the shorter side")
    stretches: list[Stretch] = []
    items: list[int] = []
    corners: list[Corner] = []
    station_mm = 0.0
    sides = [(0, width_mm / 2), (1, height_mm), (0, width_mm), (1, height_mm), (0, width_mm / 2)]
    for index, (item, side_mm) in enumerate(sides):
        cut_mm = radius_mm * (1 if index in (0, len(sides) - 1) else 2)
        straight_mm = side_mm - cut_mm
        if straight_mm > 1e-9:
            stretches.append(Stretch(straight_mm))
            items.append(item)
            station_mm += straight_mm
        if index == len(sides) - 1:
            break
        if radius_mm:
            stretches.append(arc(radius_mm * math.pi / 2, 90.0, 0.0))
            items.append(item)
            station_mm += stretches[-1].length_mm
        else:
            corners.append(Corner(station_mm, 90.0))
    return Walk(Line(tuple(stretches), tuple(corners), closed=True), tuple(items))


def circle(diameter_mm: float) -> Walk:
    """Walk round a circle to the left."""
    return Walk(Line((arc(math.pi * diameter_mm, 360.0, 0.0),), closed=True), (0,))


def rolled(walk: Walk, rolled_on: Cylinder, unit: str) -> Walk:
    """Lay a flat closed walk on a cylinder, its first stretch running round.

    With θ the heading from there, the hard-way curvature is cos²θ/R (Euler) and the twist
    −sinθ·cosθ/R in the frame of `Line`; the walk's easy turns are kept, as a cylinder unrolls.
    """
    hard = (
        1 / rolled_on.up.mm(unit)
        if rolled_on.up is not None
        else -1 / (rolled_on.down.mm(unit) if rolled_on.down is not None else math.inf)
    )
    stretches: list[Stretch] = []
    items: list[int] = []
    heading = station_mm = 0.0
    corners = {corner.station_mm: corner for corner in walk.line.corners}
    for stretch, item in zip(walk.line.stretches, walk.items, strict=True):
        heading += math.radians(corners[station_mm].easy_deg) if station_mm in corners else 0.0
        mean = (stretch.easy_start + stretch.easy_end) / 2
        turn = mean * stretch.length_mm
        step_deg = _ROLLED_STEP_DEG if abs(mean) > 5 * abs(hard) else _ROLLED_STEP_DEG / 2
        pieces = max(1, math.ceil(abs(math.degrees(turn)) / step_deg - 1e-9))
        for _ in range(pieces):
            after = heading + turn / pieces
            round_start, round_end = math.cos(heading) ** 2, math.cos(after) ** 2
            round_mean, twist_mean = _means_on_cylinder(heading, after)
            level = round_mean - (round_start + round_end) / 2
            stretches.append(
                replace(
                    stretch,
                    length_mm=stretch.length_mm / pieces,
                    hard_start=hard * (round_start + level),
                    hard_end=hard * (round_end + level),
                    twist_per_mm=-hard * twist_mean,
                )
            )
            items.append(item)
            heading = after
        station_mm += stretch.length_mm
    return Walk(Line(tuple(stretches), walk.line.corners, closed=True), tuple(items))


def _means_on_cylinder(start: float, end: float) -> tuple[float, float]:
    """Return the means of cos²θ and of sinθ·cosθ between two headings."""
    if abs(end - start) < 1e-9:
        return math.cos(start) ** 2, math.sin(start) * math.cos(start)
    return (
        0.5 + (math.sin(2 * end) - math.sin(2 * start)) / (4 * (end - start)),
        (math.sin(end) ** 2 - math.sin(start) ** 2) / (2 * (end - start)),
    )


def sharpest_turn(points_mm: NDArray[np.float64], *, closed: bool) -> int | None:
    """Return the first of some measured points where the way turns by more than a smooth line."""
    ahead = np.diff(np.vstack([points_mm, points_mm[:1]]) if closed else points_mm, axis=0)
    lengths = np.linalg.norm(ahead, axis=1)
    if len(ahead) < 2 or not lengths.all():
        return None
    ahead /= lengths[:, None]
    before = np.roll(ahead, 1, axis=0)
    cosines = np.sum(ahead * before, axis=1)
    cosines[0] = cosines[0] if closed else 1.0
    sharp = np.flatnonzero(cosines < _SMOOTH)
    return int(sharp[0]) if len(sharp) else None
