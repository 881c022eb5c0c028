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

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_matrix, hstack, identity, vstack

from solver.data.until import Until
from solver.models.columns import Columns, Nodes, to_words
from solver.models.release import Array, Flags
from solver.models.removal import RemovalCut, cut_coefficients
from solver.models.split_master import COST_TOLERANCE, Clique, Master, Row, choose, violated_cliques
from solver.models.split_pricing import (
    Penalties,
    Pricer,
    Terrain,
    costs_of,
    distinct,
    improve,
    legal,
    make_penalties,
    make_terrain,
    masses_of,
    product,
)

# A bound this close to the cost of a split counts as proof; integer programs are solved to
# 1e-6, which must stay well below it.
CENT = 0.01
_MOST_KNOWN = 5_000
_KEPT_KNOWN = 3_000
_MOST_BOX_ROUNDS = 120
_SECTIONS_FOR_INTEGERS = 1_500
_SECONDS_FOR_INTEGERS = 10.0
_RESTARTS = 6
_MOST_CLIQUES = 200
_CLOSING_MARGIN = 0.002
_FIRST_STEP = 0.008
_STEP = 0.7
# Of bodies of this many nodes even the first question takes long: it asks for less.
_MANY_NODES = 100
_FIRST_STEP_OF_MANY = 0.08
_WIDE_SEARCH = 1_500
_WIDEST_BOX = 1000.0


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
        touching = np.triu(product(product(rows, terrain.adjacent), rows.T) > 0.5, 1)
        touching &= product(product(rows, terrain.never), rows.T) < 0.5
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
    until: Until,
    check: Callable[[tuple[tuple[int, ...], ...]], RemovalCut | None],
    *,
    gap: float = 0.0,
) -> LargeResult:
    """Search for the cheapest split and prove what can be proven until it is to end.

    ``check`` returns None for a split that can be taken apart, or the cut that it breaks.
    """
    terrain = make_terrain(nodes)
    search = _Search(terrain, list(counts), until, check, gap)
    search.start()
    search.run()
    search.keep_chosen()
    columns = columns_of_rows(terrain, search.held)
    return LargeResult(columns, search.chosen, search.cost, dict(search.bounds))


@dataclass
class _Search:
    terrain: Terrain
    counts: list[int]
    until: Until
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
    cliques: list[Clique] = field(default_factory=list)
    prices: Array = field(default_factory=lambda: np.zeros(0))

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
            if turn and self.until.over():
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
        """Settle numbers of sections, the one whose bound is least at any time."""
        left = list(self.counts)
        k = self.first_count
        while left and not self.until.over():
            others = [c for c in left if c != k]
            if self.bounds[k] >= self.target() or self.settle(k, others):
                left = others
            left = [c for c in left if self.bounds[c] < self.target()]
            if left:
                k = min(left, key=lambda c: (self.bounds[c], c))

    def target(self) -> float:
        if not np.isfinite(self.cost):
            return np.inf
        return self.cost - max(CENT, self.gap * abs(self.cost))

    def add(self, rows: Flags) -> None:
        """Take in legal sections not known yet."""
        if not len(rows):
            return
        both = np.vstack([self.held, rows])
        first = distinct(both)
        self.held = both[first]
        self.costs = costs_of(self.terrain.nodes, self.held)

    def keep_chosen(self) -> None:
        """Make sure that the sections of the best split are among those met."""
        nodes = self.terrain.nodes
        heads = [group[0] for group in nodes.groups]
        held = [[head in section for head in heads] for section in map(set, self.chosen or ())]
        if held:
            self.add(np.array(held, dtype=bool))

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

    def penalties(self, prices: Array) -> Penalties:
        """What sections pay for the clique rows at these prices."""
        return make_penalties(self.cliques, prices, len(self.terrain.nodes))

    def reduced(self, pi: Array, prices: Array) -> Array:
        """Cost less multipliers of all known sections."""
        value: Array = self.costs - self.held @ pi + self.penalties(prices).of(self.held)
        return value

    def settle(self, k: int, others: Sequence[int] = ()) -> bool:
        """Raise the bound for k sections and look for splits until nothing more is gained.

        Return False as soon as the bound of one of the ``others`` is clearly lower.
        """
        nodes = self.terrain.nodes
        box = 0.25 * float(np.abs(self.centre).mean()) + 1e-6
        widest = 16.0 * box
        exact = False
        for _ in range(_MOST_BOX_ROUNDS):
            if self.until.over():
                break
            answer = self._box_program(k, box)
            if answer is None:
                break
            value, pi, prices, weights, relief = answer
            if relief < 1e-7:
                self._try_linear(weights, k)
            reduced = self.reduced(pi, prices)
            near = self.held[np.argsort(reduced, kind="stable")[:300]]
            used = weights > 1e-9
            solution = (self.held[used].astype(float), weights[used])
            fresh, fresh_value = improve(
                self.terrain,
                np.vstack([near, self.held[used]]),
                nodes.own_cost - pi,
                penalties=self.penalties(prices),
            )
            least = min(float(reduced.min()), float(fresh_value.min()))
            at_pi = float(pi.sum() - prices.sum()) + k * least
            self.add(_choice(fresh, fresh_value))
            at_centre = float(self.centre.sum() - self.prices.sum()) + k * float(
                self.reduced(self.centre, self.prices).min()
            )
            if at_pi > at_centre + 0.1 * max(0.0, value - at_centre):
                self.centre, self.prices = pi, prices
                at_centre = at_pi
                if relief > 1e-7:
                    box = min(widest, 1.5 * box)
            else:
                box = max(0.7 * box, 1e-3)
            # Near the best known split only the last digits decide.
            fine = 1e-8 if value >= self.target() else 2e-4
            small = max(0.05 * COST_TOLERANCE, fine * abs(value))
            # A margin, since the search may have missed sections that exact pricing will find.
            closed = at_centre >= self.target() + _CLOSING_MARGIN * abs(value)
            settled = value - at_centre <= small
            if settled and relief > 1e-6 and not closed:
                # The box holds the multipliers back: the known sections would let them go on.
                self.centre, self.prices = pi, prices
                box = min(2.0 * box, _WIDEST_BOX * widest)
                continue
            if closed or settled:
                if not closed:
                    self._integers(k, self.centre)
                if exact and not closed and value < self.target() and self._add_cliques(solution):
                    box = max(box, 0.05 * float(np.abs(self.centre).mean()))
                    continue
                exact = True
                missed = self._prove(k)
                if self.bounds[k] >= self.target():
                    break
                least = min((self.bounds[c] for c in others), default=np.inf)
                if least < self.bounds[k] - _CLOSING_MARGIN * abs(value):
                    return False
                if not missed and not self._add_cliques(solution):
                    break
                box = max(box, 0.05 * float(np.abs(self.centre).mean()))
            self.forget(self.centre)
        if self.bounds[k] < self.target() and not self.until.over():
            self._enrich(k)
            self._integers(k, self.centre)
        return True

    def _enrich(self, k: int) -> None:
        """Take in the sections met whose reduced cost would fit into a better split."""
        base = float(self.centre.sum() - self.prices.sum())
        penalties = self.penalties(self.prices)
        order = np.argsort(self.reduced(self.centre, self.prices), kind="stable")
        rows, value = improve(
            self.terrain,
            self.held[order[:_WIDE_SEARCH]],
            self.terrain.nodes.own_cost - self.centre,
            rounds=30,
            width=2 * _WIDE_SEARCH,
            per_node=40,
            penalties=penalties,
        )
        least = float(value[0])
        window = self.target() - (base + k * least)
        self.add(rows[value - least <= window])

    def _add_cliques(self, solution: tuple[Array, Array]) -> bool:
        """Add clique rows that the linear solution breaks; False when there are none (left)."""
        if len(self.cliques) >= _MOST_CLIQUES:
            return False
        found = violated_cliques(*solution, set(self.cliques))
        self.cliques += found
        self.prices = np.concatenate([self.prices, np.zeros(len(found))])
        return bool(found)

    def _box_program(self, k: int, box: float) -> tuple[float, Array, Array, Array, float] | None:
        """Linear program over known sections with multipliers in the box; None if it fails.

        Returns value, multipliers of nodes, prices of cliques (zero or more), weights of the known
        sections, and how much the box takes part.
        """
        n, c = len(self.centre), len(self.cliques)
        size = len(self.held)
        equal = hstack([
            csr_matrix(np.vstack([self.held.T, np.ones((1, size))]).astype(float)),
            vstack([identity(n), csr_matrix((1, n))]),
            vstack([-identity(n), csr_matrix((1, n))]),
            csr_matrix((n + 1, 2 * c)),
        ]).tocsr()  # fmt: skip
        price = np.concatenate([self.costs, self.centre + box, box - self.centre])
        upper, right = None, None
        most: list[tuple[float, float | None]] = [(0.0, None)] * (size + 2 * n)
        if c:
            hits = np.zeros((c, size))
            for row, clique in enumerate(self.cliques):
                hits[row] = self.held[:, list(clique)].sum(axis=1) > 1
            upper = hstack([
                csr_matrix(hits), csr_matrix((c, 2 * n)), -identity(c), identity(c)
            ]).tocsr()  # fmt: skip
            right = np.ones(c)
            # A way out keeps the price below centre + box; a way in keeps it above centre - box.
            price = np.concatenate([price, self.prices + box, -(self.prices - box)])
            most += [(0.0, None)] * c
            most += [(0.0, None) if p > box else (0.0, 0.0) for p in self.prices]
        answer = linprog(
            price,
            A_ub=upper,
            b_ub=right,
            A_eq=equal,
            b_eq=np.concatenate([np.ones(n), [float(k)]]),
            bounds=most,
            method="highs-ds",
        )
        if answer.status != 0:
            return None
        prices = np.maximum(-answer.ineqlin.marginals, 0.0) if c else np.zeros(0)
        weights = answer.x[:size]
        return (
            float(answer.fun),
            answer.eqlin.marginals[:n],
            prices,
            weights,
            float(answer.x[size:].sum()),
        )

    def _try_linear(self, weights: Array, k: int) -> None:
        """An integral linear solution is a split."""
        used = weights > 1e-6
        if used.sum() == k and (weights[used] > 1.0 - 1e-6).all():
            self.offer_rows(self.held[used])

    def _integers(self, k: int, pi: Array) -> None:
        """Integer program over the known sections of least reduced cost."""
        for _ in range(12):
            if self.until.over():
                return
            reduced = self.reduced(pi, self.prices)
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
            until = self.until.at_most(_SECONDS_FOR_INTEGERS)
            choice = choose(master, k, np.arange(len(few)), until, node_limit=400)
            if choice.chosen is None or self.offer_rows(rows[list(choice.chosen)]):
                return

    def _prove(self, k: int) -> bool:
        """Exact pricing at the centre; True when more may be gained (or was missed)."""
        nodes = self.terrain.nodes
        pi = self.centre
        penalties = self.penalties(self.prices)
        base = float(pi.sum() - self.prices.sum())
        known = float(self.reduced(pi, self.prices).min())
        slack = 1e-7 * abs(base) / k
        # A wider search first: a section that it finds saves an integer program.
        order = np.argsort(self.reduced(pi, self.prices), kind="stable")
        wide, wide_value = improve(
            self.terrain,
            self.held[order[:_WIDE_SEARCH]],
            nodes.own_cost - pi,
            rounds=24,
            width=_WIDE_SEARCH,
            per_node=20,
            penalties=penalties,
        )
        if float(wide_value[0]) < known - 1e-6 * abs(base) / k:
            self.add(_choice(wide, wide_value))
            return True
        below = None
        if np.isfinite(self.target()) and base + k * known >= self.target():
            # First most of the way, then to within a hundredth: a lower question takes less.
            nearly = self.cost - _FIRST_STEP * abs(self.cost)
            if not np.isfinite(self.bounds[k]) and len(nodes) > _MANY_NODES:
                nearly = self.cost - _FIRST_STEP_OF_MANY * abs(self.cost)
            elif np.isfinite(self.bounds[k]):
                nearly = min(nearly, self.bounds[k] + _STEP * (self.target() - self.bounds[k]))
            if self.bounds[k] >= self.cost - _FIRST_STEP * abs(self.cost) - CENT:
                nearly = self.target()
            below = (min(self.target(), nearly) - base) / k
        priced = self.pricer.price(
            nodes.own_cost - pi, self.until, slack=slack, penalties=penalties, below=below
        )
        for c in self.counts:
            self.bounds[c] = max(self.bounds[c], base + c * priced.bound)
        if priced.section is None:
            # The first step done, the second follows at the same multipliers.
            return below is not None and priced.solved and self.bounds[k] < self.target()
        row = priced.section[None]
        found = float((costs_of(nodes, row) - row @ pi + penalties.of(row))[0])
        if found >= known - 1e-7 * abs(base) / k:
            return False
        near, value = improve(
            self.terrain, row, nodes.own_cost - pi, rounds=4, width=100, penalties=penalties
        )
        self.add(np.vstack([row, near[value < known]]))
        return True


def _choice(rows: Flags, value: Array) -> Flags:
    """The best new sections, and the best few that hold each node."""
    order = np.argsort(value, kind="stable")
    kept = np.zeros(len(rows), dtype=bool)
    kept[order[:100]] = True
    for node in range(rows.shape[1]):
        kept[order[rows[order, node]][:3]] = True
    return rows[kept]
