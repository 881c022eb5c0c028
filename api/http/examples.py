"""Scenarios that can be posted as they are: small enough to read, real enough to plan."""

from __future__ import annotations

from typing import Any

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
