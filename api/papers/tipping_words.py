"""What it takes to tip the mold for laminating: push, lean, reach; where boxes tell its size."""

from __future__ import annotations

import math

from api.papers.facts import Facts
from solver.data.job import POUND_FORCE_N, POUND_KG
from solver.rules.exposure import LAST_WORD
from solver.rules.reach import FUNCTIONAL_REACH_SOURCE, within_reach
from solver.rules.tipping import falling_angle_deg, tipping_force_n

PUSH_EACH_N = 150.0
"""What one person pushes to start a load moving, the figure for women (HSE L23) [memory]."""

MOST_PEOPLE = 4
"""More than four seldom work as a team (HSE L23)."""


def tipping_lines(facts: Facts) -> list[str]:
    """Return sentences on mass, tipping and reach of the mold, standing as the body does."""
    sections = facts.plan.sections
    mass = math.fsum(section.mass_kg for section in sections)
    lines = [f"The assembled mold weighs about {_mass(facts, mass)}: never tipped by one person."]
    if facts.job is None:
        lines.append("Push, lean and reach need the scenario: add --scenario to these papers.")
        return lines
    boxes = [patch.box_mm for patch in facts.job.patches]
    centres = [section.centre_mm for section in sections]
    if any(box is None for box in boxes) or any(centre is None for centre in centres):
        lines.append(
            "Push and lean are not worked out: give every patch a box. Until then tip only with a "
            "hoist or with more people than seem needed."
        )
        return lines
    known = [box for box in boxes if box is not None]
    low = [min(box[0][axis] for box in known) for axis in range(3)]
    high = [max(box[1][axis] for box in known) for axis in range(3)]
    centre = [
        math.fsum(s.mass_kg * s.centre_mm[axis] for s in sections if s.centre_mm is not None) / mass
        for axis in range(3)
    ]
    size = [b - a for a, b in zip(low, high, strict=True)]
    # over the side that is nearest to the middle of gravity, which is where it goes by itself
    across = 0 if size[0] < size[1] else 1
    base = min(centre[across] - low[across], high[across] - centre[across])
    rise = centre[2] - low[2]
    if size[2] > 1.0 and rise > 1.0 and base > 1.0:
        push = tipping_force_n(mass, base, size[2])
        lean = falling_angle_deg(base, rise)
        side = "an end" if across == 0 else "a side"
        lines.append(
            f"Standing as the finished body does, it begins to tip over {side} at a level push of "
            f"{_force(facts, push)} at its top, {facts.sizes.long_words(size[2])} up; past a lean "
            f"of {lean:.0f}° it falls by itself. Hold it on a line before that, block it after."
        )
        lines.append(_crew(facts, push))
    reach = facts.rules.reach_mm
    wide = min(size[0], size[1])
    lines.append(
        f"It is {facts.sizes.long_words(wide)} across and an arm reaches "
        f"{facts.sizes.long_words(reach)} ({FUNCTIONAL_REACH_SOURCE}): "
        + (
            "all of it is reached from both sides."
            if within_reach(wide, reach)
            else "the middle is reached only when it is tipped, or from a plank across it."
        )
    )
    lines.append(LAST_WORD)
    return lines


def _crew(facts: Facts, push_n: float) -> str:
    people = max(2, math.ceil(push_n / PUSH_EACH_N - 1e-9))
    each = f"{_force(facts, PUSH_EACH_N)} each (HSE L23, starting a push)"
    if people > MOST_PEOPLE:
        return (
            f"At {each} that would be {people} people, and more than {MOST_PEOPLE} seldom push as "
            "one: use a hoist or tackle, with people only to steady it."
        )
    return f"Crew: at least {people} people, at {each}, and one more on the line."


def _mass(facts: Facts, mass_kg: float) -> str:
    return f"{mass_kg / POUND_KG:.0f} lb" if facts.sizes.inches else f"{mass_kg:.0f} kg"


def _force(facts: Facts, force_n: float) -> str:
    return f"{force_n / POUND_FORCE_N:.0f} lbf" if facts.sizes.inches else f"{force_n:.0f} N"
