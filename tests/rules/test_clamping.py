"""Clamps on an open edge."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.rules.clamping import clamp_count, clamp_pitch_mm
from solver.rules.gauges import sheet_by_gauge
from solver.rules.metals import METALS

INCH = 25.4
LOAD_N = 5 * 4.4482216152605
WIDTH = 1.25 * INCH


def pitch_of(metal: str, gauge: int, tolerance: float) -> float:
    core = sheet_by_gauge(metal, gauge).core_mm
    return clamp_pitch_mm(LOAD_N, WIDTH, core, METALS[metal].youngs_modulus_mpa, tolerance) / INCH


@pytest.mark.parametrize(
    ("metal", "gauge", "tolerance", "inches", "within"),
    # P 5 lbf, b 1¼ in, δ 1/32 in hidden and 1/64 visible [derived].
    [
        ("aluminium", 26, INCH / 32, 1.7, 0.05),
        ("aluminium", 24, INCH / 32, 2.2, 0.05),
        ("galvanised", 24, INCH / 32, 3.69, 0.006),
        ("galvanised", 22, INCH / 32, 4.62, 0.006),
        ("galvanised", 20, INCH / 32, 5.55, 0.01),
        ("galvanised", 22, INCH / 64, 3.67, 0.006),
        ("galvanised", 20, INCH / 64, 4.40, 0.006),
    ],
)
def test_the_clamp_pitch_of_each_gauge(metal, gauge, tolerance, inches, within):
    assert pitch_of(metal, gauge, tolerance) == pytest.approx(inches, abs=within)


def test_a_beam_built_in_at_both_ends_sags_by_the_tolerance_at_this_pitch():
    # P·c³/(192·E·I), any handbook of beams.
    pitch = clamp_pitch_mm(20, 30, 0.8, 200_000, 0.7)
    assert 20 * pitch**3 / (192 * 200_000 * 30 * 0.8**3 / 12) == pytest.approx(0.7)


@given(core=st.floats(0.2, 2), tolerance=st.floats(0.1, 2))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_thicker_metal_never_needs_closer_clamps(core, tolerance):
    pitch = clamp_pitch_mm(LOAD_N, WIDTH, core, 69_000, tolerance)
    assert clamp_pitch_mm(LOAD_N, WIDTH, core * 1.05, 69_000, tolerance) > pitch
    assert clamp_pitch_mm(LOAD_N, WIDTH, core, 69_000, tolerance * 1.05) > pitch


@pytest.mark.parametrize(
    ("length", "pitch", "pieces", "count"), [(960, 120, 1, 9), (961, 120, 1, 10), (960, 120, 3, 11)]
)
def test_every_piece_ends_on_a_clamp_of_its_own(length, pitch, pieces, count):
    # A fence of 8 bays has 9 posts; each further piece adds one.
    assert clamp_count(length, pitch, pieces) == count


def test_no_pieces_is_refused():
    with pytest.raises(ValueError, match="pieces is 0"):
        clamp_count(960, 120, 0)
