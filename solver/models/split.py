"""Where the mold splits: the cheapest legal split, with a proof or an honest bound.

Every patch in one section; every section legal (`columns.py`); the sections come off in some order
(`removal.py`, by lazy rows); the cheapest choice by `split_master.py`; runners-up from a list of
all splits up to some cost.  Bodies with too many sections to list go to `split_large.py`.

Nothing here is driven by the clock but the deadline: two runs that finish give the same split.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import reverse_cuthill_mckee

from solver.data.until import FOREVER, Until
from solver.models.columns import (
    DEFAULT_MOST_COLUMNS,
    Columns,
    Nodes,
    legal_sections,
    make_nodes,
    price_section,
)
from solver.models.release import Array
from solver.models.removal import (
    RemovalCut,
    RemovalOrder,
    columns_matching,
    cut_coefficients,
    removal_or_cut,
    sections_of_columns,
)
from solver.models.split_large import CENT, large_search
from solver.models.split_master import (
    COST_TOLERANCE,
    WIDER,
    Cheapest,
    Index,
    Master,
    Row,
    cheapest_choice,
    list_upto,
)
from solver.models.split_problem import SplitProblem, Vector

__all__ = [
    "PROVEN",
    "SplitResult",
    "best_splits",
    "cheapest_split",
    "columns_matching",
    "cut_coefficients",
    "removal_or_cut",
    "split_cost",
]

PROVEN = "proven"
WITHIN_GAP = "within gap"
STOPPED = "stopped"
IMPOSSIBLE = "impossible"
NO_ANSWER = "no answer"

# Past the deadline of a large body, what its runners-up may still take.
RUNNER_UP_SECONDS = 5.0
# Costs above the cheapest up to which runners-up are listed first, as a share; then more.
FIRST_REACH = 0.0025


@dataclass(frozen=True)
class SplitResult:
    """A split and what is proven about it.

    ``sections``: tuples of patch indices, ordered by lowest patch; ``cost`` None without a split;
    ``bound``: no legal split costs less (None when none exists or nothing is known); ``status``:
    proven, within gap, stopped, impossible, no answer; ``order``: removal; ``pulls``: one for each
    section, as used in the removal; ``joints``: indices of edges that are joints; ``columns``: how
    many legal sections were listed, None when too many.
    """

    sections: tuple[tuple[int, ...], ...]
    cost: float | None
    bound: float | None
    status: str
    order: RemovalOrder | None = None
    pulls: tuple[Vector, ...] = ()
    joints: tuple[int, ...] = ()
    columns: int | None = None

    @property
    def gap(self) -> float | None:
        """Share of the cost that is not proven, or None."""
        if self.cost is None or self.bound is None:
            return None
        return max(0.0, (self.cost - self.bound) / max(abs(self.cost), 1e-12))


def split_cost(problem: SplitProblem, sections: Sequence[Sequence[int]]) -> float:
    """Cost of a split from the definition."""
    return sum(price_section(problem, section)[0] for section in sections)


def joints_of(problem: SplitProblem, sections: Sequence[Sequence[int]]) -> tuple[int, ...]:
    """List the indices of the edges between different sections."""
    owner = {i: k for k, section in enumerate(sections) for i in section}
    return tuple(e for e, edge in enumerate(problem.edges) if owner[edge.a] != owner[edge.b])


def section_counts(nodes: Nodes) -> list[int]:
    """Numbers of sections that mass and the limits leave open, ascending."""
    problem = nodes.problem
    least = max(1, problem.fewest_sections)
    if problem.lift_limit_kg:
        least = max(least, int(np.ceil(nodes.floor_kg.sum() / problem.lift_limit_kg - 1e-9)))
    most = len(nodes) if problem.most_sections is None else problem.most_sections
    return list(range(least, min(most, len(nodes)) + 1))


def most_any_split_costs(problem: SplitProblem) -> float:
    """More than any split can cost, section by section and edge by edge."""
    edges = sum(max(edge.inside_cost, edge.joint_cost, 0.0) for edge in problem.edges)
    return edges + problem.section_cost * len(problem.patches) + 1.0


def cheapest_split(
    problem: SplitProblem,
    *,
    deadline_s: float = 60.0,
    gap: float = 0.0,
    most_columns: int = DEFAULT_MOST_COLUMNS,
    symmetric: Sequence[int] | None = None,
    ordered: bool = True,
    asked: Callable[[], bool] = FOREVER.asked,
) -> SplitResult:
    """Find the cheapest legal split.

    ``gap``: stop within this share of the cost; ``symmetric``: each patch's mirror image (-1: on
    one side only, and left out), under which the split must be its own image; ``ordered``: False
    leaves the order of removal out; ``asked``: whether to end now with the best split so far.
    """
    found = best_splits(
        problem,
        1,
        deadline_s=deadline_s,
        gap=gap,
        most_columns=most_columns,
        symmetric=symmetric,
        ordered=ordered,
        asked=asked,
    )
    return found[0]


def best_splits(
    problem: SplitProblem,
    count: int,
    *,
    differ_by: int = 1,
    mirror: Sequence[int] | None = None,
    deadline_s: float = 60.0,
    gap: float = 0.0,
    most_columns: int = DEFAULT_MOST_COLUMNS,
    symmetric: Sequence[int] | None = None,
    ordered: bool = True,
    asked: Callable[[], bool] = FOREVER.asked,
) -> tuple[SplitResult, ...]:
    """Find the ``count`` cheapest splits, each ``differ_by`` joints away from all before it.

    ``mirror``: patch permutation; a split must then differ from the mirror images of those before
    it as well.  The list ends early when no further split exists; its last entry then has a split
    all the same, unless none exists at all (status "impossible") or time ran out ("no answer").
    """
    if count < 1 or differ_by < 1:
        raise ValueError(f"count {count}, differ_by {differ_by}: give 1 or more")
    until = Until(None, asked).at_most(deadline_s)
    nodes = make_nodes(problem)
    counts = section_counts(nodes)
    if nodes.impossible.any() or not counts:
        return (SplitResult((), None, None, IMPOSSIBLE),)
    # A list that takes a third of the time leaves too little to choose from it.
    listing = until.at_most(max(1.0, deadline_s / 3.0))
    columns = legal_sections(problem, nodes=nodes, most=most_columns, until=listing)
    proven: float | None = None
    first: tuple[tuple[int, ...], ...] | None = None
    if not columns.complete:
        large = large_search(nodes, counts, until, lambda s: _cut_of(problem, s, ordered), gap=gap)
        columns, proven, first = large.columns, min(large.bounds.values()), large.chosen
        if first is None and proven == math.inf:
            return (SplitResult((), None, None, IMPOSSIBLE),)
        if count == 1 and symmetric is None and first is not None:
            return (describe_split(problem, first, min(proven, large.cost), within=gap),)
        # Runners-up and symmetric splits come from the sections met; the bound stays the body's.
        moment = time.monotonic() + RUNNER_UP_SECONDS
        until = Until(max(moment, until.moment or moment), asked)
    listed = _Listed(problem, nodes, columns)
    results: list[SplitResult] = []
    if symmetric is not None:
        listed = _symmetric(listed, symmetric)
    master = Master(listed.cover, listed.costs, listed.counts, order=sweep(nodes))
    if first is not None and proven is not None and symmetric is None:
        proof = min(proven, split_cost(problem, first))
        results.append(describe_split(problem, first, proof, within=gap))

    def check(chosen: tuple[int, ...]) -> Row | None:
        cut = _cut_of(problem, listed.sections(chosen), ordered)
        if cut is None:
            return None
        return Row(listed.fold(cut_coefficients(cut, columns)), len(cut.certificates) - 1.0)

    def result_of(found: Cheapest) -> SplitResult:
        if proven is not None:
            found = Cheapest(found.chosen, found.cost, min(found.cost, max(proven, -math.inf)))
        return _result(problem, listed, found, gap)

    most_cost = most_any_split_costs(problem)
    if not results:
        results.append(result_of(cheapest_choice(master, counts, most_cost, check, until, gap=gap)))
    best = results[0].cost
    if best is None or count == 1:
        return tuple(results)
    if results[0].status == PROVEN or not columns.complete:
        near = _Near(listed, master, differ_by, mirror, check)
        near.search(counts, count, best, most_cost, until)
        if near.chosen:
            results = [result_of(Cheapest(chosen, cost, cost)) for cost, chosen in near.chosen]
        if near.ended:
            return tuple(results)
    # Too many splits to list: one after another, each by rows that ask for a difference.
    master.rows = [
        *master.rows,
        *(row for r in results for row in _differ_rows(problem, listed, r, differ_by, mirror)),
    ]
    while len(results) < count:
        result = result_of(cheapest_choice(master, counts, most_cost, check, until, gap=gap))
        if result.cost is None:
            break
        results.append(result)
        master.rows += _differ_rows(problem, listed, result, differ_by, mirror)
    return tuple(results)


def sweep(nodes: Nodes) -> Index:
    """Nodes in an order in which neighbours are near one another."""
    order: Index = reverse_cuthill_mckee(csr_matrix(nodes.adjacent), symmetric_mode=True)
    return order.astype(np.intp)


class _Near:
    """The cheapest splits that differ, from lists of all splits up to some cost."""

    def __init__(
        self,
        listed: _Listed,
        master: Master,
        differ_by: int,
        mirror: Sequence[int] | None,
        check: Callable[[tuple[int, ...]], Row | None],
    ) -> None:
        self.listed, self.master, self.differ_by, self.check = listed, master, differ_by, check
        problem = listed.problem
        self.image = None
        if mirror is not None:
            check_mirror(mirror, len(problem.patches))
            self.image = [twin if twin >= 0 else patch for patch, twin in enumerate(mirror)]
        self.chosen: list[tuple[float, tuple[int, ...]]] = []
        self.ended = False
        """Whether all that were asked for, or all that there are, are chosen."""
        self._joints: list[frozenset[int]] = []

    def search(
        self, counts: Sequence[int], count: int, best: float, most_cost: float, until: Until
    ) -> None:
        """Choose up to ``count`` splits, the cheapest first; ``best``: the cost of some split."""
        reach, before = FIRST_REACH * abs(best) + CENT, -math.inf
        while not until.over():
            upto = min(best + reach, most_cost)
            splits: list[tuple[float, tuple[int, ...]]] = []
            for k in counts:
                near = list_upto(self.master, k, upto, most_cost, until)
                if near is None:
                    return
                splits += near.choices
            for cost, choice in sorted(splits):
                if cost > before and self._takes(cost, choice) and len(self.chosen) == count:
                    self.ended = True
                    return
            if upto >= most_cost:
                self.ended = True
                return
            reach, before = WIDER * reach, upto + COST_TOLERANCE

    def _takes(self, cost: float, choice: tuple[int, ...]) -> bool:
        """Choose a split if it differs from those before it and comes off."""
        problem = self.listed.problem
        sections = self.listed.sections(choice)
        joints = frozenset(joints_of(problem, sections))
        if any(len(joints ^ other) < self.differ_by for other in self._joints):
            return False
        for row in self.master.rows:
            if row.coefficients[list(choice)].sum() > row.most + COST_TOLERANCE:
                return False
        broken = self.check(choice)
        if broken is not None:
            self.master.rows.append(broken)
            return False
        self.chosen.append((cost, choice))
        self._joints.append(joints)
        if self.image is not None:
            image = self.image
            mirrored = [[image[i] for i in section] for section in sections]
            self._joints.append(frozenset(joints_of(problem, mirrored)))
        return True


class _Listed:
    """Sections (or twin pairs of them) as choices of the master."""

    def __init__(
        self,
        problem: SplitProblem,
        nodes: Nodes,
        columns: Columns,
        choices: csr_matrix | None = None,
    ) -> None:
        """``choices`` (choices, sections) 0/1; None: every section is a choice."""
        self.problem, self.nodes, self.columns = problem, nodes, columns
        self.choices = choices
        heads = [group[0] for group in nodes.groups]
        cover = columns.incidence[:, heads]
        self.cover = cover if choices is None else choices @ cover
        self.costs = self.fold(columns.costs)
        self.counts = self.fold(np.ones(len(columns)))

    def fold(self, values: Array) -> Array:
        """Add up a value of sections for each choice."""
        return values if self.choices is None else np.asarray(self.choices @ values)

    def sections(self, chosen: Sequence[int]) -> tuple[tuple[int, ...], ...]:
        """Patch tuples of the sections behind the chosen choices."""
        if self.choices is None:
            return sections_of_columns(self.columns, chosen)
        held = np.unique(self.choices[list(chosen)].indices)
        return sections_of_columns(self.columns, [int(i) for i in held])


def _symmetric(listed: _Listed, mirror: Sequence[int]) -> _Listed:
    """Keep self-mirrored sections and disjoint twin pairs, patches on one side left out."""
    columns = listed.columns
    check_mirror(mirror, columns.patch_count)
    twinned = sum(1 << patch for patch, twin in enumerate(mirror) if twin >= 0)
    like: dict[int, list[int]] = {}
    for i, mask in enumerate(columns.masks):
        like.setdefault(mask & twinned, []).append(i)
    image = _mirrored_masks(columns, mirror)
    rows: list[int] = []
    sections: list[int] = []
    count = 0
    for i, (mask, twin) in enumerate(zip(columns.masks, image, strict=True)):
        own = twin == mask & twinned
        for j in [i] if own else like.get(twin, []):
            if j < i or (j != i and mask & columns.masks[j]):
                continue
            for section in {i, j}:
                rows.append(count)
                sections.append(section)
            count += 1
    choices = csr_matrix((np.ones(len(rows)), (rows, sections)), shape=(count, len(columns)))
    return _Listed(listed.problem, listed.nodes, columns, choices)


def check_mirror(mirror: Sequence[int], count: int) -> None:
    """Refuse what does not undo itself; -1 stands for a patch that is on one side only."""
    good = len(mirror) == count and all(
        twin == -1 or (0 <= twin < count and mirror[twin] == patch)
        for patch, twin in enumerate(mirror)
    )
    if not good:
        raise ValueError(
            "mirror: give each patch's twin (itself on the mirror plane, -1 on one side only), "
            "both ways"
        )


def _mirrored_masks(columns: Columns, mirror: Sequence[int]) -> list[int]:
    words = np.zeros_like(columns.words)
    for patch, twin in enumerate(mirror):
        if twin < 0:
            continue
        held = columns.holds(twin)
        words[held, patch >> 6] |= np.uint64(1 << (patch & 63))
    size = 8 * words.shape[1]
    raw = words.astype("<u8").tobytes()
    return [int.from_bytes(raw[i * size : (i + 1) * size], "little") for i in range(len(words))]


def _differ_rows(
    problem: SplitProblem,
    listed: _Listed,
    result: SplitResult,
    differ_by: int,
    mirror: Sequence[int] | None,
) -> list[Row]:
    """Rows that ask for ``differ_by`` other joints than a found split (and its mirror image).

    With y_e the number (0 or 1) of used sections that hold both ends of e, the difference is the
    number of joints that became inside (y_e) and of inside edges that became joints (1 - y_e).
    """
    splits = [result.sections]
    if mirror is not None:
        check_mirror(mirror, len(problem.patches))
        image = [twin if twin >= 0 else patch for patch, twin in enumerate(mirror)]
        splits.append(tuple(tuple(image[i] for i in section) for section in result.sections))
    rows = []
    for split in splits:
        joints = set(joints_of(problem, split))
        coefficients = np.zeros(len(listed.columns))
        inside = 0
        for e, edge in enumerate(problem.edges):
            both = listed.columns.holds(edge.a) & listed.columns.holds(edge.b)
            coefficients += np.where(both, -1.0 if e in joints else 1.0, 0.0)
            inside += e not in joints
        rows.append(Row(listed.fold(coefficients), float(inside - differ_by)))
    return rows


def _cut_of(
    problem: SplitProblem, sections: tuple[tuple[int, ...], ...], ordered: bool
) -> RemovalCut | None:
    if not ordered:
        return None
    answer = removal_or_cut(problem, sections)
    return None if isinstance(answer, RemovalOrder) else answer


def _result(problem: SplitProblem, listed: _Listed, found: Cheapest, gap: float) -> SplitResult:
    bound = None if not np.isfinite(found.bound) else found.bound
    if found.chosen is None:
        status = IMPOSSIBLE if found.bound == math.inf else NO_ANSWER
        return SplitResult((), None, bound, status, columns=len(listed.columns))
    return describe_split(
        problem,
        listed.sections(found.chosen),
        bound,
        columns=len(listed.columns) if listed.columns.complete else None,
        within=gap,
    )


def describe_split(
    problem: SplitProblem,
    sections: tuple[tuple[int, ...], ...],
    bound: float | None,
    *,
    columns: int | None = None,
    within: float | None = None,
) -> SplitResult:
    """Put a found split into a result, priced again from the definition."""
    cost = split_cost(problem, sections)
    if bound == -math.inf:
        bound = None
    if bound is not None and bound > cost - 1.01 * CENT:
        bound, status = cost, PROVEN
    elif within is not None and bound is not None and bound >= cost - within * abs(cost) - 1e-9:
        status = WITHIN_GAP
    else:
        status = STOPPED
    order = removal_or_cut(problem, sections)
    pulls: tuple[Vector, ...] = ()
    if isinstance(order, RemovalOrder):
        by_section = {step.section: step.pull for step in order.steps}
        pulls = tuple(by_section[k] for k in range(len(sections)))
    return SplitResult(
        sections,
        cost,
        bound,
        status,
        order if isinstance(order, RemovalOrder) else None,
        pulls,
        joints_of(problem, sections),
        columns,
    )
