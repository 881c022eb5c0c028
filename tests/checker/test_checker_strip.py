"""Strips rolled out, against closed forms and a library's integrals."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import fresnel

from solver.checker.strip import (
    Track,
    cut,
    flat_area_mm2,
    joined,
    length_curved_tighter_mm,
    ribbon,
    rolled_out,
    track_of,
)
from solver.data.line import Corner, Line, Stretch
from solver.geometry.blanks import BlankError, blank_of


def hard(length, start, end=None):
    return Stretch(length, hard_start=start, hard_end=start if end is None else end)


def rolled(line, above=25.0, below=19.0, trim=0.0):
    track = track_of(line, backward=False)
    strip = rolled_out(track, trim, above + below)
    return track, strip, ribbon(strip, above, below)


def test_a_growing_curvature_gives_the_clothoid_of_fresnels_integrals():
    # scipy.special.fresnel: x = a·C(s/a), y = a·S(s/a) with a = sqrt(pi·L/k) for curvature k·s/L.
    length, end = 600.0, 1 / 300
    _, strip, _ = rolled(Line((hard(length, 0.0, end),)))
    a = math.sqrt(math.pi * length / end)
    s, c = fresnel(strip.stations_mm / a)
    assert strip.points_mm == pytest.approx(np.column_stack((a * c, a * s)), abs=0.01)


def test_a_strip_square_to_a_cylinder_is_a_flat_ring():
    # A ring sector between radii 300 - 25 and 300 + 19 [derived].
    angle = 2.0
    _, _, shape = rolled(Line((hard(300 * angle, 1 / 300),)))
    assert shape.area == pytest.approx(angle / 2 * (319.0**2 - 275.0**2), rel=1e-4)
    middle = shapely.Point(0.0, 300.0)
    assert shapely.distance(middle, shape) == pytest.approx(275.0, abs=0.05)
    assert shapely.hausdorff_distance(middle, shape) == pytest.approx(319.0, abs=0.05)


def test_easy_way_curvature_leaves_the_blank_straight():
    line = Line(
        (Stretch(500.0, easy_start=1 / 80, easy_end=1 / 40),), (Corner(200.0, easy_deg=60.0),)
    )
    track, _, shape = rolled(line)
    assert track.straight
    assert shape.equals(shapely.box(0.0, -19.0, 500.0, 25.0))


def test_a_sharp_turn_up_is_mitred():
    # An L of two arms 300 long and 44 wide, 90 degrees up: full outside, taken inside [derived].
    _, _, shape = rolled(Line((Stretch(300.0), Stretch(300.0)), (Corner(300.0, hard_deg=90.0),)))
    wanted = shapely.union(
        shapely.box(0.0, -19.0, 319.0, 25.0), shapely.box(275.0, -19.0, 319.0, 300.0)
    )
    assert shapely.area(shapely.symmetric_difference(shape, wanted)) == pytest.approx(0, abs=0.01)


def test_the_area_follows_from_the_turns_alone():
    line = Line(
        (hard(300.0, 1 / 400, -1 / 250), hard(200.0, 0.0)), (Corner(300.0, hard_deg=-30.0),)
    )
    track, _, shape = rolled(line, trim=12.7)
    assert shape.area == pytest.approx(flat_area_mm2(track, 12.7, 25.0, 19.0), rel=2e-4)


def test_walked_backward_left_is_right_and_up_stays_up():
    line = Line(
        (Stretch(100.0, easy_start=0.01, easy_end=0.02, hard_start=0.003, hard_end=0.004),),
        (Corner(30.0, easy_deg=10.0, hard_deg=5.0),),
    )
    back = track_of(line, backward=True)
    assert back.stretches == pytest.approx(np.array([[100.0, -0.02, -0.01, 0.004, 0.003]]))
    assert back.corners == pytest.approx(np.array([[70.0, -10.0, 5.0]]))


def test_parts_of_a_walk_joined_again_are_the_walk():
    line = Line((hard(200.0, 1 / 500, 1 / 300), hard(150.0, -1 / 400)))
    track = track_of(line, backward=False)
    parts = joined([cut(track, 0.0, 120.0), cut(track, 120.0, 350.0)])
    whole, again = rolled_out(track, 0.0, 40.0), rolled_out(parts, 0.0, 40.0)
    assert again.points_mm[-1] == pytest.approx(whole.points_mm[-1], abs=1e-3)
    assert again.length_mm == pytest.approx(350.0)


def test_a_piece_that_ends_on_a_mark_is_straight_though_its_station_is_rounded():
    track = track_of(Line((Stretch(200.0), hard(100.0, 1 / 500))), backward=False)
    assert cut(track, 10.0, 200.0 + 4e-7).straight
    assert not cut(track, 10.0, 200.1).straight


def test_stations_and_offsets_are_read_back_from_points():
    _, strip, _ = rolled(Line((hard(400.0, 1 / 350),)))
    stations, offsets = np.array([50.0, 200.0, 399.0]), np.array([20.0, -15.0, 8.0])
    back, off = strip.stations_of(strip.points_at(stations, offsets))
    assert back == pytest.approx(stations, abs=0.02)
    assert off == pytest.approx(offsets, abs=0.02)


@pytest.mark.parametrize(("limit", "wanted"), [(0.015, 75.0), (0.009, 125.0), (0.05, 0.0)])
def test_only_what_curves_tighter_than_the_limit_is_counted(limit, wanted):
    # From 0.01 to 0.02 over 100 mm half is above 0.015, and so is an arc of 0.016, 25 mm right.
    track = Track(
        np.array(
            [
                [100.0, 0.01, 0.02, 0.0, 0.0],
                [25.0, -0.016, -0.016, 0.0, 0.0],
                [500.0, 0.001, 0.001, 0.0, 0.0],
            ]
        ),
        np.zeros((0, 3)),
    )
    assert length_curved_tighter_mm(track, limit) == pytest.approx(wanted)


CURVATURE = st.one_of(
    st.just(0.0), st.floats(1 / 2000, 1 / 120), st.floats(1 / 2000, 1 / 120).map(lambda k: -k)
)
STRETCH = st.builds(hard, st.floats(60.0, 400.0), CURVATURE, CURVATURE)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    st.lists(STRETCH, min_size=1, max_size=4),
    st.sampled_from([-60.0, -35.0, -8.0, 5.0, 20.0, 55.0]),
    st.floats(10.0, 40.0),
    st.sampled_from([0.0, 6.0, 18.0, 38.0]),
    st.sampled_from([0.0, 12.7]),
)
def test_blanks_of_the_planner_lie_on_the_checkers_strip(stretches, corner, above, below, trim):
    """Two codes that share nothing agree: chords and tangents there, fine steps here."""
    corners = (Corner(stretches[0].length_mm, hard_deg=corner),) if len(stretches) > 1 else ()
    line = Line(tuple(stretches), corners)
    try:
        blank = blank_of(line, 0.0, line.length_mm, above, below, extra_end_mm=trim)
    except BlankError:
        return
    _, _, shape = rolled(line, above, below, trim)
    drawn = shapely.Polygon(blank.outline_mm)
    assert shapely.hausdorff_distance(drawn.boundary, shape.boundary) < 0.15
    assert blank.root_length_mm == pytest.approx(line.length_mm + trim)
