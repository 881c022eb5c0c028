"""Bolts of a joint: where they stand, how long they are, and how the metal keeps clear of them.

Stations run along the line, from marks and sharp corners ("breaks"); the inset is from the mold
surface to the bolt centre.  Pitch 6 in, sizes 1/4 to 3/8 in, no further than 2 in from corners and
1/8 in of clearance are the trade's habit [practice], and given by the caller.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from solver.rules.customary import INCH_MM, length_words
from solver.rules.refusals import need_not_negative, need_positive

_ROUNDING_MM = 1e-6


@dataclass(frozen=True)
class BoltSize:
    """One size of bolt with its plain hexagon nut and washer."""

    name: str
    diameter_mm: float
    nut_mm: float
    """Height of the nut."""
    washer_mm: float
    """Thickness of one washer."""
    metric: bool


BOLT_SIZES: dict[str, BoltSize] = {
    size.name: size
    for size in (
        # Nuts ASME B18.2.2 nominal; washers ASME B18.21.1 type A wide, nominal [memory].
        BoltSize("1/4 in", INCH_MM / 4, 7 / 32 * INCH_MM, 0.065 * INCH_MM, metric=False),
        BoltSize("5/16 in", INCH_MM * 5 / 16, 17 / 64 * INCH_MM, 0.083 * INCH_MM, metric=False),
        BoltSize("3/8 in", INCH_MM * 3 / 8, 21 / 64 * INCH_MM, 0.083 * INCH_MM, metric=False),
        # Nuts ISO 4032 largest height, washers ISO 7089 nominal [memory].
        BoltSize("M6", 6.0, 5.2, 1.6, metric=True),
        BoltSize("M8", 8.0, 6.8, 1.6, metric=True),
        BoltSize("M10", 10.0, 8.4, 2.0, metric=True),
    )
}

INCH_LENGTHS_MM: tuple[float, ...] = tuple(INCH_MM * n / 4 for n in range(2, 17)) + tuple(
    INCH_MM * n / 2 for n in range(9, 13)
)
"""Quarter inches from 1/2 to 4 in, then half inches to 6 in [practice]."""

METRIC_LENGTHS_MM: tuple[float, ...] = (
    *(12.0, 16.0, 20.0),
    *(float(n) for n in range(25, 71, 5)),
    *(float(n) for n in range(80, 151, 10)),
)
"""Lengths of ISO 4017 [memory]."""


@dataclass(frozen=True)
class BoltNotch:
    """A notch in the edge of the grip that lets a bolt pass."""

    at_mm: float
    """Station of its middle."""
    wide_mm: float
    deep_mm: float
    """From the edge of the grip toward the root line."""


def bolt_size(size: str) -> BoltSize:
    """Return the bolt of this name, such as "5/16 in" or "M8"; ValueError names those there are."""
    wanted = " ".join(size.replace('"', " in").split()).lower()
    for name, bolt in BOLT_SIZES.items():
        if wanted in (name.lower(), name.lower().removesuffix(" in")):
            return bolt
    raise ValueError(f'there is no bolt size "{size}"; write one of: {", ".join(BOLT_SIZES)}')


def diameter_mm(size: str) -> float:
    """Return the diameter of a bolt by its name; ValueError names the sizes there are."""
    return bolt_size(size).diameter_mm


def bolt_stations_mm(
    length_mm: float,
    pitch_mm: float,
    from_ends_mm: float,
    breaks_mm: Sequence[float] = (),
    *,
    closed: bool = False,
) -> tuple[float, ...]:
    """Return the stations of the bolts along a line, rising.

    Each stretch between ends and breaks (marks, sharp corners) gets bolts ``from_ends_mm`` from
    both its ends, spread evenly between, never wider than the pitch.  A stretch up to twice that
    long gets one bolt in its middle; up to three times, two bolts at its thirds, so that they do
    not crowd.  A closed line starts nowhere: without breaks its bolts are spread evenly all round.

    Raises ValueError where a break lies outside the line.
    """
    need_positive("length", length_mm)
    need_positive("bolt pitch", pitch_mm)
    need_not_negative("from_ends", from_ends_mm)
    for place in breaks_mm:
        if not -_ROUNDING_MM <= place <= length_mm + _ROUNDING_MM:
            raise ValueError(
                f"a break at {place:g} mm lies outside the line; "
                f"stations run from 0 to {length_mm:g} mm"
            )
    if closed:
        # The start of a loop is also its end: a break there is one break.
        corners = _distinct([place % length_mm for place in breaks_mm])
        if len(corners) > 1 and corners[0] + length_mm - corners[-1] < _ROUNDING_MM:
            corners.pop()
        if not corners:
            count = max(1, math.ceil(length_mm / pitch_mm - 1e-9))
            return tuple(length_mm * (n + 0.5) / count for n in range(count))
        ends = [*corners, corners[0] + length_mm]
    else:
        ends = _distinct([0.0, *breaks_mm, length_mm])
    stations: list[float] = []
    for start, end in pairwise(ends):
        stations.extend(start + place for place in _stretch_mm(end - start, pitch_mm, from_ends_mm))
    if closed:
        stations = [place % length_mm for place in stations]
    return tuple(_distinct(stations))


def _stretch_mm(length_mm: float, pitch_mm: float, from_ends_mm: float) -> list[float]:
    if length_mm <= 2 * from_ends_mm + _ROUNDING_MM:
        return [length_mm / 2]
    end_mm = min(from_ends_mm, length_mm / 3)
    clear_mm = length_mm - 2 * end_mm
    spaces = max(1, math.ceil(clear_mm / pitch_mm - 1e-9))
    return [end_mm + clear_mm * n / spaces for n in range(spaces + 1)]


def _distinct(places: Sequence[float]) -> list[float]:
    rising: list[float] = []
    for place in sorted(places):
        if not rising or place - rising[-1] > _ROUNDING_MM:
            rising.append(place)
    return rising


def bolt_length_mm(size: str, flange_mm: float, gap_mm: float, washers: int = 2) -> float:
    """Return the bolt to buy: both flanges, the gap, washers and nut, rounded up to a trade length.

    ``flange_mm`` is the thickness of one mold flange.  Lengths go by quarter inches up to 4 in and
    by half inches up to 6 in for inch sizes [practice], by ISO 4017 for metric ones [memory].
    Raises ValueError where no length is long enough.
    """
    need_not_negative("flange thickness", flange_mm)
    need_not_negative("joint gap", gap_mm)
    bolt = bolt_size(size)
    stack_mm = 2 * flange_mm + gap_mm + washers * bolt.washer_mm + bolt.nut_mm
    lengths_mm = METRIC_LENGTHS_MM if bolt.metric else INCH_LENGTHS_MM
    for candidate_mm in lengths_mm:
        if stack_mm <= candidate_mm + _ROUNDING_MM:
            return candidate_mm
    raise ValueError(
        f"flanges, gap, washers and nut stack up to {length_words(stack_mm)}; the longest "
        f"{bolt.name} bolt is {length_words(lengths_mm[-1])}: thin the flanges"
    )


def default_grip_mm(inset_mm: float, bolt_diameter_mm: float, clearance_mm: float) -> float:
    """Return the widest grip that avoids all bolts: inset − d/2 − clearance [practice].

    Raises ValueError where the bolts stand so near the mold surface that nothing is left.
    """
    need_positive("bolt diameter", bolt_diameter_mm)
    need_not_negative("bolt clearance", clearance_mm)
    grip_mm = inset_mm - bolt_diameter_mm / 2 - clearance_mm
    if not grip_mm > 0:
        least_mm = bolt_diameter_mm / 2 + clearance_mm
        raise ValueError(
            f"a bolt inset of {length_words(inset_mm)} leaves no grip; "
            f"it must be more than {length_words(least_mm)}"
        )
    return grip_mm


def bolt_notches(
    stations_mm: Sequence[float],
    grip_mm: float,
    inset_mm: float,
    bolt_diameter_mm: float,
    clearance_mm: float,
) -> tuple[BoltNotch, ...]:
    """Return the notches that a grip needs; none where it keeps clear of the bolts.

    Each is as wide as the bolt and its clearance on both sides, and as deep as the grip reaches
    past ``default_grip_mm``.
    """
    need_not_negative("grip", grip_mm)
    if not grip_mm:
        return ()
    deep_mm = grip_mm - default_grip_mm(inset_mm, bolt_diameter_mm, clearance_mm)
    if deep_mm <= _ROUNDING_MM:
        return ()
    wide_mm = bolt_diameter_mm + 2 * clearance_mm
    return tuple(BoltNotch(place, wide_mm, deep_mm) for place in stations_mm)
