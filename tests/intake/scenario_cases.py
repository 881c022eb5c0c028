"""Small scenarios that the tests of the intake change in one place."""

import copy
import json
from pathlib import Path

import pytest

from solver.data.errors import ScenarioErrors
from solver.intake import job_from_scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def scenario(name):
    """Return one of the project's own scenarios as plain values."""
    return json.loads((SCENARIOS / f"{name}.json").read_text(encoding="utf-8"))


def changed(base, *keys, to):
    """Return a copy of a scenario with the value at a path of keys replaced."""
    made = copy.deepcopy(base)
    node = made
    for key in keys[:-1]:
        node = node[key]
    node[keys[-1]] = to
    return made


def problems_of(data):
    """Return the problems of a scenario that must have some."""
    with pytest.raises(ScenarioErrors) as caught:
        job_from_scenario(data)
    return caught.value.problems


def rows_of(data):
    """Return the problems as (place, value, remedy)."""
    return [(one.place, one.value, one.remedy) for one in problems_of(data)]


def plate(**more):
    """Return a flat plate in a frame, with what a test needs besides."""
    return {
        "length_unit": "in",
        "patches": {
            "plate": {"area": 400, "faces": "up"},
            "frame": {"area": 500, "faces": "up"},
        },
        "edges": {
            "plate | frame": {"rectangle": [20, 20]},
            "frame | open": {"rectangle": [30, 30]},
        },
        **more,
    }


def two_halves(path, other=None, **more):
    """Return a square of two patches, the line between them walked as given."""
    return {
        "length_unit": "in",
        "patches": {
            "a.fore": {"area": 100, "faces": "up", "part": "a"},
            "a.aft": {"area": 100, "faces": "up", "part": "b"},
        },
        "edges": {
            "a.fore | a.aft": path,
            "a.fore | open": other or ["B", 30, "A"],
            "a.aft | open": ["A", 30, "B"],
        },
        **more,
    }
