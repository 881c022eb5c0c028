"""A problem names its place as a builder reads it and as a program finds it."""

import jsonschema
import pytest

from solver.data.errors import (
    Problem,
    Problems,
    ScenarioErrors,
    clip,
    did_you_mean,
    nearest,
    place,
    pointer,
)


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        (("edges", "lid | frame", "stand"), 'edges "lid | frame".stand'),
        (("edges", "lid | land", "loop", 1, "left"), 'edges "lid | land".loop[1].left'),
        (("edges", "a | b", 1), 'edges "a | b"[1]'),
        (("edges", "a | b", "near", "c | d", "gap"), 'edges "a | b".near "c | d".gap'),
        (("patches", "roof.mid"), 'patches "roof.mid"'),
        (("stock", "rolls", 0, "gauge"), "stock.rolls[0].gauge"),
        (("edges", 3, "line", "stretches", 0), "edges[3].line.stretches[0]"),
        ((), "the file"),
    ],
)
def test_places_read_like_the_file(keys, text):
    assert place(keys) == text


def test_pointers_find_the_value_with_a_general_library():
    # RFC 6901 escaping, resolved by the referencing rules of the jsonschema package
    from jsonschema.validators import Draft202012Validator

    keys = ("edges", "a/b | ~c", "path", 1)
    schema = {"$defs": {"x": {}}, "edges": {"a/b | ~c": {"path": ["A", {"const": 5}]}}}
    validator = Draft202012Validator({**schema, "$ref": "#" + pointer(keys)})
    validator.validate(5)
    with pytest.raises(jsonschema.ValidationError):
        validator.validate(6)


def test_the_nearest_known_word_is_offered():
    assert did_you_mean("radus", ["radius", "rolled"]) == 'did you mean "radius"?'
    assert did_you_mean("RADIUS", ["radius"]) == 'did you mean "radius"?'
    assert did_you_mean("zzz", ["radius"]) == ""
    assert nearest("x" * 500, ["radius"]) is None


def test_values_are_clipped():
    assert clip("x" * 500, 10) == "x" * 9 + "…"


def test_all_problems_come_at_once_and_equal_ones_once():
    problems = Problems()
    problems.raise_any()
    problems.add(("a",), 1, "first")
    problems.add(("a",), 1, "first")
    problems.add(("b",), 2, "second")
    with pytest.raises(ScenarioErrors) as caught:
        problems.raise_any()
    assert caught.value.problems == (
        Problem("a", "1", "first", "/a"),
        Problem("b", "2", "second", "/b"),
    )
    assert str(caught.value) == "a: 1: first\nb: 2: second"


def test_thousands_of_problems_are_counted_not_kept():
    problems = Problems()
    for number in range(5000):
        problems.add((number,), "bad", problems.hint("bad", ["bed"]))
    with pytest.raises(ScenarioErrors) as caught:
        problems.raise_any()
    assert len(caught.value.problems) + caught.value.left_out == 5000
    assert len(caught.value.problems) == 200
    assert "more like these" in str(caught.value)
