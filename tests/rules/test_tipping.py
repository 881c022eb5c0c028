"""Tipping a section."""

from __future__ import annotations

import pytest

from solver.rules.tipping import falling_angle_deg, tipping_force_n

INCH = 25.4
POUND = 0.45359237
POUND_FORCE = 4.4482216152605


def test_the_worked_push():
    # F·h = W·b: 120 lb, b 18 in, h 40 in -> 54 lb.
    force = tipping_force_n(120 * POUND, 18 * INCH, 40 * INCH)
    assert force / POUND_FORCE == pytest.approx(54)


def test_it_falls_when_the_centre_of_gravity_stands_over_the_edge():
    # A square block falls past 45°; b 1, y √3 past 30°.
    assert falling_angle_deg(20, 20) == pytest.approx(45)
    assert falling_angle_deg(1, 3**0.5) == pytest.approx(30)


def test_pushing_higher_is_easier_and_a_wider_base_harder():
    assert tipping_force_n(50, 400, 1200) < tipping_force_n(50, 400, 1000)
    assert tipping_force_n(50, 500, 1000) > tipping_force_n(50, 400, 1000)


def test_a_push_at_the_floor_is_refused():
    with pytest.raises(ValueError, match="height of the push is 0"):
        tipping_force_n(50, 400, 0)
