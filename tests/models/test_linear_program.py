"""Rows of a CP-SAT model read as numbers: of every kind, added later, and changed since."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from ortools.sat.python import cp_model

from solver.models.linear_program import RowReader, Rows


def meets(rows: Rows, x: np.ndarray) -> bool:
    held = rows.matrix @ x
    return bool((held >= rows.least - 1e-9).all() and (held <= rows.most + 1e-9).all())


def agrees(model: cp_model.CpModel, rows: Rows) -> bool:
    """Whether the rows allow what CP-SAT allows, of all ways to decide yes or no."""
    solver = cp_model.CpSolver()
    count = len(model.proto.variables)
    for x in itertools.product((0, 1), repeat=count):
        fixed = model.clone()
        for i, value in enumerate(x):
            fixed.add(fixed.get_bool_var_from_proto_index(i) == value)
        allowed = solver.solve(fixed) in (cp_model.OPTIMAL, cp_model.FEASIBLE)
        if allowed != meets(rows, np.array(x, dtype=float)):
            return False
    return True


def some_model() -> tuple[cp_model.CpModel, list[cp_model.IntVar]]:
    model = cp_model.CpModel()
    x = [model.new_bool_var("") for _ in range(5)]
    model.add_exactly_one(x[0], x[1].negated())
    model.add_at_most_one(x[1], x[2], x[3].negated())
    model.add_implication(x[0], x[4])
    model.add_bool_or(x[2], x[3].negated(), x[4])
    model.add(3 * x[0] - 2 * x[3] + x[4] <= 2)
    model.minimize(2 * x[0] - x[4] + 7)
    return model, x


def test_rows_allow_what_the_model_allows() -> None:
    model, _ = some_model()
    rows = RowReader(model).read()
    assert agrees(model, rows)
    assert rows.price.tolist() == [2.0, 0.0, 0.0, 0.0, -1.0]
    assert rows.constant == 7.0


def test_rows_added_later_and_rows_that_changed_are_read_as_they_are_now() -> None:
    model, x = some_model()
    reader = RowReader(model, changing=[4])
    before = reader.read()
    model.add(x[1] + x[2] >= 1)
    model.proto.constraints[4].linear.coeffs[0] = 1
    after = reader.read()
    assert len(after.least) == len(before.least) + 1
    assert agrees(model, after)
    assert not agrees(model, before)


def test_rows_that_have_no_numbers_are_refused() -> None:
    model, x = some_model()
    model.add(x[0] + x[1] >= 1).only_enforce_if(x[2])
    with pytest.raises(ValueError, match="no numbers"):
        RowReader(model).read()
