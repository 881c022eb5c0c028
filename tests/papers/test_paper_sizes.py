"""Rounding to what a tape shows never takes metal away nor moves a notch off its bolt."""

from __future__ import annotations

import math
import re
from fractions import Fraction

import paper_plans
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.papers.names import numbered, slug
from api.papers.setting_out import Marking, chord_offsets, is_tape_and_square, smooth_edges
from api.papers.shop_sizes import ShopSizes, shop_sizes

LENGTHS = st.floats(0.0, 12_000.0)
SHOPS = st.sampled_from([ShopSizes(True, 16), ShopSizes(True, 32), ShopSizes(False, 2)])


def read(text: str) -> Fraction:
    """Read a mark as a person does; independent of how it was written."""
    whole, _, rest = text.rpartition("-") if "/" in text else (text, "", "0")
    assert re.fullmatch(r"[0-9]*\.?[0-9]*", whole)
    assert re.fullmatch(r"[0-9]+(/[0-9]+)?", rest)
    return Fraction(whole or 0) + Fraction(rest)


@settings(derandomize=True, max_examples=150)
@given(LENGTHS, SHOPS)
def test_outward_marks_never_make_a_blank_smaller(length, shop):
    assert shop.mm(shop.up(length)) >= length - 1e-4
    assert shop.mm(shop.up(length)) < length + shop.step_mm
    assert shop.mm(shop.down(length)) <= length + 1e-4


@settings(derandomize=True, max_examples=150)
@given(LENGTHS, SHOPS)
def test_what_is_written_is_the_mark(length, shop):
    mark = shop.nearest(length)
    unit = 25.4 if shop.inches else 1.0
    assert float(read(shop.words(mark, unit=False))) * unit == pytest.approx(
        shop.mm(mark), abs=1e-9
    )


@settings(derandomize=True, max_examples=150)
@given(st.floats(0, 3000), st.floats(0.4, 4.0), st.floats(0, 500), st.booleans())
def test_blanks_a_cutting_gap_apart_keep_marks_that_do_not_cross(end, gap, width, inches):
    shop = shop_sizes("in" if inches else "mm", gap)
    assert shop.up(end) <= shop.down(end + gap)
    assert shop.down(end + gap) <= shop.up(end + gap + width)


@settings(derandomize=True, max_examples=100)
@given(st.floats(6.0, 900.0), SHOPS)
def test_a_notch_leaves_its_bolt_by_half_a_step_at_most_and_is_never_narrower(at, shop):
    # [practice] a bolt has 1/8 in of air on both sides: half a sixteenth is a quarter of it
    assert abs(shop.mm(shop.nearest(at)) - at) <= shop.step_mm / 2 + 1e-9
    assert shop.step_mm / 2 <= 25.4 / 8 / 4 + 1e-9


def test_notches_of_a_drawn_piece_stay_on_their_bolts_and_as_large_as_asked(facts):
    marking = Marking(facts.pieces["lid | frame #1"], facts.sizes)
    notches = [cut for cut in marking.cuts if cut.kind == "notch"]
    assert len(notches) == len(paper_plans.NOTCHES)
    for cut, asked in zip(notches, paper_plans.NOTCHES, strict=True):
        assert abs(facts.sizes.mm(cut.at) - asked.at_mm) <= 25.4 / 32 + 0.1
        assert facts.sizes.mm(cut.wide) >= asked.wide_mm - 0.15
        assert facts.sizes.mm(cut.deep) >= asked.deep_mm - 0.15


def test_a_blank_marked_by_tape_is_as_long_and_wide_as_planned_and_at_most_a_step_more(facts):
    for piece in facts.plan.pieces:
        marking = Marking(piece, facts.sizes)
        width = piece.blank.above_mm + piece.blank.below_mm
        assert 0 <= facts.sizes.mm(marking.length) - piece.blank.root_length_mm < 25.4 / 16
        # the two widths are each rounded up
        assert 0 <= facts.sizes.mm(marking.width) - width < 2 * 25.4 / 16


@settings(derandomize=True, max_examples=25, deadline=None)
@given(st.floats(400, 2200), st.floats(900, 20_000), st.floats(12, 60), st.floats(0, 45))
def test_offsets_from_a_chord_hold_the_whole_blank_between_them(length, radius, above, below):
    if length / radius > 1.5:
        return
    blank = paper_plans.blank_plan(paper_plans.arc(length, radius), above, below)
    made = paper_plans.piece("a | b #1", "a | b", blank)
    sizes = shop_sizes("in")
    offsets = chord_offsets(made, sizes)
    if offsets is None:
        assert is_tape_and_square(made) or length < 330 or length / radius > 1.0
        return
    # against the circle itself, not the polygon: the root line has this radius, its centre above
    turn = length / radius
    centre = offsets.pose.point((0.0, radius))
    inner, outer = radius - above, radius + below
    for station in offsets.stations:
        x = sizes.mm(station.at) - centre[0]
        if abs(x) < inner * math.sin(turn / 2) - 1:
            upper = centre[1] - math.sqrt(inner**2 - x**2)
            assert -0.06 <= sizes.mm(station.high) - upper < sizes.step_mm + 0.06
        if abs(x) < outer * math.sin(turn / 2) - 1:
            lower = centre[1] - math.sqrt(outer**2 - x**2)
            assert -0.06 <= lower - sizes.mm(station.low) < sizes.step_mm + 0.06
    # sagitta of a chord of the tightest circle (Euclid III.35), over a step that lies aslant
    step = sizes.mm(offsets.stations[1].at - offsets.stations[0].at) / math.cos(turn / 2)
    sag = inner - math.sqrt(inner**2 - (step / 2) ** 2)
    assert offsets.sag_mm <= 25.4 / 8
    # read off a polygon within 0.05 mm of the curve, twice, and straight up instead of square to it
    assert offsets.sag_mm <= sag / math.cos(turn / 2) + 0.15


def test_edges_without_notches_run_over_them(facts):
    grip, _ = smooth_edges(facts.strips["lid | frame #1"])
    # the grip edge of an arc of radius 1300 mm that bends up lies 38.1 mm outside it
    centre = (0.0, 1300.0)
    on_arc = [p for p in grip if p[0] < 700]
    assert [math.dist(p, centre) for p in on_arc] == pytest.approx([1338.1] * len(on_arc), abs=0.1)


@settings(derandomize=True, max_examples=200)
@given(st.text(max_size=80), st.integers(1, 9999))
def test_names_of_files_are_safe_whatever_a_piece_is_called(text, number):
    name = numbered("piece", number, text)
    assert re.fullmatch(r"piece-[0-9]{2,4}(-[a-z0-9]+)*", name)
    assert len(name) <= 56


@pytest.mark.parametrize("text", ["../../etc/passwd", "..\\x", "con", "/", "\x00", "."])
def test_names_cannot_climb(text):
    assert not set(slug(text)) & set("./\\\x00")
