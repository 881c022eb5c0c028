"""The reasons behind the trade's habit of gauges."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.rules.gauge_choice import (
    RULE_NAMES,
    EdgeNeed,
    allowed,
    first_refusal,
    largest_clamp_pitch_mm,
    lightest_allowed,
    root_caution,
    verdicts,
    why_not_lighter,
)
from solver.rules.gauges import sheet_by_gauge

INCH = 25.4
LBF = 4.4482216152605


@dataclass(frozen=True)
class Limits:
    """The defaults of the trade, all [practice]."""

    joint_gap_mm: float = INCH / 8
    brush_load_n: float = 2 * LBF
    lean_hidden_mm: float = INCH / 8
    lean_visible_mm: float = INCH / 64
    clamp_load_n: float = 5 * LBF
    clamp_width_mm: float = 1.25 * INCH
    clamp_lift_hidden_mm: float = INCH / 32
    clamp_lift_visible_mm: float = INCH / 64
    smallest_clamp_pitch_mm: float = 4 * INCH


LIMITS = Limits()
ALUMINIUM = [sheet_by_gauge("aluminium", gauge) for gauge in (26, 24, 22, 20)]
GALVANISED = [sheet_by_gauge("galvanised", gauge) for gauge in (26, 24, 22, 20)]


def need(mounting, stand, *, visible=False, fold=None):
    return EdgeNeed(mounting, visible, stand * INCH, None if fold is None else fold * INCH)


@pytest.mark.parametrize(
    ("stand", "gauge"),
    # Habit [practice]: hidden joints in light aluminium, 26 ga to 1.18 in, 24 ga to 1.67, heavier
    # above (largest stands [derived]).
    [(1.0, 26), (1.175, 26), (1.185, 24), (1.665, 24), (1.675, 22)],
)
def test_hidden_joints_take_light_aluminium(stand, gauge):
    choice = lightest_allowed(need("pinched", stand), ALUMINIUM + GALVANISED, LIMITS)
    assert choice.sheet == sheet_by_gauge("aluminium", gauge)


def test_22_ga_galvanised_is_the_lightest_on_a_hidden_open_edge():
    # Habit [practice]; pitches 3.69 against 4.62 in [derived].
    choice = lightest_allowed(need("clamped", 1.0), ALUMINIUM + GALVANISED, LIMITS)
    assert choice.sheet == sheet_by_gauge("galvanised", 22)
    assert choice.lighter == sheet_by_gauge("galvanised", 24)
    assert choice.ruled_out_by is not None
    assert choice.ruled_out_by.rule == "clamp pitch"
    assert "3.69 in" in choice.ruled_out_by.sentence
    assert "4.00 in" in choice.ruled_out_by.sentence


def test_20_ga_on_an_open_edge_that_shows():
    # Habit [practice]; pitches 3.67 against 4.40 in [derived].
    choice = lightest_allowed(need("clamped", 1.0, visible=True), ALUMINIUM + GALVANISED, LIMITS)
    assert choice.sheet == sheet_by_gauge("galvanised", 20)
    assert choice.lighter == sheet_by_gauge("galvanised", 22)
    assert choice.ruled_out_by is not None
    assert choice.ruled_out_by.rule == "clamp pitch"


@pytest.mark.parametrize(("stand", "ok"), [(0.585, True), (0.595, False)])
def test_a_visible_joint_takes_24_ga_aluminium_only_to_0_59(stand, ok):
    # What the habit leaves out [derived].
    sheet = sheet_by_gauge("aluminium", 24)
    refusal = first_refusal(need("pinched", stand, visible=True), sheet, LIMITS)
    assert (refusal is None) is ok
    if refusal is not None:
        assert refusal.rule == "upright"
        assert "0.59 in (15.0 mm) at most" in refusal.sentence


@pytest.mark.parametrize("mounting", ["pinched", "standing", "clamped"])
def test_every_mounting_must_stay_upright(mounting):
    found = verdicts(need(mounting, 1.5), sheet_by_gauge("aluminium", 26), LIMITS)
    upright = next(each for each in found if each.rule == "upright")
    assert not upright.allowed


@pytest.mark.parametrize(
    ("mounting", "fold", "rules"),
    [
        ("pinched", None, ["gap", "upright"]),
        ("pinched", 1 / 16, ["gap", "upright", "bend radius"]),
        ("clamped", None, ["upright", "clamp pitch"]),
        ("clamped", 1 / 16, ["upright", "clamp pitch", "bend radius"]),
        ("standing", None, ["upright"]),
    ],
)
def test_only_rules_that_apply_are_asked_and_by_their_one_name(mounting, fold, rules):
    found = verdicts(need(mounting, 1, fold=fold), sheet_by_gauge("galvanised", 22), LIMITS)
    assert [each.rule for each in found] == rules
    assert set(rules) <= set(RULE_NAMES)
    assert all(each.sentence.startswith("22 ga galvanised") for each in found)


def test_metal_thicker_than_the_gap_is_ruled_out_in_a_joint_only():
    heavy = sheet_by_gauge("galvanised", 10)
    refusal = first_refusal(need("pinched", 1), heavy, LIMITS)
    assert refusal is not None
    assert refusal.rule == "gap"
    assert allowed(need("clamped", 1), heavy, LIMITS)


def test_a_fold_that_is_too_tight_rules_out_galvanised_but_not_aluminium():
    # 20 ga galvanised 0.0396 in over 1/32 in; 3003-H14 folds sharp (Aluminum Design Manual 2005).
    folded = need("pinched", 0.5, fold=1 / 32)
    refusal = first_refusal(folded, sheet_by_gauge("galvanised", 20), LIMITS)
    assert refusal is not None
    assert refusal.rule == "bend radius"
    assert allowed(folded, sheet_by_gauge("aluminium", 20), LIMITS)


def test_where_nothing_will_do_the_heaviest_says_why():
    choice = lightest_allowed(need("pinched", 3, visible=True), ALUMINIUM, LIMITS)
    assert choice.sheet is None
    assert choice.lighter == sheet_by_gauge("aluminium", 20)
    assert choice.ruled_out_by is not None
    assert choice.ruled_out_by.rule == "upright"
    nothing = lightest_allowed(need("pinched", 1), [], LIMITS)
    assert (nothing.sheet, nothing.lighter, nothing.ruled_out_by) == (None, None, None)


def test_a_dearer_choice_says_that_a_lighter_one_would_do():
    chosen = sheet_by_gauge("aluminium", 22)
    choice = why_not_lighter(need("pinched", 1), chosen, ALUMINIUM + GALVANISED, LIMITS)
    assert choice.lighter == sheet_by_gauge("aluminium", 24)
    assert choice.ruled_out_by is None
    lightest = why_not_lighter(need("pinched", 1), ALUMINIUM[0], ALUMINIUM, LIMITS)
    assert (lightest.lighter, lightest.ruled_out_by) == (None, None)


def test_26_ga_aluminium_is_allowed_with_a_caution():
    # 24 against 21 ksi [derived]: a caution, not a ban.
    sheet = sheet_by_gauge("aluminium", 26)
    assert allowed(need("pinched", 1), sheet, LIMITS)
    caution = root_caution(sheet, LIMITS)
    assert caution is not None
    assert "24 ksi against 21 ksi" in caution
    assert root_caution(sheet_by_gauge("galvanised", 24), LIMITS) is None


def test_the_clamp_pitch_is_the_one_that_is_judged():
    # 22 ga galvanised hidden 4.62 in, visible 3.67 in [derived].
    sheet = sheet_by_gauge("galvanised", 22)
    hidden = largest_clamp_pitch_mm(sheet, LIMITS, visible=False)
    assert hidden / INCH == pytest.approx(4.62, abs=6e-3)
    visible = largest_clamp_pitch_mm(sheet, LIMITS, visible=True)
    assert visible / INCH == pytest.approx(3.67, abs=6e-3)


def test_an_unknown_mounting_is_refused():
    with pytest.raises(ValueError, match=r'mounting is "glued"; write "pinched"'):
        verdicts(need("glued", 1), ALUMINIUM[0], LIMITS)


@given(
    mounting=st.sampled_from(["pinched", "clamped", "standing"]),
    visible=st.booleans(),
    stand=st.floats(0.2, 3),
    metal=st.sampled_from(["aluminium", "galvanised"]),
    gauge=st.integers(13, 30),
)
@settings(max_examples=80, deadline=None, derandomize=True)
def test_a_heavier_gauge_that_fits_the_gap_is_never_refused_where_a_lighter_one_is_allowed(
    mounting, visible, stand, metal, gauge
):
    lighter, heavier = sheet_by_gauge(metal, gauge), sheet_by_gauge(metal, gauge - 1)
    asked = need(mounting, stand, visible=visible)
    if allowed(asked, lighter, LIMITS):
        assert allowed(asked, heavier, LIMITS)


@given(stand=st.floats(0.2, 3), visible=st.booleans(), gauge=st.integers(16, 30))
@settings(max_examples=50, deadline=None, derandomize=True)
def test_tighter_limits_never_allow_more(stand, visible, gauge):
    sheet = sheet_by_gauge("galvanised", gauge)
    asked = need("clamped", stand, visible=visible)
    tighter = replace(
        LIMITS,
        lean_hidden_mm=INCH / 16,
        lean_visible_mm=INCH / 128,
        clamp_lift_hidden_mm=INCH / 64,
        clamp_lift_visible_mm=INCH / 128,
    )
    if allowed(asked, sheet, tighter):
        assert allowed(asked, sheet, LIMITS)
