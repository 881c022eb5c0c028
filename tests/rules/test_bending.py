"""Folding, against worked examples of the handbooks.  Their inches are used as plain numbers."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.rules.bending import (
    bend_allowance_mm,
    bend_deduction_mm,
    faa_bend_allowance_mm,
    flat_length_mm,
    fold_refusal,
    minimum_bend_radius_mm,
    overbend_angle_deg,
    setback_mm,
    springback_ratio,
    sprung_radius_mm,
)
from solver.rules.gauges import sheet_by_gauge
from solver.rules.metals import METALS

INCH = 25.4
FAA_K = 0.447
MACHINERY_K = 0.407
AC_65_15A_K = 0.5


def test_the_faa_channel():
    # FAA-H-8083-31 ch. 4: T 0.040, R 0.16, 90°, mold lines 1, 2, 1 in.
    back = setback_mm(0.16, 0.040, 90)
    assert back == pytest.approx(0.20)
    flats = (1 - back, 2 - 2 * back, 1 - back)
    assert flats == pytest.approx((0.8, 1.6, 0.8))
    allowance = faa_bend_allowance_mm(0.16, 0.040, 90)
    # The chapter's own formula to 1e-4, its printed figures within their rounding.
    assert allowance == pytest.approx(0.2791, abs=1e-4)
    assert allowance == pytest.approx(0.27, abs=0.02)
    # 0.8 + 0.2791 + 1.6 + 0.2791 + 0.8 is 3.7581; the handbook's 3.758 is cut off.
    total = sum(flats) + 2 * allowance
    assert total == pytest.approx(3.7581, abs=1e-4)
    assert total == pytest.approx(3.74, abs=0.02)
    # The handbook rounds π/180 down to 0.01743, which makes 0.0003 in of each bend.
    blank = flat_length_mm((1, 2, 1), (90, 90), 0.16, 0.040, FAA_K)
    assert blank == pytest.approx(total, abs=8e-4)


def test_the_faa_formula_is_the_k_factor_formula_with_its_own_k():
    # 0.0078/0.01743 = 0.447; π/180 is 0.01745, so they differ by 0.13 %.
    for angle in (30, 90, 120):
        assert bend_allowance_mm(0.16, 0.040, angle, FAA_K) == pytest.approx(
            faa_bend_allowance_mm(0.16, 0.040, angle), rel=1.5e-3
        )


def test_an_included_angle_of_120_is_a_fold_of_60():
    # Same chapter: T 0.040, R 0.156; formula 0.18186, chart 0.003034 per degree gives 0.18204.
    allowance = faa_bend_allowance_mm(0.156, 0.040, 180 - 120)
    assert allowance == pytest.approx(0.18186, abs=1e-5)
    assert allowance == pytest.approx(0.18204, abs=2e-4)


def test_allowance_by_the_middle_of_the_metal():
    # FAA AC 65-15A [memory]: 2π(R + T/2)/4, T 0.051, R 0.250 -> 0.43275, printed cut off as 0.4327.
    allowance = bend_allowance_mm(0.250, 0.051, 90, AC_65_15A_K)
    assert allowance == pytest.approx(0.43275, abs=1e-5)
    assert math.floor(allowance * 1e4) / 1e4 == 0.4327


def test_the_machinery_allowance_and_what_follows_from_it():
    # Machinery's Handbook: 0.64·T + 1.57·R for 90°; T 0.0396, R 1/32 -> 0.0744.  Deduction and
    # blanks [derived].
    t, r = 0.0396, 1 / 32
    assert bend_allowance_mm(r, t, 90, MACHINERY_K) == pytest.approx(0.64 * t + 1.57 * r, abs=1e-4)
    assert bend_allowance_mm(r, t, 90, MACHINERY_K) == pytest.approx(0.0744, abs=1e-4)
    assert bend_deduction_mm(r, t, 90, MACHINERY_K) == pytest.approx(0.0673, abs=1e-4)
    assert flat_length_mm((5 / 8, 2.5), (90,), r, t, MACHINERY_K) == pytest.approx(3.0577, abs=1e-4)
    assert flat_length_mm((3 / 8, 2.5), (90,), r, t, MACHINERY_K) == pytest.approx(2.8077, abs=1e-4)


def test_the_fold_that_galvanised_may_make():
    # Same formula, R 1/16 [derived].
    assert bend_allowance_mm(1 / 16, 0.0396, 90, MACHINERY_K) == pytest.approx(0.1235, abs=1e-4)
    assert bend_deduction_mm(1 / 16, 0.0396, 90, MACHINERY_K) == pytest.approx(0.0807, abs=1e-4)


def test_no_fold_takes_nothing():
    assert bend_deduction_mm(1.0, 0.5, 0, 0.41) == 0
    assert flat_length_mm((40,), (), 1.0, 0.5, 0.41) == 40


@given(
    radius=st.floats(0, 10),
    thickness=st.floats(0.2, 3),
    angle=st.floats(1, 150),
    k=st.floats(0.33, 0.5),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_a_blank_is_shorter_than_its_mold_lines_and_more_so_in_thicker_metal(
    radius, thickness, angle, k
):
    deduction = bend_deduction_mm(radius, thickness, angle, k)
    assert deduction > 0
    assert bend_deduction_mm(radius, thickness * 1.1, angle, k) > deduction


def test_a_leg_shorter_than_its_setback_is_refused():
    with pytest.raises(ValueError, match=r"leg 2 is 3 mm and its folds alone take 4\.000 mm"):
        flat_length_mm((40, 3, 40), (90, 90), 1.0, 1.0, 0.41)
    with pytest.raises(ValueError, match="one leg more than folds"):
        flat_length_mm((40, 40), (90, 90), 1.0, 1.0, 0.41)


@pytest.mark.parametrize("angle", [-1, 151, 180, math.nan])
def test_a_fold_that_has_no_mold_line_is_refused(angle):
    with pytest.raises(ValueError, match=r"fold angle is .*between 0 and 150"):
        setback_mm(1.0, 0.5, angle)


def test_springback_of_20_ga_galvanised():
    # Kalpakjian & Schmid [memory]: t 0.0359 in, R 0.5 in, 40 ksi, 29.5 Msi -> 0.943, 0.530 in.
    x = 0.5 * 40e3 / (29.5e6 * 0.0359)
    assert x == pytest.approx(0.0189, abs=5e-5)
    assert springback_ratio(0.5, 0.0359, 29.5e6, 40e3) == pytest.approx(0.943, abs=5e-4)
    assert sprung_radius_mm(0.5, 0.0359, 29.5e6, 40e3) == pytest.approx(0.530, abs=5e-4)


def test_an_elastic_bend_springs_back_flat():
    # X = 0.5 at R = E·t/2σ_y.
    radius = 29.5e6 * 0.0359 / (2 * 40e3)
    assert springback_ratio(radius, 0.0359, 29.5e6, 40e3) == pytest.approx(0, abs=1e-12)
    assert springback_ratio(3 * radius, 0.0359, 29.5e6, 40e3) == 0
    assert sprung_radius_mm(3 * radius, 0.0359, 29.5e6, 40e3) == math.inf
    assert overbend_angle_deg(90, 3 * radius, 0.0359, 29.5e6, 40e3) == math.inf


@given(radius=st.floats(0.1, 50))
@settings(max_examples=30, deadline=None, derandomize=True)
def test_a_wider_bend_springs_back_more(radius):
    less = springback_ratio(radius, 0.9, 2.0e5, 276)
    more = springback_ratio(radius * 1.1, 0.9, 2.0e5, 276)
    assert 0 <= more < less <= 1
    assert overbend_angle_deg(90, radius, 0.9, 2.0e5, 276) > 90


@pytest.mark.parametrize("inches", [1 / 64, 1 / 32, 1 / 16])
def test_3003_h14_may_be_folded_sharp_up_to_a_sixteenth(inches):
    # Aluminum Design Manual 2005, Part VII, Table 3-1.
    assert minimum_bend_radius_mm("aluminium", inches * INCH) == 0
    assert fold_refusal("aluminium", inches * INCH, 0) is None


def test_heavier_aluminium_is_folded_over_its_thickness():
    # [practice], on the safe side of the table.
    assert minimum_bend_radius_mm("aluminium", 2.0) == pytest.approx(2.0)


def test_galvanised_is_folded_over_its_total_thickness():
    # 1t keeps the zinc whole [practice]: the fold of the formula test above must be refused,
    # the one over 1/16 in may be made.
    sheet = sheet_by_gauge("galvanised", 20)
    assert minimum_bend_radius_mm("galvanised", sheet.thickness_mm) == sheet.thickness_mm
    reason = fold_refusal("galvanised", sheet.thickness_mm, INCH / 32)
    assert reason is not None
    assert "0.0396 in" in reason
    assert "0.0312 in" in reason
    assert fold_refusal("galvanised", sheet.thickness_mm, INCH / 16) is None


@pytest.mark.parametrize("metal", sorted(METALS))
def test_thicker_metal_never_folds_tighter(metal):
    radii = [minimum_bend_radius_mm(metal, 0.1 * n) for n in range(1, 40)]
    assert radii == sorted(radii)
