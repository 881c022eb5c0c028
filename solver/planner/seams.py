"""Where a stretch of run is cut into pieces: seams off corners, notches and visible lines.

Seams are chosen by dynamic programming over a grid of stations, so that for a given number of
pieces no other choice on the grid is better.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Zone = tuple[float, float]

GRID_MM = 6.35
"""Seams are offered every quarter inch or a little wider, at even spacing, at marks and where zones
begin and end: a best seam is even or stands at the border of a zone."""
MOST_GRID_POINTS = 80
MOST_POINTS_ON_A_FOLD = 240
"""Where a fold limits the pieces, an inch may decide whether one piece more is needed."""
LEAST_MM = 1.0
"""No piece is shorter, even where the shop has no least length: two seams are two places."""
AVOIDED_COST = 1000.0
"""In minutes: a seam near a corner or a notch only where nothing else is possible."""
CURVE_COST = 0.5
"""In minutes: fitting a butt on a curve."""
UNEVEN_COST = 0.05
"""In minutes, for a seam a whole piece length away from even spacing: breaks ties only."""


@dataclass(frozen=True)
class SeamRules:
    """What a seam costs and where it may not be, by station of the run.

    ``banned`` zones are never used, ``avoided`` ones only where nothing else is possible.
    ``marks`` are stations offered besides the grid.  ``reach`` gives for stations the farthest end
    of a piece that begins there, where a fold limits it; the last piece has ``trim_mm`` besides.
    """

    longest_mm: float
    shortest_mm: float
    banned: tuple[Zone, ...]
    avoided: tuple[Zone, ...]
    curved: tuple[Zone, ...]
    visible: tuple[Zone, ...]
    visible_cost: float
    marks: tuple[float, ...] = ()
    reach: Callable[[Floats], Floats] | None = None
    trim_mm: float = 0.0


@dataclass(frozen=True)
class Seams:
    """Stations from the start of the stretch to its end, and whether an avoided place was used."""

    stations_mm: tuple[float, ...]
    cost: float
    forced: bool


def place_seams(start_mm: float, end_mm: float, pieces: int, rules: SeamRules) -> Seams | None:
    """Best seams that cut a stretch into this many pieces, or None where no choice is allowed.

    The ends of the stretch are given and not judged.
    """
    length = end_mm - start_mm
    shortest = min(rules.shortest_mm, length)
    if pieces * rules.longest_mm < length - 1e-6 or pieces * shortest > length + 1e-6:
        return None
    if rules.reach is not None and not _reaches(start_mm, end_mm, pieces, rules):
        return None
    even = start_mm + length * np.arange(1, pieces) / pieces
    if _free(even, rules) and _reached(np.array([start_mm, *even, end_mm]), rules):
        return Seams((start_mm, *(float(s) for s in even), end_mm), 0.0, False)
    if pieces == 1:
        return None
    most = MOST_GRID_POINTS if rules.reach is None else MOST_POINTS_ON_A_FOLD
    step = max(GRID_MM, length / most)
    grid = np.arange(start_mm + step, end_mm - step / 2, step)
    zones = rules.banned + rules.avoided + rules.curved + rules.visible
    special = np.array([*rules.marks, *(border for zone in zones for border in zone)])
    special = special[(special > start_mm + LEAST_MM) & (special < end_mm - LEAST_MM)]
    places = np.unique(np.round(np.concatenate((grid, even, special)), 6))
    places = places[~_within(places, rules.banned, strict=True)]
    if len(places) < pieces - 1:
        return None
    avoided = _within(places, rules.avoided, strict=True)
    here = (
        AVOIDED_COST * avoided
        + CURVE_COST * _within(places, rules.curved, strict=True)
        + rules.visible_cost * _within(places, rules.visible, strict=False)
    )
    piece = length / pieces
    longest = rules.longest_mm
    step_ok = _allowed(places[None, :] - places[:, None], shortest, longest)
    first_ok = _allowed(places - start_mm, shortest, longest)
    last_ok = _allowed(end_mm - places, shortest, longest)
    if rules.reach is not None:
        reach = rules.reach(np.append(places, start_mm)) + 1e-6
        step_ok &= places[None, :] <= reach[:-1, None]
        first_ok &= places <= reach[-1]
        last_ok &= end_mm + rules.trim_mm <= reach[:-1]
    closed = np.where(step_ok, 0.0, np.inf)
    best = np.where(first_ok, 0.0, np.inf)
    best = best + here + UNEVEN_COST * ((places - even[0]) / piece) ** 2
    back: list[NDArray[np.intp]] = []
    for number in range(1, pieces - 1):
        through = best[:, None] + closed
        came = np.argmin(through, axis=0)
        back.append(came)
        best = through[came, np.arange(len(places))]
        best = best + here + UNEVEN_COST * ((places - even[number]) / piece) ** 2
    last = np.where(last_ok, best, np.inf)
    at = int(np.argmin(last))
    if not np.isfinite(last[at]):
        return None
    cost = float(last[at])
    chosen = [at]
    for came in reversed(back):
        chosen.append(int(came[chosen[-1]]))
    stations = tuple(float(places[i]) for i in reversed(chosen))
    return Seams((start_mm, *stations, end_mm), cost, bool(avoided[chosen].any()))


def _reaches(start_mm: float, end_mm: float, pieces: int, rules: SeamRules) -> bool:
    """Whether so many pieces get to the end if each runs as far as its fold allows.

    A later start never ends earlier, so running far is never worse.
    """
    assert rules.reach is not None
    at = start_mm
    for _ in range(pieces):
        farthest = float(rules.reach(np.array([at]))[0]) + 1e-6
        if end_mm + rules.trim_mm <= farthest:
            return True
        at = min(farthest, at + rules.longest_mm)
    return False


def _free(places: Floats, rules: SeamRules) -> bool:
    """Whether seams may lie at these places at no cost."""
    return not (
        _within(places, rules.banned, strict=True).any()
        or _within(places, rules.avoided, strict=True).any()
        or _within(places, rules.curved, strict=True).any()
        or (rules.visible_cost > 0 and _within(places, rules.visible, strict=False).any())
    )


def _reached(stations: Floats, rules: SeamRules) -> bool:
    """Whether no piece between stations is longer than its fold allows."""
    if rules.reach is None:
        return True
    ends = stations[1:].copy()
    ends[-1] += rules.trim_mm
    return bool((ends <= rules.reach(stations[:-1]) + 1e-6).all())


def place_seams_round(
    length_mm: float, pieces: int, rules: SeamRules, starts_mm: Sequence[float]
) -> Seams | None:
    """Best seams of a closed run: the first seam too is chosen, among the starts offered.

    Zones are given on the loop; stations may run past its length.
    """
    best: Seams | None = None
    twice = replace(
        rules,
        banned=_unrolled(rules.banned, length_mm),
        avoided=_unrolled(rules.avoided, length_mm),
        curved=_unrolled(rules.curved, length_mm),
        visible=_unrolled(rules.visible, length_mm),
        marks=tuple(m + lap for lap in (0.0, length_mm) for m in rules.marks),
    )
    for start in starts_mm:
        here = np.array([start])
        if _within(here, twice.banned, strict=True)[0]:
            continue
        at_avoided = bool(_within(here, twice.avoided, strict=True)[0])
        own = (
            AVOIDED_COST * at_avoided
            + CURVE_COST * float(_within(here, twice.curved, strict=True)[0])
            + rules.visible_cost * float(_within(here, twice.visible, strict=False)[0])
        )
        rest = place_seams(start, start + length_mm, pieces, twice)
        if rest is not None and (best is None or own + rest.cost < best.cost - 1e-9):
            best = Seams(rest.stations_mm, own + rest.cost, rest.forced or at_avoided)
            if best.cost == 0.0:
                break
    return best


def _unrolled(zones: tuple[Zone, ...], length_mm: float) -> tuple[Zone, ...]:
    return tuple((a + lap, b + lap) for lap in (-length_mm, 0.0, length_mm) for a, b in zones)


def _within(places: Floats, zones: tuple[Zone, ...], *, strict: bool) -> NDArray[np.bool_]:
    if not zones:
        return np.zeros(len(places), dtype=bool)
    slack = -1e-6 if strict else 1e-6
    low = np.array([zone[0] for zone in zones]) - slack
    high = np.array([zone[1] for zone in zones]) + slack
    inside: NDArray[np.bool_] = np.logical_or.reduce(
        (places[:, None] >= low) & (places[:, None] <= high), axis=1
    )
    return inside


def _allowed(lengths: Floats, shortest: float, longest: float) -> NDArray[np.bool_]:
    least = max(shortest - 1e-6, LEAST_MM)
    allowed: NDArray[np.bool_] = (lengths >= least) & (lengths <= longest + 1e-6)
    return allowed
