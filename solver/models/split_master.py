"""The cheapest choice of legal sections: linear bounds for each number of sections, then a proof.

Variables: q_S = 1 when section S is used.  Rows: every node in one section; the number of sections
is k (one problem for each k: with k fixed the linear bound is much higher than with k free);
*clique rows*, each from three nodes of which two may share only one section (subset rows: Jepsen,
Petersen, Spoorendonk & Pisinger, Operations Research 56, 2008); and whatever rows the caller adds
(order of removal, splits to differ from).

The linear program sees a few hundred of the sections at a time; all others are priced by one
sparse product.  Its multipliers give for *every* k the bound (sum of row multipliers) + k * (least
reduced cost), also when a solve was cut short.  Sections whose reduced cost exceeds the gap to the
best known split are dropped for good; the splits among the rest are listed (`near_splits.py`), and
where they are too many an integer program decides.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import LinearConstraint, linprog
from scipy.sparse import csr_matrix, hstack, vstack

from solver.data.until import Until
from solver.models.integer_program import solve_integers
from solver.models.near_splits import Pool, choices_within
from solver.models.release import Array

Index = NDArray[np.intp]

# Costs closer than this are equal: sums of a few hundred prices in double precision.
COST_TOLERANCE = 1e-6
_SECTIONS_PER_ROUND = 300
_CLIQUES_PER_ROUND = 25
_MOST_CLIQUE_ROUNDS = 25
_POOL_FOR_INTEGERS = 2_500
# The integer program does not look at the clock while it takes in more than this.
_MOST_FOR_INTEGERS = 60_000
_WIDER_LOOKS = (3_000, 12_000, 40_000)
_LEAST_VIOLATION = 0.02
_MOST_TO_LIST = 30_000
_PARTIAL_AT_FIRST = 200_000
_PARTIAL_AT_LAST = 4_000_000
# Windows above the bound that are listed in turn: the first as a share of it, then ever wider.
_FIRST_WINDOW = 0.002
WIDER = 1.4
# Nodes left uncovered by more than this in all, though it costs more than any split.
_LEAST_LACKING = 1e-6
_DEARER = 1000.0


@dataclass(frozen=True)
class Row:
    """coefficients . q <= most, with one coefficient for each section."""

    coefficients: Array
    most: float


@dataclass
class Master:
    """Sections to choose from, rows they must obey, and the bounds proven so far.

    ``cover`` (sections, nodes) 0/1; ``costs``, ``counts`` (sections,): a column may stand for a
    pair of sections.  ``bounds[k]`` is a proven lower bound for k sections.
    """

    cover: csr_matrix
    costs: Array
    counts: Array
    rows: list[Row] = field(default_factory=list)
    cliques: list[tuple[int, int, int]] = field(default_factory=list)
    bounds: dict[int, float] = field(default_factory=dict)
    linear: dict[int, float] = field(default_factory=dict)
    solves: int = 0
    basis: Index = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    order: Index = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    """Nodes as a sweep over the body meets them."""
    whole: dict[int, Linear] = field(default_factory=dict)
    """For each k the best linear program over all sections."""
    rows_of_whole: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.cover = csr_matrix(self.cover)
        self._clique_rows: list[Array] = []
        if not len(self.order):
            self.order = np.arange(self.nodes)

    @property
    def nodes(self) -> int:
        """Number of rows that must be covered."""
        return int(self.cover.shape[1])

    def clique_row(self, clique: tuple[int, int, int]) -> Array:
        """Coefficient of each section: 1 when it holds two or three of the nodes."""
        held = self.cover[:, list(clique)].sum(axis=1)
        return (np.asarray(held).ravel() >= 1.5).astype(float)

    def add_clique(self, clique: tuple[int, int, int]) -> None:
        """Add a clique row for all sections."""
        self.cliques.append(clique)
        self._clique_rows.append(self.clique_row(clique).astype(np.int8))

    def side_rows(self, index: Index) -> tuple[Array, Array]:
        """Return coefficients (rows, len(index)) and right sides of cliques and added rows."""
        parts = [row[index] for row in self._clique_rows]
        parts += [row.coefficients[index] for row in self.rows]
        right = [1.0] * len(self._clique_rows) + [row.most for row in self.rows]
        if not parts:
            return np.zeros((0, len(index))), np.zeros(0)
        return np.array(parts, dtype=float), np.array(right)


@dataclass(frozen=True)
class Linear:
    """Solved (or cut short) linear program for k sections over the sections of a pool."""

    bound: float
    value: Array
    chosen: Index
    pool: Index
    reduced: Array
    solved: bool
    lacking: float


def relax(
    master: Master, k: int, pool: Index, penalty: float, until: Until, enough: float = np.inf
) -> Linear:
    """Linear bound for k sections from the sections in ``pool`` (indices); see the module text.

    ``penalty``: what leaving a node uncovered costs, more than any split.  Stops early when the
    bound passes ``enough``.  The bound counts only if ``pool`` holds all sections that may be in
    a split better than the best known one.
    """
    cover = master.cover if len(pool) == master.cover.shape[0] else master.cover[pool]
    costs, counts = master.costs[pool], master.counts[pool]
    size, nodes = len(pool), master.nodes
    side_all, right = master.side_rows(pool)
    active = _starting_sections(master, pool, cover, costs)
    best = -np.inf
    best_reduced = np.zeros(size)
    while True:
        master.solves += 1
        few = active
        a_eq = hstack([
            vstack([cover[few].T, csr_matrix(counts[few])]),
            csr_matrix(np.vstack([np.eye(nodes), np.zeros((1, nodes))])),
            csr_matrix(np.vstack([np.zeros((nodes, 2)), [[1.0, -1.0]]])),
        ]).tocsr()  # fmt: skip
        side = side_all[:, few]
        a_ub = None
        if len(right):
            # Side rows with a negative right side need a way out as well.
            relief = csr_matrix((len(right), nodes + 2))
            out = csr_matrix(-np.eye(len(right)))
            a_ub = hstack([csr_matrix(side), relief, out]).tocsr()
            a_eq = hstack([a_eq, csr_matrix((nodes + 1, len(right)))]).tocsr()
        price = np.concatenate([costs[few], np.full(nodes + 2 + len(right), penalty)])
        answer = linprog(
            price,
            A_ub=a_ub,
            b_ub=right if len(right) else None,
            A_eq=a_eq,
            b_eq=np.concatenate([np.ones(nodes), [float(k)]]),
            method="highs-ds",
        )
        if answer.status != 0:
            return Linear(best, np.zeros(0), active[:0], pool, best_reduced, False, 1.0)
        pi, sigma = answer.eqlin.marginals[:nodes], answer.eqlin.marginals[nodes]
        mu = np.minimum(answer.ineqlin.marginals, 0.0) if len(right) else np.zeros(0)
        reduced = costs - cover @ pi
        if len(right):
            for weight, row in zip(mu, side_all, strict=True):
                if weight < 0.0:
                    reduced -= weight * row
        worst = float((reduced / counts).min()) if size else 0.0
        base = float(pi.sum() + mu @ right)
        if size == master.cover.shape[0]:
            _note_bounds(master, base, worst)
        bound = base + k * worst
        if bound > best:
            best, best_reduced = bound, reduced - counts * worst
        gain = reduced - sigma * counts
        done = worst >= sigma - COST_TOLERANCE * 0.01
        if done or best >= enough or until.over():
            weights = answer.x[: len(few)]
            lacking = float(answer.x[len(few) :].sum())
            used = weights > 1e-9
            linear = Linear(best, weights[used], pool[few[used]], pool, best_reduced, done, lacking)
            if size == master.cover.shape[0] and (
                k not in master.whole or best > master.whole[k].bound
            ):
                master.whole[k] = linear
                master.rows_of_whole[k] = len(right)
            return linear
        active = _extend(active, gain, cover)


def _note_bounds(master: Master, base: float, worst: float) -> None:
    for k in master.bounds:
        master.linear[k] = max(master.linear.get(k, -np.inf), base + k * worst)


def _starting_sections(master: Master, pool: Index, cover: csr_matrix, costs: Array) -> Index:
    """Start from the sections used last and the cheapest by share of nodes."""
    if len(pool) <= 3 * _SECTIONS_PER_ROUND:
        return np.arange(len(pool))
    start = np.searchsorted(pool, master.basis)
    start = start[start < len(pool)]
    start = start[np.isin(pool[start], master.basis)]
    size = np.asarray(cover.sum(axis=1)).ravel()
    share = costs / size
    cheap = np.argpartition(share, 2 * _SECTIONS_PER_ROUND)[: 2 * _SECTIONS_PER_ROUND]
    return np.unique(np.concatenate([start, cheap]))


def _extend(active: Index, gain: Array, cover: csr_matrix) -> Index:
    """Add the sections of least reduced cost; drop those of large reduced cost when many."""
    kept = active
    if len(active) > 12 * _SECTIONS_PER_ROUND:
        order = np.argsort(gain[active], kind="stable")
        kept = active[order[: 6 * _SECTIONS_PER_ROUND]]
    count = min(_SECTIONS_PER_ROUND, len(gain) - 1)
    least = np.argpartition(gain, count)[:count] if count > 0 else np.zeros(1, dtype=np.intp)
    least = least[gain[least] < 0.0]
    return np.unique(np.concatenate([kept, least]))


Clique = tuple[int, int, int]


def violated_cliques(held: Array, weights: Array, known: set[Clique]) -> list[Clique]:
    """Three nodes whose pairs are shared by more than one section in a linear solution.

    ``held`` (sections, nodes) 0/1 rows of the sections used, ``weights`` how much of each.
    """
    n = held.shape[1]
    found: list[tuple[float, tuple[int, int, int]]] = []
    for i in range(n):
        with_i = held * held[:, i : i + 1]
        for j in range(i + 1, n - 1):
            both = with_i[:, j]
            one = held[:, i] + held[:, j] - 2.0 * both
            level = float(weights @ both) + (weights * one) @ held[:, j + 1 :]
            for third in np.nonzero(level > 1.0 + _LEAST_VIOLATION)[0]:
                clique = (i, j, int(third) + j + 1)
                if clique not in known:
                    found.append((-float(level[third]), clique))
    found.sort()
    picked: list[tuple[int, int, int]] = []
    used = np.zeros(n)
    for _, clique in found:
        if used[list(clique)].max() < 5:
            picked.append(clique)
            used[list(clique)] += 1
        if len(picked) == _CLIQUES_PER_ROUND:
            break
    return picked


@dataclass(frozen=True)
class Choice:
    """Answer of the integer program: chosen sections (or none), cost, proven bound."""

    chosen: tuple[int, ...] | None
    cost: float
    bound: float
    proven: bool


def choose(
    master: Master,
    k: int,
    pool: Index,
    until: Until,
    *,
    upto: int | None = None,
    node_limit: int | None = None,
) -> Choice:
    """Cheapest set of k (to ``upto``) sections from ``pool`` that obeys all rows."""
    upto = k if upto is None else upto
    if until.over():
        return Choice(None, np.inf, -np.inf, False)
    if not len(pool):
        return Choice(None, np.inf, np.inf, True)
    cover = master.cover[pool]
    if not np.asarray(cover.sum(axis=0)).ravel().all():
        return Choice(None, np.inf, np.inf, True)
    side, right = master.side_rows(pool)
    equal = vstack([cover.T, csr_matrix(master.counts[pool])]).tocsr()
    least = np.concatenate([np.ones(master.nodes), [float(k)]])
    most = np.concatenate([np.ones(master.nodes), [float(upto)]])
    rules = [LinearConstraint(equal, least, most)]
    if len(right):
        rules.append(LinearConstraint(csr_matrix(side), -np.inf, right))
    answer = solve_integers(
        master.costs[pool], rules, np.ones(len(pool)), until, node_limit=node_limit
    )
    master.solves += 1
    if answer.infeasible:
        return Choice(None, np.inf, np.inf, True)
    if answer.x is None:
        return Choice(None, np.inf, answer.bound, False)
    chosen = pool[np.nonzero(answer.x > 0.5)[0]]
    cost = float(master.costs[chosen].sum())
    if not _obeys(master, chosen, k, upto):
        return Choice(None, np.inf, answer.bound, False)
    return Choice(tuple(int(i) for i in chosen), cost, answer.bound, answer.optimal)


@dataclass(frozen=True)
class Listed:
    """Choices within some window of a linear bound, the cheapest first, and how far they reach.

    ``upto``: every choice that costs no more and obeys the rows is among ``choices``.
    """

    choices: tuple[tuple[float, tuple[int, ...]], ...]
    upto: float


def list_near(
    master: Master, k: int, linear: Linear, upto: float, until: Until, most_partial: int
) -> Listed | None:
    """List all choices of k sections that cost at most ``upto``; None where they are too many."""
    window = upto - linear.bound + COST_TOLERANCE
    if window < 0.0:
        return Listed((), upto)
    few = np.nonzero(linear.reduced <= window)[0]
    if len(few) > _MOST_TO_LIST:
        return None
    pool = linear.pool[few]
    offered = Pool(master.cover[pool], linear.reduced[few], master.counts[pool])
    listed = choices_within(
        offered, k, window, master.order, most_partial=most_partial, until=until
    )
    if listed is None:
        return None
    choices = []
    for members in listed:
        chosen = np.sort(pool[list(members)])
        cost = float(master.costs[chosen].sum())
        if cost <= upto + COST_TOLERANCE:
            choices.append((cost, tuple(chosen.tolist())))
    return Listed(tuple(sorted(choices)), upto)


def list_upto(master: Master, k: int, upto: float, most_cost: float, until: Until) -> Listed | None:
    """List all choices of k sections that cost at most ``upto``, with clique rows where needed."""
    if master.linear.get(k, -np.inf) > upto:
        return Listed((), upto)
    everything = np.arange(master.cover.shape[0])
    linear = master.whole.get(k) or relax(master, k, everything, most_cost, until)
    for round_number in range(_MOST_CLIQUE_ROUNDS + 1):
        last = round_number == _MOST_CLIQUE_ROUNDS
        listed = list_near(
            master, k, linear, upto, until, _PARTIAL_AT_LAST if last else _PARTIAL_AT_FIRST
        )
        if listed is not None:
            return listed
        if until.over() or not linear.solved:
            return None
        if not _add_cliques(master, linear) and round_number:
            return list_near(master, k, linear, upto, until, _PARTIAL_AT_LAST)
        pool = linear.pool[linear.reduced <= upto - linear.bound + COST_TOLERANCE]
        linear = relax(master, k, pool, most_cost, until)
    return None


def _add_cliques(master: Master, linear: Linear) -> bool:
    """Add clique rows that a linear solution breaks; False where there are none."""
    rows = (np.asarray(master.cover[linear.chosen].todense()) > 0.5).astype(float)
    cliques = violated_cliques(rows, linear.value, set(master.cliques))
    for clique in cliques:
        master.add_clique(clique)
    return bool(cliques)


def _obeys(master: Master, chosen: Index, k: int, upto: int) -> bool:
    held = np.asarray(master.cover[chosen].sum(axis=0)).ravel()
    return (
        bool(np.all(np.abs(held - 1.0) < 0.5))
        and k <= round(float(master.counts[chosen].sum())) <= upto
        and all(row.coefficients[chosen].sum() <= row.most + 1e-6 for row in master.rows)
    )


@dataclass(frozen=True)
class Cheapest:
    """Best choice over all k, its cost and the bound proven over all k."""

    chosen: tuple[int, ...] | None
    cost: float
    bound: float


def cheapest_choice(
    master: Master,
    counts: Sequence[int],
    most_cost: float,
    check: Callable[[tuple[int, ...]], Row | None],
    until: Until,
    *,
    gap: float = 0.0,
    known: tuple[tuple[int, ...], float] | None = None,
) -> Cheapest:
    """Cheapest choice over the given numbers of sections.

    ``most_cost``: more than any split can cost.  ``check`` returns None for a choice that holds,
    or a row that it breaks (and that every choice that holds obeys).
    """
    search = _Search(master, most_cost, check, until, gap)
    if known is not None:
        search.chosen, search.cost = known
    master.bounds = dict.fromkeys(counts, -np.inf)
    master.linear = dict(master.bounds)
    open_counts = list(counts)
    first = True
    while open_counts and not until.over():
        # The linear bound is convex in k: start where it is likely least and spread from there.
        if first:
            k = _likely_count(master, open_counts, most_cost, until)
            first = False
        else:
            k = min(open_counts, key=lambda c: (master.linear[c], c))
        open_counts.remove(k)
        if max(master.linear[k], master.bounds[k]) >= search.target():
            master.bounds[k] = max(master.linear[k], master.bounds[k])
            continue
        search.settle(k)
    for k in counts:
        master.bounds[k] = max(master.bounds[k], master.linear[k])
    bound = min([*master.bounds.values(), search.cost]) if counts else np.inf
    return Cheapest(search.chosen, search.cost, bound)


def _likely_count(master: Master, counts: Sequence[int], penalty: float, until: Until) -> int:
    """Find the k of least linear bound, which is convex in k: by wider steps, then by halves."""
    everything = np.arange(master.cover.shape[0])
    known: dict[int, float] = {}

    def value(place: int) -> float:
        if place not in known:
            linear = relax(master, counts[place], everything, penalty, until)
            if len(linear.chosen):
                master.basis = linear.chosen
            known[place] = linear.bound
        return known[place]

    last = len(counts) - 1
    low, step = 0, 1
    while low < last and not until.over():
        after = min(low + step, last)
        if value(after) >= value(low) - COST_TOLERANCE:
            break
        low, step = after, 2 * step
    # the least lies within the last two steps
    left, right = max(0, low - step // 2), min(low + step, last)
    while right - left > 1 and not until.over():
        if low - left > 1:
            middle = (left + low) // 2
            if value(middle) < value(low) - COST_TOLERANCE:
                low, right = middle, low
            else:
                left = middle
        elif right - low > 1:
            middle = (low + right) // 2
            if value(middle) < value(low) - COST_TOLERANCE:
                left, low = low, middle
            else:
                right = middle
        elif low > left and value(left) < value(low) - COST_TOLERANCE:
            low, right = left, low
        else:
            break
    return counts[low]


@dataclass
class _Search:
    master: Master
    most_cost: float
    check: Callable[[tuple[int, ...]], Row | None]
    until: Until
    gap: float
    chosen: tuple[int, ...] | None = None
    cost: float = np.inf

    def target(self) -> float:
        """Bound at or above which a number of sections is closed."""
        if self.chosen is None:
            return np.inf
        return self.cost - max(COST_TOLERANCE, self.gap * abs(self.cost))

    def offer(self, choice: Choice) -> bool:
        """Take a choice that holds; otherwise add the row it breaks and return False."""
        assert choice.chosen is not None
        row = self.check(choice.chosen)
        if row is not None:
            self.master.rows.append(row)
            return False
        if choice.cost < self.cost:
            self.chosen, self.cost = choice.chosen, choice.cost
        return True

    def ceiling(self) -> float:
        return min(self.cost, self.most_cost)

    def settle(self, k: int) -> None:
        """Prove that k sections cannot beat the best known split, or find the one that does."""
        master = self.master
        pool = np.arange(master.cover.shape[0])
        tried = False
        for round_number in range(_MOST_CLIQUE_ROUNDS + 1):
            rows = len(master.cliques) + len(master.rows)
            if round_number == 0 and master.rows_of_whole.get(k) == rows:
                linear = master.whole[k]
            else:
                linear = relax(master, k, pool, self.most_cost, self.until, self.target())
            if len(linear.chosen):
                master.basis = linear.chosen
            master.bounds[k] = max(master.bounds[k], min(linear.bound, self.ceiling()))
            if master.bounds[k] >= self.target() or not linear.solved:
                return
            if self._cannot_cover(k, linear):
                master.bounds[k] = np.inf
                return
            if self._list(k, linear, _PARTIAL_AT_FIRST):
                return
            if len(pool) > _POOL_FOR_INTEGERS and (not tried or self.chosen is None):
                tried = True
                self._quick(k, linear)
            window = self.ceiling() - linear.bound + COST_TOLERANCE
            pool = pool[linear.reduced <= window]
            if round_number == _MOST_CLIQUE_ROUNDS or not _add_cliques(master, linear):
                break
        for count in _WIDER_LOOKS:
            if len(pool) <= _MOST_FOR_INTEGERS:
                break
            # a split found among fewer leaves fewer that could beat it
            self._quick(k, linear, count)
            window = self.ceiling() - linear.bound + COST_TOLERANCE
            pool = linear.pool[linear.reduced <= window]
        if self._list(k, linear, _PARTIAL_AT_LAST):
            return
        if len(pool) <= _MOST_FOR_INTEGERS:
            self._prove(k, pool)

    def _cannot_cover(self, k: int, linear: Linear) -> bool:
        """Whether no k sections cover all nodes even in shares, so that no price does."""
        if self.chosen is not None or linear.lacking < _LEAST_LACKING:
            return False
        dear = _DEARER * self.most_cost
        return relax(self.master, k, linear.pool, dear, self.until).bound > self.most_cost

    def _list(self, k: int, linear: Linear, most_partial: int) -> bool:
        """List splits near the bound until the cheapest that holds, or the target, is met."""
        master = self.master
        window = _FIRST_WINDOW * abs(linear.bound) + COST_TOLERANCE
        while not self.until.over():
            target = min(self.target(), self.most_cost)
            upto = min(linear.bound + window, target)
            listed = list_near(master, k, linear, upto, self.until, most_partial)
            if listed is None:
                return False
            for cost, chosen in listed.choices:
                obeys = _obeys(master, np.array(chosen), k, k)
                if obeys and self.offer(Choice(chosen, cost, cost, True)):
                    break
            found = self.chosen is not None and self.cost <= upto + COST_TOLERANCE
            master.bounds[k] = max(master.bounds[k], self.cost if found else min(upto, target))
            if found or upto >= target:
                if self.chosen is None:
                    master.bounds[k] = np.inf
                return True
            window *= WIDER
        return False

    def _quick(self, k: int, linear: Linear, count: int = 600) -> None:
        """Look for a split among the sections of least reduced cost."""
        count = min(count, len(linear.pool))
        if count == len(linear.pool):
            few = linear.pool
        else:
            few = linear.pool[np.argpartition(linear.reduced, count)[:count]]
        few = np.union1d(few, linear.chosen)
        for _ in range(8):
            choice = choose(self.master, k, few, self.until, node_limit=200)
            if choice.chosen is None or choice.cost >= self.cost or self.offer(choice):
                return

    def _prove(self, k: int, pool: Index) -> None:
        master = self.master
        while not self.until.over():
            choice = choose(master, k, pool, self.until)
            # Sections outside the pool cost more than the ceiling.
            bound = min(choice.bound, self.ceiling())
            master.bounds[k] = max(master.bounds[k], bound)
            if choice.chosen is None:
                if choice.proven and self.chosen is None:
                    master.bounds[k] = np.inf
                return
            if choice.cost >= self.cost:
                return
            if self.offer(choice):
                if choice.proven:
                    master.bounds[k] = max(master.bounds[k], self.cost)
                return
