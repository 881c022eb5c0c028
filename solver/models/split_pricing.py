"""Sections of least reduced cost when they are too many to list.

The reduced cost of a section S is  own + sum of node weights - sum of savings of pairs inside,
with node weight = cost of the node alone less its multiplier.

`improve` searches near good sections: add a node, take one out, for hundreds of sections at once
as rows of a 0/1 matrix; it proves nothing.  `Pricer` proves: one integer program with a binary for
each node, for each pair that saves, and for each row of the table of pulls (exact release, without
big constants); what it leaves out, connectivity, is added by separators where its answer falls
apart, so that its bound holds at any time.  Legality is the same as in `columns.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import LinearConstraint
from scipy.sparse import coo_matrix, csr_matrix, hstack, vstack

from solver.data.until import Until
from solver.models.columns import MASS_SLACK_KG, SIZE_SLACK_MM, Nodes
from solver.models.integer_program import solve_integers
from solver.models.release import Array, Flags

Index = NDArray[np.intp]


@dataclass(frozen=True)
class Terrain:
    """The matrices that sections are grown on, in single precision where they only count."""

    nodes: Nodes
    adjacent: NDArray[np.float32]
    never: NDArray[np.float32]
    illegal: NDArray[np.float32]
    near: tuple[int, ...]
    weight_kg: Array
    limit_kg: float
    size: Array | None


def make_terrain(nodes: Nodes) -> Terrain:
    """Collect the matrices of a body."""
    problem = nodes.problem
    limit = np.inf if problem.lift_limit_kg is None else problem.lift_limit_kg + MASS_SLACK_KG
    size = None
    if problem.size_rule_holds:
        assert problem.largest_section_mm is not None
        size = np.sort(np.array(problem.largest_section_mm)) + SIZE_SLACK_MM
    return Terrain(
        nodes,
        nodes.adjacent.astype(np.float32),
        nodes.never.astype(np.float32),
        (~nodes.legal).astype(np.float32),
        tuple(sum(1 << int(u) for u in np.nonzero(row)[0]) for row in nodes.adjacent),
        nodes.own_kg + nodes.flange_kg.sum(axis=1),
        limit,
        size,
    )


def costs_of(nodes: Nodes, held: Flags) -> Array:
    """(m,) costs of sections given as rows of flags over nodes."""
    rows = held.astype(float)
    pair = np.einsum("ij,ij->i", rows @ nodes.saving, rows)
    costs: Array = nodes.problem.section_cost + rows @ nodes.own_cost - 0.5 * pair
    return costs


def masses_of(terrain: Terrain, held: Flags) -> Array:
    """(m,) masses in kg, joints included."""
    rows = held.astype(float)
    pair = np.einsum("ij,ij->i", rows @ terrain.nodes.flange_kg, rows)
    masses: Array = rows @ terrain.weight_kg - pair
    return masses


def connected(terrain: Terrain, held: Flags) -> Flags:
    """(m,) True where a non-empty set of nodes is connected."""
    out = np.zeros(len(held), dtype=bool)
    packed = np.packbits(held, axis=1, bitorder="little")
    for row, raw in enumerate(packed):
        mask = int.from_bytes(raw.tobytes(), "little")
        out[row] = mask != 0 and _flood(terrain.near, mask & -mask, mask) == mask
    return out


@dataclass(frozen=True)
class Penalties:
    """What a section pays for holding two or three of three nodes (clique rows of the master)."""

    members: NDArray[np.float32]
    price: Array

    def of(self, held: Flags) -> Array:
        """(m,) penalty of sections given as rows of flags."""
        if not len(self.price):
            return np.zeros(len(held))
        hits = product(held.astype(np.float32), self.members) > 1.5
        paid: Array = hits @ self.price
        return paid


def make_penalties(cliques: Sequence[tuple[int, int, int]], price: Array, nodes: int) -> Penalties:
    """Collect the cliques that cost anything."""
    kept = [k for k in range(len(cliques)) if price[k] > 1e-9]
    members = np.zeros((nodes, len(kept)), dtype=np.float32)
    for column, k in enumerate(kept):
        members[list(cliques[k]), column] = 1.0
    return Penalties(members, np.asarray(price, dtype=float)[kept])


def product(a: NDArray[np.float32], b: NDArray[np.float32]) -> NDArray[np.float32]:
    """Matrix product of 0/1 and other finite matrices; some kernels raise flags on padding."""
    with np.errstate(all="ignore"):
        out: NDArray[np.float32] = a @ b
    return out


def legal(terrain: Terrain, held: Flags) -> Flags:
    """(m,) True for legal sections (connectivity included)."""
    good = held.any(axis=1)
    rows = held.astype(np.float32)
    good &= masses_of(terrain, held) <= terrain.limit_kg
    good &= np.einsum("ij,ij->i", product(rows, terrain.never), rows) < 0.5
    index = np.nonzero(good)[0]
    good[index] &= (product(rows[index], terrain.illegal.T) < 0.5).any(axis=1)
    for pins in terrain.nodes.pin_groups:
        part = held[:, list(pins)]
        good &= part.all(axis=1) | ~part.any(axis=1)
    if terrain.size is not None:
        index = np.nonzero(good)[0]
        some = held[index][:, :, None]
        high = np.where(some, terrain.nodes.high_mm[None], -np.inf).max(axis=1)
        low = np.where(some, terrain.nodes.low_mm[None], np.inf).min(axis=1)
        good[index] &= (np.sort(high - low, axis=1) <= terrain.size).all(axis=1)
    index = np.nonzero(good)[0]
    good[index] &= connected(terrain, held[index])
    return good


def distinct(held: Flags) -> Index:
    """Indices of the first of each set of equal rows, ascending."""
    packed = np.packbits(held, axis=1)
    _, first = np.unique(packed, axis=0, return_index=True)
    return np.sort(first)


def improve(
    terrain: Terrain,
    start: Flags,
    weights: Array,
    *,
    rounds: int = 8,
    width: int = 600,
    per_node: int = 4,
    penalties: Penalties | None = None,
) -> tuple[Flags, Array]:
    """Sections near ``start`` (rows of legal sections) of low reduced cost.

    ``weights`` (n,): cost of a node alone less its multiplier.  Returns rows and their reduced
    cost (without the multiplier of the number of sections), least first.  One matrix product
    each tells, for all sections and all nodes at once, what a move gains, weighs, touches,
    excludes, and whether a pull is left; only connectivity of what stays is walked.
    """
    nodes = terrain.nodes
    held = start[distinct(start)]
    penalties = make_penalties([], np.zeros(0), len(nodes)) if penalties is None else penalties
    value = costs_of(nodes, held) - held @ (nodes.own_cost - weights) + penalties.of(held)
    keep = _best(held, value, width, per_node)
    held, value = held[keep], value[keep]
    front, front_value = held, value
    saving = nodes.saving.astype(np.float32)
    flange = nodes.flange_kg.astype(np.float32)
    pulls = nodes.legal.astype(np.float32)
    for _ in range(rounds):
        rows = front.astype(np.float32)
        gain = weights[None, :] - product(rows, saving)
        if len(penalties.price):
            hits = product(rows, penalties.members)
            pays = (penalties.members * penalties.price.astype(np.float32)).T
            joins = product((np.abs(hits - 1.0) < 0.5).astype(np.float32), pays)
            leaves = product((np.abs(hits - 2.0) < 0.5).astype(np.float32), pays)
            gain = gain + np.where(front, leaves, joins)
        allowed = ~front & (product(rows, terrain.adjacent) > 0.5)
        allowed &= product(rows, terrain.never) < 0.5
        free = (product(rows, terrain.illegal.T) < 0.5).astype(np.float32)
        allowed &= product(free, pulls) > 0.5
        mass = masses_of(terrain, front)
        heavier = terrain.weight_kg[None, :] - 2.0 * product(rows, flange)
        # Removal may add flange mass; both kinds of move are weighed, exactly again below.
        moved = mass[:, None] + np.where(front, -heavier, heavier)
        allowed |= front
        allowed &= moved <= terrain.limit_kg + 1e-3
        total = np.where(allowed, front_value[:, None] + np.where(front, -gain, gain), np.inf)
        # Only the best few moves of each section, and the best few for each node, are looked at.
        few = min(6, total.shape[1] - 1)
        column = np.argpartition(total, few, axis=1)[:, :few].ravel()
        row = np.repeat(np.arange(len(front)), few)
        top = min(3, len(front) - 1)
        if top > 0:
            by_node = np.argpartition(total, top, axis=0)[:top]
            row = np.concatenate([row, by_node.ravel()])
            column = np.concatenate([column, np.tile(np.arange(total.shape[1]), top)])
        fine = np.isfinite(total[row, column])
        row, column = row[fine], column[fine]
        if len(row) > 3 * width:
            best = np.argpartition(total[row, column], 3 * width)[: 3 * width]
            row, column = row[best], column[best]
        if not len(row):
            break
        removes = front[row, column]
        child = front[row].copy()
        child[np.arange(len(row)), column] ^= True
        child_value = total[row, column]
        before = len(held)
        both = np.concatenate([held, child])
        first = distinct(both)
        fresh = first[first >= before] - before
        walk = fresh[removes[fresh]]
        good = np.ones(len(child), dtype=bool)
        good[walk] = connected(terrain, child[walk])
        if terrain.size is not None or nodes.pin_groups:
            good[fresh] &= legal(terrain, child[fresh])
        elif np.isfinite(terrain.limit_kg):
            good[fresh] &= masses_of(terrain, child[fresh]) <= terrain.limit_kg
        fresh = fresh[good[fresh]]
        if not len(fresh):
            break
        both = np.concatenate([held, child[fresh]])
        both_value = np.concatenate([value, child_value[fresh]])
        keep = _best(both, both_value, width, per_node)
        is_new = keep >= before
        held, value = both[keep], both_value[keep]
        if not is_new.any():
            break
        front, front_value = held[is_new], value[is_new]
    value = costs_of(nodes, held) - held @ (nodes.own_cost - weights) + penalties.of(held)
    order = np.argsort(value, kind="stable")
    return held[order], value[order]


def _best(held: Flags, value: Array, width: int, per_node: int) -> Index:
    """Indices of the best rows, and of the best few that hold each node."""
    order = np.argsort(value, kind="stable")
    chosen = np.zeros(len(value), dtype=bool)
    chosen[order[:width]] = True
    for node in range(held.shape[1]):
        chosen[order[held[order, node]][:per_node]] = True
    return np.nonzero(chosen)[0]


@dataclass(frozen=True)
class Priced:
    """Proven lower bound on cost less multipliers over all legal sections, and a section or None.

    ``bound`` counts the section's own cost but not the multiplier of the number of sections.
    """

    bound: float
    section: Flags | None
    solved: bool


def _widest(table: Flags) -> Flags:
    """Rows of the table of pulls that no other row outdoes, each once."""
    rows = np.unique(table, axis=0)
    held = rows.astype(np.float32)
    size = held.sum(axis=1)
    within = product(held, held.T) >= size[:, None] - 0.5
    outdone: Flags = (within & (size[None, :] > size[:, None] + 0.5)).any(axis=1)
    return rows[~outdone]


@dataclass
class Pricer:
    """The integer program for the section of least reduced cost; separators are kept."""

    terrain: Terrain
    separators: list[tuple[int, int, tuple[int, ...]]] = field(default_factory=list)

    def __post_init__(self) -> None:
        nodes = self.terrain.nodes
        n = len(nodes)
        joined = (nodes.saving != 0.0) | (nodes.flange_kg != 0.0)
        first, second = np.nonzero(np.triu(joined & ~nodes.never, 1))
        self._pairs = (first, second)
        table = _widest(nodes.legal)
        pairs, pulls = len(first), len(table)
        self._size = n + pairs + pulls
        rows: list[Index] = []
        columns: list[Index] = []
        values: list[Array] = []
        low: list[float] = []
        high: list[float] = []

        def add(index: Index, value: Array, least: float, most: float) -> None:
            rows.append(np.full(len(index), len(low)))
            columns.append(np.asarray(index))
            values.append(np.asarray(value, dtype=float))
            low.append(least)
            high.append(most)

        for i in range(n):
            good = np.nonzero(table[:, i])[0]
            add(np.r_[i, n + pairs + good], np.r_[1.0, -np.ones(len(good))], -np.inf, 0.0)
        add(n + pairs + np.arange(pulls), np.ones(pulls), 1.0, 1.0)
        for e, (i, j) in enumerate(zip(first.tolist(), second.tolist(), strict=True)):
            for end in (i, j):
                add(np.array([n + e, end]), np.array([1.0, -1.0]), -np.inf, 0.0)
            if nodes.saving[i, j] < 0.0:
                add(np.array([n + e, i, j]), np.array([1.0, -1.0, -1.0]), -1.0, np.inf)
        # Pairs with no pull in common are excluded by the pulls already; the rest of "never" not.
        common = nodes.legal.T.astype(float) @ nodes.legal > 0.5
        for i, j in zip(*np.nonzero(np.triu(nodes.never & common, 1)), strict=True):
            add(np.array([i, j]), np.ones(2), -np.inf, 1.0)
        if np.isfinite(self.terrain.limit_kg):
            add(
                np.arange(n + pairs),
                np.r_[self.terrain.weight_kg, -2.0 * nodes.flange_kg[first, second]],
                -np.inf,
                self.terrain.limit_kg,
            )
        for group in nodes.pin_groups:
            for other in group[1:]:
                add(np.array([group[0], other]), np.array([1.0, -1.0]), 0.0, 0.0)
        add(np.arange(n), np.ones(n), 1.0, np.inf)
        self._matrix = coo_matrix(
            (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))),
            shape=(len(low), self._size),
        ).tocsr()
        self._low, self._high = np.array(low), np.array(high)

    def price(
        self,
        weights: Array,
        until: Until,
        *,
        slack: float = 0.0,
        penalties: Penalties | None = None,
        below: float | None = None,
    ) -> Priced:
        """Bound the least of cost less multipliers; ``weights`` as in `improve`.

        ``slack``: the bound may stay this far below the best section found.  ``below``: only ask
        whether a section costs less than this; if none does the bound is this, and any that does
        will do (much quicker than the least).  Size limits are left
        out, which can only lower the bound; a section that breaks one is not returned.
        """
        nodes = self.terrain.nodes
        n = len(nodes)
        pairs = len(self._pairs[0])
        # The section's own cost rides on the pulls, of which exactly one is chosen.
        price = np.concatenate([
            weights,
            -nodes.saving[self._pairs],
            np.full(self._size - n - pairs, nodes.problem.section_cost),
        ])  # fmt: skip
        fixed = 0 if penalties is None else len(penalties.price)
        if penalties is not None:
            price = np.concatenate([price, penalties.price])
        whole = np.concatenate([np.ones(self._size), np.zeros(fixed)])
        best = -np.inf
        while True:
            if until.over():
                return Priced(best, None, False)
            matrix, low, high = self._with_separators(penalties)
            if below is not None:
                matrix = vstack([matrix, csr_matrix(price)]).tocsr()
                low, high = np.append(low, -np.inf), np.append(high, below)
            answer = solve_integers(
                price,
                [LinearConstraint(matrix, low, high)],
                whole,
                until,
                relative_gap=slack / max(1.0, abs(nodes.problem.section_cost))
                if below is None
                else 1e9,
            )
            if below is not None and answer.infeasible:
                return Priced(below, None, True)
            best = max(best, answer.bound)
            if answer.x is None:
                return Priced(best, None, answer.infeasible)
            section = answer.x[:n] > 0.5
            if self._separate(section):
                continue
            good = bool(legal(self.terrain, section[None])[0])
            return Priced(best, section if good else None, answer.optimal)

    def _with_separators(self, penalties: Penalties | None) -> tuple[object, Array, Array]:
        """Rows of the program, of the separators, and of penalties (a column each, pair by pair).

        Separator: both nodes of a pair only with a node between.  Penalty: at least the two of
        each pair of the clique less one.
        """
        cliques = [] if penalties is None else [
            np.nonzero(column)[0].tolist() for column in penalties.members.T
        ]  # fmt: skip
        rows: list[int] = []
        columns: list[int] = []
        values: list[float] = []
        count = 0
        for a, b, between in self.separators:
            rows += [count] * (2 + len(between))
            columns += [a, b, *between]
            values += [1.0, 1.0] + [-1.0] * len(between)
            count += 1
        for k, (a, b, c) in enumerate(cliques):
            for pair in ((a, b), (a, c), (b, c)):
                rows += [count] * 3
                columns += [*pair, self._size + k]
                values += [1.0, 1.0, -1.0]
                count += 1
        if not count:
            return self._matrix, self._low, self._high
        matrix = self._matrix
        if cliques:
            matrix = hstack([matrix, csr_matrix((matrix.shape[0], len(cliques)))])
        extra = coo_matrix((values, (rows, columns)), shape=(count, self._size + len(cliques)))
        return (
            vstack([matrix, extra]).tocsr(),
            np.concatenate([self._low, np.full(count, -np.inf)]),
            np.concatenate([self._high, np.ones(count)]),
        )

    def _separate(self, section: Flags) -> bool:
        """Add separators between the components of a section that falls apart."""
        near = self.terrain.near
        left = sum(1 << int(i) for i in np.nonzero(section)[0])
        everything = (1 << len(section)) - 1
        parts: list[int] = []
        while left:
            part = _flood(near, left & -left, left)
            parts.append(part)
            left &= ~part
        if len(parts) == 1:
            return False
        for part in parts:
            border = 0
            for i in _bits(part):
                border |= near[i]
            border &= ~part
            for other in parts:
                if other == part:
                    continue
                beyond = _flood(near, other, everything & ~part & ~border)
                between = tuple(v for v in _bits(border) if near[v] & beyond)
                for a in _ends(part):
                    for b in _ends(other):
                        row = (min(a, b), max(a, b), between)
                        if row not in self.separators:
                            self.separators.append(row)
        return True


def _flood(near: tuple[int, ...], start: int, within: int) -> int:
    """Mask of what is reached from ``start`` inside ``within``."""
    front = reach = start
    while front:
        low = front & -front
        fresh = near[low.bit_length() - 1] & within & ~reach
        reach |= fresh
        front = (front ^ low) | fresh
    return reach


def _bits(mask: int) -> list[int]:
    out = []
    while mask:
        low = mask & -mask
        out.append(low.bit_length() - 1)
        mask ^= low
    return out


def _ends(mask: int) -> list[int]:
    bits = _bits(mask)
    return sorted({bits[0], bits[-1]})
