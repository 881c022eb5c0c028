"""Bodies planned as large ones are: block by block, their curved blanks dropped, bettered in part.

The same jobs are planned in the ordinary way too. The checker accepts both (`plan_job` refuses to
return a plan otherwise), and neither way costs less than what the other proved.
"""

from __future__ import annotations

import pytest

from solver.intake.job_of import read_job
from solver.models import master, small_cuts
from solver.planner import large_nester, rounds
from solver.planner.plan_job import plan_job

CENT = 0.01
FEW_STEPS = (("decide", 0), ("nest", 20), ("decide", 20))


def wall(radius_in: float, deep_in: float) -> dict[str, object]:
    """Four patches round a point, two and two of them joined by a single line, with round ends."""
    bow = {"left": 90, "radius": radius_in}
    return {
        "title": "a body that may be split in several ways",
        "length_unit": "in",
        "kinds": {"open": {"grip": 1.25}},
        "patches": {
            "top.fore": {"area": "8 ft2", "faces": "up 10 front"},
            "top.aft": {"area": "8 ft2", "faces": "up 10 rear"},
            "side.fore": {"area": "6 ft2", "faces": "left 5 up"},
            "side.aft": {"area": "6 ft2", "faces": "left 5 up"},
        },
        "edges": {
            "top.fore | top.aft": {"path": ["R", 24, "M"], "toward": "rear"},
            "side.fore | side.aft": {"path": ["M", deep_in, "B"], "toward": "rear"},
            "top.fore | side.fore": {"path": ["M", 48, "F"], "toward": "left 45 down"},
            "top.aft | side.aft": {"path": ["A", 48, "M"], "toward": "left 45 down"},
            "top.fore | open": {"path": ["F", 24, bow, 44, "R"]},
            "top.aft | open": {"path": ["R", 44, bow, 24, "A"]},
            "side.fore | open": {"path": ["B", 44, bow, deep_in - 4, "F"]},
            "side.aft | open": {"path": ["A", deep_in - 4, bow, 44, "B"]},
        },
        "stock": {
            "sheets": [
                {
                    "metal": "galvanised",
                    "gauge": 22,
                    "size": [[36, 48], [48, 96]],
                    "price": "2.65 /ft2",
                }
            ],
            "rolls": [
                {
                    "metal": "aluminium",
                    "gauge": 24,
                    "width": 8,
                    "length": "10 ft",
                    "price": "1.75 /ft2",
                }
            ],
        },
        "shop": {"labor_rate": 55, "lift_limit": "90 lb", "on_hand": {"clamps": 80, "bolts": 60}},
    }


@pytest.mark.parametrize(("radius_in", "deep_in"), [(4, 18), (20, 18), (12, 40)])
def test_neither_way_undercuts_what_the_other_proved(radius_in, deep_in, monkeypatch):
    job = read_job(wall(radius_in, deep_in))
    monkeypatch.setattr(rounds, "STEPS", FEW_STEPS)
    ordinary = plan_job(job)
    asked = []
    decide = master.decide_by_blocks
    monkeypatch.setattr(
        master, "decide_by_blocks", lambda *a, **k: asked.append(1) or decide(*a, **k)
    )
    monkeypatch.setattr(master, "MANY_DECISIONS", 0)
    monkeypatch.setattr(small_cuts, "LEAST_PATCHES", 1)
    monkeypatch.setattr(rounds, "LARGE_LINES", 1)
    monkeypatch.setattr(large_nester, "MANY_OF_LARGE", 3)
    large = plan_job(job)
    assert asked
    assert (ordinary.cost is None) == (large.cost is None)
    if ordinary.cost is not None and large.cost is not None:
        assert large.cost.objective >= ordinary.proof.bound - CENT
        assert ordinary.cost.objective >= large.proof.bound - CENT
