"""Scenarios that can be posted as they are: small enough to read, real enough to plan."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.service.kinds import Kind

LID: dict[str, Any] = {
    "title": "One lid in a frame",
    "length_unit": "in",
    "patches": {
        "lid": {"area": "2.98 ft2", "faces": "up"},
        "frame": {"area": "4.47 ft2", "faces": "up"},
    },
    "edges": {
        "lid | frame": {"rectangle": [24, 18], "radius": 2, "stand": 1},
        "frame | open": {"rectangle": [36, 30], "radius": 3, "stand": 1, "grip": "1-1/2 in"},
    },
    "stock": {
        "currency": "USD",
        "rolls": [{"metal": "aluminium", "gauge": 24, "width": 8, "length": "10 ft", "price": 14}],
        "sheets": [{"metal": "galvanised", "gauge": 22, "size": [36, 48], "price": 38}],
    },
    "shop": {"labor_rate": 55},
    "goal": "cheapest",
}

TOO_HEAVY: dict[str, Any] = {
    **LID,
    "title": "A lid that nobody may lift",
    "shop": {"labor_rate": 55, "lift_limit": "2 lb"},
}

EXAMPLES: dict[str, dict[str, Any]] = {
    "lid": {"summary": "A lid in a frame: one pinched and one clamped line", "value": LID},
    "too-heavy": {
        "summary": "No plan is possible: the answer names the requirements that clash",
        "value": TOO_HEAVY,
    },
}
"""By name, in the form that OpenAPI gives examples."""


def job_examples(kinds: Mapping[str, Kind]) -> dict[str, dict[str, Any]]:
    """Return jobs that can be posted as they are, by the name of their kind."""
    return {
        name: {"summary": kind.summary, "value": _JOBS[name]}
        for name, kind in kinds.items()
        if name in _JOBS
    }


_JOBS: dict[str, dict[str, Any]] = {
    "plan": {"kind": "plan", "scenario": LID, "seconds": 5, "seed": 0},
    "options": {
        "kind": "options",
        "scenario": LID,
        "seconds": 5,
        "count": 2,
        "differ_by": 1,
        "group": "lid-study",
        "what_if": {"crew": 3},
    },
    "tradeoff": {"kind": "tradeoff", "scenario": LID, "seconds": 3, "waste": True},
}

PATCH_EXAMPLE: dict[str, Any] = {
    "summary": "The same with more people and more time",
    "value": {"seconds": 8, "what_if": {"crew": 4}},
}
