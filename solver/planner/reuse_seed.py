"""A plan to begin with: the old sections, and for each run the way that spares most.

Runs are taken one after the other; along each the cheapest options are joined, counting what pieces
at hand spare and metal by area.  A piece at hand serves the first that takes it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass

from solver.models.master import MasterAnswer, MasterProblem
from solver.planner.options import StretchOption
from solver.planner.run_lines import RunLine

OLD_ONE = 1e-3
"""Money by which a piece just as in the old plan is liked better."""


@dataclass(frozen=True)
class _Way:
    cost: float
    options: tuple[int, ...]
    reuses: tuple[int, ...]
    taken: frozenset[int]
    """Pieces at hand that it takes."""


def seed_of(
    problem: MasterProblem,
    options: Sequence[StretchOption],
    lines: Sequence[RunLine],
    columns: Sequence[int],
    old_pieces: Set[tuple[int, int]],
) -> MasterAnswer | None:
    """Return a choice with these sections, None where a run cannot be made so.

    ``old_pieces``: option and number of each piece that is just as in the old plan; there is metal
    for it.
    """
    inside = set()
    for edge in problem.edges:
        both = (1 << edge.first) | (1 << edge.second)
        if any(problem.columns[c] & both == both for c in columns):
            inside.add(edge.id)
    by_run: dict[int, list[int]] = defaultdict(list)
    for index, option in enumerate(options):
        line = lines[option.run]
        if all(
            option.mounting == _mounting(line, (option.first + i) % len(line.edges), inside)
            for i in range(option.count)
        ):
            by_run[option.run].append(index)
    by_piece: dict[tuple[int, int], list[int]] = defaultdict(list)
    for number, reuse in enumerate(problem.reuses):
        by_piece[reuse.option, reuse.piece].append(number)
    for those in by_piece.values():
        those.sort(key=lambda number: (-problem.reuses[number].saving, number))
    per_mm2 = [kind.price / max(1.0, kind.capacity_mm2) for kind in problem.stock]
    clashing: dict[int, frozenset[int]] = {}
    for number, clash in enumerate(problem.clashes):
        for index in clash:
            clashing[index] = clashing.get(index, frozenset()) | {number}
    used: set[int] = set()
    chosen: list[int] = []
    reused: list[int] = []
    for run, line in enumerate(lines):
        steps: dict[tuple[int, int], _Way] = {}
        for index in by_run.get(run, ()):
            way = _priced(problem, index, by_piece, per_mm2, used, old_pieces)
            key = options[index].first, options[index].count
            if key not in steps or way.cost < steps[key].cost:
                steps[key] = way
        best = _along(steps, len(line.edges), clashing, closed=line.run.closed)
        if best is None:
            return None
        chosen += best.options
        reused += best.reuses
        used |= best.taken
    return MasterAnswer(
        "feasible", 0.0, None, tuple(columns), tuple(sorted(chosen)), reused=tuple(sorted(reused))
    )


def _mounting(line: RunLine, index: int, inside: set[str]) -> str:
    if line.open:
        return "clamped"
    return "standing" if line.edges[index].id in inside else "pinched"


def _priced(
    problem: MasterProblem,
    index: int,
    by_piece: Mapping[tuple[int, int], Sequence[int]],
    per_mm2: Sequence[float],
    used: set[int],
    old_pieces: Set[tuple[int, int]],
) -> _Way:
    option = problem.options[index]
    cost = option.cost
    taken: set[int] = set()
    reuses = []
    for piece, need in enumerate(option.needs):
        old = (index, piece) in old_pieces
        metal = need.area_mm2 * min((per_mm2[k] for k in need.holds), default=0.0)
        free = next(
            (
                number
                for number in by_piece.get((index, piece), ())
                if problem.reuses[number].existing not in used | taken
            ),
            None,
        )
        if free is None:
            cost += -OLD_ONE if old else metal
            continue
        cost -= problem.reuses[free].saving
        taken.add(problem.reuses[free].existing)
        reuses.append(free)
    return _Way(cost, (index,), tuple(reuses), frozenset(taken))


def _along(
    steps: Mapping[tuple[int, int], _Way],
    total: int,
    clashing: Mapping[int, frozenset[int]],
    *,
    closed: bool,
) -> _Way | None:
    """Return the cheapest options that cover a run once; a loop may be begun anywhere."""
    none: frozenset[int] = frozenset()
    best: _Way | None = None
    for start in range(total) if closed else (0,):
        # the cheapest way to each mark, for each set of options that the last one clashes with
        ways: list[dict[frozenset[int], _Way]] = [{} for _ in range(total + 1)]
        ways[0][none] = _Way(0.0, (), (), frozenset())
        for at in range(total):
            for last, here in ways[at].items():
                for count in range(1, total - at + 1):
                    step = steps.get(((start + at) % total, count))
                    if step is None or step.taken & here.taken:
                        continue
                    clash = clashing.get(step.options[0], none)
                    if clash & last:
                        continue
                    there = ways[at + count].get(clash)
                    cost = here.cost + step.cost
                    if there is None or cost < there.cost:
                        ways[at + count][clash] = _Way(
                            cost,
                            here.options + step.options,
                            here.reuses + step.reuses,
                            here.taken | step.taken,
                        )
        for last, end in ways[total].items():
            meets = closed and len(end.options) > 1
            if meets and last & clashing.get(end.options[0], none):
                continue
            if best is None or end.cost < best.cost:
                best = end
    return best
