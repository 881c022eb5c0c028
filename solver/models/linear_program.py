"""The rows of a CP-SAT model as numbers, and their linear relaxation with its multipliers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model
from ortools.sat.python.cp_model_helper import ConstraintProto
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


class RowReader:
    """Reads the rows of a model: linear ones, clauses, at most or exactly one of some.

    A row is read once, for that takes long, but those that are ``changing`` (indices) each time;
    they stand last.
    """

    def __init__(self, model: cp_model.CpModel, changing: Sequence[int] = ()) -> None:
        self._proto = model.proto
        self._changing = frozenset(changing)
        self._seen = 0
        self._kept = _Read()

    def read(self) -> Rows:
        """Return the rows as they are now."""
        given, objective = self._proto.constraints, self._proto.objective
        for index in range(self._seen, len(given)):
            if index not in self._changing:
                self._kept.take(given[index])
        self._seen = len(given)
        changed = _Read()
        for index in sorted(self._changing):
            changed.take(given[index])
        domains = [variable.domain for variable in self._proto.variables]
        count = len(domains)
        price = np.zeros(count)
        np.add.at(price, list(objective.vars), list(objective.coeffs))
        kept, changing = self._kept.numbers(count), changed.numbers(count)
        return Rows(
            vstack([kept.matrix, changing.matrix], format="csr"),
            np.concatenate([kept.least, changing.least]),
            np.concatenate([kept.most, changing.most]),
            np.array([domain[0] for domain in domains], dtype=float),
            np.array([domain[len(domain) - 1] for domain in domains], dtype=float),
            price,
            float(objective.offset),
        )


@dataclass(frozen=True)
class _Numbers:
    """Some rows: ``least <= matrix x <= most``."""

    matrix: csr_matrix
    least: Array
    most: Array


class _Read:
    """Rows as they were read: literals, of which -1 - x is not x, with their weights and limits."""

    def __init__(self) -> None:
        self._literals: list[int] = []
        self._weights: list[int] = []
        self._starts = [0]
        self._least: list[float] = []
        self._most: list[float] = []

    def take(self, row: ConstraintProto) -> None:
        """Read one row, or the clauses that it stands for."""
        given = row.enforcement_literal
        if row.has_linear() and not len(given):
            linear = row.linear
            domain = linear.domain
            least, most = domain[0], domain[len(domain) - 1]
            self._add(
                linear.vars,
                linear.coeffs,
                least if least > -_NO_LIMIT else -np.inf,
                most if most < _NO_LIMIT else np.inf,
            )
        elif row.has_exactly_one():
            self._add_some(row.exactly_one.literals, 1, 1)
        elif row.has_at_most_one():
            self._add_some(row.at_most_one.literals, -np.inf, 1)
        elif row.has_bool_or():
            self._add_some([*row.bool_or.literals, *(-1 - one for one in given)], 1, np.inf)
        elif row.has_bool_and():
            for literal in row.bool_and.literals:
                self._add_some([literal, *(-1 - one for one in given)], 1, np.inf)
        else:
            raise ValueError(f"a row of this kind has no numbers: {row}")

    def _add_some(self, literals: Sequence[int], at_least: float, at_most: float) -> None:
        self._add(literals, [1] * len(literals), at_least, at_most)

    def _add(
        self, literals: Sequence[int], weights: Sequence[int], at_least: float, at_most: float
    ) -> None:
        self._literals.extend(literals)
        self._weights.extend(weights)
        self._starts.append(len(self._literals))
        self._least.append(at_least)
        self._most.append(at_most)

    def numbers(self, count: int) -> _Numbers:
        """Return the rows as numbers, for so many variables."""
        literals, starts = np.array(self._literals, dtype=np.int64), np.array(self._starts)
        weights = np.array(self._weights, dtype=float)
        negated = literals < 0  # not x is 1 - x
        row = np.repeat(np.arange(len(self._least)), np.diff(starts))
        shift = np.bincount(row[negated], weights[negated], minlength=len(self._least))
        columns = np.where(negated, -1 - literals, literals)
        values = np.where(negated, -weights, weights)
        matrix = csr_matrix((values, columns, starts), shape=(len(self._least), count))
        matrix.sum_duplicates()
        return _Numbers(matrix, np.array(self._least) - shift, np.array(self._most) - shift)


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
