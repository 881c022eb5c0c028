"""Blanks that overlap are eased apart: all of them move and turn at once, down a smooth slope.

The slope of the strain in shifts and turns is exact, so a quasi-Newton method finds the nearest
layout of little strain in a few dozen steps of some hundredths of a millisecond: L-BFGS (Nocedal,
"Updating quasi-Newton matrices with limited storage", 1980) with steps halved or interpolated until
strain falls (Armijo's rule).  A layout without strain is right but for corners that lie between
samples: what comes of it is to be mended and measured.
"""

from __future__ import annotations

import math

import numpy as np

from solver.nests.compiled import compiled, compiled_within
from solver.nests.depths import Blanks, Ints, Mask
from solver.nests.shapes import Points
from solver.nests.strain import (
    LOOSE_MM,
    Desk,
    Rooms,
    Spots,
    lay_all_out,
    lay_out,
    list_near,
    strain_between,
    strain_outside,
)

MEMORY = 8
"""Steps that L-BFGS remembers."""
FIRST_SCALE = 0.25
"""Of the slope, for a step of which nothing is known: half the way out of one point's depth."""
LONGEST_MM = 60.0
"""No blank moves farther in one step."""
TRIES = 10
"""Lengths of one step before it is given up."""
ENOUGH_FALL = 1e-4
"""Share of the fall that the slope foretells, which a step must reach."""
LEAST_FALL = 1e-5
"""Share of the strain; where one step gains less, no more are made."""
NOTHING = 1e-6
"""Strain in mm2 below which there is nothing left to ease."""
AGAIN = 0.4
"""Share of LOOSE_MM: x, y and arc of a blank may each change by so much."""
LOOKS = 10
"""Steps after which easing ends where strain is still hopeless."""


@compiled_within
def _at(blanks: Blanks, spots: Spots, who: Ints, z: Points, desk: Desk) -> None:
    """Put the blanks that move where the variables say: x, y and turn times radius of each."""
    for a in range(len(who)):
        k = who[a]
        spots.x_mm[k], spots.y_mm[k] = z[3 * a], z[3 * a + 1]
        spots.turn_rad[k] = z[3 * a + 2] / blanks.radius_mm[k]
        lay_out(blanks, spots, k, desk)


@compiled_within
def _slope_at(
    blanks: Blanks,
    spots: Spots,
    rooms: Rooms,
    who: Ints,
    pairs: int,
    weights: Points,
    desk: Desk,
    rise: Points,
) -> float:
    """Strain of what moves where it lies; its slope over the variables is written into rise."""
    slope = desk.slope
    for k in range(len(slope)):
        slope[k, 0], slope[k, 1], slope[k, 2] = 0.0, 0.0, 0.0
    total = 0.0
    for q in range(pairs):
        weight = weights[desk.pair[q, 0], desk.pair[q, 1]]
        part, _ = strain_between(blanks, spots, q, weight, desk)
        total += part
    for a in range(len(who)):
        k = who[a]
        part, _ = strain_outside(blanks, spots, rooms, k, desk)
        total += part
        rise[3 * a], rise[3 * a + 1] = 2.0 * slope[k, 0], 2.0 * slope[k, 1]
        rise[3 * a + 2] = 2.0 * slope[k, 2] / blanks.radius_mm[k] if blanks.free[k] else 0.0
    return total


@compiled_within
def _dot(a: Points, b: Points) -> float:
    total = 0.0
    for k in range(len(a)):
        total += a[k] * b[k]
    return total


@compiled_within
def _downhill(
    rise: Points, shifts: Points, turns: Points, per: Points, known: int, scale: float, way: Points
) -> None:
    """Direction of the next step, by the two loops of L-BFGS; of step s the row is s % MEMORY."""
    share = np.empty(MEMORY)
    oldest = max(0, known - MEMORY)
    for a in range(len(way)):
        way[a] = -rise[a]
    for step in range(known - 1, oldest - 1, -1):
        h = step % MEMORY
        share[h] = _dot(shifts[h], way) * per[h]
        for a in range(len(way)):
            way[a] -= share[h] * turns[h, a]
    for a in range(len(way)):
        way[a] *= scale
    for step in range(oldest, known):
        h = step % MEMORY
        back = share[h] - _dot(turns[h], way) * per[h]
        for a in range(len(way)):
            way[a] += back * shifts[h, a]


@compiled
def ease(
    blanks: Blanks,
    spots: Spots,
    rooms: Rooms,
    moving: Mask,
    steps: int,
    hopeless: float,
    weights: Points,
    desk: Desk,
) -> float:
    """Ease the blanks that move, where they lie, so many steps; return their strain in mm2.

    Strain between two of them counts ``weights`` (n, n) times.  Blanks that do not move are
    obstacles; strain among them is not counted.  Where more strain than ``hopeless`` is left after
    LOOKS steps, that is the end.
    """
    who = np.nonzero(moving)[0]
    size = 3 * len(who)
    z, tried, listed = np.empty(size), np.empty(size), np.empty(size)
    rise, after, way = np.empty(size), np.empty(size), np.empty(size)
    shifts, turns, per = np.empty((MEMORY, size)), np.empty((MEMORY, size)), np.empty(MEMORY)
    for a in range(len(who)):
        k = who[a]
        z[3 * a], z[3 * a + 1] = spots.x_mm[k], spots.y_mm[k]
        z[3 * a + 2] = spots.turn_rad[k] * blanks.radius_mm[k]
    lay_all_out(blanks, spots, desk)
    pairs = list_near(blanks, spots, moving, desk)
    for a in range(size):
        listed[a] = z[a]
    strain = _slope_at(blanks, spots, rooms, who, pairs, weights, desk, rise)
    known, scale = 0, FIRST_SCALE
    for step in range(steps):
        if strain < NOTHING or (step == LOOKS and strain > hopeless):
            break
        _downhill(rise, shifts, turns, per, known, scale, way)
        fall = _dot(rise, way)
        longest = 0.0
        for a in range(size):
            longest = max(longest, abs(way[a]))
        length = min(1.0, LONGEST_MM / max(longest, LONGEST_MM))
        tries, less = 0, math.inf
        while fall < 0.0 and tries < TRIES:
            tries += 1
            far = 0.0
            for a in range(size):
                tried[a] = z[a] + length * way[a]
                far = max(far, abs(tried[a] - listed[a]))
            _at(blanks, spots, who, tried, desk)
            if far > AGAIN * LOOSE_MM:
                pairs = list_near(blanks, spots, moving, desk)
                for a in range(size):
                    listed[a] = tried[a]
            less = _slope_at(blanks, spots, rooms, who, pairs, weights, desk, after)
            if less <= strain + ENOUGH_FALL * length * fall:
                break
            # the parabola through both strains and the slope is lowest there
            lowest = -fall * length * length / (2.0 * (less - strain - fall * length))
            length = min(max(lowest, 0.1 * length), 0.5 * length)
        if less > strain + ENOUGH_FALL * length * fall:
            if known == 0:
                break
            known, scale = 0, FIRST_SCALE  # what was remembered misled: along the slope once more
            continue
        h = known % MEMORY
        curve, square = 0.0, 0.0
        for a in range(size):
            shifts[h, a], turns[h, a] = tried[a] - z[a], after[a] - rise[a]
            curve += shifts[h, a] * turns[h, a]
            square += turns[h, a] * turns[h, a]
            z[a], rise[a] = tried[a], after[a]
        if curve > 1e-10 * square:
            per[h], scale = 1.0 / curve, curve / square
            known += 1
        fallen, strain = strain - less, less
        if fallen < LEAST_FALL * max(strain, 1.0):
            break
    _at(blanks, spots, who, z, desk)
    return strain
