"""Patches that a worker cannot reach, and how far a section must be tipped to bring them near.

A patch is worked from the borders where one can stand: open edges and joints.  Where boxes are
known, the way to its farthest point is its breadth (the middle one of its box's three sizes), or
half of it where it has borders on two sides; a patch without a border is reached across its
neighbours.  This is an estimate from boxes [derived]; the reach itself is published (rules/reach).
"""

from __future__ import annotations

import heapq
import math
from collections import defaultdict
from collections.abc import Sequence

from solver.data.job import Job, Patch
from solver.data.plan import EdgePlan, Section
from solver.rules.customary import force_words, length_words
from solver.rules.lifting import DECIDES
from solver.rules.reach import FUNCTIONAL_REACH_SOURCE, within_reach
from solver.rules.tipping import falling_angle_deg, tipping_force_n


def ways_mm(job: Job, edges: Sequence[EdgePlan]) -> dict[str, float]:
    """Return how far the farthest point of each patch is from where one can stand.

    Empty unless every patch has a box.
    """
    if any(patch.box_mm is None for patch in job.patches):
        return {}
    borders: dict[str, int] = defaultdict(int)
    inside: dict[str, set[str]] = defaultdict(set)
    for plan in edges:
        edge = job.edge_of[plan.edge]
        if edge.open or plan.joint:
            borders[edge.first] += 1
            if not edge.open:
                borders[edge.second] += 1
        else:
            inside[edge.first].add(edge.second)
            inside[edge.second].add(edge.first)
    breadth = {patch.id: _breadth_mm(patch) for patch in job.patches}
    # the shortest way in: across the neighbours of a patch without a border of its own
    entry = {patch: 0.0 for patch in breadth if borders[patch]}
    queue = [(0.0, patch) for patch in sorted(entry)]
    while queue:
        way, patch = heapq.heappop(queue)
        if way > entry[patch]:
            continue
        for other in sorted(inside[patch]):
            through = way + breadth[patch]
            if through < entry.get(other, math.inf):
                entry[other] = through
                heapq.heappush(queue, (through, other))
    return {
        patch: entry[patch] + breadth[patch] / min(2, max(1, borders[patch]))
        for patch in breadth
        if patch in entry
    }


def _breadth_mm(patch: Patch) -> float:
    assert patch.box_mm is not None
    low, high = patch.box_mm
    return sorted(b - a for a, b in zip(low, high, strict=True))[1]


def reach_cautions(
    job: Job, sections: Sequence[Section], edges: Sequence[EdgePlan]
) -> tuple[str, ...]:
    """Name the patches that are out of reach, with the tipping that brings them near."""
    reach = job.rules.reach_mm
    section_of = {patch: section for section in sections for patch in section.patches}
    said = []
    for patch, way in ways_mm(job, edges).items():
        if within_reach(way, reach, sides=1):
            continue
        said.append(
            f'patch "{patch}" is {length_words(way)} deep from where one can stand; '
            f"{length_words(reach)} can be reached ({FUNCTIONAL_REACH_SOURCE}): "
            + _tipping_words(section_of[patch], math.degrees(math.acos(reach / way)))
        )
    return tuple(said)


def _tipping_words(section: Section, angle_deg: float) -> str:
    """What tipping a section by this angle takes: the push that starts it, where it falls."""
    assert section.extent_mm is not None
    front, left, up = section.extent_mm
    base, height = min(front, left) / 2, up
    words = f"tip section {section.id} by {angle_deg:.0f} degrees"
    if height <= 0 or base <= 0:
        return f"{words}; {DECIDES}"
    force = tipping_force_n(section.mass_kg, base, height)
    falls = falling_angle_deg(base, height / 2)
    words += f", {force_words(force)} at its top starts it"
    if angle_deg >= falls:
        words += f"; past {falls:.0f} degrees it falls by itself, so hold it back"
    return f"{words}; {DECIDES}"
