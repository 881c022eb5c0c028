"""The rows of a CP-SAT model as numbers, and their linear relaxation with its multipliers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model
from scipy.optimize import linprog
from scipy.sparse import csr_matrix, vstack

from solver.data.until import FOREVER, Until
from solver.models.ended_when_asked import ended_when_asked
from solver.models.release import Array, Flags

Index = NDArray[np.intp]

_NO_LIMIT = 2**62
"""CP-SAT writes rows without a limit on one side with numbers beyond this."""


@dataclass(frozen=True)
class Rows:
    """Minimise ``price . x + constant`` with ``least <= matrix x <= most``, ``low <= x <= high``.

    All numbers are whole; they are held as floats.
    """

    matrix: csr_matrix
    least: Array
    most: Array
    low: Array
    high: Array
    price: Array
    constant: float


def rows_of(model: cp_model.CpModel) -> Rows:
    """Return the rows of a model of linear rows, clauses and at most or exactly one of some."""
    proto = model.proto
    count = len(proto.variables)
    low, high, price = np.zeros(count), np.zeros(count), np.zeros(count)
    for i, variable in enumerate(proto.variables):
        domain = list(variable.domain)
        low[i], high[i] = domain[0], domain[-1]
    columns: list[int] = []
    values: list[int] = []
    starts = [0]
    least: list[float] = []
    most: list[float] = []

    def add(literals: list[int], weights: list[int], at_least: float, at_most: float) -> None:
        shift = 0
        for literal, weight in zip(literals, weights, strict=True):
            if literal < 0:  # not x is 1 - x
                shift += weight
                columns.append(-literal - 1)
                values.append(-weight)
            else:
                columns.append(literal)
                values.append(weight)
        starts.append(len(columns))
        least.append(at_least - shift)
        most.append(at_most - shift)

    for row in proto.constraints:
        given = list(row.enforcement_literal)
        if row.has_linear() and not given:
            domain = list(row.linear.domain)
            add(
                list(row.linear.vars),
                list(row.linear.coeffs),
                domain[0] if domain[0] > -_NO_LIMIT else -np.inf,
                domain[-1] if domain[-1] < _NO_LIMIT else np.inf,
            )
        elif row.has_exactly_one():
            literals = list(row.exactly_one.literals)
            add(literals, [1] * len(literals), 1, 1)
        elif row.has_at_most_one():
            literals = list(row.at_most_one.literals)
            add(literals, [1] * len(literals), -np.inf, 1)
        elif row.has_bool_or():
            literals = [*row.bool_or.literals, *(-one - 1 for one in given)]
            add(literals, [1] * len(literals), 1, np.inf)
        elif row.has_bool_and():
            for literal in row.bool_and.literals:
                literals = [literal, *(-one - 1 for one in given)]
                add(literals, [1] * len(literals), 1, np.inf)
        else:
            raise ValueError(f"a row of this kind has no numbers: {row}")
    for i, coefficient in zip(proto.objective.vars, proto.objective.coeffs, strict=True):
        price[i] += coefficient
    matrix = csr_matrix(
        (np.array(values, dtype=float), np.array(columns), np.array(starts)),
        shape=(len(least), count),
    )
    matrix.sum_duplicates()
    return Rows(
        matrix,
        np.array(least, dtype=float),
        np.array(most, dtype=float),
        low,
        high,
        price,
        float(proto.objective.offset),
    )


@dataclass(frozen=True)
class Relaxed:
    """Optimum of the relaxation: value (constant included), x, and the rows' multipliers.

    A multiplier is at most 0 where only ``most`` binds, at least 0 where only ``least`` does.
    """

    value: float
    x: Array
    multipliers: Array


def relax(rows: Rows, until: Until = FOREVER) -> Relaxed | None:
    """Solve the linear relaxation; None where it has no solution or had to end before it."""
    return ended_when_asked(lambda: _relax(rows, until.left()), until)


def _relax(rows: Rows, seconds: float | None) -> Relaxed | None:
    equal: Flags = rows.least == rows.most
    upper: Flags = ~equal & np.isfinite(rows.most)
    lower: Flags = ~equal & np.isfinite(rows.least)
    answer = linprog(
        rows.price,
        vstack([rows.matrix[upper], -rows.matrix[lower]]),
        np.concatenate([rows.most[upper], -rows.least[lower]]),
        rows.matrix[equal],
        rows.most[equal],
        np.column_stack([rows.low, rows.high]),
        method="highs-ds",
        options={} if seconds is None else {"time_limit": seconds},
    )
    if answer.status != 0:
        return None
    multipliers = np.zeros(len(rows.most))
    multipliers[equal] = answer.eqlin.marginals
    sides = np.asarray(answer.ineqlin.marginals)
    multipliers[upper] += np.minimum(sides[: upper.sum()], 0.0)
    multipliers[lower] -= np.minimum(sides[upper.sum() :], 0.0)
    return Relaxed(float(answer.fun) + rows.constant, np.asarray(answer.x), multipliers)
