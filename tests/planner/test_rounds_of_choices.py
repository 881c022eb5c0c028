"""The loop of deciding and nesting goes round until a plan's blanks fit, and ends."""

import json
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from solver.checker import check_plan
from solver.intake.job_of import read_job
from solver.planner import rounds
from solver.planner.plan_job import plan_job
from solver.planner.rounds import Limits, _Search

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def tub_on_one_sheet(width, length):
    """The round tub, with one sheet to be had: its rings are cut from a single small sheet."""
    scenario = json.loads((SCENARIOS / "ring-on-a-tub.json").read_text())
    scenario["stock"]["sheets"] = [
        {"metal": "galvanised", "gauge": 22, "size": [width, length], "price": 30, "for_sale": 1}
    ]
    return read_job(scenario)


@pytest.mark.parametrize(("width", "length"), [(20, 30), (24, 26)])
def test_where_few_long_arcs_do_not_fit_the_only_sheet_shorter_ones_are_tried(width, length):
    """By area the sheet holds two arcs a ring; they do not nest on it, three a ring do."""
    found = []
    job = tub_on_one_sheet(width, length)
    plan = plan_job(
        job,
        on_progress=lambda progress: found.append(progress.best),
        should_stop=lambda: bool(found) and found[-1] is not None,
    )
    assert plan.cost is not None
    assert len(plan.pieces) > 4
    assert check_plan(job, plan).ok


def test_a_sheet_that_is_too_small_for_any_choice_ends_without_an_answer():
    plan = plan_job(tub_on_one_sheet(13, 26))
    assert plan.status == "no answer"
    assert any("22 ga galvanised" in note for note in plan.notes)


def test_a_first_plan_comes_before_all_ways_to_cut_are_listed():
    """Whoever waits sees a plan soon; whoever stops then keeps it, without a bound."""
    phases = []
    job = read_job(SCENARIOS / "deck-hatch.json")
    plan = plan_job(
        job,
        on_progress=lambda progress: phases.append(progress.phase),
        should_stop=lambda: "better plan" in phases,
    )
    assert plan.status == "stopped"
    assert plan.proof.bound is None
    assert check_plan(job, plan).ok
    assert phases.index("better plan") < phases.index("cutting runs into pieces")


def test_asked_to_stop_at_once_there_is_no_answer_but_no_error_either():
    plan = plan_job(read_job(SCENARIOS / "deck-hatch.json"), should_stop=lambda: True)
    assert plan.status == "no answer"


@pytest.mark.parametrize(
    ("large", "plan", "seconds_left", "decided"),
    [
        (True, True, 100.0, True),
        (True, True, 20.0, False),  # 8 to decide, 7 to nest and 7 to tell
        (True, True, None, True),
        (True, False, 20.0, True),  # without a plan any choice is worth a try
        (False, True, 20.0, True),  # a small job's takes no seconds
    ],
)
def test_a_choice_that_could_not_be_nested_and_told_in_time_is_not_decided(
    large, plan, seconds_left, decided
):
    deadline = None if seconds_left is None else time.monotonic() + seconds_left
    search = SimpleNamespace(
        large=large,
        found=SimpleNamespace(body=object() if plan else None),
        limits=Limits(deadline, 0, lambda: False),
        _seconds_to_decide=8.0,
        _seconds_to_tell=7.0,
    )
    assert _Search.time_to_choose(search) is decided


def test_near_enough_to_the_bound_the_nests_of_an_untimed_plan_are_searched_all_the_same(
    monkeypatch,
):
    """A choice soon laid may be near the bound, since metal is little of the cost, and be dear."""
    efforts = []
    nest = _Search.nest

    def noting(search, candidate, effort):
        efforts.append(effort)
        nest(search, candidate, effort)

    monkeypatch.setattr(_Search, "nest", noting)
    monkeypatch.setattr(rounds, "ENOUGH_GAP", 1.0)
    plan = plan_job(read_job(SCENARIOS / "deck-hatch.json"))
    assert plan.cost is not None
    assert efforts[-1] == 20
    assert efforts.count(20) == 1  # and then it is enough
