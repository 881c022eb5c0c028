"""Reach into the mold."""

from __future__ import annotations

import pytest

from solver.rules.reach import FUNCTIONAL_REACH_MM, FUNCTIONAL_REACH_SOURCE, within_reach


def test_the_functional_reach_is_the_published_one():
    # 26.7 in, 5th percentile female (MIL-STD-1472G via NUREG-0700 Rev. 3).
    assert pytest.approx(26.7 * 25.4) == FUNCTIONAL_REACH_MM
    assert "MIL-STD-1472G" in FUNCTIONAL_REACH_SOURCE


def test_from_both_sides_one_reaches_twice_as_far():
    assert within_reach(678, 678.18, sides=1)
    assert not within_reach(679, 678.18, sides=1)
    assert within_reach(1356, 678.18)
    assert not within_reach(1357, 678.18)


def test_a_mold_has_two_sides_at_most():
    with pytest.raises(ValueError, match="sides is 3"):
        within_reach(100, 678, sides=3)
