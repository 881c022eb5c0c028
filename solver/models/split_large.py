"""The cheapest split where the legal sections are too many to list: column generation.

For a number of sections k and multipliers pi of the nodes,
    L(pi, k) = sum of pi + k * min over legal sections of (cost - pi of its nodes)
is a lower bound on every split into k sections, and also, with the same pi, on every other k.  The
best pi is sought by the box step method (Marsten, Hogan & Blankenship, Operations Research 23,
1975): a linear program over the sections known so far, with pi kept in a box round the best
multipliers, which move when the bound there is better, while the box shrinks when it is not.
Sections come from the neighbourhood search `split_pricing.improve`; bounds are only believed from
the integer program `split_pricing.Pricer`.  Splits come from the linear program where it is
integral, and from an integer program over the sections known so far.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_matrix, hstack, identity

from solver.models.columns import Columns, Nodes, to_words
from solver.models.release import Array, Flags
from solver.models.removal import RemovalCut, cut_coefficients
from solver.models.split_master import COST_TOLERANCE, Master, Row, choose
from solver.models.split_pricing import (
    Pricer,
    Terrain,
    costs_of,
    distinct,
    improve,
    legal,
    make_terrain,
    masses_of,
)

_MOST_KNOWN = 5_000
_KEPT_KNOWN = 3_000
_MOST_BOX_ROUNDS = 120
_SECTIONS_FOR_INTEGERS = 900
_RESTARTS = 6


@dataclass(frozen=True)
class LargeResult:
    """Sections met, the best split among them, and proven bounds by number of sections."""

    columns: Columns
    chosen: tuple[tuple[int, ...], ...] | None
    cost: float
    bounds: dict[int, float]


def columns_of_rows(terrain: Terrain, held: Flags) -> Columns:
    """Sections given as flags over nodes, as columns over patches (not complete)."""
    nodes = terrain.nodes
    count = len(nodes.problem.patches)
    patches = held[:, nodes.node_of]
    words = to_words([np.nonzero(row)[0].tolist() for row in patches], count)
    extents = np.zeros((len(held), 3))
    if terrain.size is not None:
        some = held[:, :, None]
        high = np.where(some, nodes.high_mm[None], -np.inf).max(axis=1)
        low = np.where(some, nodes.low_mm[None], np.inf).min(axis=1)
        extents = -np.sort(low - high, axis=1)[:, ::-1]
    return Columns(
        count, words, costs_of(nodes, held), masses_of(terrain, held), extents, complete=False
    )


def merge_greedily(
    terrain: Terrain, noise: np.random.Generator | None, *, fewest: int = 1
) -> tuple[Flags, Flags]:
    """Merge neighbours while it saves money; returns the final sections and all met on the way."""
    nodes = terrain.nodes
    n = len(nodes)
    clusters = np.eye(n, dtype=bool)
    met = [clusters.copy()]
    refused: set[tuple[bytes, bytes]] = set()
    while len(clusters) > fewest:
        rows = clusters.astype(np.float32)
        touching = np.triu(rows @ terrain.adjacent @ rows.T > 0.5, 1)
        touching &= (rows @ terrain.never @ rows.T) < 0.5
        a, b = np.nonzero(touching)
        union = clusters[a] | clusters[b]
        cost = costs_of(nodes, clusters)
        gain = cost[a] + cost[b] - costs_of(nodes, union)
        mass = masses_of(terrain, clusters)
        score = gain / np.sqrt(np.minimum(mass[a], mass[b]) + 1.0)
        if noise is not None:
            score = score * noise.uniform(0.6, 1.0, len(score))
        done = False
        for e in np.argsort(-score, kind="stable"):
            if gain[e] <= 0.0:
                continue
            key = (clusters[a[e]].tobytes(), clusters[b[e]].tobytes())
            if key in refused:
                continue
            if not _fits_together(terrain, union[e]):
                refused.add(key)
                continue
            left = [k for k in range(len(clusters)) if k not in (a[e], b[e])]
            clusters = np.vstack([clusters[left], union[e][None]])
            met.append(union[e][None])
            done = True
            break
        if not done:
            break
    return clusters, np.vstack(met)


def _fits_together(terrain: Terrain, union: Flags) -> bool:
    return bool(legal(terrain, union[None])[0])


def large_search(
    nodes: Nodes,
    counts: Sequence[int],
    deadline: float,
    check: Callable[[tuple[tuple[int, ...], ...]], RemovalCut | None],
    *,
    gap: float = 0.0,
) -> LargeResult:
    """Search for the cheapest split and prove what can be proven by the deadline.

    ``check`` returns None for a split that can be taken apart, or the cut that it breaks.
    """
    terrain = make_terrain(nodes)
    search = _Search(terrain, list(counts), deadline, check, gap)
    search.start()
    search.run()
    columns = columns_of_rows(terrain, search.held)
    return LargeResult(columns, search.chosen, search.cost, dict(search.bounds))


@dataclass
class _Search:
    terrain: Terrain
    counts: list[int]
    deadline: float
    check: Callable[[tuple[tuple[int, ...], ...]], RemovalCut | None]
    gap: float
    held: Flags = field(default_factory=lambda: np.zeros((0, 0), dtype=bool))
    costs: Array = field(default_factory=lambda: np.zeros(0))
    chosen: tuple[tuple[int, ...], ...] | None = None
    cost: float = np.inf
    bounds: dict[int, float] = field(default_factory=dict)
    cuts: list[RemovalCut] = field(default_factory=list)
    centre: Array = field(default_factory=lambda: np.zeros(0))
    tried: set[tuple[int, ...]] = field(default_factory=set)

    def start(self) -> None:
        """First sections, first multipliers, perhaps a first split."""
        terrain, nodes = self.terrain, self.terrain.nodes
        self.pricer = Pricer(terrain)
        self.bounds = dict.fromkeys(self.counts, -np.inf)
        singles = np.eye(len(nodes), dtype=bool)
        single_legal = legal(terrain, singles)
        self.held, self.costs = singles[single_legal], costs_of(nodes, singles)[single_legal]
        finals: list[Flags] = []
        for turn in range(_RESTARTS):
            if turn and time.monotonic() > self.deadline:
                break
            noise = None if turn == 0 else np.random.default_rng(turn)
            final, met = merge_greedily(terrain, noise, fewest=self.counts[0])
            self.add(met[legal(terrain, met)])
            finals.append(final)
        # Heavy flanges can make a small section illegal where a larger one is not.
        totals = [float(costs_of(nodes, final).sum()) for final in finals]
        best = finals[int(np.argmin(totals))]
        for final in finals:
            self.offer_rows(final)
        share = best / (best @ nodes.own_kg + 1e-9)[:, None]
        self.centre = (costs_of(nodes, best) @ share) * nodes.own_kg
        self.first_count = min(self.counts, key=lambda k: (abs(k - len(best)), k))

    def run(self) -> None:
        """Settle numbers of sections, the most promising first."""
        left = list(self.counts)
        k = self.first_count
        while left and time.monotonic() < self.deadline:
            left.remove(k)
            if self.bounds[k] < self.target():
                self.settle(k)
            left = [c for c in left if self.bounds[c] < self.target()]
            if left:
                k = min(left, key=lambda c: (self.bounds[c], c))

    def target(self) -> float:
        if not np.isfinite(self.cost):
            return np.inf
        return self.cost - max(COST_TOLERANCE, self.gap * abs(self.cost))

    def add(self, rows: Flags) -> None:
        """Take in legal sections not known yet."""
        if not len(rows):
            return
        both = np.vstack([self.held, rows])
        first = distinct(both)
        self.held = both[first]
        self.costs = costs_of(self.terrain.nodes, self.held)

    def forget(self, pi: Array) -> None:
        if len(self.held) > _MOST_KNOWN:
            reduced = self.costs - self.held @ pi
            keep = np.sort(np.argsort(reduced, kind="stable")[:_KEPT_KNOWN])
            singles = self.held.sum(axis=1) == 1
            singles[keep] = True
            self.held, self.costs = self.held[singles], self.costs[singles]

    def offer_rows(self, rows: Flags) -> bool:
        """Offer a split given as rows; False when it does not hold (a cut is then added)."""
        nodes = self.terrain.nodes
        if len(rows) not in self.bounds or not (rows.sum(axis=0) == 1).all():
            return False
        cost = float(costs_of(nodes, rows).sum())
        if cost >= self.cost - COST_TOLERANCE:
            return True
        if not legal(self.terrain, rows).all():
            return False
        patches = rows[:, nodes.node_of]
        sections = tuple(sorted(tuple(int(i) for i in np.nonzero(row)[0]) for row in patches))
        cut = self.check(sections)
        if cut is not None:
            self.cuts.append(cut)
            return False
        self.chosen, self.cost = sections, cost
        return True

    def settle(self, k: int) -> None:
        """Raise the bound for k sections and look for splits until nothing more is gained."""
        nodes = self.terrain.nodes
        centre = self.centre
        box = 0.25 * float(np.abs(centre).mean()) + 1e-6
        widest = 16.0 * box
        exact_rounds = 0
        for _ in range(_MOST_BOX_ROUNDS):
            if time.monotonic() > self.deadline:
                break
            answer = self._box_program(k, centre, box)
            if answer is None:
                break
            value, pi, weights, relief = answer
            if relief < 1e-7:
                self._try_linear(weights, k)
            reduced = self.costs - self.held @ pi
            near = self.held[np.argsort(reduced, kind="stable")[:300]]
            used = self.held[weights > 1e-9]
            fresh, fresh_value = improve(self.terrain, np.vstack([near, used]), nodes.own_cost - pi)
            least = min(float(reduced.min()), float(fresh_value.min()))
            at_pi = float(pi.sum()) + k * least
            self.add(_choice(fresh, fresh_value, float(reduced.min())))
            at_centre = float(centre.sum()) + k * float((self.costs - self.held @ centre).min())
            if at_pi > at_centre + 0.1 * max(0.0, value - at_centre):
                centre = pi
                at_centre = at_pi
                if relief > 1e-7:
                    box = min(widest, 1.5 * box)
            else:
                box = max(0.7 * box, 1e-3)
            gap_left = value - at_centre
            small = max(0.05 * COST_TOLERANCE, 2e-4 * abs(value))
            hopeless = at_centre >= self.target() + small
            if gap_left <= small or hopeless:
                self.centre = centre
                if not np.isfinite(self.cost) or value < self.target():
                    self._integers(k, centre)
                exact_rounds += 1
                if not self._prove(k, centre) or self.bounds[k] >= self.target():
                    break
                box = max(box, 0.05 * float(np.abs(centre).mean()))
            self.forget(centre)
        self.centre = centre
        if np.isfinite(self.cost) and self.bounds[k] >= self.target():
            return
        self._integers(k, centre)

    def _box_program(
        self, k: int, centre: Array, box: float
    ) -> tuple[float, Array, Array, float] | None:
        """Linear program over known sections with multipliers in the box; None if it fails."""
        n = len(centre)
        cover = csr_matrix(self.held.T.astype(float))
        count = csr_matrix(np.ones((1, len(self.held))))
        zero = csr_matrix((1, n))
        matrix = hstack([
            csr_matrix(np.vstack([cover.toarray(), count.toarray()])),
            csr_matrix(np.vstack([identity(n).toarray(), zero.toarray()])),
            csr_matrix(np.vstack([-identity(n).toarray(), zero.toarray()])),
        ]).tocsr()  # fmt: skip
        price = np.concatenate([self.costs, centre + box, box - centre])
        answer = linprog(
            price, A_eq=matrix, b_eq=np.concatenate([np.ones(n), [float(k)]]), method="highs-ds"
        )
        if answer.status != 0:
            return None
        size = len(self.held)
        pi = answer.eqlin.marginals[:n]
        return float(answer.fun), pi, answer.x[:size], float(answer.x[size:].sum())

    def _try_linear(self, weights: Array, k: int) -> None:
        """An integral linear solution is a split."""
        used = weights > 1e-6
        if used.sum() == k and (weights[used] > 1.0 - 1e-6).all():
            self.offer_rows(self.held[used])

    def _integers(self, k: int, pi: Array) -> None:
        """Integer program over the known sections of least reduced cost."""
        for _ in range(12):
            if time.monotonic() > self.deadline:
                return
            reduced = self.costs - self.held @ pi
            few = np.sort(np.argsort(reduced, kind="stable")[:_SECTIONS_FOR_INTEGERS])
            rows = self.held[few]
            key = (k, len(self.cuts), hash(np.packbits(rows).tobytes()))
            if key in self.tried:
                return
            self.tried.add(key)
            master = Master(csr_matrix(rows.astype(float)), self.costs[few], np.ones(len(few)))
            columns = columns_of_rows(self.terrain, rows)
            master.rows = [
                Row(cut_coefficients(cut, columns), len(cut.certificates) - 1.0)
                for cut in self.cuts
            ]
            until = min(self.deadline, time.monotonic() + 10.0)
            choice = choose(master, k, np.arange(len(few)), until, node_limit=400)
            if choice.chosen is None or self.offer_rows(rows[list(choice.chosen)]):
                return

    def _prove(self, k: int, pi: Array) -> bool:
        """Exact pricing at pi; True when it found a section that the search had missed."""
        nodes = self.terrain.nodes
        slack = 2e-4 * abs(float(pi.sum())) / k
        known = float((self.costs - self.held @ pi).min())
        priced = self.pricer.price(nodes.own_cost - pi, self.deadline, slack=slack)
        for c in self.counts:
            self.bounds[c] = max(self.bounds[c], float(pi.sum()) + c * priced.bound)
        if priced.section is None:
            return False
        row = priced.section[None]
        found = float((costs_of(nodes, row) - row @ pi)[0])
        if found >= known - slack:
            return False
        near, value = improve(self.terrain, row, nodes.own_cost - pi, rounds=4, width=100)
        self.add(np.vstack([row, near[value < known]]))
        return True


def _choice(rows: Flags, value: Array, known: float) -> Flags:
    """The best new sections, and the best few that hold each node."""
    order = np.argsort(value, kind="stable")
    kept = np.zeros(len(rows), dtype=bool)
    kept[order[:100]] = True
    for node in range(rows.shape[1]):
        kept[order[rows[order, node]][:3]] = True
    return rows[kept]
