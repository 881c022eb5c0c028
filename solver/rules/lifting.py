"""Lifting a section: who may lift it, one, a team, or a hoist.

One person goes by the revised NIOSH lifting equation (publication 94-110), in its own units inside:
RWL = 51·HM·VM·DM·AM·FM·CM lb.  A team is outside it: two people manage about 2/3 of their summed
capacity, three about 1/2, and more than four seldom works (HSE L23); for four there is no published
figure and 2/5 carries the row 2/3, 2/4 on [derived].  Local codes and licensed practice decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from solver.rules.customary import INCH_MM, POUND_KG, mass_words
from solver.rules.refusals import need_between, need_not_negative, need_positive

LOAD_CONSTANT_KG = 51 * POUND_KG
"""The most that the equation lets anyone lift."""

TEAM_FRACTIONS: dict[int, float] = {2: 2 / 3, 3: 1 / 2, 4: 2 / 5}
"""Share of their summed capacity that a team manages, by people."""

LARGEST_TEAM = max(TEAM_FRACTIONS)
TEAM_CAPACITY_KG = 23.0
"""Most that one of a team counts with (NIOSH load constant in its metric form)."""

DECIDES = "local codes and licensed practice decide"


def horizontal_multiplier(horizontal_mm: float) -> float:
    """Return HM: 10/H in inches, 1 below 10 in, 0 beyond 25 in from the ankles."""
    need_not_negative("horizontal distance of the hands", horizontal_mm)
    inches = horizontal_mm / INCH_MM
    if inches > 25 + 1e-9:
        return 0.0
    return min(1.0, 10 / inches) if inches else 1.0


def vertical_multiplier(vertical_mm: float) -> float:
    """Return VM: 1 − 0.0075·|V − 30 in|, 0 above 70 in."""
    need_not_negative("height of the hands", vertical_mm)
    inches = vertical_mm / INCH_MM
    return 0.0 if inches > 70 + 1e-9 else 1 - 0.0075 * abs(inches - 30)


def distance_multiplier(travel_mm: float) -> float:
    """Return DM: 0.82 + 1.8/D in inches, 1 below 10 in, 0 beyond 70 in of travel."""
    need_not_negative("travel of the lift", travel_mm)
    inches = travel_mm / INCH_MM
    if inches > 70 + 1e-9:
        return 0.0
    # At exactly 10 in the formula is 1; below it the limit holds.
    return 1.0 if inches <= 10 else 0.82 + 1.8 / inches


def asymmetry_multiplier(asymmetry_deg: float) -> float:
    """Return AM: 1 − 0.0032·A, 0 beyond 135°."""
    need_between("asymmetry", asymmetry_deg, 0, 180)
    return 0.0 if asymmetry_deg > 135 + 1e-9 else 1 - 0.0032 * asymmetry_deg


def coupling_multiplier(grasp: Literal["good", "fair", "poor"], vertical_mm: float) -> float:
    """Return CM by the grasp and the height of the hands, below or from 30 in (94-110 [memory])."""
    if grasp not in ("good", "fair", "poor"):
        raise ValueError(f'grasp is "{grasp}"; write "good", "fair" or "poor"')
    if grasp == "good":
        return 1.0
    if grasp == "poor":
        return 0.90
    return 0.95 if vertical_mm < 30 * INCH_MM - 1e-9 else 1.0


def recommended_weight_limit_kg(
    horizontal_mm: float,
    vertical_mm: float,
    travel_mm: float,
    asymmetry_deg: float,
    frequency_multiplier: float,
    coupling: float,
) -> float:
    """Return RWL for one person at one end of the lift; 0 where no rating exists.

    ``coupling`` is CM itself, see ``coupling_multiplier``.
    """
    need_between("frequency multiplier", frequency_multiplier, 0, 1)
    need_between("coupling multiplier", coupling, 0, 1)
    return (
        LOAD_CONSTANT_KG
        * horizontal_multiplier(horizontal_mm)
        * vertical_multiplier(vertical_mm)
        * distance_multiplier(travel_mm)
        * asymmetry_multiplier(asymmetry_deg)
        * frequency_multiplier
        * coupling
    )


def lifting_index(mass_kg: float, limit_kg: float) -> float:
    """Return load over RWL; above 1 the lift asks for a change.  Infinite where RWL is 0."""
    need_not_negative("mass", mass_kg)
    return mass_kg / limit_kg if limit_kg > 0 else float("inf")


def hands_from_ankles_mm(load_depth_mm: float, vertical_mm: float) -> float:
    """Return H for a load this deep: 8 + W/2 in, 10 + W/2 with the hands below 10 in (94-110)."""
    need_not_negative("depth of the load", load_depth_mm)
    before = 8 if vertical_mm >= 10 * INCH_MM - 1e-9 else 10
    return before * INCH_MM + load_depth_mm / 2


@dataclass(frozen=True)
class Posture:
    """How one person is taken to lift a section [practice]."""

    vertical_mm: float = 30 * INCH_MM
    """Height of the hands: sections come off at knuckle height."""
    travel_mm: float = 10 * INCH_MM
    asymmetry_deg: float = 0.0
    frequency_multiplier: float = 1.0
    """Now and then."""
    grasp: Literal["good", "fair", "poor"] = "poor"
    """A laminate edge is no handle."""
    depth_mm: float | None = None
    """Depth of the load where no box tells it; None gives no one-person rating then."""


AT_KNUCKLES = Posture()


@dataclass(frozen=True)
class Lift:
    """Who lifts a section, and on what basis."""

    people: int | None
    """None where it is not lifted by hand."""
    hoist: bool
    basis: str


def team_capacity_kg(people: int, single_kg: float = TEAM_CAPACITY_KG) -> float:
    """Return what a team of 2 to 4 manages: its share of the summed capacity.

    Nobody counts with more than 23 kg.  Raises ValueError for another number of people.
    """
    need_positive("capacity of one person", single_kg)
    if people not in TEAM_FRACTIONS:
        raise ValueError(f"people is {people}; a team has 2 to {LARGEST_TEAM}")
    return TEAM_FRACTIONS[people] * people * min(single_kg, TEAM_CAPACITY_KG)


def crew_needed(
    mass_kg: float,
    box_mm: tuple[float, float, float] | None,
    crew: int,
    posture: Posture = AT_KNUCKLES,
) -> Lift:
    """Return who lifts a section of this mass: the fewest people that may, or a hoist.

    ``box_mm`` are its three outside dimensions in any order, or None if they are not known; one
    person holds it with the least of them in front of him.  ``crew`` is how many there are.
    """
    need_not_negative("mass", mass_kg)
    if crew < 1:
        raise ValueError(f"crew is {crew}; at least 1 person is needed")
    depth_mm = min(box_mm) if box_mm is not None else posture.depth_mm
    one = "its size is not known, so one person has no rating"
    if depth_mm is not None:
        limit_kg = recommended_weight_limit_kg(
            hands_from_ankles_mm(depth_mm, posture.vertical_mm),
            posture.vertical_mm,
            posture.travel_mm,
            posture.asymmetry_deg,
            posture.frequency_multiplier,
            coupling_multiplier(posture.grasp, posture.vertical_mm),
        )
        held = (
            f"held {depth_mm / INCH_MM:.0f} in deep{'' if box_mm is not None else ' (assumed)'}, "
            f"hands at {posture.vertical_mm / INCH_MM:.0f} in, "
            f"moved {posture.travel_mm / INCH_MM:.0f} in, {posture.grasp} grasp (assumed)"
        )
        if limit_kg > 0 and mass_kg <= limit_kg:
            return Lift(
                1,
                hoist=False,
                basis=f"{mass_words(mass_kg)}: one person may lift {mass_words(limit_kg)} by NIOSH "
                f"94-110, {held}; {DECIDES}",
            )
        one = (
            f"one person may lift {mass_words(limit_kg)} by NIOSH 94-110, {held}"
            if limit_kg > 0
            else f"one person has no rating by NIOSH 94-110, {held}"
        )
    largest = min(crew, LARGEST_TEAM)
    for people in range(2, largest + 1):
        capacity_kg = team_capacity_kg(people)
        if mass_kg <= capacity_kg:
            return Lift(
                people,
                hoist=False,
                basis=f"{mass_words(mass_kg)}: {one}; {people} people may lift "
                f"{mass_words(capacity_kg)}, {_share_words(people)}; {DECIDES}",
            )
    if largest >= 2:
        team = (
            f"{largest} people may lift {mass_words(team_capacity_kg(largest))}, "
            f"{_share_words(largest)}"
        )
    else:
        team = "there is nobody else in the crew"
    return Lift(
        None, hoist=True, basis=f"{mass_words(mass_kg)}: {one}; {team}; use a hoist; {DECIDES}"
    )


def _share_words(people: int) -> str:
    share = {2: "2/3", 3: "1/2", 4: "2/5"}[people]
    source = "HSE L23" if people < 4 else "carried on from HSE L23, which gives no figure for four"
    return f"{share} of {people} × {TEAM_CAPACITY_KG:.0f} kg ({source})"
