"""Access of a brush to the root beside another flashing."""

from __future__ import annotations

import math

import pytest

from solver.rules.access import access_cap_mm, capped_stand_mm, too_low


def test_at_45_degrees_the_stand_may_be_as_high_as_the_gap_is_wide():
    # [practice] h ≤ g·tan 45°.
    assert access_cap_mm(19.05, 45) == pytest.approx(19.05)
    assert capped_stand_mm(25.4, 19.05, 45) == pytest.approx(19.05)
    assert capped_stand_mm(15.0, 19.05, 45) == 15.0


def test_at_60_degrees_it_may_be_root_three_as_high():
    assert access_cap_mm(10, 60) == pytest.approx(10 * math.sqrt(3))


def test_a_cap_below_the_smallest_useful_flange_is_reported():
    assert too_low(capped_stand_mm(25.4, 10, 45), 12.7)
    assert not too_low(capped_stand_mm(25.4, 12.7, 45), 12.7)


@pytest.mark.parametrize("angle", [-1, 90, math.nan])
def test_an_angle_that_is_no_slope_is_refused(angle):
    with pytest.raises(ValueError, match="access angle"):
        access_cap_mm(10, angle)
