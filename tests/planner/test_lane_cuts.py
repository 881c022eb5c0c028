"""Lanes: what cannot lie side by side on a roll is not counted as if it could."""

import pytest
from small_jobs import Prepared, edge, job, run, straight

from solver.data.job import Job, StockItem
from solver.geometry.blanks import Notch, blank_of
from solver.models.master import Master
from solver.planner.lane_cuts import LaneCuts, _whole_rectangle
from solver.planner.master_of import costs_of, grown_areas_mm2, master_problem_of
from solver.planner.plan_job import plan_job
from solver.planner.split_of import EdgeRule

ROLL = StockItem(
    id="roll", form="roll", metal="aluminium", gauge=24, thickness_mm=0.51, core_mm=0.51,
    mass_kg_m2=1.4, width_mm=100.0, length_mm=2000.0, price=50.0,
)  # fmt: skip


def wide_strips(count: int) -> Job:
    """Runs of 900 whose strips are 58 wide, on a roll 100 wide: one abreast, two along."""
    edges = [
        edge(f"e{i}", straight(900.0), stand_mm=40.0, grip_mm=18.0, standing="forbidden")
        for i in range(count)
    ]
    return job(edges, [run(f"R{i}", one) for i, one in enumerate(edges)], (ROLL,))


def test_two_strips_that_do_not_lie_side_by_side_are_not_counted_on_one_length():
    # One abreast on 100, two along (2 x 913 <= 2000 - 50.8): four
    # strips take two rolls and five take three, though five are only 0.26 m2 and a roll has 0.2.
    for count, rolls in ((4, 2), (5, 3)):
        plan = plan_job(wide_strips(count))
        assert plan.status == "proven"
        assert [purchase.buy for purchase in plan.purchases] == [rolls]
        assert plan.cost.metal == rolls * 50.0


def test_a_row_is_made_only_where_an_answer_breaks_it_and_then_holds():
    made = Prepared(wide_strips(5))
    rules = {e.id: EdgeRule("required") for e in made.job.edges}
    problem = master_problem_of(
        made.job, made.lines, made.sheets, made.options, rules, costs_of(made.job),
        grown_areas_mm2(made.job, made.options), (1, 2),
    )  # fmt: skip
    cuts = LaneCuts(made.job, made.sheets, made.options)
    master = Master(problem)
    first = master.solve(work=5, seconds=None, seed=0)
    assert first.bought == (2,)
    rows = cuts.broken_by(first)
    assert rows
    for row in rows:
        master.add_lane_row(row)
    second = master.solve(work=5, seconds=None, seed=0)
    assert second.bought == (3,)
    assert not cuts.broken_by(second)


@pytest.mark.parametrize("side", ["grip", "free"])
def test_a_notched_blank_counts_as_the_rectangle_that_its_notches_leave(side):
    notch = Notch(at_mm=300.0, wide_mm=20.0, deep_mm=8.0, side=side)
    blank = blank_of(straight(600.0), 0.0, 600.0, 25.0, 15.0, notches=(notch,))
    low, high = (-7.0, 25.0) if side == "grip" else (-15.0, 17.0)
    assert _whole_rectangle(blank) == (
        (0.0, low), (600.0, low), (600.0, high), (0.0, high)
    )  # fmt: skip
