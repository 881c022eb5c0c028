"""Which way a rerun must move: more that is done never costs more, a fresh plan never less.

No expected figures but those of trying everything: on tiny cases all ways to hand out the strips
that are there are counted, with minutes worked out here.
"""

import itertools
import json
from functools import cache
from pathlib import Path
from random import Random

import pytest
from small_jobs import INCH, LIGHT_ALUMINIUM, edge, job, run, straight

from solver.checker import check_plan
from solver.data.work import WorkRecord
from solver.intake.job_of import read_job
from solver.planner.plan_job import plan_job
from solver.planner.rerun_job import rerun_job

SCENARIOS = Path(__file__).parents[2] / "scenarios"
CENT = 0.01


def written(name, change=None):
    scenario = json.loads((SCENARIOS / name).read_text(encoding="utf-8"))
    if change is not None:
        change(scenario)
    return read_job(scenario)


@cache
def planned(name):
    return plan_job(written(name))


def longer(scenario):
    """The first line with a plain length grows by 3 in."""
    for one in scenario["edges"].values():
        path = one["path"] if isinstance(one, dict) and "path" in one else one
        if isinstance(path, list):
            for place, step in enumerate(path):
                if isinstance(step, int | float):
                    path[place] = step + 3
                    return
    raise AssertionError("no line to lengthen")


NAMES = ("trough.json", "stand-sets-gauge.json")


@pytest.mark.parametrize("name", NAMES)
def test_more_cut_never_costs_more(name):
    old, new = planned(name), written(name, longer)
    ids = [piece.id for piece in old.pieces]
    costs = []
    for count in (0, len(ids) // 2, len(ids)):
        record = WorkRecord(cut=tuple(ids[:count]), bought="all")
        costs.append(rerun_job(old, new, record).cost.objective)
    assert costs[0] + CENT >= costs[1]
    assert costs[1] + CENT >= costs[2]


@pytest.mark.parametrize("name", NAMES)
def test_knowing_what_is_there_is_never_dearer_than_a_fresh_plan(name):
    old, new = planned(name), written(name, longer)
    fresh = plan_job(new)
    for record in (WorkRecord(cut="all"), WorkRecord(fitted="all", change_price=3.0)):
        plan = rerun_job(old, new, record)
        assert check_plan(new, plan).ok
        taken_off = 3.0 * len(old.pieces) if record.fitted else 0.0
        assert plan.cost.objective <= fresh.cost.objective + taken_off + CENT
        assert plan.rerun.fresh_bound == pytest.approx(plan.cost.objective)


def test_a_rerun_without_a_record_is_a_plan_like_a_fresh_one():
    new = written("trough.json", longer)
    plan = rerun_job(planned("trough.json"), new)
    fresh = plan_job(new)
    assert plan.cost.objective == pytest.approx(fresh.cost.objective, rel=0.01)
    assert plan.proof.bound == pytest.approx(fresh.proof.bound, rel=0.01)


def test_a_dearer_change_never_moves_more_that_is_fitted():
    old, new = planned("trough.json"), written("trough.json", longer)
    changes = [
        rerun_job(old, new, WorkRecord(fitted="all", change_price=price)).rerun.changes
        for price in (0.0, 5.0, 500.0)
    ]
    assert changes == sorted(changes, reverse=True)


# --- everything tried on tiny cases -----------------------------------------------------------


def strips(lengths):
    """Lines of these lengths in inches, each in one piece: no place for a seam is left."""
    edges = [
        edge(f"e{i}", straight(length * INCH), split="forbidden",
             no_seam_mm=((0.0, length * INCH),))
        for i, length in enumerate(lengths)
    ]  # fmt: skip
    return job(edges, [run(e.id, e) for e in edges], (LIGHT_ALUMINIUM,))


def bench_minutes(length_in, there_in):
    """Minutes for a strip 1 in wide with half an inch to trim: new, or from one that is there."""
    blank = length_in + 0.5
    if there_in is None:
        return 3 + 0.5 * blank / 12 + 0.45 * 2 * (blank + 1) / 12
    return 0.0 if there_in == length_in else 0.45 * 1 / 12


def least_minutes(new, there):
    """Every way to hand out the strips that are there, with setting up where any is cut."""
    best = float("inf")
    hands = [None] * len(new) + list(range(len(there)))
    for given in set(itertools.permutations(hands, len(new))):
        if any(g is not None and there[g] < need for need, g in zip(new, given, strict=True)):
            continue
        minutes = sum(
            bench_minutes(need, None if g is None else there[g])
            for need, g in zip(new, given, strict=True)
        )
        best = min(best, minutes + (10 if None in given else 0))
    return best


@pytest.mark.parametrize("seed", range(6))
def test_strips_are_handed_out_as_well_as_can_be(seed):
    chance = Random(seed)
    was = [chance.choice((20, 24, 30, 36)) for _ in range(3)]
    now = [chance.choice((18, 20, 24, 30, 33)) for _ in range(3)]
    old_job, new_job = strips(was), strips(now)
    plan = rerun_job(plan_job(old_job), new_job, WorkRecord(cut="all"))
    bench = {"template", "snips", "deburr", "set up a metal"}
    minutes = sum(line.minutes for line in plan.hours if line.operation in bench)
    assert minutes == pytest.approx(least_minutes(now, was))
