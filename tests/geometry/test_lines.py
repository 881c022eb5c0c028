"""Lines: cutting, turning, walking.  The oracle for clothoids is scipy's Fresnel integrals."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import fresnel

from solver.data.line import Corner, Line, Stretch
from solver.geometry.lines import (
    corners_between,
    curvatures_at,
    joined,
    mirrored_line,
    reversed_line,
    root_points,
    root_polyline,
    smallest_easy_radius_mm,
    smallest_hard_radii_mm,
    sub_line,
    total_turn_deg,
    walk_in_surface,
)

bend = st.floats(-0.004, 0.004)
stretches = st.builds(
    Stretch, st.floats(5.0, 400.0), bend, bend, bend, bend, st.floats(-1e-3, 1e-3)
)
open_lines = st.lists(stretches, min_size=1, max_size=5).map(lambda s: Line(tuple(s)))


@st.composite
def cornered_lines(draw):
    line = draw(open_lines)
    shares = draw(st.lists(st.floats(0.05, 0.95), max_size=3, unique=True))
    corners = tuple(
        Corner(share * line.length_mm, draw(st.floats(-90, 90)), draw(st.floats(-45, 45)))
        for share in sorted(shares)
    )
    return Line(line.stretches, corners)


def test_growing_curvature_walks_a_clothoid():
    # Abramowitz & Stegun 7.3: x = a C(s/a), y = a S(s/a) with a = sqrt(pi / rate)
    length, last = 1500.0, 0.02
    line = Line((Stretch(length, hard_end=last),))
    stations = np.linspace(0.0, length, 37)
    points, _, heading = root_points(line, stations)
    scale = math.sqrt(math.pi * length / last)
    s_integral, c_integral = fresnel(stations / scale)
    assert np.abs(points[:, 0] - scale * c_integral).max() < 1e-9 * length
    assert np.abs(points[:, 1] - scale * s_integral).max() < 1e-9 * length
    assert heading[-1] == pytest.approx(0.5 * last * length, rel=1e-12)


def test_constant_curvature_walks_a_circle():
    # plane geometry: x = R sin(s/R), y = R (1 - cos(s/R))
    radius = 43.0
    line = Line((Stretch(700.0, hard_start=1 / radius, hard_end=1 / radius),))
    stations = np.linspace(0.0, 700.0, 11)
    points, _, _ = root_points(line, stations)
    assert points[:, 0] == pytest.approx(radius * np.sin(stations / radius), abs=1e-9)
    assert points[:, 1] == pytest.approx(radius * (1 - np.cos(stations / radius)), abs=1e-9)


def test_chord_ten_rise_one_is_radius_thirteen():
    # R = (c^2/4 + h^2) / 2h, machinist's formula: chord 10, rise 1
    radius, half = 13.0, math.asin(5.0 / 13.0)
    line = Line((Stretch(2 * radius * half, hard_start=1 / radius, hard_end=1 / radius),))
    points, _, _ = root_points(line, [0.0, radius * half, 2 * radius * half])
    chord = points[2] - points[0]
    rise = abs(chord[0] * points[1, 1] - chord[1] * points[1, 0]) / 10.0
    assert math.hypot(*chord) == pytest.approx(10.0, rel=1e-12)
    assert rise == pytest.approx(1.0, rel=1e-12)


def test_a_rectangle_with_round_corners_closes():
    # four quarter turns: the interior angles of a rectangle
    arc = Stretch(math.pi / 2 * 50.0, 1 / 50.0, 1 / 50.0)
    loop = Line((Stretch(300), arc, Stretch(200), arc) * 2, closed=True)
    x, y, heading = walk_in_surface(loop)
    assert (x, y) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert heading == pytest.approx(360.0)
    assert total_turn_deg(loop) == pytest.approx(360.0)


def test_a_rectangle_with_sharp_corners_closes():
    sides = (Stretch(300), Stretch(200), Stretch(300), Stretch(200))
    corners = tuple(Corner(s, easy_deg=90.0) for s in (300.0, 500.0, 800.0, 1000.0))
    x, y, heading = walk_in_surface(Line(sides, corners, closed=True))
    assert (x, y) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert heading == pytest.approx(360.0)


def test_hard_curvature_leaves_the_walk_in_the_surface_alone():
    line = Line((Stretch(100, hard_start=0.01, hard_end=0.02),), (Corner(50.0, hard_deg=30.0),))
    assert walk_in_surface(line) == pytest.approx((100.0, 0.0, 0.0))


def test_the_other_way_round_left_is_right_and_up_stays_up():
    line = Line((Stretch(100, 0.01, 0.02, 0.003, 0.004, 1e-4),), (Corner(30.0, 20.0, 10.0),))
    back = reversed_line(line)
    assert back.stretches == (Stretch(100, -0.02, -0.01, 0.004, 0.003, 1e-4),)
    assert back.corners == (Corner(70.0, -20.0, 10.0),)


def test_the_twin_reads_the_same_words_from_its_other_end():
    line = Line((Stretch(100, 0.01, 0.02, 0.003, 0.004, 1e-4), Stretch(50)), (Corner(30.0, 20.0),))
    twin = mirrored_line(line)
    assert twin.stretches == (
        Stretch(50, twist_per_mm=-0.0),
        Stretch(100, 0.02, 0.01, 0.004, 0.003, -1e-4),
    )
    assert twin.corners == (Corner(120.0, 20.0),)


def test_radii_are_told_apart_by_side():
    line = Line((Stretch(10, hard_start=0.01, hard_end=-0.02, easy_start=-0.05),))
    assert smallest_hard_radii_mm(line) == pytest.approx((100.0, 50.0))
    assert smallest_easy_radius_mm(line) == pytest.approx(20.0)
    assert smallest_hard_radii_mm(Line((Stretch(10),))) == (math.inf, math.inf)


def test_corners_at_the_ends_are_not_inside():
    line = Line((Stretch(100),), (Corner(0.0, 5.0), Corner(40.0, 6.0), Corner(100.0, 7.0)))
    assert [c.station_mm for c in corners_between(line, 0.0, 100.0)] == [40.0]
    assert corners_between(line, 40.0, 100.0) == ()


def test_a_piece_may_run_over_the_start_of_a_loop():
    loop = Line((Stretch(100), Stretch(200, 0.01, 0.01)), (Corner(0.0, 9.0),), closed=True)
    piece = sub_line(loop, 250.0, 360.0)
    assert piece.length_mm == pytest.approx(110.0)
    assert [s.easy_start for s in piece.stretches] == [0.01, 0.0]
    assert [c.station_mm for c in corners_between(loop, 250.0, 360.0)] == [300.0]


def test_a_piece_that_begins_behind_the_end_of_a_loop_keeps_its_own_stations():
    loop = Line((Stretch(300),), (Corner(40.0, 9.0),), closed=True)
    assert [c.station_mm for c in corners_between(loop, 10.0, 250.0)] == [40.0]
    assert [c.station_mm for c in corners_between(loop, 310.0, 550.0)] == [340.0]


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [(-1.0, 50.0, "leave the line"), (0.0, 101.0, "leave the line"), (60.0, 60.0, "no length"),
     (60.0, 20.0, "no length"), (math.nan, 20.0, "finite")],
)  # fmt: skip
def test_stations_off_the_line_are_refused(start, end, words):
    with pytest.raises(ValueError, match=words):
        sub_line(Line((Stretch(100),)), start, end)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Stretch(0.0), "length above zero"),
        (lambda: Stretch(math.nan), "length above zero"),
        (lambda: Stretch(10.0, hard_end=math.inf), "hard_end"),
        (lambda: Corner(1.0, easy_deg=180.0), "less than 180"),
        (lambda: Line(()), "no stretch"),
        (lambda: Line((Stretch(10),), (Corner(11.0, 5.0),)), "off its line"),
        (lambda: joined(()), "no lines"),
        (lambda: curvatures_at(Line((Stretch(10),)), [3.0, 12.0]), "12.00 mm lies off"),
        (lambda: root_points(Line((Stretch(10),)), [3.0, 2.0]), "backwards"),
    ],
)
def test_nonsense_is_refused_with_its_place(make, words):
    with pytest.raises(ValueError, match=words):
        make()


@settings(derandomize=True, max_examples=40, deadline=None)
@given(cornered_lines())
def test_turning_round_twice_is_no_turn(line):
    for turn in (reversed_line, mirrored_line):
        twice = turn(turn(line))
        assert twice.stretches == line.stretches
        for one, other in zip(twice.corners, line.corners, strict=True):
            assert one.station_mm == pytest.approx(other.station_mm, abs=1e-9)
            assert (one.easy_deg, one.hard_deg) == (other.easy_deg, other.hard_deg)


@settings(derandomize=True, max_examples=40, deadline=None)
@given(cornered_lines(), st.lists(st.floats(0.02, 0.98), min_size=1, max_size=4, unique=True))
def test_parts_of_a_line_join_to_the_whole(line, shares):
    cuts = [0.0, *(share * line.length_mm for share in sorted(shares)), line.length_mm]
    parts = [sub_line(line, a, b) for a, b in pairwise(cuts) if b - a > 1e-3]
    if len(parts) < len(cuts) - 1:
        return
    whole = joined(parts)
    assert whole.length_mm == pytest.approx(line.length_mm, rel=1e-12)
    stations = np.linspace(0.0, min(whole.length_mm, line.length_mm), 23)
    there, _, turned = root_points(whole, stations)
    here, _, heading = root_points(line, stations)
    assert there == pytest.approx(here, abs=1e-8 * line.length_mm)
    assert turned == pytest.approx(heading, abs=1e-8)
    assert walk_in_surface(whole) == pytest.approx(walk_in_surface(line), abs=1e-7)


@settings(derandomize=True, max_examples=40, deadline=None)
@given(open_lines)
def test_the_root_line_keeps_its_length(line):
    # chords within 1e-6 mm of the curve: their sum falls short by less than 1e-6 of it
    polyline = root_polyline(line, 1e-6)
    length = np.hypot(*np.diff(polyline, axis=0).T).sum()
    assert length == pytest.approx(line.length_mm, rel=1e-6)


@settings(derandomize=True, max_examples=30, deadline=None)
@given(open_lines)
def test_turning_round_turns_the_same_curve_over(line):
    # walked from the other end, up stays up: the plane curve is mirrored, end for end
    stations = np.linspace(0.0, line.length_mm, 9)
    there, _, _ = root_points(line, stations)
    back, _, _ = root_points(reversed_line(line), line.length_mm - stations[::-1])
    gaps = [np.hypot(*(p[:, None, :] - p[None, :, :]).transpose(2, 0, 1)) for p in (there, back)]
    assert gaps[0] == pytest.approx(gaps[1][::-1, ::-1], abs=1e-8 * line.length_mm)
    assert total_turn_deg(line, "hard") == pytest.approx(
        total_turn_deg(reversed_line(line), "hard")
    )
    assert total_turn_deg(line) == pytest.approx(-total_turn_deg(reversed_line(line)))
