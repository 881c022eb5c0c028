"""Flat blanks against plane geometry, handbook developments and shapely."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import fixed_quad

from solver.data.line import Corner, Line, Stretch
from solver.geometry.blanks import (
    CHORD_TOLERANCE_MM,
    BlankError,
    Fold,
    LegCut,
    Notch,
    blank_faults,
    blank_of,
    strip_area_mm2,
)
from solver.geometry.lines import (
    curvatures_at,
    mirrored_line,
    reversed_line,
    root_points,
    root_polyline,
)

INCH = 25.4


def arc(length, *, easy=0.0, hard=0.0):
    return Stretch(length, easy, easy, hard, hard)


def whole(line, above, below, **more):
    return blank_of(line, 0.0, line.length_mm, above, below, **more)


def polygon(blank):
    return shapely.Polygon(blank.outline_mm)


def box_of(blank):
    """Sides of the smallest rectangle round a blank, short one first."""
    corners = shapely.minimum_rotated_rectangle(polygon(blank)).exterior.coords
    return sorted(math.dist(corners[i], corners[i + 1]) for i in (0, 1))


def turned_over(line, blank):
    """A blank reflected end for end and laid onto where its line's twin ends."""
    end, heading, _ = root_points(line, [0.0, line.length_mm])
    x, y = np.array(blank.outline_mm).T
    c, s = math.cos(heading[-1]), math.sin(heading[-1])
    return shapely.Polygon(np.stack((-c * x - s * y, -s * x + c * y), axis=1) + end[-1])


# --- straight -----------------------------------------------------------------------------------


def test_a_straight_piece_is_a_rectangle_round_its_root_line():
    blank = blank_of(Line((Stretch(400),)), 100.0, 350.0, 16.0, 32.0)
    assert blank.outline_mm == ((0.0, -32.0), (250.0, -32.0), (250.0, 16.0), (0.0, 16.0))
    assert blank.root_mm == ((0.0, 0.0), (250.0, 0.0))
    assert (blank.root_length_mm, blank.width_mm, blank.area_mm2) == (250.0, 48.0, 250.0 * 48.0)
    assert blank.straight
    assert blank.symmetric


def test_a_circle_on_a_flat_face_gives_a_straight_blank():
    # strip square to the face: all bending is easy way, so the development is a rectangle
    circle = Line((arc(2 * math.pi * 300.0, easy=1 / 300.0),), closed=True)
    blank = whole(circle, 16.0, 32.0)
    assert len(blank.outline_mm) == 4
    assert blank.straight
    assert blank.root_length_mm == pytest.approx(2 * math.pi * 300.0)


def test_easy_corners_leave_the_outline_alone():
    line = Line((Stretch(400), arc(100, easy=0.01)), (Corner(100.0, easy_deg=90.0),))
    assert len(whole(line, 16.0, 32.0).outline_mm) == 4


def test_metal_to_trim_goes_on_straight():
    line = Line((arc(300, hard=1 / 400),))
    blank = whole(line, 16.0, 32.0, extra_start_mm=12.7, extra_end_mm=6.35)
    plain = whole(line, 16.0, 32.0)
    assert blank.root_length_mm == pytest.approx(300 + 12.7 + 6.35, rel=1e-12)
    assert blank.area_mm2 - plain.area_mm2 == pytest.approx(48 * (12.7 + 6.35), rel=1e-6)
    assert blank.outline_mm[0] == (0.0, -32.0)
    assert blank.outline_mm[1] == pytest.approx((12.7, -32.0))
    assert not blank.straight


# --- rings --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("degrees", "least", "long"), [(90, 7.565, 29.70), (45, 3.446, 16.07)])
def test_ring_sector_needs_the_strip_of_plane_geometry(degrees, least, long):
    # [derived] radii a < b, angle 2f: width b - a cos f, length 2 b sin f; 19 and 21 in
    length = math.radians(degrees) * 20 * INCH
    blank = whole(Line((arc(length, hard=1 / (20 * INCH)),)), INCH, INCH)
    short_side, long_side = box_of(blank)
    assert short_side / INCH == pytest.approx(least, abs=0.004)
    assert long_side / INCH == pytest.approx(long, abs=0.006)
    assert blank.symmetric


def test_circle_round_a_cylinder_gives_a_flat_ring():
    # strip along the normal, inside: hard radius R, free edge on the circle R - stand
    radius, stand, grip = 250.0, 40.0, 25.0
    line = Line((arc(0.5 * math.pi * radius, hard=1 / radius),))
    blank = whole(line, stand, grip)
    centre = np.array((0.0, radius))
    away = np.hypot(*(np.array(blank.outline_mm) - centre).T)
    assert away.min() == pytest.approx(radius - stand, abs=1e-9)
    assert radius + grip - 1e-9 <= away.max() <= radius + grip + CHORD_TOLERANCE_MM
    ring = math.pi / 4 * ((radius + grip) ** 2 - (radius - stand) ** 2)
    exact = strip_area_mm2(line, 0.0, line.length_mm, stand, grip)
    assert exact == pytest.approx(ring, rel=1e-12)
    assert ring <= blank.area_mm2 <= ring + CHORD_TOLERANCE_MM * 2 * blank.root_length_mm


def test_strip_along_a_cone_is_the_sector_of_the_radial_line_method():
    # NAVEDTRA 14251, frustum d 5 and 8, h 4: radii 7.12 and 11.39, sector 126.4 degrees
    half_apex = math.atan(1.5 / 4.0)
    slant = math.hypot(1.5, 4.0)
    hard = math.sin(half_apex) / 2.5
    line = Line((arc(math.pi * 5.0, hard=hard),))
    blank = blank_of(line, 0.0, line.length_mm, 0.0, slant, chord_tolerance_mm=1e-4)
    away = np.hypot(*(np.array(blank.outline_mm) - np.array((0.0, 1 / hard))).T)
    assert away.min() == pytest.approx(7.12, abs=0.005)
    assert away.max() == pytest.approx(11.39, abs=0.011)
    end = np.array(blank.root_mm[-1]) - np.array((0.0, 1 / hard))
    sector = math.degrees(math.atan2(end[0], -end[1])) % 360.0
    assert sector == pytest.approx(126.4, abs=0.05)


def test_lateral_area_of_a_frustum():
    # Longfield 1921 p. 128 (method): d 6 and 3, h 3: slant 3.354, lateral area 47.42
    slant = math.hypot(1.5, 3.0)
    line = Line((arc(math.pi * 3.0, hard=(1.5 / slant) / 1.5),))
    area = strip_area_mm2(line, 0.0, line.length_mm, 0.0, slant)
    assert slant == pytest.approx(3.354, abs=5e-4)
    assert area == pytest.approx(47.42, abs=0.01)


def test_strip_normal_to_a_cone_is_another_ring():
    # [derived] d 8, h 6, d 5: half apex 14.036 deg, r 4: r / cos = 4.123, r / sin = 16.492
    half_apex = math.atan(1.5 / 6.0)
    hard, easy = math.cos(half_apex) / 4.0, math.sin(half_apex) / 4.0
    assert math.degrees(half_apex) == pytest.approx(14.036, abs=5e-4)
    assert 1 / easy == pytest.approx(16.492, abs=1e-3)
    line = Line((arc(4.0, easy=easy, hard=hard),))
    blank = blank_of(line, 0.0, 4.0, 1.0, 1.0, chord_tolerance_mm=1e-5)
    away = np.hypot(*(np.array(blank.outline_mm) - np.array((0.0, 1 / hard))).T)
    assert away.min() == pytest.approx(3.123, abs=1e-3)
    assert away.max() == pytest.approx(5.123, abs=1e-3)


# --- corners ------------------------------------------------------------------------------------


def test_a_hard_corner_is_mitred():
    # plane geometry: offsets of two straights at 90 degrees meet on the bisector
    line = Line((Stretch(300), Stretch(200)), (Corner(300.0, hard_deg=90.0),))
    blank = whole(line, 30.0, 20.0)
    ring = ((0, -20), (320, -20), (320, 200), (270, 200), (270, 30), (0, 30))
    assert np.array(blank.outline_mm) == pytest.approx(np.array(ring), abs=1e-9)
    assert blank.area_mm2 == pytest.approx(320 * 50 + 170 * 50)
    assert not blank.straight
    assert not blank.symmetric


@pytest.mark.parametrize("degrees", [-120.0, -60.0, -5.0, 5.0, 45.0, 120.0])
@pytest.mark.parametrize(("above", "below"), [(30.0, 20.0), (40.0, 0.0), (0.0, 40.0)])
def test_mitres_add_outside_what_they_take_inside(degrees, above, below):
    # polygon area against the closed form with tan of half the angle
    line = Line((Stretch(300), Stretch(300)), (Corner(300.0, hard_deg=degrees),))
    blank = whole(line, above, below, folds=(Fold(0.2 * (above - below), 90.0, "left"),))
    assert blank.area_mm2 == pytest.approx(
        strip_area_mm2(line, 0.0, 600.0, above, below), rel=1e-12
    )
    assert polygon(blank).is_valid
    assert blank.symmetric
    assert len(blank.folds[0].points_mm) == 3


def test_a_corner_between_curves_is_mitred_where_the_edges_meet():
    # shapely: both edges keep their distance from the root line
    line = Line((arc(300, hard=1 / 500), arc(300, hard=-1 / 400)), (Corner(300.0, hard_deg=50),))
    blank = whole(line, 30.0, 20.0)
    root = shapely.LineString(root_polyline(line, 1e-4))
    assert polygon(blank).is_valid
    for x, y in blank.outline_mm:
        away = root.distance(shapely.Point(x, y))
        assert away >= 20.0 - 1e-3
    # buffer with mitres on one hand is the general library's own offset curve
    for hand, width in ((30.0, 30.0), (-20.0, 20.0)):
        side = shapely.buffer(
            root, hand, single_sided=True, join_style="mitre", mitre_limit=10, quad_segs=64
        )
        rest = polygon(blank).intersection(side)
        assert rest.area == pytest.approx(side.area, abs=0.2 * width)


def test_a_corner_without_room_for_its_mitre_is_refused():
    line = Line((Stretch(20), Stretch(300)), (Corner(20.0, hard_deg=-60.0),))
    (fault,) = blank_faults(line, 0.0, 320.0, 10.0, 60.0)
    # 60 tan 30 = 34.6
    assert "at 20.0 mm" in fault
    assert "34.6 mm" in fault
    with pytest.raises(BlankError) as caught:
        blank_of(line, 0.0, 320.0, 10.0, 60.0)
    assert caught.value.faults == (fault,)


# --- faults -------------------------------------------------------------------------------------


def test_a_radius_below_the_width_on_the_concave_side_is_refused():
    line = Line((Stretch(100), arc(50, hard=1 / 30), Stretch(100), arc(50, hard=-1 / 30)))
    (fault,) = blank_faults(line, 0.0, 300.0, 30.0, 20.0)
    assert "at 100.0 mm" in fault
    assert "free edge is 30.0 mm" in fault
    (fault,) = blank_faults(line, 0.0, 300.0, 20.0, 35.0)
    assert "at 250.0 mm" in fault
    assert "grip is 30.0 mm" in fault
    assert blank_faults(line, 0.0, 100.0, 30.0, 35.0) == ()


def test_a_blank_that_crosses_itself_is_refused():
    # the ring comes round on itself; cut in two it does not
    line = Line((arc(2 * math.pi * 300 + 20, hard=1 / 300),))
    (fault,) = blank_faults(line, 0.0, line.length_mm, 20.0, 20.0)
    assert "crosses itself" in fault
    assert blank_faults(line, 0.0, 0.5 * line.length_mm, 20.0, 20.0) == ()


def test_a_full_ring_does_not_close_as_one_blank():
    line = Line((arc(2 * math.pi * 300, hard=1 / 300),), closed=True)
    assert blank_faults(line, 0.0, line.length_mm, 20.0, 20.0) != ()
    assert blank_faults(line, 100.0, line.length_mm + 50.0, 20.0, 20.0) == ()


def test_two_arms_that_run_into_each_other_are_refused():
    # a U of radius 50 with arms that lean together and meet
    line = Line((Stretch(800), arc(math.pi * 60 * 1.06, hard=1 / 60), Stretch(800)))
    assert "crosses itself" in blank_faults(line, 0.0, line.length_mm, 25.0, 25.0)[0]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"above_mm": -1.0}, "above_mm is -1.0"),
        ({"above_mm": math.nan}, "above_mm is nan"),
        ({"above_mm": 0.0, "below_mm": 0.0}, "no width"),
        ({"extra_end_mm": -2.0}, "extra_end_mm"),
        ({"end_mm": 120.0}, "leave the line"),
        ({"chord_tolerance_mm": 0.0}, "chord_tolerance_mm"),
        ({"notches": (Notch(50.0, 0.0, 5.0, "grip"),)}, "notch at 50.0 mm"),
        ({"notches": (Notch(50.0, 9.0, 30.0, "grip"),)}, "at 50.0 mm notches 30.0 mm deep"),
        ({"folds": (Fold(10.0, 90.0, "left"),)}, "not on the blank"),
    ],
)
def test_what_is_no_blank_is_refused(more, words):
    given_values = {"start_mm": 0.0, "end_mm": 100.0, "above_mm": 10.0, "below_mm": 20.0} | more
    with pytest.raises(ValueError, match=words):
        blank_of(Line((Stretch(100),)), **given_values)


def test_opposite_notches_that_part_the_blank_are_refused():
    notches = (Notch(50.0, 9.0, 16.0, "grip"), Notch(52.0, 9.0, 15.0, "free"))
    faults = blank_faults(Line((Stretch(100),)), 0.0, 100.0, 10.0, 20.0, notches=notches)
    assert faults
    assert "31.0 mm" in faults[0]
    assert "30.0 mm" in faults[0]


# --- notches, folds, cuts -----------------------------------------------------------------------


def test_notches_are_cut_from_the_outline():
    notches = (Notch(60.0, 10.0, 12.0, "grip"), Notch(90.0, 8.0, 5.0, "free"))
    blank = blank_of(Line((Stretch(200),)), 20.0, 180.0, 16.0, 32.0, notches=notches)
    cut = shapely.box(0, -32, 160, 16) - shapely.box(35, -32, 45, -20) - shapely.box(66, 11, 74, 16)
    assert polygon(blank).symmetric_difference(cut).area < 1e-9
    assert blank.area_mm2 == pytest.approx(cut.area)
    assert len(blank.outline_mm) == 12
    assert [shapely.Polygon(n).area for n in blank.notches] == [120.0, 40.0]
    assert blank.straight
    assert not blank.symmetric


def test_notches_over_the_end_or_off_the_piece_are_trimmed():
    notches = (Notch(20.0, 10.0, 12.0, "grip"), Notch(10.0, 10.0, 12.0, "grip"))
    blank = blank_of(Line((Stretch(200),)), 20.0, 180.0, 16.0, 32.0, notches=notches)
    assert blank.area_mm2 == pytest.approx(160 * 48 - 5 * 12)
    assert len(blank.notches) == 1


def test_notches_follow_a_curved_edge():
    line = Line((arc(600, hard=1 / 300),))
    notches = tuple(Notch(75.0 + 150.0 * i, 12.0, 20.0, "grip") for i in range(4))
    blank = whole(line, 30.0, 40.0, notches=notches)
    # a notch takes wide * deep * (1 + distance of its middle / R), plane polar geometry
    taken = 4 * 12.0 * 20.0 * (1 + 30.0 / 300)
    assert strip_area_mm2(line, 0, 600, 30.0, 40.0) - blank.area_mm2 == pytest.approx(
        taken, abs=2 * CHORD_TOLERANCE_MM * 600
    )
    assert polygon(blank).is_valid
    assert blank.symmetric
    for notch in blank.notches:
        assert shapely.Polygon(notch).area == pytest.approx(taken / 4, rel=1e-3)
        # what is left under the floor: its rise over 12 mm, and the tolerance
        left = polygon(blank).intersection(shapely.Polygon(notch)).area
        assert left < 12.0 * (12.0**2 / (8 * 300) + CHORD_TOLERANCE_MM)


def test_overlapping_notches_are_cut_once():
    notches = (Notch(50.0, 20.0, 5.0, "free"), Notch(58.0, 20.0, 9.0, "free"))
    blank = whole(Line((Stretch(100),)), 16.0, 32.0, notches=notches)
    cut = shapely.box(0, -32, 100, 16) - shapely.box(40, 11, 60, 16) - shapely.box(48, 7, 68, 16)
    assert polygon(blank).symmetric_difference(cut).area < 1e-9


def test_a_notch_on_a_loop_is_found_past_its_start():
    loop = Line((Stretch(100, 0.01, 0.01), Stretch(200)), closed=True)
    blank = blank_of(loop, 250.0, 360.0, 10.0, 20.0, notches=(Notch(20.0, 10.0, 4.0, "grip"),))
    xs = sorted({round(x, 6) for x, _ in blank.notches[0]})
    assert xs == [65.0, 75.0]


def test_a_fold_runs_along_the_root_line():
    line = Line((arc(400, hard=1 / 500),))
    blank = whole(line, 60.0, 20.0, folds=(Fold(40.0, 90.0, "right"),))
    (fold,) = blank.folds
    away = np.hypot(*(np.array(fold.points_mm) - np.array((0.0, 500.0))).T)
    assert away == pytest.approx(np.full(len(away), 460.0), abs=1e-9)
    assert (fold.angle_deg, fold.toward) == (90.0, "right")


def test_slits_and_v_notches_stand_square_to_the_root_line():
    cuts = (LegCut(30.0, "free", 16.0, 1.5, True), LegCut(60.0, "grip", 10.0, 3.0, False))
    blank = blank_of(Line((Stretch(100),)), 10.0, 90.0, 40.0, 20.0, cuts=cuts)
    assert blank.slits == (((20.0, 40.0), (20.0, 24.0)),)
    assert blank.v_notches == (((48.5, -20.0), (50.0, -10.0), (51.5, -20.0)),)
    assert blank.area_mm2 == 80 * 60
    assert not blank.symmetric


def test_a_blank_is_symmetric_when_its_cuts_are_too():
    cut = LegCut(20.0, "free", 16.0, 1.5, True)
    line = Line((Stretch(100),))
    assert not whole(line, 40.0, 20.0, cuts=(cut,)).symmetric
    both = (cut, LegCut(80.0, "free", 16.0, 1.5, True))
    assert whole(line, 40.0, 20.0, cuts=both).symmetric
    assert not whole(Line((Stretch(100, hard_end=1e-3),)), 40.0, 20.0).symmetric


# --- properties ---------------------------------------------------------------------------------

bend = st.floats(-0.004, 0.004)
lines = st.lists(
    st.builds(Stretch, st.floats(20.0, 300.0), bend, bend, bend, bend), min_size=1, max_size=4
).map(lambda s: Line(tuple(s)))
widths = st.floats(0.0, 60.0)


def drawn(line, above, below, **more):
    assume(above + below > 1.0)
    assume(not blank_faults(line, 0.0, line.length_mm, above, below, **more))
    return whole(line, above, below, **more)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(lines, widths, widths)
def test_the_blank_holds_the_true_strip_and_little_more(line, above, below):
    blank = drawn(line, above, below)
    shape = polygon(blank)
    assert shape.is_valid
    assert shape.exterior.is_ccw
    assert blank.root_length_mm == pytest.approx(line.length_mm, rel=1e-12)

    # Gauss quadrature of the strip's width element, stretch by stretch (scipy)
    def width(stations):
        return above + below - 0.5 * (above**2 - below**2) * curvatures_at(line, stations).hard

    ends = zip(line.breaks_mm[:-1], line.breaks_mm[1:], strict=True)
    area = sum(fixed_quad(width, a, b, n=4)[0] for a, b in ends)
    exact = strip_area_mm2(line, 0.0, line.length_mm, above, below)
    assert exact == pytest.approx(area, rel=1e-7)
    assert -1e-6 <= blank.area_mm2 - exact <= 2 * CHORD_TOLERANCE_MM * 1.3 * line.length_mm
    assert blank.area_mm2 == pytest.approx(shape.area, rel=1e-9)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(lines, widths, widths)
def test_every_true_point_of_the_edges_is_inside_or_on_the_outline(line, above, below):
    blank = drawn(line, above, below)
    fine = blank_of(line, 0.0, line.length_mm, above, below, chord_tolerance_mm=5e-4)
    shape = polygon(blank)
    assert polygon(fine).difference(shape).area <= 2 * 5e-4 * 1.3 * line.length_mm
    assert shape.buffer(CHORD_TOLERANCE_MM + 5e-4).contains(polygon(fine))
    assert polygon(fine).buffer(CHORD_TOLERANCE_MM * 1.01 + 1e-6).contains(shape)


@settings(derandomize=True, max_examples=40, deadline=None)
@given(lines, widths, widths)
def test_mirrored_twins_are_the_same_template_turned_over(line, above, below):
    blank = drawn(line, above, below)
    twin = whole(mirrored_line(line), above, below)
    # a polygon may have a vertex more or less where a stretch all but ends straight
    slack = 1e-4 * line.length_mm
    assert turned_over(line, twin).symmetric_difference(polygon(blank)).area < slack
    back = whole(reversed_line(line), above, below)
    assert turned_over(line, back).symmetric_difference(polygon(blank)).area < slack
    assert twin.area_mm2 == pytest.approx(blank.area_mm2, rel=1e-9)
    assert twin.symmetric == blank.symmetric


@settings(derandomize=True, max_examples=40, deadline=None)
@given(
    lines,
    widths,
    widths,
    st.lists(st.tuples(st.floats(0, 1), st.floats(1, 40), st.floats(1, 50)), max_size=3),
)
def test_no_blank_crosses_itself_and_faults_and_blank_agree(line, above, below, cuts):
    assume(above + below > 1.0)
    notches = tuple(
        Notch(at * line.length_mm, wide, deep, "free" if i % 2 else "grip")
        for i, (at, wide, deep) in enumerate(cuts)
    )
    faults = blank_faults(line, 0.0, line.length_mm, above, below, notches=notches)
    if faults:
        with pytest.raises(BlankError) as caught:
            whole(line, above, below, notches=notches)
        assert caught.value.faults == faults
        return
    shape = polygon(whole(line, above, below, notches=notches))
    assert shape.is_valid
    assert shape.area > 0.0


def test_a_notch_beside_a_corner_is_cut_across_the_mitre():
    # shapely difference of the mitred strip and a rectangle that reaches over the other leg's edge
    line = Line((Stretch(300), Stretch(200)), (Corner(300.0, hard_deg=90.0),))
    notch = Notch(262.0, 20.0, 12.0, "free")
    blank = whole(line, 30.0, 20.0, notches=(notch,))
    strip = shapely.Polygon(whole(line, 30.0, 20.0).outline_mm)
    cut = strip.difference(shapely.box(252, 18, 272, 30.35))
    assert polygon(blank).symmetric_difference(cut).area < 0.5
    assert polygon(blank).exterior.is_ccw
    assert polygon(blank).is_valid


def test_a_notch_across_a_corner_is_refused():
    line = Line((Stretch(300), Stretch(200)), (Corner(300.0, hard_deg=90.0),))
    (fault,) = blank_faults(
        line, 0.0, 500.0, 30.0, 20.0, notches=(Notch(305.0, 20.0, 9.0, "grip"),)
    )
    assert "from 295.0 mm to 315.0 mm" in fault
    assert "corner at 300.0 mm" in fault


@pytest.mark.parametrize("miss_mm", [-4e-7, 0.0, 4e-7])
@pytest.mark.parametrize("curved_first", [True, False])
def test_a_piece_that_ends_on_a_break_but_for_rounding_is_cut_as_if_it_did(miss_mm, curved_first):
    # plans give stations to a millionth of a millimetre
    straight, curved = Stretch(300.0), Stretch(200.0, hard_start=0.001, hard_end=0.001)
    line = Line((curved, straight) if curved_first else (straight, curved))
    mark = line.stretches[0].length_mm + miss_mm
    start, end = (mark, 500.0) if curved_first else (0.0, mark)
    blank = blank_of(line, start, end, 25.0, 20.0, extra_end_mm=12.7)
    assert blank.straight
    assert len(blank.outline_mm) == 4
    assert shapely.Polygon(blank.outline_mm).is_valid


@pytest.mark.parametrize("start", [20.0, 320.0])
@pytest.mark.parametrize("at", [100.0, 400.0])
def test_a_notch_of_a_loop_is_cut_whichever_lap_its_station_and_the_piece_are_counted_in(start, at):
    loop = Line((Stretch(300.0, 2 * math.pi / 300, 2 * math.pi / 300),), closed=True)
    notch = Notch(at, 20.0, 5.0, "free")
    blank = blank_of(loop, start, start + 150.0, 25.0, 20.0, notches=(notch,))
    assert shapely.Polygon(blank.outline_mm).area == pytest.approx(150.0 * 45.0 - 20.0 * 5.0)
