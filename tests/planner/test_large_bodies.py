"""Bodies planned as large ones are: block by block, their curved blanks dropped, bettered in part.

The same jobs are planned in the ordinary way too. The checker accepts both (`plan_job` refuses to
return a plan otherwise), and neither way costs less than what the other proved.
"""

from __future__ import annotations

import pytest
from long_wall import LONG_WALL

from solver.intake.job_of import read_job
from solver.models import master, small_cuts
from solver.planner import large_nester, rounds
from solver.planner.plan_job import plan_job

CENT = 0.01
FEW_STEPS = (("decide", 0), ("nest", 20), ("decide", 20))


def wall(radius_in: float, deep_in: float) -> dict[str, object]:
    """Four patches round a point, two and two of them joined by a single line, with round ends."""
    bow = {"left": 90, "radius": radius_in}
    edges = {
        **LONG_WALL["edges"],
        "side.fore | side.aft": {"path": ["M", deep_in, "B"], "toward": "rear"},
        "top.fore | open": {"path": ["F", 24, bow, 44, "R"]},
        "top.aft | open": {"path": ["R", 44, bow, 24, "A"]},
        "side.fore | open": {"path": ["B", 44, bow, deep_in - 4, "F"]},
        "side.aft | open": {"path": ["A", deep_in - 4, bow, 44, "B"]},
    }
    return {**LONG_WALL, "edges": edges}


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
    monkeypatch.setattr(large_nester, "FEWEST_OF_LARGE", 3)
    large = plan_job(job)
    assert asked
    assert (ordinary.cost is None) == (large.cost is None)
    if ordinary.cost is not None and large.cost is not None:
        assert large.cost.objective >= ordinary.proof.bound - CENT
        assert ordinary.cost.objective >= large.proof.bound - CENT
