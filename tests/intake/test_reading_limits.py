"""Hostile and absurd files end in a clear error, whatever is in them."""

import json
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scenario_cases import plate, scenario

from solver.data.errors import ScenarioErrors
from solver.intake import read_job, resolved_of
from solver.intake.read import DEEPEST, LARGEST_BYTES, read_tree


def refused(raw):
    with pytest.raises(ScenarioErrors) as caught:
        read_job(raw if isinstance(raw, bytes) else json.dumps(raw).encode())
    assert caught.value.problems
    return str(caught.value)


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "the file is empty"),
        (b"   \n ", "the file is empty"),
        (b"null", "the file: only null: a scenario is one object"),
        (b"3", "the file: only 3: a scenario is one object"),
        (b'"hi"', "the file: text: a scenario is one object"),
        (b"[1]", "the file: a list: a scenario is one object"),
        (b'{"patches": {', "the file ends too early"),
        (b'{"patches": {}, "title": ', "the file ends too early"),
        (b'{"title": "\xff"}', "line 1: byte 0xff is no UTF-8"),
        (b'{\n\n"title": "\xc3\x28"}', "line 3"),
        ('{"a": 1}'.encode("utf-16"), "UTF-8"),
        (b'{"title": "x",}', "line 1, column 15"),
        (b'{"title": "x" "y": 2}', "expecting ',' delimiter: put it before this"),
        (b"{'title': 1}", "keys stand in double quotes"),
        (b'{"a": [1, 2,]}', "take out the comma before it"),
        (b'{"a": 1} {"b": 2}', "a file holds one object"),
        (b'{"a": NaN}', "a: NaN: write a number"),
        (b'{"a": [1, -Infinity]}', "a[1]: -Infinity: write a number"),
        (b'{"a": 1e999}', "a: 1e999"),
        (b'{"a": 1e10}', "numbers have at most 40 digits and stay below"),
        (b'{"a": ' + b"9" * 5000 + b"}", "numbers stay below"),
        (b'{"a": 1.' + b"9" * 5000 + b"}", "at most 40 digits"),
        (b'{"a": 1, "a": 2}', "a: written twice: keep one"),
        (b'{"title": "\\ud800"}', "U+D800 in the text: take out half of a character"),
        (b'{"\\udfff": 1}', "<U+DFFF>: U+DFFF"),
        (b'{"title": "a\\u0000b"}', "U+0000 in the text: take out a control character"),
        (b'{"title": "a\\u202eb"}', "turns text round"),
        (b'{"title": "a\\u200bb"}', "is not seen"),
        (b'{"title": "a\nb"}', "invalid control character"),
        (b"[" * 100_000, f"nest at most {DEEPEST} deep"),
        (b'{"a":' * 100_000, f"nest at most {DEEPEST} deep"),
        (b'{"title": "' + b"x" * 900_000, "unterminated string"),
        (b'{"title": "' + b"\\" * 900_000, "unterminated string"),
        (b'{"title": "' + b"x" * 900_000 + b'"}', "text has at most 2,000 characters"),
        (b"[" + b"0," * 400_000 + b"0]", "more than 60,000 values"),
        (b" " * (LARGEST_BYTES + 1), "more than 1,048,576 bytes"),
        (b'{"title": ["' + b'", "'.join([b"x"] * 5000) + b'"]}', "at most 4,000 in one place"),
    ],
)
def test_what_is_no_decent_json_is_refused(raw, words):
    assert words in refused(raw)


def test_a_file_beyond_the_limit_is_not_even_read_whole(tmp_path):
    path = tmp_path / "huge.json"
    with path.open("wb") as file:
        file.truncate(10 * LARGEST_BYTES)
    with pytest.raises(ScenarioErrors, match="more than 1,048,576 bytes"):
        read_job(path)


def test_a_byte_order_mark_and_odd_letters_are_welcome():
    data = plate(title="Déckel für Ærø 船 مركب", note="two\nlines")
    data["patches"] = {"船": data["patches"]["plate"], "frame": data["patches"]["frame"]}
    data["edges"]["船 | frame"] = data["edges"].pop("plate | frame")
    job = read_job(b"\xef\xbb\xbf" + json.dumps(data, ensure_ascii=False).encode())
    assert job.edge_of["船 | frame"].first == "船"


@pytest.mark.parametrize(
    "absurd",
    [
        {f"k{i}": 1 for i in range(3000)},
        plate(patches={f"p{i}": {"area": 1, "faces": "up"} for i in range(3000)}),
        plate(patches={f"p{i}": {"area": "x", "facess": "up"} for i in range(390)}),
        plate(edges={f"plate | frame (x{i})": ["A", 3, "B"] for i in range(700)}),
        plate(edges={f"plate | frame (x{i})": [f"A{i}", 3, f"B{i}"] for i in range(700)}),
        plate(edges={f"plat | fram (x{i})": ["A", 3, "B"] for i in range(700)}),
        plate(edges={"x" * 62 + f" | {'y' * 50}{i}": ["A", 3, "B"] for i in range(700)}),
        plate(
            edges={
                f"plate | frame (x{i})": {"loop": [{"left": 300, "radius": 200}] * 6}
                for i in range(700)
            }
        ),
        plate(
            edges={
                (f"plate | frame (x{i})" if i % 3 else f"frame | plate (x{i})"): [
                    f"A{i}",
                    {"left": 40, "radius": 2},
                    f"A{i + 1}",
                ]
                for i in range(1000)
            }
        ),
        plate(
            edges={
                f"plate | frame (x{i})": {
                    "points": ["A", *[[j, j * 7 % 5, 0] for j in range(100)], "B"]
                }
                for i in range(40)
            }
        ),
        plate(
            stock={
                "rolls": [
                    {
                        "metal": "aluminium",
                        "gauge": list(range(16, 30)),
                        "width": list(range(1, 40)),
                        "length": list(range(1, 40)),
                        "price": 1,
                    }
                ]
                * 100
            }
        ),
        plate(mirror={chr(97 + i): chr(98 + i) for i in range(25)}),
        {"form": "resolved"},
        {"form": "resolved", "edges": ["x"] * 3000},
    ],
)
def test_absurd_sizes_are_refused(absurd):
    refused(absurd)


def test_a_zigzag_of_points_is_refused_before_it_is_fitted():
    points = ["A", *[[i, (i * 7) % 5, 0] for i in range(30)], "B"]
    data = plate()
    data["edges"]["plate | frame"] = {"points": points}
    assert "the line turns sharply here" in refused(data)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
        lambda inner: (
            st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4)
        ),
        max_leaves=20,
    )
)
@settings(max_examples=60, derandomize=True)
def test_any_json_is_read_or_refused(value):
    raw = json.dumps(value).encode()
    if isinstance(value, dict):
        refused(raw)
    else:
        with pytest.raises(ScenarioErrors):
            read_tree(raw)


_PLACES = [
    ("patches", "plate", "area"),
    ("patches", "plate", "faces"),
    ("patches", "plate", "box"),
    ("edges", "plate | frame", "rectangle"),
    ("edges", "plate | frame"),
    ("edges", "plate | frame", "near"),
    ("edges", "plate | frame", "notches"),
    ("kinds",),
    ("stock",),
    ("shop",),
    ("rules",),
    ("goal",),
    ("mirror",),
]


@given(
    place=st.sampled_from(_PLACES),
    value=st.recursive(
        st.none()
        | st.booleans()
        | st.integers(-5, 2000)
        | st.floats(allow_nan=False, allow_infinity=False)
        | st.sampled_from(["up", "2 ft", "A", "plate", "frame | open", "5/8 in", "", "left 10 up"]),
        lambda inner: (
            st.lists(inner, max_size=4)
            | st.dictionaries(
                st.sampled_from(
                    ["left", "radius", "length", "at", "wide", "deep", "every", "stand", "gap",
                     "rolls", "chord", "rise", "to", "path", "loop", "plate | frame", "crew"]
                ),
                inner,
                max_size=3,
            )
        ),
        max_leaves=12,
    ),
)  # fmt: skip
@settings(max_examples=120, derandomize=True)
def test_any_value_in_any_place_is_read_or_refused(place, value):
    data = plate()
    node = data
    for key in place[:-1]:
        node = node[key]
    node[place[-1]] = value
    try:
        job = read_job(data)
    except ScenarioErrors as fault:
        outcome = all(problem.place and problem.remedy for problem in fault.problems)
    else:
        outcome = len(job.edges) > 0
    assert outcome


@pytest.mark.parametrize("seed", range(24))
def test_a_resolved_form_with_one_value_spoilt_is_read_or_refused(seed):
    chance = random.Random(seed)
    data = resolved_of(read_job(scenario("lid")))
    node, path = data, []
    while isinstance(node, dict | list) and node:
        key = chance.choice(list(node) if isinstance(node, dict) else range(len(node)))
        path.append((node, key))
        node = node[key]
    holder, key = path[chance.randrange(len(path))]
    holder[key] = chance.choice([None, -1, "x", [], {}, 1e9, True, [[]], 0])
    try:
        read_job(data)
    except ScenarioErrors as fault:
        assert fault.problems  # noqa: PT017 - either outcome is right, a crash is not
