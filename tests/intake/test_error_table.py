"""The mistakes that people make, each with its place, value and remedy."""

import copy
import json

import pytest
from scenario_cases import changed, plate, problems_of, rows_of, scenario, two_halves

from solver.data.errors import ScenarioErrors
from solver.intake import read_job

LID, DECK, CAMPER = scenario("lid"), scenario("deck-hatch"), scenario("camper")


def test_a_length_in_quote_marks():
    assert rows_of(changed(LID, "edges", "lid | frame", "stand", to='5/8"')) == [
        ('edges "lid | frame".stand', "'5/8\"' is no length", 'write it as "5/8 in"')
    ]


def test_an_area_in_the_wrong_unit():
    # isoperimetric inequality: 80.6 in round encloses at most 80.6²/4π = 517 in²
    assert rows_of(changed(LID, "patches", "lid", "area", to=2980)) == [
        (
            'patches "lid".area',
            "2980 in2 does not fit inside a border 80.6 in long",
            'check the unit, such as "ft2"',
        )
    ]


def test_a_misspelt_key():
    assert rows_of(changed(LID, "edges", "lid | frame", "radus", to=2)) == [
        ('edges "lid | frame".radus', "no such key", 'did you mean "radius"?')
    ]


def test_a_negative_angle():
    wrong = {"left": -90, "radius": 3}
    assert rows_of(changed(DECK, "edges", "lid | land", "loop", 1, to=wrong)) == [
        ('edges "lid | land".loop[1].left', "-90", 'angles are positive; write "right": 90')
    ]


def test_a_loop_that_does_not_come_back():
    # one of the two sides of 15 in measured 3 in short
    assert rows_of(changed(DECK, "edges", "lid | land", "loop", 2, to=12)) == [
        (
            'edges "lid | land".loop',
            "turns 360.0 degrees and ends 3.00 from its start",
            "the gap runs along [2] [6]: measure there again",
        )
    ]


def test_an_enclosed_patch_that_is_named_second():
    data = copy.deepcopy(LID)
    data["edges"]["frame | lid"] = data["edges"].pop("lid | frame")
    assert rows_of(data) == [
        (
            'patches "lid"',
            "lies outside its only loop",
            "name it first, to the left of the bar, or add its outer border",
        )
    ]


def test_a_border_with_a_missing_edge():
    data = copy.deepcopy(CAMPER)
    del data["edges"]["hatch.lower | open"]
    assert rows_of(data) == [
        (
            'patches "hatch.lower"',
            "its border does not close at L7, R7",
            "an edge is missing there, or a mark is misspelt",
        )
    ]


def test_an_edge_that_is_written_twice_in_the_file():
    text = json.dumps(DECK).replace(
        '"deck.port | open (side)":', '"deck.port | open (side)": ["P1", 4, "P2"], '
        '"deck.port | open (side)":'
    )  # fmt: skip
    with pytest.raises(ScenarioErrors) as caught:
        read_job(text.encode())
    (problem,) = caught.value.problems
    assert (problem.place, problem.value) == (
        'edges "deck.port | open (side)"',
        "written twice",
    )
    assert problem.remedy == (
        'keep one; two lines between the same patches take a label: "a | b (aft)"'
    )


def test_the_same_edge_with_its_names_in_the_other_order():
    data = changed(LID, "edges", "frame | lid", to=["A", 3, "B"])
    (row,) = rows_of(data)
    assert row[:2] == ('edges "frame | lid"', "written twice")


def test_a_turn_without_a_radius():
    keys = ("edges", "door-left.upper | side-left.front", "path", 2)
    assert rows_of(changed(CAMPER, *keys, to={"left": 90})) == [
        (
            'edges "door-left.upper | side-left.front".path[2]',
            '{"left": 90}',
            'a turn needs "radius" (0 for a sharp corner) or "length"',
        )
    ]


def test_a_station_past_the_end():
    # 13 + 5·π/2 + 11 = 31.85
    keys = ("edges", "door-left.lower | side-left.front", "notches", "at")
    assert rows_of(changed(CAMPER, *keys, to=42)) == [
        (
            'edges "door-left.lower | side-left.front".notches.at',
            "42 lies past the end (31.85)",
            "stations run from the first mark, 0 to 31.85",
        )
    ]


def test_all_mistakes_come_at_once():
    data = changed(LID, "edges", "lid | frame", "stand", to='5/8"')
    data["patches"]["lid"]["faces"] = 5
    data["shop"]["labour_rate"] = 40
    data["goal"] = "cheap"
    assert [problem.pointer for problem in problems_of(data)] == [
        "/patches/lid/faces",
        "/edges/lid | frame/stand",
        "/shop/labour_rate",
        "/goal",
    ]


def test_mistakes_of_meaning_come_at_once_too():
    data = copy.deepcopy(CAMPER)
    data["patches"]["nose"]["area"] = "1986 ft2"
    data["patches"]["cap"]["faces"] = "upp"
    data["edges"]["vent | roof.mid"]["kind"] = "windw"
    data["edges"]["vent | rof.mid"] = ["A", 3, "B"]
    data["stock"]["rolls"][0]["gauge"] = [24, 35]
    rows = rows_of(data)
    assert {(place, remedy) for place, _, remedy in rows if "did you mean" in remedy} == {
        ('patches "cap".faces', 'did you mean "up"?'),
        ('edges "vent | roof.mid".kind', 'did you mean "window"?'),
        ('edges "vent | rof.mid"', 'did you mean "roof.mid"?'),
    }
    assert any(place == "stock.rolls[0].gauge" for place, _, _ in rows)
    assert any(place == 'patches "nose".area' for place, _, _ in rows)


@pytest.mark.parametrize(
    ("keys", "value", "place", "remedy"),
    [
        (("length_unit",), "inch", "length_unit", 'write "in", "ft", "mm", "cm" or "m"'),
        (("edges", "plate | plate"), ["A", 3, "B"], 'edges "plate | plate"', "cut the "),
        (("edges", "plate"), ["A", 3, "B"], 'edges "plate"', 'named "a | b"'),
        (("edges", "plate | open"), ["A", 3], 'edges "plate | open"', "from mark to mark"),
        (("edges", "plate | open"), [3, 3, 3], 'edges "plate | open"[0]', "from mark to mark"),
        (("edges", "plate | open"), ["A", 3, "B", 3, "C"], 'edges "plate | open"[2]',
         "cut the edge in two"),
        (("edges", "plate | open"), {"stand": 1}, 'edges "plate | open"', "its shape"),
        (("edges", "plate | open"), {"circle": 3, "loop": [3]}, 'edges "plate | open"',
         "one shape"),
        (("edges", "plate | frame", "radius"), 11, 'edges "plate | frame".radius',
         "half of the shorter side"),
        (("edges", "plate | frame", "kind"), "x", 'edges "plate | frame".kind',
         'add "x" to "kinds"'),
        (("edges", "plate | frame", "return_to"), "lid", 'edges "plate | frame".return_to',
         "one of plate, frame"),
        (("edges", "plate | frame", "near"), {"plate | fram": 1},
         'edges "plate | frame".near "plate | fram"', 'did you mean "plate | frame"?'),
        (("edges", "plate | frame", "no_seam"), [[9, 3]], 'edges "plate | frame".no_seam[0]',
         "[from, to]"),
        (("edges", "plate | frame", "bolts"), {"inset": 0.2}, 'edges "plate | frame".bolts',
         'make "inset" at least'),
        (("patches", "plate", "spread"), 95, 'patches "plate".spread', "from 0 to 90"),
        (("patches", "plate", "box"), [[0, 0, 1], [9, 9, 0]], 'patches "plate".box',
         "[[least x, y, z], [greatest x, y, z]]"),
        (("patches", "open"), {"area": 3, "faces": "up"}, 'patches "open"', "another name"),
        (("patches", "hood"), {"area": 3, "faces": "up"}, 'patches "hood"', "add its border"),
        (("kinds",), {"evry": {"stand": 1}}, 'kinds "evry"', 'did you mean "every"?'),
        (("rules",), {"most_sections": 2, "fewest_sections": 3}, "rules.fewest_sections",
         "at most"),
        (("rules",), {"mold": 18}, "rules.mold", "needs its unit"),
        (("shop",), {"lift_limit": 90}, "shop.lift_limit", "needs its unit"),
        (("shop",), {"minutes": {"bolts": 1}}, "shop.minutes.bolts", 'did you mean "bolt"?'),
        (("goal",), {"metal": 0, "labor": 0, "joints": 0}, "goal", "give one of them a weight"),
        (("goal",), {"waste": 3}, "goal.waste", '"0.5 /kg"'),
        (("stock",), {"rolls": []}, "stock", 'list "rolls"'),
        (("stock",), {"sheets": [{"metal": "tin", "gauge": 24, "size": [1, 1], "price": 1}]},
         "stock.sheets[0].metal", '"aluminium", "galvanised"'),
        (("one_sided",), ["plat"], "one_sided[0]", 'did you mean "plate"?'),
    ],
)  # fmt: skip
def test_each_mistake_is_told_in_its_place(keys, value, place, remedy):
    rows = rows_of(changed(plate(), *keys, to=value))
    assert [row for row in rows if row[0] == place and remedy in row[2]], rows


def test_a_mark_that_is_misspelt_is_recognised():
    data = two_halves(["l1", 10, "B"], ["B", 30, "L1"])
    data["edges"]["a.aft | open"] = ["L1", 30, "B"]
    assert all('did you mean "L1" for "l1"?' in row[2] for row in rows_of(data))
    assert len(rows_of(data)) == 2


def test_an_edge_that_cannot_be_read_does_not_blame_the_borders_beside_it():
    data = changed(CAMPER, "edges", "nose | cap", to=["R2", 52, "M", 3, "L2"])
    assert [row[0] for row in rows_of(data)] == ['edges "nose | cap"[2]']


def test_an_edge_that_has_its_patches_on_the_wrong_hands():
    data = copy.deepcopy(CAMPER)
    edges = data["edges"]
    edges["side-left.front | door-left.upper"] = edges.pop("door-left.upper | side-left.front")
    (row,) = rows_of(data)
    assert row[0] == 'edges "side-left.front | door-left.upper"'
    assert "swap the names or walk from the other end" in row[2]


def test_a_loop_walked_to_the_right():
    loop = [10, {"right": 90, "radius": 0}] * 4
    data = changed(plate(), "edges", "plate | frame", to={"loop": loop})
    rows = rows_of(data)
    assert any(row[1] == "turns 360 degrees to the right" for row in rows)


def test_a_loop_that_turns_too_little_is_told_by_how_much():
    loop = [30, {"left": 90, "radius": 2}] * 3
    (row,) = rows_of(changed(plate(), "edges", "plate | frame", to={"loop": loop}))
    assert row[2] == "a loop turns 360 degrees to the left: 90.0 more"


def test_a_file_that_is_not_there():
    with pytest.raises(ScenarioErrors, match="give the path of a scenario file"):
        read_job("no-such-folder/no-such-file.json")
