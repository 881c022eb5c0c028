"""Figures that leave nothing to plan with are told with their place, in both forms of the file."""

import pytest
from scenario_cases import changed, plate, problems_of, rows_of, two_halves

from solver.data.errors import ScenarioErrors
from solver.intake import job_from_scenario, resolved_of


@pytest.mark.parametrize(
    ("rule", "value", "remedy"),
    [
        ("draft", 90, "goes from 0 to 89"),
        ("blocking", 90, "goes from 0 to 89"),
        ("clamp_load", "0 lbf", "more than 0"),
        ("cutting_gap", "5 in", "at most"),
        ("slit_tolerance", "0.001 mm", "at least 0.05 mm"),
        ("mold_thickness", "4 in", "thin the flanges"),
        ("joint_gap", "10 in", "make it narrower"),
    ],
)
def test_a_rule_that_nothing_can_keep(rule, value, remedy):
    (problem,) = problems_of(plate(rules={rule: value}))
    assert problem.place == f"rules.{rule}"
    assert remedy in problem.remedy


@pytest.mark.parametrize(
    ("rule", "value"),
    [
        ("draft_deg", 90.0),
        ("blocking_deg", 89.5),
        ("clamp_load_n", 0.0),
        ("cutting_gap_mm", 101.0),
        ("slit_tolerance_mm", 0.01),
        ("mold_thickness_mm", 99.0),
    ],
)
def test_the_resolved_form_has_the_same_limits_by_its_own_keys(rule, value):
    tree = changed(resolved_of(job_from_scenario(plate())), "rules", rule, to=value)
    assert [problem.place for problem in problems_of(tree)] == [f"rules.{rule}"]


def test_the_longest_bolts_still_hold_what_may_be_asked():
    # 2 x 2.5 in of flanges, the gap, washers and nut: longest trade bolt 6 in [practice].
    assert job_from_scenario(plate(rules={"mold_thickness": "2.5 in"})).rules.mold_thickness_mm


def test_no_bolt_need_be_long_enough_where_nothing_may_be_bolted():
    data = changed(plate(), "edges", "plate | frame", "split", to="forbidden")
    assert job_from_scenario({**data, "rules": {"mold_thickness": "9 in"}})


@pytest.mark.parametrize(
    ("edge", "key", "value", "finding"),
    [
        ("plate | frame", "stand", "0.5 mm", "0.5 mm is no flange"),
        ("plate | frame", "grip", 0, "0 mm leaves no metal to pinch"),
        ("frame | open", "grip", 0, "0 mm leaves no metal to clamp"),
    ],
)
def test_metal_that_cannot_be_held_or_seen(edge, key, value, finding):
    ((place, found, _),) = rows_of(changed(plate(), "edges", edge, key, to=value))
    assert (place, found) == (f'edges "{edge}".{key}', finding)


def test_a_standing_line_needs_no_grip():
    data = changed(plate(), "edges", "plate | frame", "split", to="forbidden")
    assert job_from_scenario(changed(data, "edges", "plate | frame", "grip", to=0))


def test_a_gap_in_which_no_metal_can_stand_is_told_on_both_lines():
    data = changed(plate(), "edges", "plate | frame", "near", to={"frame | open": "1/32 in"})
    rows = rows_of(data)
    assert [row[0] for row in rows] == [
        'edges "plate | frame".near',
        'edges "frame | open".near',
    ]
    assert '0.79375 mm clear of "frame | open" leaves 0.794 mm to stand' in rows[0][1]


def test_no_edge_is_near_itself():
    data = changed(plate(), "edges", "plate | frame", "near", to={"plate | frame": 1})
    assert rows_of(data) == [
        (
            'edges "plate | frame".near "plate | frame"',
            "is this edge itself",
            "name the other flashing",
        )
    ]


def test_a_notch_is_less_deep_than_the_stand_that_another_flashing_leaves():
    # access: h <= g·tan(45°), so 3/8 in of the 1 in remain.
    near = {"near": {"frame | open": "3/8 in"}, "notches": {"at": 5, "wide": 1, "deep": "1/2 in"}}
    data = changed(plate(), "edges", "plate | frame", to={"rectangle": [20, 20], **near})
    ((place, found, remedy),) = rows_of(data)
    assert place == 'edges "plate | frame".notches'
    assert found == "1/2 in cuts the metal in two"
    assert "stands 3/8 in only" in remedy


@pytest.mark.parametrize("at", [0, 30])
def test_a_notch_whose_middle_lies_on_a_mark_belongs_to_no_edge(at):
    edge = {"path": ["A", 30, "B"], "notches": {"at": at, "wide": 1, "deep": "1/4 in"}}
    ((place, found, _),) = rows_of(two_halves(edge))
    assert place == 'edges "a.fore | a.aft".notches'
    assert found == "the middle of one lies on a mark"


def test_at_the_start_of_a_loop_a_notch_is_as_good_as_anywhere():
    notch = {"at": 0, "wide": 1, "deep": "1/4 in"}
    assert job_from_scenario(changed(plate(), "edges", "plate | frame", "notches", to=notch))


@pytest.mark.parametrize(
    ("mirror", "finding"),
    [
        ({"left": "left"}, "'left' is there twice"),
        ({"left": "right", "port": "left"}, "'left' is there twice"),
        ({"left side": "right side"}, "'left side'"),
        ({"L1": "R1"}, "'L1'"),
    ],
)
def test_words_that_swap_sides_are_whole_words_each_once(mirror, finding):
    problems = problems_of(plate(mirror=mirror))
    assert problems[0].value == finding
    assert problems[0].place.startswith("mirror.")


@pytest.mark.parametrize(
    ("path", "finding"),
    [
        (["A", 15, {"left": 180, "radius": 0}, 15, "B"], "a corner of 180 degrees"),
        (
            ["A", 15, {"left": 90, "radius": 0}, {"right": 90, "radius": 0}, 15, "B"],
            "a second corner at one spot",
        ),
        (["A", {"chord": 10, "rise": 6, "to": "left"}, "B"], "rises 0.60 of its chord"),
        (["A", 15, {"left": 0, "radius": 2}, 15, "B"], "turns 0 degrees"),
    ],
)
def test_a_step_that_cannot_be_walked_is_quoted(path, finding):
    rows = rows_of(two_halves(path))
    assert finding in [row[1] for row in rows]


@pytest.mark.parametrize(
    ("area", "words"),
    [(None, "null is no area"), (True, "true is no area"), (False, "false is no area")],
)
def test_values_are_quoted_as_they_stand_in_the_file(area, words):
    assert words in [
        row[1] for row in rows_of(changed(plate(), "patches", "plate", "area", to=area))
    ]


def test_all_of_them_are_told_at_once():
    data = plate(rules={"draft": 90, "clamp_load": "0 N"})
    data = changed(data, "edges", "frame | open", "grip", to=0)
    with pytest.raises(ScenarioErrors) as caught:
        job_from_scenario(data)
    assert len(caught.value.problems) == 3
