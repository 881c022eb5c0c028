"""Who stops while the sections of a large body are listed or split gets what there is."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from solver.checker import check_plan
from solver.data.job import Job
from solver.data.until import FOREVER, Until
from solver.intake import read_job
from solver.models.columns import legal_sections
from solver.planner import columns_of
from solver.planner.alternatives import alternatives
from solver.planner.columns_of import sections_to_choose
from solver.planner.plan_job import plan_job

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
from bodies import made_body

SCENARIOS = Path(__file__).resolve().parents[2] / "scenarios"


@pytest.fixture
def few_listed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take the way of bodies with too many sections to list."""
    monkeypatch.setattr(columns_of, "MOST_LISTED", 50)


@pytest.mark.usefixtures("few_listed")
@pytest.mark.parametrize("patience", [0, 40])
def test_sections_of_the_best_split_so_far_are_offered_when_asked_to_stop(patience: int) -> None:
    body = made_body(30, 2)
    asks = iter(range(10**9))
    choice = sections_to_choose(body, 0.0, Until(asked=lambda: next(asks) >= patience))
    covered = {patch for i in range(len(choice.columns)) for patch in choice.columns.members(i)}
    assert covered == set(range(30))
    assert next(asks) < patience + 200  # it has not gone on asking


@pytest.mark.usefixtures("few_listed")
def test_the_plan_of_who_stopped_at_once_is_checked_and_claims_no_bound() -> None:
    job: Job = read_job(SCENARIOS / "mirrored-hatches.json")
    for plan in (plan_job(job, should_stop=lambda: True), *alternatives(job, 3, should_stop=_yes)):
        assert plan.status != "impossible"
        assert check_plan(job, plan).ok


def _yes() -> bool:
    return True


def test_few_sections_are_listed_whatever_the_time() -> None:
    # so that a small body has its first plan, and its reasons, even at once
    body = made_body(20, 4)
    stopped = Until(asked=_yes)
    assert len(legal_sections(body, until=stopped)) == len(legal_sections(body, until=FOREVER))
