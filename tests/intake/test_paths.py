"""What was walked with a tape becomes curvatures: left and up are positive."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scenario_cases import changed, plate, two_halves

from solver.data.line import Corner, Stretch
from solver.geometry.frames import NodeCurvatures, walk_frames
from solver.geometry.lines import total_turn_deg
from solver.intake import job_from_scenario
from solver.intake.closing import closing_of
from solver.intake.paths import arc_of_chord

INCH = 25.4


def line_of(path, **more):
    job = job_from_scenario(two_halves(path, **more))
    return job.edge_of["a.fore | a.aft"].line


def test_left_and_up_are_positive_right_and_down_negative():
    line = line_of(
        [
            "A",
            10,
            {"left": 90, "radius": 2},
            {"right": 45, "radius": 4},
            {"up": 60, "radius": 43},
            {"down": 30, "radius": 8},
            "B",
        ]
    )
    lengths = [10, 2 * math.pi / 2, 4 * math.pi / 4, 43 * math.pi / 3, 8 * math.pi / 6]
    assert [s.length_mm / INCH for s in line.stretches] == pytest.approx(lengths)
    assert [s.easy_start * INCH for s in line.stretches] == pytest.approx([0, 1 / 2, -1 / 4, 0, 0])
    assert [s.hard_end * INCH for s in line.stretches] == pytest.approx([0, 0, 0, 1 / 43, -1 / 8])
    assert total_turn_deg(line, "easy") == pytest.approx(45)
    assert total_turn_deg(line, "hard") == pytest.approx(30)


def test_a_length_turns_left_and_up_at_once():
    line = line_of(["A", {"length": 41, "left": 59, "up": 10}, "B"])
    (stretch,) = line.stretches
    assert stretch.length_mm == pytest.approx(41 * INCH)
    assert stretch.easy_start * stretch.length_mm == pytest.approx(math.radians(59))
    assert stretch.hard_start * stretch.length_mm == pytest.approx(math.radians(10))


def test_a_radius_of_nothing_is_a_sharp_corner():
    line = line_of(["A", {"left": 90, "radius": 0}, 10, {"down": 30, "radius": 0}, 5, "B"])
    assert line.stretches == (Stretch(254.0), Stretch(127.0))
    assert line.corners == (Corner(0.0, 90.0), Corner(254.0, 0.0, -30.0))


def test_a_chord_of_10_with_a_rise_of_1_has_a_radius_of_13():
    # 10²/(8·1) + 1/2 = 13 [derived]
    length, turn_deg = arc_of_chord(10, 1)
    assert length / math.radians(turn_deg) == pytest.approx(13)
    line = line_of(["A", {"chord": 10, "rise": 1, "to": "right"}, "B"])
    assert line.stretches[0].easy_start == pytest.approx(-1 / (13 * INCH))
    flat = line_of(["A", {"chord": 10, "rise": 0, "to": "up"}, "B"])
    assert flat.stretches == (Stretch(254.0),)


@given(radius=st.floats(5, 500), turn_deg=st.floats(1, 179))
@settings(max_examples=60, derandomize=True)
def test_an_arc_is_found_again_from_its_chord_and_rise(radius, turn_deg):
    half = math.radians(turn_deg) / 2
    length, turn = arc_of_chord(2 * radius * math.sin(half), radius * (1 - math.cos(half)))
    assert turn == pytest.approx(turn_deg, rel=1e-6)
    assert length == pytest.approx(2 * radius * half, rel=1e-6)


def shape(**edge):
    data = changed(plate(), "edges", "plate | frame", to=edge)
    data["patches"]["plate"] = {"area": 20, "faces": "up", "spread": 80}
    return job_from_scenario(data).edge_of["plate | frame"].line


@pytest.mark.parametrize(("width", "height", "radius"), [(24, 18, 2), (10, 10, 5), (8, 30, 0)])
def test_a_rectangle_closes_from_the_middle_of_its_first_side(width, height, radius):
    line = shape(rectangle=[width, height], radius=radius)
    assert line.closed
    around = 2 * (width + height) - 8 * radius + 2 * math.pi * radius
    assert line.length_mm == pytest.approx(around * INCH)
    closing = closing_of(line)
    assert closing.gap_mm < 1e-6
    assert closing.turn_deg == pytest.approx(360)
    if radius < width / 2:
        assert line.stretches[0].length_mm == pytest.approx((width / 2 - radius) * INCH)
    assert len(line.corners) == (4 if radius == 0 else 0)


def test_a_circle_is_one_turn_to_the_left():
    line = shape(circle="20 in")
    (stretch,) = line.stretches
    assert stretch.length_mm == pytest.approx(20 * math.pi * INCH)
    assert stretch.easy_start == pytest.approx(1 / (10 * INCH))
    assert closing_of(line).closes(line.length_mm)


@pytest.mark.parametrize(
    "edge",
    [
        {"rectangle": [16, 16], "radius": 2, "rolled": {"up": 50.59}},
        {"rectangle": [30, 16], "radius": 3, "rolled": {"down": 20}},
        {"rectangle": [20, 12], "rolled": {"up": 20}},
        {"circle": 20, "rolled": {"up": 15}},
    ],
)
def test_a_shape_rolled_on_a_cylinder_closes_in_space(edge):
    line = shape(**edge)
    closing = closing_of(line)
    # curvatures are linear within 15° of turn, so a little is left open
    assert closing.gap_mm < 4e-4 * line.length_mm
    assert closing.twisted_deg < 0.3
    assert closing.turn_deg == pytest.approx(360)


def test_the_first_side_of_a_rolled_rectangle_runs_round():
    line = shape(rectangle=[16, 10], radius=2, rolled={"up": 50})
    assert line.stretches[0].hard_start == pytest.approx(1 / (50 * INCH))
    side = next(s for s in line.stretches[1:] if not s.easy_start)
    assert side.length_mm == pytest.approx(6 * INCH)
    assert side.hard_start == pytest.approx(0, abs=1e-12)


def test_a_rolled_circle_is_the_curve_on_the_cylinder():
    # against the curve itself: (R sin(x/R), y, R − R cos(x/R)) with x, y round the circle
    radius, roll = 10 * INCH, 15 * INCH
    line = shape(circle=20, rolled={"up": 15})
    where, frame, places = np.zeros(3), np.eye(3), [np.zeros(3)]
    for s in line.stretches:
        share = np.linspace(0, 1, 40)
        walk = walk_frames(
            share * s.length_mm,
            NodeCurvatures(
                s.easy_start + share * 0,
                s.hard_start + share * (s.hard_end - s.hard_start),
                np.full(39, s.twist_per_mm),
            ),
            where,
            frame,
        )
        where, frame = walk.points[-1], walk.frames[-1]
        places.append(where)
    turns = np.linspace(0, 2 * np.pi, len(places))
    x, y = radius * np.sin(turns), radius * (1 - np.cos(turns))
    wanted = np.column_stack([roll * np.sin(x / roll), y, roll * (1 - np.cos(x / roll))])
    assert np.abs(np.array(places) - wanted).max() < 1.0


def test_a_ring_round_a_tube_is_one_turn_the_hard_way():
    data = {
        "length_unit": "mm",
        "patches": {
            "tube.fore": {"area": "0.5 m2", "faces": "up", "spread": 90},
            "tube.aft": {"area": "0.5 m2", "faces": "up", "spread": 90, "part": "b"},
        },
        "edges": {
            "tube.fore | tube.aft": {"loop": [{"up": 360, "radius": 200}], "toward": "rear"},
            "tube.fore | open": {"loop": [{"up": 360, "radius": 200}]},
            "tube.aft | open": {"loop": [{"up": 360, "radius": 200}]},
        },
    }
    ring = job_from_scenario(data).edge_of["tube.fore | tube.aft"]
    assert ring.length_mm == pytest.approx(400 * math.pi)
    assert closing_of(ring.line).closes(ring.length_mm)


def test_a_taped_loop_on_a_roll_may_miss_the_twist_that_no_tape_can_tell():
    turn = {"left": 90, "radius": 2}
    half, whole = ({"up": math.degrees(a / 50), "radius": 50} for a in (6, 12))
    line = shape(loop=[half, turn, 12, turn, whole, turn, 12, turn, half])
    assert not any(s.twist_per_mm for s in line.stretches)
    assert 0 < closing_of(line).gap_mm < 0.01 * line.length_mm
