"""Which way a joint faces: from words, from a loop, from points, else guessed from boxes."""

import math

import numpy as np
import pytest
from scenario_cases import changed, plate, rows_of, scenario, two_halves

from solver.intake import job_from_scenario
from solver.intake.directions import dot, read_direction


def edge_of(data, name="a.fore | a.aft"):
    return job_from_scenario(data).edge_of[name]


def test_words_say_where_the_second_patch_lies():
    edge = edge_of(two_halves({"path": ["A", 10, "B"], "toward": ["rear", "rear 45 left"]}))
    assert edge.facing_source == "toward"
    assert edge.facings == (read_direction("rear"), read_direction("rear 45 left"))


def test_a_loop_faces_all_round_square_to_its_surface():
    edge = edge_of(plate(), "plate | frame")
    assert edge.facing_source == "loop"
    assert all(abs(facing[2]) < 1e-12 for facing in edge.facings)
    assert all(math.hypot(*facing) == pytest.approx(1) for facing in edge.facings)
    # a pull that leans by 1° any way is blocked (sin 1° is over sin 0.5°), straight up is not
    for turn in np.linspace(0, 2 * np.pi, 50):
        lean = math.radians(1)
        pull = (
            math.sin(lean) * math.cos(turn),
            math.sin(lean) * math.sin(turn),
            math.cos(lean),
        )
        assert max(dot(pull, facing) for facing in edge.facings) > math.sin(math.radians(0.5))
    assert max(dot((0.0, 0.0, 1.0), facing) for facing in edge.facings) < 1e-12


def test_a_crease_is_square_to_the_patch_that_it_stands_on():
    data = changed(plate(), "edges", "plate | frame", "stands_on", to="frame")
    data["patches"]["plate"]["faces"] = "up 80 left"
    edge = edge_of(data, "plate | frame")
    assert all(abs(facing[2]) < 1e-12 for facing in edge.facings)
    del data["edges"]["plate | frame"]["stands_on"]
    halfway = edge_of(data, "plate | frame")
    middle = read_direction("up 40 left")
    assert all(abs(dot(facing, middle)) < 1e-9 for facing in halfway.facings)


def test_boxes_only_give_a_guess_and_a_caution():
    data = two_halves(["A", 10, "B"])
    data["patches"]["a.fore"]["box"] = [[10, 0, 0], [20, 10, 1]]
    data["patches"]["a.aft"]["box"] = [[0, 0, 0], [10, 10, 2]]
    job = job_from_scenario(data)
    edge = job.edge_of["a.fore | a.aft"]
    assert edge.facing_source == "boxes"
    # the second lies to the rear, in the surface although the boxes differ in height
    assert edge.facings == (pytest.approx((-1, 0, 0)),)
    assert any("guessed from the boxes" in note for note in job.notes)


def test_without_anything_the_facing_is_not_known_and_it_is_said():
    job = job_from_scenario(two_halves(["A", 10, "B"]))
    assert job.edge_of["a.fore | a.aft"].facing_source == "unknown"
    assert any("is not known" in note for note in job.notes)


def test_open_edges_have_no_joint():
    job = job_from_scenario(scenario("camper"))
    assert all(not edge.facings for edge in job.edges if edge.open)
    assert all(edge.facings for edge in job.edges if not edge.open)


def quarter(radius_mm=500.0, count=13, *, backward=False):
    """Return points on a quarter of a circle seen from above, the surface facing up."""
    turns = np.linspace(0, np.pi / 2, count)
    points = [[radius_mm * math.cos(t), radius_mm * math.sin(t), 0] for t in turns]
    return points[::-1] if backward else points


def test_points_give_curvatures_and_facings():
    # Seen from above the walk turns left; the walker stands on the other face (the mold's), so
    # the turn is to the right, and the second patch, to the right, is inside the circle.
    data = two_halves({"points": ["A", *quarter(), "B"]}, length_unit="mm")
    data["edges"]["a.fore | open"] = ["B", 2000, "A"]
    data["edges"]["a.aft | open"] = ["A", 2000, "B"]
    edge = edge_of(data)
    assert edge.facing_source == "points"
    assert edge.length_mm == pytest.approx(500 * math.pi / 2, rel=2e-3)
    easy = [s.easy_start for s in edge.line.stretches]
    assert easy == pytest.approx([-1 / 500] * len(easy), rel=0.02)
    middle = edge.facings[len(edge.facings) // 2]
    assert middle == pytest.approx((-math.sqrt(0.5), -math.sqrt(0.5), 0), abs=0.01)
    assert edge.strain == 0


def test_points_on_a_cylinder_turn_up_in_the_hollow_of_the_mold():
    # a vaulted roof: its outside faces up and to the sides, the mold is hollow underneath
    turns = np.radians(np.linspace(-40, 40, 15))
    points = [
        {
            "at": [0, 400 * math.sin(t), 400 * math.cos(t)],
            "faces": [0, math.sin(t), math.cos(t)],
        }
        for t in turns
    ]
    data = two_halves({"points": ["A", *points, "B"]}, length_unit="mm")
    for name in ("a.fore", "a.aft"):
        data["patches"][name] |= {"faces": "up", "spread": 45, "area": "0.2 m2"}
    data["edges"]["a.fore | open"] = ["B", 2000, "A"]
    data["edges"]["a.aft | open"] = ["A", 2000, "B"]
    edge = edge_of(data)
    hard = [s.hard_start for s in edge.line.stretches]
    assert hard == pytest.approx([1 / 400] * len(hard), rel=0.03)
    # walking to the left under the roof with the head down, the right hand points to the rear
    assert edge.facings[7] == pytest.approx((-1, 0, 0), abs=0.01)


def test_points_without_a_facing_need_one_where_the_surface_is_bent():
    data = two_halves({"points": ["A", *quarter(), "B"]}, length_unit="mm")
    data["patches"]["a.fore"]["spread"] = 20
    place, value, remedy = rows_of(data)[0]
    assert place == 'edges "a.fore | a.aft".points[1]'
    assert value == "the surface faces many ways"
    assert '"faces": "up 10 left"' in remedy
