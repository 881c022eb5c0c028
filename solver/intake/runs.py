"""Runs: edges between the same two parts that follow one another at marks.

Pieces are cut for runs.  At a mark where two edges between the same parts meet, the run goes on;
where three or four meet, the two that go on straightest do, and the others butt.  Where three sides
meet (parts, a window, the outside) every run ends and the corner is taped.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from itertools import combinations

from solver.data.job import OPEN, Edge, Patch, Run, RunEdge
from solver.intake.directions import dot

MOST_LINES_AT_A_MARK = 12
"""More lines that meet in one spot are a mistake."""

_End = tuple[str, bool]
"""An edge and whether its end (not its start) is meant."""


def carries_metal(edge: Edge, part_of: Callable[[str], str | None]) -> bool:
    """Whether a part ends at this edge."""
    if edge.open:
        return part_of(edge.first) is not None
    return part_of(edge.first) != part_of(edge.second)


def runs_of(
    edges: Sequence[Edge], patches: Sequence[Patch]
) -> tuple[tuple[Run, ...], tuple[tuple[str, tuple[str, ...]], ...]]:
    """Return the runs, in the order of their first edges, and the taped corners (mark, runs)."""
    part = {patch.id: patch.part for patch in patches}
    metal = [edge for edge in edges if carries_metal(edge, part.__getitem__)]
    edge_of = {edge.id: edge for edge in metal}
    order = {edge.id: number for number, edge in enumerate(metal)}
    onward = _onward(metal, part)
    runs: list[Run] = []
    used: set[str] = set()
    for edge in metal:
        if edge.id in used:
            continue
        steps, closed = _chain(edge, edge_of, onward)
        if not closed and len(steps) > 1:
            steps = _led_by_first(steps, order)
        used |= {step.edge for step in steps}
        runs.append(Run(steps[0].edge, tuple(steps), closed))
    runs = [_with_twin(run, runs, edge_of) for run in runs]
    return tuple(runs), _corners(runs, edges, edge_of, part)


def _sides(edge: Edge, part: dict[str, str | None]) -> tuple[str, ...]:
    first, second = (part.get(p) if p != OPEN else OPEN for p in (edge.first, edge.second))
    return tuple(sorted("" if side is None else side for side in (first, second)))


def _onward(metal: Sequence[Edge], part: dict[str, str | None]) -> dict[_End, _End]:
    """Which end of which edge each end goes on into."""
    meeting: dict[tuple[str, tuple[str, ...]], list[_End]] = defaultdict(list)
    edge_of = {edge.id: edge for edge in metal}
    for edge in metal:
        for mark, at_end in ((edge.start_mark, False), (edge.end_mark, True)):
            if mark is not None:
                meeting[mark, _sides(edge, part)].append((edge.id, at_end))
    onward: dict[_End, _End] = {}
    for ends in meeting.values():
        if not 2 <= len(ends) <= MOST_LINES_AT_A_MARK:
            continue
        one, other = ends if len(ends) == 2 else _straightest(ends, edge_of)
        onward[one], onward[other] = other, one
    return onward


def _straightest(ends: Sequence[_End], edge_of: dict[str, Edge]) -> tuple[_End, _End]:
    """Return the two ends that go on straightest: whose joint facings agree best.

    A taped path has no place in space, so the facings are all that is known; equal ones are taken
    in the order of the file.
    """

    def likeness(pair: tuple[_End, _End]) -> float:
        (one, one_at_end), (other, other_at_end) = pair
        sign = 1.0 if one_at_end != other_at_end else -1.0
        a, b = edge_of[one].facings, edge_of[other].facings
        return max((sign * dot(m, n) for m in a for n in b), default=0.0)

    return max(combinations(ends, 2), key=likeness)


def _chain(
    start: Edge, edge_of: dict[str, Edge], onward: dict[_End, _End]
) -> tuple[list[RunEdge], bool]:
    if start.line.closed or start.start_mark is None:
        return [RunEdge(start.id, False)], True
    ahead, closed = _follow(start.id, True, onward)
    if closed:
        return [RunEdge(start.id, False), *ahead], True
    behind, _ = _follow(start.id, False, onward)
    back = [RunEdge(step.edge, not step.backward) for step in reversed(behind)]
    return [*back, RunEdge(start.id, False), *ahead], False


def _follow(edge: str, at_end: bool, onward: dict[_End, _End]) -> tuple[list[RunEdge], bool]:
    """Walk on from one end of an edge, until the run ends or comes back to it."""
    steps: list[RunEdge] = []
    here: _End = (edge, at_end)
    while here in onward:
        there, enters_at_end = onward[here]
        if there == edge:
            return steps, True
        steps.append(RunEdge(there, backward=enters_at_end))
        here = (there, not enters_at_end)
    return steps, False


def _led_by_first(steps: list[RunEdge], order: dict[str, int]) -> list[RunEdge]:
    """Walk the run so that the edge written first is walked forward."""
    leader = min(steps, key=lambda step: order[step.edge])
    if not leader.backward:
        return steps
    return [RunEdge(step.edge, not step.backward) for step in reversed(steps)]


def _with_twin(run: Run, runs: Sequence[Run], edge_of: dict[str, Edge]) -> Run:
    twins = [edge_of[step.edge].twin for step in run.edges]
    if any(twin is None or twin not in edge_of for twin in twins):
        return run
    wanted = set(twins)
    for other in runs:
        if {step.edge for step in other.edges} == wanted and other.closed == run.closed:
            return Run(run.id, run.edges, run.closed, other.id)
    return run


def _corners(
    runs: Sequence[Run],
    edges: Sequence[Edge],
    edge_of: dict[str, Edge],
    part: dict[str, str | None],
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    sides: dict[str, set[str]] = defaultdict(set)
    for edge in edges:
        for mark in (edge.start_mark, edge.end_mark):
            if mark is not None:
                sides[mark] |= set(_sides(edge, part))
    ending: dict[str, list[str]] = defaultdict(list)
    for run in runs:
        if run.closed:
            continue
        for step, at_end in ((run.edges[0], False), (run.edges[-1], True)):
            edge = edge_of[step.edge]
            mark = edge.end_mark if at_end != step.backward else edge.start_mark
            if mark is not None:
                ending[mark].append(run.id)
    return tuple(
        (mark, tuple(ids)) for mark, ids in ending.items() if len(ids) > 1 and len(sides[mark]) > 2
    )
