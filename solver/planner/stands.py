"""How high metal stands along an edge: as asked, or lower where another flashing runs near."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from solver.data.job import Edge, Job
from solver.rules.access import capped_stand_mm

SLACK_MM = 0.01
"""A stretch shorter than this is rounding, and no reason to cut metal lower."""


@dataclass(frozen=True)
class Stand:
    """A stretch of an edge, by its own stations, and how high metal stands there."""

    from_mm: float
    to_mm: float
    stand_mm: float


def stands_along(job: Job) -> dict[str, tuple[Stand, ...]]:
    """Return the stands along each metal edge, from its start to its end (access rule).

    A clear gap counts both ways.  It holds where the edge says, and all along an edge that does not
    say where; of two edges that both give a gap, the smaller counts.
    """
    return {edge.id: _along(job, edge) for edge in job.edges if job.carries_metal(edge)}


def _along(job: Job, edge: Edge) -> tuple[Stand, ...]:
    length = edge.length_mm
    back = [
        (other, gap)
        for other, gaps in job.spoken_of.get(edge.id, {}).items()
        if job.carries_metal(job.edge_of[other])
        for gap in gaps
    ]
    caps: list[tuple[float, float, float]] = []
    said = {near.edge for near in edge.near}
    for near in edge.near:
        if job.carries_metal(job.edge_of[near.edge]):
            gap = min([near.gap_mm, *(g for other, g in back if other == near.edge)])
            caps.append((near.from_mm, near.to_mm, gap))
    caps += [(0.0, length, gap) for other, gap in back if other not in said]
    borders = {min(max(at, 0.0), length) for low, high, _ in caps for at in (low, high)}
    marks = sorted({0.0, length} | borders)
    stands: list[Stand] = []
    for low, high in pairwise(marks):
        if high - low <= SLACK_MM and len(marks) > 2:
            continue
        middle = (low + high) / 2
        stand = edge.stand_mm
        for first, last, gap in caps:
            if first <= middle <= last:
                stand = capped_stand_mm(stand, gap, job.rules.access_angle_deg)
        if stands and abs(stands[-1].stand_mm - stand) <= 1e-9:
            stands[-1] = Stand(stands[-1].from_mm, high, stand)
        else:
            stands.append(Stand(stands[-1].to_mm if stands else 0.0, high, stand))
    if stands and stands[-1].to_mm < length:
        stands[-1] = Stand(stands[-1].from_mm, length, stands[-1].stand_mm)
    return tuple(stands)
