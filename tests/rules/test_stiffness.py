"""Upright: lean, largest stand and root stress."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.rules.gauges import sheet_by_gauge
from solver.rules.metals import METALS
from solver.rules.stiffness import (
    LEAN_COEFFICIENT,
    ROOT_MOMENT_COEFFICIENT,
    largest_stand_mm,
    lean_mm,
    root_stress_mpa,
    root_yields,
)

INCH = 25.4
BRUSH_N = 2 * 4.4482216152605
HIDDEN = INCH / 8
VISIBLE = INCH / 64


@pytest.mark.parametrize(
    ("deflection", "poisson"),
    # Timoshenko & Woinowsky-Krieger [memory] 0.166 at ν 0.3; re-derived 0.1665, 0.1695 at ν 0.33.
    [(0.166, 0.3), (0.1665, 0.3), (0.1695, 0.33)],
)
def test_the_lean_coefficient_is_the_plate_solution_of_both_metals(deflection, poisson):
    # w = k·P·a²/D with D = E·t³/12(1 − ν²).
    assert pytest.approx(deflection * 12 * (1 - poisson**2), rel=5e-3) == LEAN_COEFFICIENT


@pytest.mark.parametrize(("moment", "within"), [(0.509, 1e-3), (0.5087, 1e-3), (0.5147, 1.2e-2)])
def test_the_root_moment_is_the_plate_solution(moment, within):
    # Timoshenko & Woinowsky-Krieger [memory] and re-derived, at ν 0.3; 0.5147 at ν 0.33, which one
    # figure for both metals misses by 1.1 %.
    assert pytest.approx(moment, rel=within) == ROOT_MOMENT_COEFFICIENT


@pytest.mark.parametrize(
    ("metal", "gauge", "hidden", "visible"),
    # Inches [derived]; "> 3" of the source is 3 here.
    [
        ("aluminium", 26, 1.18, 0.42),
        ("aluminium", 24, 1.67, 0.59),
        ("aluminium", 22, 2.4, 0.84),
        ("galvanised", 26, 2.4, 0.85),
        ("galvanised", 24, None, 1.31),
        ("galvanised", 22, None, 1.84),
        ("galvanised", 20, None, 2.42),
    ],
)
def test_the_largest_stand_of_each_gauge(metal, gauge, hidden, visible):
    core = sheet_by_gauge(metal, gauge).core_mm
    modulus = METALS[metal].youngs_modulus_mpa
    most_hidden = largest_stand_mm(BRUSH_N, core, modulus, HIDDEN) / INCH
    if hidden is None:
        assert most_hidden > 3
    else:
        assert most_hidden == pytest.approx(hidden, abs=0.04 if hidden == 2.4 else 0.006)
    assert largest_stand_mm(BRUSH_N, core, modulus, VISIBLE) / INCH == pytest.approx(
        visible, abs=0.006
    )


def test_26_ga_aluminium_passes_yield_at_its_root_and_24_ga_galvanised_does_not():
    # 24 against 21 ksi [derived].
    ksi = 1000 * 4.4482216152605 / INCH**2
    core = sheet_by_gauge("aluminium", 26).core_mm
    assert root_stress_mpa(BRUSH_N, core) / ksi == pytest.approx(24, abs=0.5)
    assert root_yields(BRUSH_N, core, METALS["aluminium"].yield_mpa)
    steel = sheet_by_gauge("galvanised", 24).core_mm
    assert not root_yields(BRUSH_N, steel, METALS["galvanised"].yield_mpa)


@given(
    core=st.floats(0.2, 2),
    stand=st.floats(5, 100),
    modulus=st.sampled_from([68_948.0, 203_395.0]),
)
@settings(max_examples=50, deadline=None, derandomize=True)
def test_thicker_or_lower_metal_never_leans_more(core, stand, modulus):
    lean = lean_mm(BRUSH_N, stand, core, modulus)
    assert lean_mm(BRUSH_N, stand, core * 1.05, modulus) < lean
    assert lean_mm(BRUSH_N, stand * 0.95, core, modulus) < lean
    assert largest_stand_mm(BRUSH_N, core, modulus, lean) == pytest.approx(stand)


def test_without_a_load_any_stand_is_upright():
    assert largest_stand_mm(0, 0.5, 69_000, 1) == math.inf
