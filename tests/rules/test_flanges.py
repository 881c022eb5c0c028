"""Profiles of flashings in the flat."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.rules.bending import bend_allowance_mm, flat_length_mm, setback_mm
from solver.rules.flanges import (
    flat_profile,
    folded_profile,
    longest_straight_fold_mm,
    profile_refusal,
)

INCH = 25.4
K = 0.41


def test_a_flat_strip_is_stand_and_grip():
    profile = flat_profile(25.4, 18)
    assert (profile.above_mm, profile.below_mm, profile.folds) == (25.4, 18, ())
    assert flat_profile(25.4, 0).width_mm == 25.4


def test_along_the_normal_nothing_is_folded():
    profile = folded_profile(
        metal="galvanised", thickness_mm=0.85, stand_mm=25, grip_mm=38, inside_radius_mm=0, k=K
    )
    assert profile == flat_profile(25, 38)


def test_a_return_of_the_handbook_legs():
    # Machinery's Handbook K 0.407: legs 5/8 and 2½ in of 0.0396 in metal, inside radius 1/16 in:
    # deduction 0.0807 in [derived].  Here the long leg is stand 1½ and grip 1.
    profile = folded_profile(
        metal="galvanised",
        thickness_mm=0.0396 * INCH,
        stand_mm=1.5 * INCH,
        grip_mm=1.0 * INCH,
        return_mm=0.625 * INCH,
        return_toward="frame",
        inside_radius_mm=INCH / 16,
        k=0.407,
    )
    assert profile.width_mm / INCH == pytest.approx(3.125 - 0.0807, abs=1e-4)
    assert profile.below_mm / INCH == pytest.approx(1.0)
    (fold,) = profile.folds
    assert fold.offset_mm / INCH == pytest.approx(1.5 - 0.0807 / 2, abs=1e-4)
    assert (fold.angle_deg, fold.toward) == (90, "frame")
    assert fold.leg_mm / INCH == pytest.approx(0.625)


SIZES = {
    "thickness": st.floats(0.3, 1.2),
    "radius": st.floats(1.2, 3),
    "stand": st.floats(12, 60),
    "grip": st.floats(12, 50),
    "leg": st.floats(10, 40),
}


@given(**SIZES)
@settings(max_examples=50, deadline=None, derandomize=True)
def test_the_bend_of_a_return_lies_where_its_flats_end(thickness, radius, stand, grip, leg):
    # Walk the cross-section: flat up to the setback below the mold line, then half the allowance.
    profile = folded_profile(
        metal="galvanised", thickness_mm=thickness, stand_mm=stand, grip_mm=grip,
        return_mm=leg, inside_radius_mm=radius, k=K,
    )  # fmt: skip
    (fold,) = profile.folds
    back = setback_mm(radius, thickness, 90)
    bend = bend_allowance_mm(radius, thickness, 90, K)
    assert fold.offset_mm == pytest.approx((stand - back) + bend / 2)
    assert profile.above_mm == pytest.approx((stand - back) + bend + (leg - back))
    assert profile.below_mm == grip


@given(**SIZES)
@settings(max_examples=50, deadline=None, derandomize=True)
def test_the_bend_of_an_outward_flange_lies_where_its_flats_end(
    thickness, radius, stand, grip, leg
):
    profile = folded_profile(
        metal="galvanised", thickness_mm=thickness, stand_mm=stand, grip_mm=grip,
        flange="out", inside_radius_mm=radius, k=K,
    )  # fmt: skip
    (fold,) = profile.folds
    back = setback_mm(radius, thickness, 90)
    bend = bend_allowance_mm(radius, thickness, 90, K)
    # Down from the free edge: flat to the setback above the root, then the bend, then the grip.
    assert profile.above_mm == stand
    assert fold.offset_mm == pytest.approx(back - bend / 2)
    assert profile.width_mm == pytest.approx((stand - back) + bend + (grip - back))
    assert (fold.toward, fold.leg_mm) == ("out", grip)


@given(**SIZES)
@settings(max_examples=50, deadline=None, derandomize=True)
def test_two_folds_make_the_flat_length_of_three_legs(thickness, radius, stand, grip, leg):
    profile = folded_profile(
        metal="galvanised", thickness_mm=thickness, stand_mm=stand, grip_mm=grip,
        return_mm=leg, flange="out", inside_radius_mm=radius, k=K,
    )  # fmt: skip
    assert profile.width_mm == pytest.approx(
        flat_length_mm((leg, stand, grip), (90, 90), radius, thickness, K)
    )
    upper, lower = profile.folds
    assert profile.above_mm > upper.offset_mm > lower.offset_mm > -profile.below_mm


def test_a_fold_tighter_than_the_metal_allows_is_refused_with_the_reason():
    # 20 ga galvanised over 1/32 in: tighter than 1t [practice].
    asked = {
        "metal": "galvanised", "thickness_mm": 0.0396 * INCH, "stand_mm": 38, "grip_mm": 25,
        "return_mm": 16, "inside_radius_mm": INCH / 32,
    }  # fmt: skip
    reason = profile_refusal(**asked)
    assert reason is not None
    assert "no less than 0.0396 in" in reason
    with pytest.raises(ValueError, match=r"no less than 0\.0396 in"):
        folded_profile(**asked, k=K)
    assert profile_refusal(**{**asked, "inside_radius_mm": INCH / 16}) is None
    assert profile_refusal(**{**asked, "return_mm": 0}) is None


@pytest.mark.parametrize(
    ("changed", "named"),
    [({"return_mm": 2.0}, "return"), ({"grip_mm": 2.0}, "grip"), ({"stand_mm": 4.5}, "stand")],
)
def test_a_leg_too_short_to_fold_is_refused_by_name(changed, named):
    # Setback at 90° is radius + thickness = 2.5 mm; a stand between two folds needs 5.
    asked = {
        "metal": "galvanised", "thickness_mm": 1.0, "stand_mm": 38.0, "grip_mm": 25.0,
        "return_mm": 16.0, "inside_radius_mm": 1.5, "flange": "out",
    }  # fmt: skip
    assert profile_refusal(**asked) is None
    reason = profile_refusal(**{**asked, **changed})
    assert reason is not None
    assert reason.startswith(f"a {named} of ")


def test_a_fold_line_curved_the_hard_way_is_limited_to_the_chord():
    # Chord 10, rise 1 on radius 13 (circle geometry).
    assert longest_straight_fold_mm(13, 1) == pytest.approx(10)
    assert longest_straight_fold_mm(math.inf, 1) == math.inf


def test_a_stand_of_nothing_is_refused():
    with pytest.raises(ValueError, match="stand is 0"):
        flat_profile(0, 18)
