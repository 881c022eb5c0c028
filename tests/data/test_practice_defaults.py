"""Defaults that have no published source: common practice, each of which a scenario can change."""

from __future__ import annotations

import pytest

from solver.data.job import Bolts, Edge, Minutes, Prices, Rules
from solver.data.line import Line, Stretch
from solver.rules import customary

INCH = 25.4
LBF = customary.POUND_FORCE_N


@pytest.mark.parametrize(
    ("name", "minutes"),
    # [practice], per piece, cut, bolt, clamp or foot as the name says.
    [
        ("setup_per_gauge", 10), ("template_per_piece", 3), ("template_per_foot", 0.5),
        ("snips_aluminium_per_foot", 0.25), ("snips_galvanised_per_foot", 0.6),
        ("fold_per_piece", 2), ("fold_per_foot", 0.3), ("slit", 0.25), ("v_notch", 0.5),
        ("notch", 0.5), ("deburr_per_foot", 0.2), ("fit_per_piece", 4), ("fit_per_foot", 0.5),
        ("seam", 3), ("bolt", 0.75), ("clamp", 0.5), ("fillet_per_foot_side", 1),
        ("release_wax_per_foot", 1), ("mold_flange_per_foot", 12), ("witness_per_foot", 6),
    ],
)  # fmt: skip
def test_minutes_by_operation(name, minutes):
    assert getattr(Minutes(), name) == minutes


def test_fifteen_per_cent_are_allowed_for_the_rest():
    assert Minutes().allowance == 0.15  # [practice]


@pytest.mark.parametrize(
    ("name", "inches"),
    # [practice]
    [
        ("joint_gap_mm", 1 / 8), ("lean_hidden_mm", 1 / 8), ("lean_visible_mm", 1 / 64),
        ("clamp_lift_hidden_mm", 1 / 32), ("clamp_lift_visible_mm", 1 / 64),
        ("clamp_width_mm", 1.25), ("smallest_clamp_pitch_mm", 4), ("slit_tolerance_mm", 1 / 64),
        ("measuring_tolerance_mm", 1 / 16), ("longest_piece_mm", 96), ("shortest_piece_mm", 4),
        ("trim_per_run_mm", 1 / 2), ("roll_end_mm", 1), ("cutting_gap_mm", 1 / 16),
        ("bolt_clearance_mm", 1 / 8), ("fillet_radius_mm", 3 / 64), ("standing_foot_mm", 0),
    ],
)  # fmt: skip
def test_lengths_that_rules_go_by(name, inches):
    assert getattr(Rules(), name) == pytest.approx(inches * INCH)


def test_angles_loads_and_masses_that_rules_go_by():
    rules = Rules()
    # 2° of draft, flat sides within 0.5° do not block, a brush reaches in at 45° [practice].
    assert (rules.draft_deg, rules.blocking_deg, rules.access_angle_deg) == (2.0, 0.5, 45.0)
    # A brush of 2 lbf on the edge, 5 lbf between clamps [practice].
    assert rules.brush_load_n == pytest.approx(2 * LBF)
    assert rules.clamp_load_n == pytest.approx(5 * LBF)
    # K 0.41 unless measured; mold laminate about 18 kg/m² before framing [practice].
    assert (rules.bend_k, rules.mold_kg_m2) == (0.41, 18.0)
    # Functional reach, 5th percentile female: 26.7 in (MIL-STD-1472G via NUREG-0700 Rev. 3).
    assert rules.reach_mm == pytest.approx(26.7 * INCH, abs=0.5)


def test_bolts_are_a_hand_apart_and_near_the_corners():
    # 6 in pitch, 1/4 to 3/8 in, no more than 2 in from corners [practice].
    bolts = Bolts()
    assert bolts.pitch_mm == pytest.approx(6 * INCH)
    assert bolts.from_ends_mm <= 2 * INCH
    assert INCH / 4 <= bolts.diameter_mm <= 3 / 8 * INCH


def test_a_part_line_may_stand_and_no_line_shows_unless_it_is_said():
    edge = Edge("a | b", "a", "b", Line((Stretch(100.0),)), "A", "B")
    assert (edge.standing, edge.split, edge.witness, edge.visible) == (
        "allowed", "allowed", "allowed", False,
    )  # fmt: skip
    assert (edge.flange, edge.return_mm, edge.return_to) == ("along", 0.0, "first")


def test_nothing_to_buy_beside_the_metal_is_free():
    prices = Prices()
    assert min(vars(prices).values()) > 0
