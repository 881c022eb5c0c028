"""Trade-offs of small jobs against listing every plan, and what each point says of itself."""

import json
from functools import cache
from pathlib import Path

import pytest
from test_plan_brute_force import every_choice, least_price, random_job

from solver.checker import check_plan
from solver.data.job import Job
from solver.intake.job_of import read_job
from solver.planner.tradeoff import TradeOff, trade_off
from solver.planner.unbeaten import Point, as_good, beats, price_of_an_hour, supported, unbeaten

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SEEDS = (1, 2, 3, 4, 5, 7, 8, 9, 10, 11, 12, 13)


def listed(job: Job) -> tuple[Point, ...]:
    """Unbeaten points of metal and minutes, from every split, way to cut and purchase."""
    purchase, allowance = least_price(job), 1 + job.shop.minutes.allowance
    points: list[Point] = []
    least = float("inf")
    for minutes, blanks in sorted((work, blanks) for work, _, blanks in every_choice(job)):
        metal = purchase(blanks)
        if metal < least - 1e-9:
            least = metal
            points.append(Point(metal, minutes * allowance))
        if least == 0.0:
            break
    return unbeaten(p for p in points if p.metal < float("inf"))


@cache
def judged(seed: int) -> tuple[Job, TradeOff, tuple[Point, ...]]:
    job = random_job(seed)
    return job, trade_off(job), listed(job)


@cache
def hatch() -> tuple[Job, TradeOff]:
    job = read_job(json.loads((SCENARIOS / "seam-or-roll.json").read_text(encoding="utf-8")))
    return job, trade_off(job)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_plan_at_all_beats_what_is_shown_and_its_proofs_hold(seed):
    job, found, everything = judged(seed)
    if not everything:
        assert found.points == ()
        assert found.answer.status == "impossible"
        return
    for one in found.points:
        assert check_plan(job, one.plan).ok
        assert not any(beats(point, one) for point in everything)
        # the least that is proven is never more than what some plan has
        for point in everything:
            if point.metal <= one.metal + 1e-6:
                assert one.least_minutes <= point.minutes + 1e-3
            if point.minutes <= one.minutes + 1e-6:
                assert one.least_metal <= point.metal + 1e-3


@pytest.mark.parametrize("seed", SEEDS)
def test_for_every_plan_one_as_good_is_shown(seed):
    _, found, everything = judged(seed)
    for point in everything:
        assert any(as_good(one, point) for one in found.points), point


def test_some_of_the_small_jobs_leave_something_to_choose():
    assert sum(len(judged(seed)[2]) > 1 for seed in SEEDS) >= 4


# -- what a trade-off says -------------------------------------------------------------------------


def test_a_seam_against_a_roll_is_a_choice_with_a_price():
    # scenarios/WORKED.md: the narrow roll saves 8.75 $ and costs 10.12 minutes, 15 % for the rest
    job, found = hatch()
    cheap, quick = found.points
    assert quick.metal - cheap.metal == pytest.approx(8.75, abs=0.01)
    assert cheap.minutes - quick.minutes == pytest.approx(1.15 * 10.12, abs=0.05)
    saved = (cheap.minutes - quick.minutes) / 60
    assert cheap.hour_price == pytest.approx((quick.metal - cheap.metal) / saved)
    assert quick.hour_price is None
    assert cheap.supported
    assert quick.supported
    for one in found.points:
        assert check_plan(job, one.plan).ok
        assert one.plan.scenario_digest == found.points[0].plan.scenario_digest
        assert one.plan.proof.bound <= one.plan.cost.objective + 1e-6


def test_the_same_question_has_the_same_answer():
    job, found = hatch()
    assert [p.plan for p in trade_off(job).points] == [p.plan for p in found.points]


def test_where_nothing_can_be_planned_the_answer_says_why():
    scenario = json.loads((SCENARIOS / "seam-or-roll.json").read_text(encoding="utf-8"))
    scenario["shop"] = scenario.get("shop", {}) | {"lift_limit": "1 kg"}
    found = trade_off(read_job(scenario))
    assert found.points == ()
    assert found.answer.status == "impossible"
    assert found.answer.impossible


def test_who_stops_at_once_gets_what_there_is():
    job, _ = hatch()
    found = trade_off(job, should_stop=lambda: True)
    assert found.answer is not None or all(check_plan(job, p.plan).ok for p in found.points)


def test_waste_counts_where_it_is_asked_for():
    job, _ = hatch()
    found = trade_off(job, waste=True)
    for one in found.points:
        assert not any(beats(other, one, waste=True) for other in found.points)


# -- points ----------------------------------------------------------------------------------------


def test_beaten_points_fall_out_and_equal_ones_count_once():
    points = [Point(10, 100), Point(20, 50), Point(20, 60), Point(15, 100), Point(10, 100)]
    assert unbeaten(points) == (Point(10, 100), Point(20, 50))
    # in three figures the one with less waste stands by itself
    lean = Point(20, 60, waste_kg=1.0)
    wasteful = [Point(10, 100, 5.0), Point(20, 50, 4.0), lean]
    assert lean in unbeaten(wasteful, waste=True)
    assert lean not in unbeaten(wasteful)


def test_half_a_cent_and_three_seconds_are_no_difference():
    assert as_good(Point(10.004, 100.04), Point(10, 100))
    assert not beats(Point(9.997, 99.97), Point(10, 100))


def test_an_hour_costs_what_the_quicker_plan_costs_more():
    assert price_of_an_hour(Point(10, 120), Point(25, 90)) == pytest.approx(30.0)
    assert price_of_an_hour(Point(10, 120), Point(25, 120)) is None


def test_only_the_lower_hull_is_best_at_some_price_of_an_hour():
    # (15, 90) lies above the line from (10, 100) to (20, 50), (15, 70) below it
    ends = Point(10, 100), Point(20, 50)
    assert supported((ends[0], Point(15, 90), ends[1])) == (True, False, True)
    assert supported((ends[0], Point(15, 70), ends[1])) == (True, True, True)
