"""What the tape says must fit together."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scenario_cases import changed, plate, rows_of, scenario, two_halves

from solver.data.line import Corner, Line, Stretch
from solver.geometry.lines import walk_in_surface
from solver.intake import job_from_scenario
from solver.intake.closing import closing_of
from solver.intake.paths import arc
from solver.intake.plausibility import largest_area_mm2


def test_a_circle_holds_most_for_its_border():
    # isoperimetric inequality, with equality for the circle
    assert largest_area_mm2(2 * math.pi * 100, 0) == pytest.approx(math.pi * 100**2)


def test_a_dome_and_a_cone_stay_below_the_bound_for_bent_surfaces():
    for cap_deg in (10, 40, 70, 85):
        cap = math.radians(cap_deg)
        dome = 2 * math.pi * (1 - math.cos(cap))
        assert dome <= largest_area_mm2(2 * math.pi * math.sin(cap), cap_deg)
        # a cone of slope `cap` meets it with equality: π r · slant, slant = r / cos(cap)
        cone = math.pi * 1 / math.cos(cap)
        assert cone == pytest.approx(largest_area_mm2(2 * math.pi, cap_deg))
    assert largest_area_mm2(1, 90) == math.inf


def test_a_steep_bowl_may_hold_more_than_a_flat_patch():
    data = plate()
    data["patches"]["plate"] = {"area": 800, "faces": "up"}
    assert rows_of(data)[0][0] == 'patches "plate".area'
    data["patches"]["plate"]["spread"] = 70
    job_from_scenario(data)


@given(
    st.lists(st.tuples(st.floats(5, 300), st.floats(-80, 80)), min_size=1, max_size=8),
)
@settings(max_examples=60, derandomize=True)
def test_flat_walks_end_where_the_plane_walk_says(steps):
    # the walk in space against the walk in the plane, which is integrated in another way
    line = Line(tuple(arc(length, turn, 0.0) for length, turn in steps))
    x, y, heading = walk_in_surface(line)
    closing = closing_of(line)
    assert closing.gap_mm == pytest.approx(math.hypot(x, y), abs=1e-6)
    assert closing.turn_deg == pytest.approx(heading, abs=1e-6)


def test_a_great_circle_closes_by_turning_up_and_a_small_circle_by_both():
    # on a sphere of radius R a circle at polar angle a: easy cot(a)/R, hard 1/R, length 2πR sin a
    for polar in (math.pi / 2, math.pi / 3, math.pi / 8):
        easy, hard = 1 / (100 * math.tan(polar)), 1 / 100
        length = 2 * math.pi * 100 * math.sin(polar)
        closing = closing_of(Line((Stretch(length, easy, easy, hard, hard),), closed=True))
        assert closing.gap_mm < 1e-6
        assert closing.twisted_deg < 1e-3


@given(
    sides=st.tuples(st.floats(100, 900), st.floats(100, 900)),
    radius=st.floats(0, 45),
    wrong=st.floats(30, 80),
    which=st.integers(0, 3),
)
@settings(max_examples=60, derandomize=True)
def test_the_stretch_that_was_measured_wrong_is_among_those_named(sides, radius, wrong, which):
    width, height = sides
    straights = [width, height, width, height]
    straights[which] += wrong
    stretches = []
    for straight in straights:
        stretches.append(Stretch(straight))
        if radius > 1:
            stretches.append(arc(radius * math.pi / 2, 90.0, 0.0))
    station, corners = 0.0, []
    if radius <= 1:
        for straight in straights:
            station += straight
            corners.append(Corner(station, 90.0))
    closing = closing_of(Line(tuple(stretches), tuple(corners), closed=True))
    each = 2 if radius > 1 else 1
    assert closing.gap_mm == pytest.approx(wrong, rel=1e-6)
    assert set(closing.along) == {which % 2 * each, (which % 2 + 2) * each}


def loop_with(error):
    side = {"left": 90, "radius": 0}
    return changed(
        plate(),
        "edges",
        "plate | frame",
        to={"loop": [20, side, 20, side, 20 + error, side, 20, side]},
    )


@pytest.mark.parametrize("error", [0, 0.5, -0.7])
def test_a_loop_may_miss_its_start_by_one_percent(error):
    job_from_scenario(loop_with(error))


@pytest.mark.parametrize("error", [1, -1])
def test_a_loop_that_misses_more_is_refused(error):
    (row,) = rows_of(loop_with(error))
    assert row[1] == "turns 360.0 degrees and ends 1.00 from its start"
    assert "[0] [4]" in row[2]


def test_a_flat_patch_whose_area_is_not_that_of_its_loops_is_pointed_out():
    data = changed(plate(), "patches", "plate", "area", to=300)
    (note,) = [n for n in job_from_scenario(data).notes if "loops enclose" in n]
    assert '"plate"' in note
    assert "2.78 ft²" in note
    assert not [n for n in job_from_scenario(plate()).notes if "loops enclose" in n]


def test_a_wall_that_goes_round_is_better_a_spread():
    data = plate()
    lean = [f"{word} 10 up" for word in ("front", "left", "rear", "right")]
    data["patches"]["frame"]["faces"] = lean
    (note,) = [n for n in job_from_scenario(data).notes if "spread" in n]
    assert '"faces": "up", "spread": 80' in note


def test_the_size_limit_is_off_without_boxes_and_it_is_said():
    data = plate(shop={"largest_section": [50, 50, 10]})
    assert any("size limit of sections is off" in note for note in job_from_scenario(data).notes)
    for name in ("plate", "frame"):
        data["patches"][name]["box"] = [[0, 0, 0], [30, 30, 1]]
    assert not any("size limit" in note for note in job_from_scenario(data).notes)


def test_an_outline_gives_the_box():
    data = plate()
    data["patches"]["plate"]["outline"] = [[-10, -10, 0], [10, -10, 0], [10, 10, 0], [-10, 10, 0]]
    box = job_from_scenario(data).patch_of["plate"].box_mm
    assert box == ((-254.0, -254.0, 0.0), (254.0, 254.0, 0.0))


def test_too_many_lines_in_one_spot_are_refused():
    data = two_halves(["A", 10, "B"])
    for number in range(20):
        data["edges"][f"a.fore | a.aft (x{number})"] = ["A", 10, "B"]
    assert any("lines meet at" in row[1] for row in rows_of(data))


def test_near_gaps_count_both_ways_and_follow_the_mirror():
    job = job_from_scenario(scenario("camper"))
    vent, cap = job.edge_of["vent | roof.mid"], job.edge_of["cap | roof.mid"]
    assert [n.edge for n in vent.near] == [cap.id]
    assert [n.edge for n in cap.near] == [vent.id]
    assert cap.near[0].from_mm == pytest.approx(18 * 25.4)
    deck = job_from_scenario(scenario("deck-hatch"))
    assert {n.edge for n in deck.edge_of["lid | land"].near} == {
        "land | coaming.port",
        "land | coaming.starboard",
    }
    starboard = deck.edge_of["land | coaming.starboard"].near
    assert [(n.edge, n.gap_mm) for n in starboard] == [("lid | land", pytest.approx(19.05))]


def test_the_projects_own_scenarios_have_nothing_odd_in_them():
    for name in ("lid", "camper"):
        assert job_from_scenario(scenario(name)).notes == ()


def test_gaps_of_an_edge_written_from_outside_count_from_its_other_end():
    data = two_halves(["A", 10, "B"])
    del data["edges"]["a.aft | open"]
    data["edges"]["open | a.aft"] = {
        "path": ["B", {"right": 90, "radius": 0}, 30, "A"],
        "near": {"a.fore | a.aft": {"gap": 1, "from": 2, "to": 5}},
    }
    edge = job_from_scenario(data).edge_of["a.aft | open"]
    assert (edge.start_mark, edge.end_mark) == ("A", "B")
    assert [(n.from_mm, n.to_mm) for n in edge.near] == [
        (pytest.approx(25 * 25.4), pytest.approx(28 * 25.4))
    ]
