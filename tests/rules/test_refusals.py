"""Numbers that no rule can work with are refused by name, value and remedy."""

from __future__ import annotations

import math

import pytest

from solver.rules.refusals import need_between, need_not_negative, need_positive


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_a_length_must_be_a_finite_number_above_zero(value):
    with pytest.raises(ValueError, match=r"stand is .*; it must be above 0"):
        need_positive("stand", value)


@pytest.mark.parametrize("value", [-0.1, math.nan, math.inf])
def test_a_load_must_not_be_negative(value):
    need_not_negative("brush load", 0.0)
    with pytest.raises(ValueError, match=r"brush load is .*; it must be 0 or more"):
        need_not_negative("brush load", value)


@pytest.mark.parametrize("value", [-0.1, 90.1, math.nan])
def test_an_angle_must_lie_within_its_limits(value):
    need_between("angle", 90, 0, 90)
    with pytest.raises(ValueError, match=r"angle is .*between 0 and 90"):
        need_between("angle", value, 0, 90)
