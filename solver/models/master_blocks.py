"""A large master decided block by block: a bound for the whole, and a choice put together.

The rows of the model are dealt to blocks of the body (`small_cuts`); those that hold for all of it
(stock, setting up, bolts, clamps, lanes) belong to none.  With the multipliers of the linear
relaxation for these rows, each block is decided by itself, exactly: the sum of what the blocks cost
at least is a bound for the whole (Lagrangian relaxation; Geoffrion, Mathematical Programming Study
2, 1974).  A decision that touches several blocks (a section across a cut, a piece along it) has a
copy in each, its price shared out so that the copies' prices add up to its own; letting copies
differ only lowers the bound, so it holds whatever the blocks are.

What the blocks chose, with the stock it takes together, is improved by the model itself, with the
sections fixed that all blocks agree on and the options left out that the relaxation finds dearest.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass

import numpy as np
from ortools.sat.python import cp_model
from scipy.sparse import bmat, csr_matrix
from scipy.sparse.csgraph import connected_components

from solver.data.until import Until
from solver.models.ahead import in_turn
from solver.models.cp_sat import new_solver, watched
from solver.models.linear_program import Index, Relaxed, Rows, relax
from solver.models.release import Array, Flags

BLOCK_SHARE = 0.2
"""Of the work, for one block: mostly a hundredth of it is enough."""
MOST_FREE = 2500
"""Decisions that are left open when the blocks' choices are put together."""
SAFE = 1e-7
"""Share of the bound that rounding of multipliers could have added."""


@dataclass(frozen=True)
class Homes:
    """Where the decisions of a model belong.

    ``of`` (variables,) bit masks of blocks, all bits where a decision belongs to no block in
    particular; ``everywhere``: decisions for the whole body, whose rows belong to no block;
    ``sections``: decisions that are fixed first when choices are put together.
    """

    of: np.ndarray[tuple[int], np.dtype[np.int64]]
    everywhere: Flags
    sections: Flags


@dataclass(frozen=True)
class Blocks:
    """The block of each row, -1 for rows of the whole."""

    of_row: Index
    count: int

    @staticmethod
    def of(rows: Rows, homes: Homes) -> Blocks:
        """Deal the rows: each to a block that all its decisions touch, the others to none."""
        matrix, count = rows.matrix, len(rows.least)
        if not count:
            return Blocks(np.zeros(0, dtype=np.intp), 0)
        filled = np.diff(matrix.indptr) > 0
        starts = matrix.indptr[:-1][filled]
        common = np.zeros(count, dtype=np.int64)
        common[filled] = np.bitwise_and.reduceat(homes.of[matrix.indices], starts)
        whole = ~filled
        whole[filled] |= np.logical_or.reduceat(homes.everywhere[matrix.indices], starts)
        own = np.nonzero(~whole & (common != 0))[0]
        lowest = common[own] & -common[own]
        # rows of one block that share no decision are decided apart
        label = np.full(count, -1, dtype=np.intp)
        found = 0
        for home in np.unique(lowest):
            mine = own[lowest == home]
            part = matrix[mine]
            touched = np.unique(part.indices)
            incidence = csr_matrix(part[:, touched] != 0)
            graph = bmat([[None, incidence], [incidence.T, None]])
            number, component = connected_components(graph, directed=False)
            label[mine] = component[: len(mine)] + found
            found += number
        return Blocks(label, found)

    def members(self, block: int) -> Index:
        """Return the rows of a block."""
        return np.nonzero(self.of_row == block)[0]


@dataclass(frozen=True)
class Decided:
    """What is known of the whole: least cost of any choice, and a choice with its cost.

    Both are in the model's units, constant included.  ``choice`` (variables,), None if none was
    found; ``impossible``: some block has no choice at all; ``cut`` whether a clock interfered.
    """

    bound: float
    choice: Array | None = None
    cost: float = np.inf
    impossible: bool = False
    cut: bool = False
    work: float = 0.0


def decide_by_blocks(
    rows: Rows,
    homes: Homes,
    *,
    work: float,
    until: Until,
    seed: int,
    known: Flags | None = None,
) -> Decided | None:
    """Decide block by block; None where the relaxation has no solution, or had to end before it.

    ``known`` are decisions of a choice known before: they are left open when choices are put
    together.
    """
    blocks = Blocks.of(rows, homes)
    linear = relax(rows, until)
    if linear is None:
        return None
    price, prices_of = _shared_out(rows, blocks, linear)
    bound = rows.constant + _of_whole(rows, blocks, linear, price)
    chosen = np.zeros(len(rows.price))
    asked = np.zeros(len(rows.price))
    agreed: Flags = np.ones(len(rows.price), dtype=bool)
    done, cut = 0.0, False
    parts = (_part(rows, blocks.members(one), prices_of(one)) for one in range(blocks.count))

    def decide(part: tuple[Rows, Index], until: Until) -> Decided:
        return _exactly(part[0], BLOCK_SHARE * work, until, seed)

    with closing(in_turn(parts, decide, until)) as turns:
        for (_, touched), answer in turns:
            done, cut = done + answer.work, cut or answer.cut
            if answer.impossible:
                return Decided(np.inf, impossible=True, work=done)
            bound += answer.bound
            if answer.choice is None:
                agreed[touched] = False
                continue
            differs = (asked[touched] > 0) & (chosen[touched] != answer.choice)
            agreed[touched[differs]] = False
            chosen[touched] = np.maximum(chosen[touched], answer.choice)
            asked[touched] += 1
    bound -= SAFE * abs(bound)
    together = _put_together(
        rows, homes, blocks, linear, chosen, agreed, max(work - done, BLOCK_SHARE * work), until,
        seed, known,
    )  # fmt: skip
    done, cut = done + together.work, cut or together.cut
    return Decided(min(bound, together.cost), together.choice, together.cost, cut=cut, work=done)


def _shared_out(
    rows: Rows, blocks: Blocks, linear: Relaxed
) -> tuple[Array, Callable[[int], Array]]:
    """Return prices after the rows of the whole, and each block's share of them."""
    matrix, multipliers = rows.matrix, linear.multipliers
    whole = np.where(blocks.of_row < 0, multipliers, 0.0)
    price = rows.price - matrix.T @ whole
    reduced = rows.price - matrix.T @ multipliers
    labelled = blocks.of_row[np.repeat(np.arange(len(rows.least)), np.diff(matrix.indptr))]
    inside = labelled >= 0
    pairs = np.unique(np.column_stack([labelled[inside], matrix.indices[inside]]), axis=0)
    homes = np.bincount(pairs[:, 1], minlength=len(price))
    own = homes == 1

    def of(block: int) -> Array:
        mine = np.where(blocks.of_row == block, multipliers, 0.0)
        shared: Array = matrix.T @ mine + reduced / np.maximum(homes, 1)
        return np.where(own, price, shared)

    # decisions that no block has are those of the whole
    return np.where(homes == 0, price, 0.0), of


def _of_whole(rows: Rows, blocks: Blocks, linear: Relaxed, price: Array) -> float:
    """Least cost of what belongs to no block, with what the rows of the whole are worth."""
    whole = (blocks.of_row < 0) & (linear.multipliers != 0.0)
    value = linear.multipliers[whole]
    sides = np.where(value > 0.0, rows.least[whole], rows.most[whole])
    return float(value @ sides + np.minimum(price * rows.low, price * rows.high).sum())


def _part(rows: Rows, mine: Index, price: Array) -> tuple[Rows, Index]:
    """Return some rows with the decisions in them, and which these are."""
    part = rows.matrix[mine]
    touched = np.unique(part.indices)
    return (
        Rows(
            part[:, touched].tocsr(),
            rows.least[mine],
            rows.most[mine],
            rows.low[touched],
            rows.high[touched],
            price[touched],
            0.0,
        ),
        touched,
    )


def _exactly(
    rows: Rows, work: float, until: Until, seed: int, hint: dict[int, int] | None = None
) -> Decided:
    """Decide rows by CP-SAT; prices are rounded down, so the bound stays one."""
    price = np.floor(rows.price)
    model = cp_model.CpModel()
    x = [
        model.new_int_var(low, high, "")
        for low, high in zip(
            rows.low.astype(int).tolist(), rows.high.astype(int).tolist(), strict=True
        )
    ]
    for columns, weights, least, most in _each(rows):
        model.add_linear_constraint(
            cp_model.LinearExpr.weighted_sum([x[i] for i in columns], weights), least, most
        )
    model.minimize(cp_model.LinearExpr.weighted_sum(x, price.astype(int).tolist()))
    for i, value in hint.items() if hint is not None else ():
        model.add_hint(x[i], value)
    solver = new_solver(work=work, seconds=until.left(), seed=seed)
    left = until.left()
    with watched(solver, until.asked):
        status = solver.solve(model)
    done = float(solver.response_proto.deterministic_time)
    if status == cp_model.INFEASIBLE:
        return Decided(np.inf, impossible=True, work=done)
    cut = status != cp_model.OPTIMAL and left is not None and solver.wall_time >= 0.98 * left
    bound = solver.best_objective_bound
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        # nothing may be known by then: no decision costs less than all that lowers the price
        floor = float(np.minimum(price * rows.low, price * rows.high).sum())
        return Decided(max(bound, floor) if np.isfinite(bound) else floor, cut=cut, work=done)
    choice = np.array([solver.value(one) for one in x], dtype=float)
    return Decided(bound, choice, float(rows.price @ choice), cut=cut, work=done)


def _each(rows: Rows) -> Iterator[tuple[list[int], list[int], int, int]]:
    """Yield each row as whole numbers."""
    matrix = rows.matrix
    indices, values = matrix.indices.tolist(), matrix.data.astype(int).tolist()
    starts = matrix.indptr.tolist()
    for i, (least, most) in enumerate(zip(rows.least.tolist(), rows.most.tolist(), strict=True)):
        inside = slice(starts[i], starts[i + 1])
        yield (
            indices[inside],
            values[inside],
            int(least) if np.isfinite(least) else cp_model.INT32_MIN * 2**20,
            int(most) if np.isfinite(most) else cp_model.INT32_MAX * 2**20,
        )


def _put_together(
    rows: Rows,
    homes: Homes,
    blocks: Blocks,
    linear: Relaxed,
    chosen: Array,
    agreed: Flags,
    work: float,
    until: Until,
    seed: int,
    known: Flags | None,
) -> Decided:
    """Fix the sections that the blocks agree on and let the model decide what is left."""
    keep: Flags = np.ones(len(chosen), dtype=bool)
    keep[homes.sections & (chosen == 0)] = False
    if not agreed.all():
        # where blocks differ the sections near by stay open
        open_homes = np.bitwise_or.reduce(homes.of[~agreed & homes.sections], initial=0)
        keep[homes.sections & (homes.of & open_homes != 0)] = True
    if known is not None:
        keep |= known
    fixed = _without(rows, ~keep)
    again = relax(fixed, until)
    if again is None:
        return Decided(-np.inf, cut=until.over())
    reduced = fixed.price - fixed.matrix.T @ again.multipliers
    dear = np.sort(reduced[keep])
    if len(dear) > MOST_FREE:
        keep &= (reduced <= dear[MOST_FREE]) | (chosen > 0) | homes.everywhere
    if known is not None:
        keep |= known
    few, kept = _only(rows, keep)
    guess = {
        place: int(chosen[i]) for place, i in enumerate(kept.tolist()) if not homes.everywhere[i]
    }
    answer = _exactly(few, work, until, seed, guess)
    if answer.choice is None:
        return Decided(-np.inf, cut=answer.cut, work=answer.work)
    choice = rows.low.copy()
    choice[kept] = answer.choice
    cost = float(rows.price @ choice) + rows.constant
    return Decided(-np.inf, choice, cost, cut=answer.cut, work=answer.work)


def _without(rows: Rows, dropped: Flags) -> Rows:
    high = np.where(dropped, rows.low, rows.high)
    return Rows(rows.matrix, rows.least, rows.most, rows.low, high, rows.price, rows.constant)


def _only(rows: Rows, keep: Flags) -> tuple[Rows, Index]:
    """Leave out decisions, at their lowest, and rows that hold by themselves then."""
    kept = np.nonzero(keep)[0]
    shift = rows.matrix @ np.where(keep, 0.0, rows.low)
    matrix = rows.matrix[:, kept].tocsr()
    least, most = rows.least - shift, rows.most - shift
    positive, negative = matrix.maximum(0), matrix.minimum(0)
    smallest = positive @ rows.low[kept] + negative @ rows.high[kept]
    largest = positive @ rows.high[kept] + negative @ rows.low[kept]
    needed = np.nonzero((smallest < least) | (largest > most))[0]
    return (
        Rows(
            matrix[needed],
            least[needed],
            most[needed],
            rows.low[kept],
            rows.high[kept],
            rows.price[kept],
            rows.constant,
        ),
        kept,
    )
