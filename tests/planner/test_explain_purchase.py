"""What a metal or a width is worth: the plan without it, found again by leaving it out by hand."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from api.summary import summarise
from solver.checker import check_plan
from solver.intake.job_of import read_job
from solver.planner.explain_purchase import things_bought
from solver.planner.plan_job import plan_job

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def explained(name):
    job = read_job(SCENARIOS / name)
    plan = plan_job(job, explain=True)
    return job, plan, {one.what: one for one in plan.without}


def test_a_wide_roll_is_worth_the_seam_that_it_saves():
    """Worked in scenarios/WORKED.md: a third piece costs 10.67 $ and 0.10 $ of tape, and the
    narrow roll saves 8.75 $: the wide roll is worth 2.02 $."""
    _, plan, without = explained("seam-or-roll.json")
    wide = without["rolls 14 in wide"]
    assert wide.status == "found"
    assert wide.objective - plan.cost.objective == pytest.approx(2.02, abs=0.01)
    assert wide.bound == pytest.approx(wide.objective, abs=1e-3)
    assert wide.metal - plan.cost.metal == pytest.approx(-8.75, abs=0.01)


def test_a_metal_that_no_other_can_stand_for_has_no_price():
    """Galvanised sheet does not fit the joint, and aluminium is too light for the border."""
    _, plan, without = explained("seam-or-roll.json")
    assert without["24 ga aluminium"].status == "impossible"
    assert without["22 ga galvanised"].status == "impossible"
    text = summarise(plan)
    assert "24 ga aluminium   no plan is possible" in text
    assert "rolls 14 in wide  costs 2.02 more      proven" in text


@pytest.mark.parametrize("name", ["stand-sets-gauge.json", "mirrored-hatches.json"])
def test_each_price_is_that_of_the_job_without_it(name):
    job, plan, without = explained(name)
    assert without
    assert check_plan(job, plan).ok
    for one in without.values():
        left_out = set(one.stock)
        fewer = replace(
            job,
            stock=tuple(replace(s, for_sale=0) if s.id in left_out else s for s in job.stock),
        )
        alone = plan_job(fewer)
        assert (one.status == "impossible") == (alone.status == "impossible")
        if alone.cost is not None:
            assert one.bound <= alone.cost.objective + 1e-5
            assert alone.proof.bound <= one.objective + 1e-5


def test_each_metal_and_each_width_is_named_once():
    stock = {
        "rolls": [
            {
                "metal": "aluminium",
                "gauge": [24, 26],
                "width": [6, 8],
                "length": "10 ft",
                "price": 9,
            }
        ],
        "sheets": [{"metal": "galvanised", "gauge": 22, "size": [36, 48], "price": 30}],
    }
    written = json.loads((SCENARIOS / "seam-or-roll.json").read_text())
    job = read_job({**written, "stock": stock})
    ids = [item.id for item in job.stock if item.gauge != 24]
    assert [one.what for one in things_bought(job, ids)] == [
        "26 ga aluminium",
        "22 ga galvanised",
        "rolls 6 in wide",
        "rolls 8 in wide",
    ]


def test_nothing_is_said_of_purchases_unless_asked():
    assert plan_job(read_job(SCENARIOS / "seam-or-roll.json")).without == ()


def test_who_stops_gets_the_plan_and_only_what_is_known_of_its_purchases():
    job = read_job(SCENARIOS / "seam-or-roll.json")
    seen = []

    def watch(progress):
        if progress.best is not None:
            seen.append(progress.best)

    plan = plan_job(job, explain=True, on_progress=watch, should_stop=lambda: bool(seen))
    assert plan.cost.objective == pytest.approx(seen[-1])
    assert check_plan(job, plan).ok
    for one in plan.without:
        assert (one.objective is None) == (one.status != "found")
