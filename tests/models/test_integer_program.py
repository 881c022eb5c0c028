"""Integer programs: the answer of listing, and an end when asked."""

from __future__ import annotations

from itertools import product

import numpy as np
from scipy.optimize import LinearConstraint

from solver.data.until import FOREVER, Until
from solver.models.integer_program import NOTHING, solve_integers


def test_a_small_program_has_the_best_of_all_its_choices() -> None:
    random = np.random.default_rng(1)
    price, weight = -random.random(8), random.random((3, 8))
    rules = [LinearConstraint(weight, -np.inf, weight.sum(axis=1) / 3)]
    choices = [np.array(c) for c in product((0, 1), repeat=8)]
    fits = [c for c in choices if (weight @ c <= weight.sum(axis=1) / 3).all()]
    best = min(float(price @ c) for c in fits)
    for until in (FOREVER, Until(asked=lambda: False)):
        answer = solve_integers(price, rules, np.ones(8), until)
        assert answer.optimal
        assert answer.x is not None
        assert np.isclose(float(price @ answer.x), best)
        assert np.isclose(answer.bound, best)


def test_one_that_cannot_be_met_says_so() -> None:
    rules = [LinearConstraint(np.ones((1, 3)), 4.0, np.inf)]
    assert solve_integers(np.ones(3), rules, np.ones(3), FOREVER).infeasible


def test_a_program_of_hours_ends_when_asked_and_claims_nothing() -> None:
    # market split [Cornuejols & Dawande 1998]: 5 rows of 40 random coefficients, each to be met
    # to the half, take branch and bound far longer than anybody waits
    random = np.random.default_rng(3)
    weight = random.integers(0, 100, (5, 40)).astype(float)
    half = np.floor(weight.sum(axis=1) / 2)
    asks = iter(range(10**9))
    answer = solve_integers(
        np.zeros(40),
        [LinearConstraint(weight, half, half)],
        np.ones(40),
        Until(None, lambda: next(asks) >= 6).at_most(1.5),
    )
    assert answer is NOTHING or (answer.x is None and not answer.infeasible)


def test_no_time_claims_nothing() -> None:
    assert solve_integers(np.ones(2), [], np.ones(2), Until(asked=lambda: True)) is NOTHING
