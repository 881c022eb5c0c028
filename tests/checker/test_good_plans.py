"""The checker accepts plans that keep every rule, worked by hand."""

import pytest
from hand_plans import box_in_two_sections, doors_and_a_hatch, lid_in_a_frame, lid_in_two_halves

from solver.checker import check_plan

CASES = [lid_in_a_frame, lid_in_two_halves, box_in_two_sections, doors_and_a_hatch]


@pytest.mark.parametrize("case", CASES)
def test_a_plan_that_keeps_every_rule_has_no_fault(case):
    good = case()
    report = check_plan(good.job, good.plan)
    assert report.faults == ()
    assert report.ok


@pytest.mark.parametrize("case", CASES)
def test_the_cost_is_counted_again(case):
    good = case()
    counted = check_plan(good.job, good.plan).cost
    assert counted.objective == pytest.approx(good.plan.cost.objective, rel=1e-9)
    assert counted.labor == pytest.approx(good.plan.cost.labor, rel=1e-9)
