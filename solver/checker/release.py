"""Release and removal: each section comes off along its pull, in the order of the plan.

Outward normals n point out of the part into the mold wall; the pull p is the motion of the section
with the part at rest.  A section slides clear of its part where p·n >= sin(draft) for every normal
(a cone of half-angle f about d: p·d >= sin(draft + f)); it is held by a neighbour that is still
there where p·m > sin(blocking angle), m pointing from the section to the neighbour.
Necessary, not sufficient: overhangs of other sections are not seen.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from solver.checker.reading import Reading
from solver.checker.report import Fault
from solver.checker.tolerances import DRAFT_DEG, UNIT
from solver.data.job import Edge, Patch
from solver.data.plan import PullStep

Floats = NDArray[np.float64]


def _place(step: PullStep) -> str:
    return f'section "{step.section}"'


def _patches(reading: Reading, step: PullStep) -> list[Patch]:
    return [patch for patch in reading.job.patches if reading.section_of[patch.id] == step.section]


def _draft_deg(patch: Patch, pull: Floats) -> float:
    along = np.array(patch.facings, dtype=np.float64) @ pull
    return math.degrees(math.asin(float(np.clip(along.min(), -1.0, 1.0)))) - patch.spread_deg


def removal(reading: Reading) -> Iterator[Fault]:
    """Every section comes off once."""
    order = [step.section for step in reading.plan.removal]
    for section in reading.plan.sections:
        count = order.count(section.id)
        if count != 1:
            yield Fault("removal", f'section "{section.id}"', f"comes off {count} times, not once")


def pulls(reading: Reading) -> Iterator[Fault]:
    """A pull is a unit vector, one of those allowed if any are given, and into no wall."""
    rules = reading.job.rules
    for step in reading.plan.removal:
        pull = np.array(step.pull)
        size = float(np.linalg.norm(pull))
        if abs(size - 1.0) > UNIT:
            yield Fault("pull", _place(step), f"its pull {step.pull} has length {size:.6f}, not 1")
        allowed = [np.array(one) / np.linalg.norm(one) for one in rules.pulls]
        if allowed and min(float(np.abs(pull - one).max()) for one in allowed) > UNIT:
            yield Fault("pulls", _place(step), f"its pull {step.pull} is none of {rules.pulls}")
        for wall in rules.walls:
            into = float(pull @ np.array(wall))
            if into > UNIT:
                yield Fault("walls", _place(step), f"goes {into:.6f} of its way into wall {wall}")


def releases(reading: Reading) -> Iterator[Fault]:
    """The pull leaves every facing of the section with the draft."""
    draft = reading.job.rules.draft_deg
    for step in reading.plan.removal:
        pull = np.array(step.pull)
        for patch in _patches(reading, step):
            asked_deg = draft + patch.spread_deg
            least = math.sin(math.radians(min(asked_deg, 90.0)))
            along = float((np.array(patch.facings) @ pull).min())
            if along < least - UNIT or asked_deg > 90.0 + DRAFT_DEG:
                yield Fault(
                    "release",
                    _place(step),
                    f'patch "{patch.id}" has {_draft_deg(patch, pull):.3f} degrees of draft '
                    f"along {step.pull}; {draft:g} are asked",
                )


def _outward(edge: Edge, patch_is_first: bool) -> Floats:
    facings = np.array(edge.facings, dtype=np.float64).reshape(-1, 3)
    return facings if patch_is_first else -facings


def _leaning(reading: Reading, step: PullStep, edge: Edge) -> tuple[str, float] | None:
    """Neighbour of a section across a joint and how far the pull leans into it; None elsewhere."""
    first, second = reading.section_of[edge.first], reading.section_of[edge.second]
    if step.section not in (first, second) or not edge.facings:
        return None
    moving_first = step.section == first
    leaning = float((_outward(edge, moving_first) @ np.array(step.pull)).max())
    return (second if moving_first else first), leaning


def blocked(reading: Reading) -> Iterator[Fault]:
    """No section is pulled into one that is still there; those off before are named."""
    limit = math.sin(math.radians(reading.job.rules.blocking_deg))
    off: set[str] = set()
    for step in reading.plan.removal:
        holding: dict[str, float] = {}
        for edge in reading.joints:
            found = _leaning(reading, step, edge)
            if found is None:
                continue
            neighbour, leaning = found
            holding[neighbour] = max(leaning, holding.get(neighbour, -1.0))
            if neighbour not in off and leaning > limit + UNIT:
                yield Fault(
                    "blocked",
                    _place(step),
                    f'is pulled into section {neighbour} at edge "{edge.id}": {leaning:.4f} of '
                    f"its way, {limit:.4f} is allowed",
                )
        for named in step.after:
            if named not in off or holding.get(named, -1.0) <= limit - UNIT:
                yield Fault(
                    "off before",
                    _place(step),
                    f"names {named}, which does not come off before it"
                    if named not in off
                    else f"names {named}, which does not hold it",
                )
        for neighbour in sorted(off):
            if holding.get(neighbour, -1.0) > limit + UNIT and neighbour not in step.after:
                yield Fault("off before", _place(step), f"does not name {neighbour}, which held it")
        off.add(step.section)


def drawn_first(reading: Reading) -> Iterator[Fault]:
    """Metal of a pinched joint that lies across the pull is named as drawn out first."""
    limit = math.sin(math.radians(reading.job.rules.blocking_deg))
    for step in reading.plan.removal:
        for edge in reading.joints:
            found = _leaning(reading, step, edge)
            across = found is not None and reading.job.carries_metal(edge) and found[1] > 0
            named = edge.id in step.drawn_first
            # within the blocking angle a flat side pulled square may count either way
            doubtful = found is not None and -UNIT <= found[1] <= limit + UNIT
            if across != named and not doubtful:
                leaning = found[1] if found else 0.0
                yield Fault(
                    "drawn first",
                    _place(step),
                    f'edge "{edge.id}" is {"" if named else "not "}named; '
                    f"the pull goes {leaning:.4f} of its way across it",
                )
        for name in step.drawn_first:
            if all(edge.id != name for edge in reading.joints):
                yield Fault("drawn first", _place(step), f'names "{name}", which is no joint')


def trapped(reading: Reading) -> Iterator[Fault]:
    """No pull leans into metal with a return: it hooks under the laminate and cannot be drawn."""
    limit = math.sin(math.radians(reading.job.rules.blocking_deg))
    for step in reading.plan.removal:
        for edge in reading.joints:
            found = _leaning(reading, step, edge)
            hooked = reading.job.carries_metal(edge) and edge.return_mm > 0
            if found is not None and hooked and found[1] > limit + UNIT:
                yield Fault(
                    "return",
                    _place(step),
                    f'is pulled into the metal at edge "{edge.id}", whose return holds it in the '
                    f"part: {found[1]:.4f} of its way, {limit:.4f} is allowed",
                )


def draft_figures(reading: Reading) -> Iterator[Fault]:
    """The stated draft is the least over the section's patches, and those named set it."""
    for step in reading.plan.removal:
        pull = np.array(step.pull)
        drafts = {patch.id: _draft_deg(patch, pull) for patch in _patches(reading, step)}
        if not drafts:
            continue
        least = min(drafts.values())
        if abs(step.draft_deg - least) > DRAFT_DEG:
            yield Fault(
                "draft",
                _place(step),
                f"is stated as {step.draft_deg:.4f} degrees; it is {least:.4f}",
            )
        wrong = [p for p in step.draft_set_by if drafts.get(p, 180.0) > least + 10 * DRAFT_DEG]
        if wrong or not 1 <= len(step.draft_set_by) <= 4:
            named = ", ".join(step.draft_set_by) or "no patch"
            setting = ", ".join(p for p, d in drafts.items() if d <= least + 10 * DRAFT_DEG)
            yield Fault("draft set by", _place(step), f"names {named}; it is set by {setting}")
