"""Blanks within blanks: what was cut out of one another is found, what does not lie is not.

Every answer is placed again with shapely's own affine transforms and held against the old outline.
"""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from solver.data.line import Line, Stretch
from solver.geometry.blanks import Fold, Notch, blank_of
from solver.planner.reuse_fit import SLACK_MM, Flat, FlatFold, fit_of

ROUGH_MM = 0.15


def flat(line, start, end, above=25.0, below=0.0, *, folds=(), notches=()):
    """A blank as the planner makes it, made ready to be compared."""
    blank = blank_of(line, start, end, above, below, folds=folds, notches=notches)
    return Flat(
        outline=np.array(blank.outline_mm),
        length_mm=blank.root_length_mm,
        straight=blank.straight,
        width_mm=blank.width_mm,
        folds=tuple(
            FlatFold(np.array(f.points_mm), f.angle_deg, f.toward == "left", 1.5, 2.0)
            for f in blank.folds
        ),
    )


def straight(length):
    return Line((Stretch(length),))


def arc(length, radius):
    return Line((Stretch(length, 0, 0, 1 / radius, 1 / radius),))


def placed(new, fit):
    """Where a fit says that the new blank lies."""
    polygon = shapely.Polygon(new.outline)
    if fit.flipped:
        polygon = affinity.scale(polygon, 1, -1, origin=(0, 0))
    polygon = affinity.rotate(polygon, fit.turn_deg, origin=(0, 0))
    return affinity.translate(polygon, fit.x_mm, fit.y_mm)


def assert_right(new, old, fit):
    lies = placed(new, fit)
    assert lies.difference(shapely.Polygon(old.outline).buffer(SLACK_MM + 0.05)).area < 1e-6
    near, far = (
        sum(p.length for p in shapely.get_parts(lies.exterior.difference(old_line.buffer(off))))
        for old_line in (shapely.Polygon(old.outline).exterior,)
        for off in (0.05, 0.4)
    )
    assert far - 3 <= fit.cut_mm <= near + 3


def test_a_shorter_strip_takes_one_cut_across():
    fit = fit_of(flat(straight(900), 0, 900), flat(straight(1000), 0, 1000))
    assert (fit.cut_mm, fit.straight_cut) == (25.0, True)


def test_a_longer_or_a_wider_strip_does_not_lie_within():
    old = flat(straight(1000), 0, 1000)
    assert fit_of(flat(straight(1001), 0, 1001), old) is None
    assert fit_of(flat(straight(900), 0, 900, above=26), old) is None


def test_the_same_strip_takes_no_cut():
    fit = fit_of(flat(straight(500), 0, 500), flat(straight(500), 0, 500))
    assert fit.whole


@pytest.mark.parametrize("radius", [300, -300, 1500])
@pytest.mark.parametrize(("start", "end"), [(0, 400), (200, 600), (150, 450)])
def test_a_part_of_an_arc_lies_within_it_where_its_end_is(radius, start, end):
    line = arc(600, radius)
    new, old = flat(line, start, end), flat(line, 0, 600)
    fit = fit_of(new, old)
    # a part of a circle may lie at either end of it
    assert fit is not None
    assert_right(new, old, fit)
    assert fit.cut_mm == pytest.approx(25, abs=1)
    assert fit.straight_cut


def test_a_tighter_arc_lies_within_no_strip_of_its_width():
    old = flat(arc(600, 400), 0, 600)
    assert fit_of(flat(arc(500, 300), 0, 500), old) is None
    assert fit_of(flat(arc(500, 500), 0, 500), old) is None


def test_a_narrower_tighter_arc_may_lie_within_a_wide_straight_strip():
    # a sagitta of 100²/(8·1000) = 1.25 mm: 10 mm and that are less than 25
    new, old = flat(arc(100, 1000), 0, 100, above=10), flat(straight(300), 0, 300)
    fit = fit_of(new, old)
    assert fit is not None
    assert_right(new, old, fit)
    assert not fit.straight_cut


def halves(one, other):
    return Line((Stretch(250, 0, 0, one, one), Stretch(250, 0, 0, other, other)))


def test_an_arc_that_bends_the_other_way_is_turned_end_for_end():
    # the root line is the middle of both, so their edges have the same radii
    new = flat(arc(500, -300), 0, 500, above=12.5, below=12.5)
    fit = fit_of(new, flat(arc(500, 300), 0, 500, above=12.5, below=12.5))
    assert (fit.whole, fit.flipped) == (True, False)


def test_a_mirrored_blank_is_turned_over():
    # tight then wide, to the other side: end for end it would be wide then tight
    old = flat(halves(1 / 300, 1 / 900), 0, 500, above=12.5, below=12.5)
    new = flat(halves(-1 / 300, -1 / 900), 0, 500, above=12.5, below=12.5)
    fit = fit_of(new, old)
    assert (fit.whole, fit.flipped) == (True, True)
    assert_right(new, old, fit)
    ended = flat(halves(1 / 900, 1 / 300), 0, 500, above=12.5, below=12.5)
    fit = fit_of(ended, old)
    assert (fit.whole, fit.flipped) == (True, True)
    assert_right(ended, old, fit)


FOLD_LEFT, FOLD_RIGHT = Fold(10.0, 90.0, "left"), Fold(10.0, 90.0, "right")


def folded(length, fold, **given):
    return flat(straight(length), 0, length, folds=(fold,), **given)


def test_a_folded_strip_keeps_its_fold_when_it_is_cut_shorter():
    new, old = folded(400, FOLD_LEFT), folded(500, FOLD_LEFT)
    fit = fit_of(new, old)
    assert (fit.folds, fit.cut_mm) == (1, pytest.approx(25, abs=0.5))


def test_a_fold_to_the_other_hand_serves_turned_over_only_where_the_legs_are_alike():
    # fold in the middle: turned over its two legs change places and all is well
    middle_left, middle_right = Fold(12.5, 90.0, "left"), Fold(12.5, 90.0, "right")
    fit = fit_of(folded(400, middle_right), folded(400, middle_left))
    assert fit is not None
    assert fit.flipped
    # off the middle, turned over and end for end: the legs stay, and so does the hand
    assert fit_of(folded(400, FOLD_RIGHT), folded(400, FOLD_LEFT)) is not None


def test_a_flat_blank_lies_in_a_folded_one_only_beside_its_fold():
    old = folded(500, FOLD_LEFT)
    assert fit_of(flat(straight(400), 0, 400), old) is None
    narrow = flat(straight(400), 0, 400, above=14)
    fit = fit_of(narrow, old)
    assert fit is not None
    assert placed(narrow, fit).bounds[1] >= 10 - ROUGH_MM


def test_a_flat_strip_may_be_folded_yet():
    fit = fit_of(folded(400, FOLD_LEFT), flat(straight(500), 0, 500))
    assert (fit.folds, fit.cut_mm) == (0, pytest.approx(25, abs=0.5))


def test_a_notch_that_is_there_must_be_wanted_there_or_lie_outside():
    notch = Notch(300.0, 40.0, 12.0, "free")
    old = flat(straight(1000), 0, 1000, notches=(notch,))
    same_place = flat(straight(1000), 0, 900, notches=(notch,))
    fit = fit_of(same_place, old)
    assert fit.cut_mm == pytest.approx(25, abs=0.5)
    assert_right(same_place, old, fit)
    beside = flat(straight(600), 0, 600)
    fit = fit_of(beside, old)
    assert_right(beside, old, fit)
    assert fit_of(flat(straight(750), 0, 750), old) is None


def test_what_is_bent_serves_nowhere_else():
    old = Flat(np.array(((0, 0), (500, 0), (500, 25), (0, 25.0))), 500, True, 25, fixed=True)
    assert fit_of(flat(straight(400), 0, 400), old) is None


@given(
    st.floats(200, 900),
    st.floats(0.0, 1.0),
    st.floats(0.3, 0.95),
    st.sampled_from([0.0, 1 / 300, -1 / 500, 1 / 2000]),
    st.integers(0, 3),
    st.floats(5, 25),
)
@settings(max_examples=60, derandomize=True, deadline=None)
def test_what_is_found_lies_within_and_what_was_cut_off_an_end_is_found(
    length, at, share, curve, notches, width
):
    rng = np.random.default_rng(int(1e6 * at) + notches)
    spots = np.sort(rng.uniform(0.1 * length, 0.9 * length, notches))
    cuts = tuple(
        Notch(float(s), 12.0, 8.0, "grip")
        for i, s in enumerate(spots)
        if i == 0 or s - spots[i - 1] > 40
    )
    line = Line((Stretch(length, 0, 0, curve, curve),)) if curve else straight(length)
    old = flat(line, 0, length, above=25, below=20, notches=cuts)
    end = share * length
    mine = tuple(n for n in cuts if n.at_mm + 6 < end - 1)
    if any(abs(n.at_mm - end) < 8 for n in cuts):
        return
    exact = flat(line, 0, end, above=25, below=20, notches=mine)
    fit = fit_of(exact, old)
    assert fit is not None
    assert_right(exact, old, fit)
    assert fit.cut_mm <= 45 + 3
    # any other blank: whatever is answered lies within
    other = flat(straight(end), 0, end, above=width)
    fit = fit_of(other, old)
    if fit is not None:
        assert_right(other, old, fit)
