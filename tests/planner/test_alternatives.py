"""Options differ in their joints, left and right counting alike, and never get cheaper."""

import copy
from functools import cache
from pathlib import Path

import pytest

from solver.checker import check_plan
from solver.data.job import Job
from solver.data.plan import Plan
from solver.intake import read_job
from solver.planner.alternatives import alternatives, difference
from solver.planner.plan_job import plan_job
from solver.planner.what_if import pinned, symmetric

SCENARIOS = Path(__file__).resolve().parents[2] / "scenarios"
TWO_HATCHES = "mirrored-hatches.json"
"""Two hatches in a deck of two halves: three joints, two of them mirror images of one another."""

DECK_OF_TWO = {
    "length_unit": "in",
    "mirror": {"left": "right"},
    "patches": {
        "pad.left": {"area": "1.396 ft2", "faces": "up"},
        "step.left": {"area": "1.396 ft2", "faces": "up"},
        "deck.left": {"area": "5.181 ft2", "faces": "up"},
    },
    "edges": {
        "deck.left | deck.right": {"path": ["A", 36, "F"], "toward": "right"},
        "pad.left | deck.left": {"circle": 16},
        "step.left | deck.left": {"circle": 16},
        "deck.left | open": {
            "path": ["F", 29, {"left": 90, "radius": 3}, 30, {"left": 90, "radius": 3}, 29, "A"],
            "grip": 1.25,
        },
    },
    "stock": {
        "sheets": [{"metal": "galvanised", "gauge": 22, "size": [36, 48], "price": "2.65 /ft2"}]
    },
    "shop": {"labor_rate": 55, "on_hand": {"clamps": 60}},
}
"""Two hatches on each side of a deck of two halves."""

CASES = [(TWO_HATCHES, 1), (TWO_HATCHES, 2), ("trough.json", 1)]


@cache
def job_of(name: str) -> Job:
    return read_job(SCENARIOS / name)


@cache
def options_of(name: str, differ_by: int) -> tuple[Plan, ...]:
    return alternatives(job_of(name), 8, differ_by=differ_by)


def joints(plan: Plan) -> frozenset[str]:
    return frozenset(edge.edge for edge in plan.edges if edge.joint)


def mirrored(job: Job, split: frozenset[str]) -> frozenset[str]:
    return frozenset(job.edge_of[edge].twin or edge for edge in split)


@pytest.mark.parametrize(("name", "differ_by"), CASES)
def test_each_differs_from_all_before_it_and_from_their_mirror_images(name, differ_by):
    job, splits = job_of(name), [joints(plan) for plan in options_of(name, differ_by)]
    for number, split in enumerate(splits):
        for earlier in splits[:number]:
            assert len(split ^ earlier) >= differ_by
            assert len(split ^ mirrored(job, earlier)) >= differ_by
            assert difference(job, split, earlier) >= differ_by


def test_a_joint_moved_to_the_other_side_is_no_difference():
    # Two hatches in a row along the middle, each joined on one side only: left and left, or left
    # and right, is the same work, though neither split is the other's mirror image.
    job = read_job(DECK_OF_TWO)
    fore, aft, middle = ("pad.left | deck.left", "step.left | deck.left", "deck.left | deck.right")
    there = "step.right | deck.right"
    assert difference(job, frozenset({fore, aft}), frozenset({fore, there})) == 0
    assert mirrored(job, frozenset({fore, aft})) != frozenset({fore, there})
    assert difference(job, frozenset({fore, aft}), frozenset({fore, aft, there})) == 1
    assert difference(job, frozenset({fore}), frozenset({aft, middle})) == 3


def test_no_option_is_another_with_a_joint_moved_to_the_other_side():
    # Four hatches come off by themselves or not, the deck may be parted in its middle: none, one or
    # both of each pair and the middle or not are 3 x 3 x 2 = 18 splits that differ, of 32.
    job = read_job(DECK_OF_TWO)
    splits = [joints(plan) for plan in alternatives(job, 20, differ_by=1)]
    assert len(splits) == 18
    for number, split in enumerate(splits):
        for earlier in splits[:number]:
            assert difference(job, split, earlier) >= 1


@pytest.mark.parametrize(("name", "differ_by"), CASES)
def test_the_first_is_the_plan_itself_and_none_after_it_is_cheaper(name, differ_by):
    plans = options_of(name, differ_by)
    assert all(plan.status == "proven" for plan in plans)
    costs = [plan.cost.objective for plan in plans]
    assert costs == sorted(costs)
    assert costs[0] == pytest.approx(plan_job(job_of(name)).cost.objective)


@pytest.mark.parametrize(("name", "differ_by"), CASES)
def test_each_is_a_plan_that_the_checker_takes(name, differ_by):
    for plan in options_of(name, differ_by):
        assert check_plan(job_of(name), plan).ok


def test_all_splits_that_there_are_come_once():
    # Three edges can be joints.  A deck split in its middle is two sections, whichever hatch comes
    # off by itself; a hatch alone can come off too.  So any set of the three joints is a split, but
    # for the mirror image of one hatch alone and of one hatch with the middle: 8 - 2 = 6.
    splits = [joints(plan) for plan in options_of(TWO_HATCHES, 1)]
    job = job_of(TWO_HATCHES)
    apart = {frozenset((split, mirrored(job, split))) for split in splits}
    assert len(splits) == len(apart) == 6


def test_a_symmetric_split_is_never_cheaper_and_each_option_of_it_is_symmetric():
    job = symmetric(job_of(TWO_HATCHES))
    plans = alternatives(job, 8, differ_by=1)
    assert all(joints(plan) == mirrored(job, joints(plan)) for plan in plans)
    # No joint, the middle, both hatches, or all three.
    assert len(plans) == 4
    assert plans[0].cost.objective >= plan_job(job_of(TWO_HATCHES)).cost.objective - 1e-9


def test_a_patch_on_one_side_only_may_stay_in_a_symmetric_split():
    # The deck is parted in its middle, a locker lid is in its left half only and may not be split
    # off: left with the lid and right are mirror images of one another but for the lid.
    scenario = copy.deepcopy(DECK_OF_TWO)
    scenario["one_sided"] = ["lid.left"]
    scenario["patches"] |= {"lid.left": {"area": "0.785 ft2", "faces": "up"}}
    scenario["edges"]["lid.left | deck.left"] = {"circle": 12, "split": "forbidden"}
    scenario["edges"]["deck.left | deck.right"]["split"] = "required"
    job = symmetric(read_job(scenario))
    plan = plan_job(job)
    assert plan.cost is not None
    assert check_plan(job, plan).ok
    left = next(section for section in plan.sections if "lid.left" in section.patches)
    assert "deck.left" in left.patches
    assert plan.cost.objective == pytest.approx(plan_job(read_job(scenario)).cost.objective)


def test_a_pin_holds_in_every_option():
    job = pinned(pinned(job_of(TWO_HATCHES), "deck.left", "here"), "deck.right", "there")
    plans = alternatives(job, 4, differ_by=1)
    assert plans
    for plan in plans:
        held = {patch: section.id for section in plan.sections for patch in section.patches}
        assert held["deck.left"] != held["deck.right"]


@pytest.mark.parametrize(("count", "differ_by"), [(0, 1), (1, 0)])
def test_less_than_one_option_or_joint_is_refused(count, differ_by):
    with pytest.raises(ValueError, match="give 1 or more"):
        alternatives(job_of(TWO_HATCHES), count, differ_by=differ_by)


def test_stopping_keeps_the_options_found_so_far():
    finished = []

    def watch(progress):
        if progress.phase == "done":
            finished.append(progress)

    plans = alternatives(
        job_of(TWO_HATCHES),
        6,
        differ_by=1,
        on_progress=watch,
        should_stop=lambda: len(finished) >= 2,
    )
    assert len(plans) == 2
    assert all(plan.cost is not None for plan in plans)


def test_a_later_bound_is_said_to_be_of_its_kind_only():
    first, *later = options_of(TWO_HATCHES, 1)
    assert first.proof.covers.startswith("all legal sections")
    assert later
    for plan in later:
        assert plan.proof.covers.startswith("splits that differ by 1 joint or more")
