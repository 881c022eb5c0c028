"""Options stand beside one another in one table, with what differs in their joints."""

from dataclasses import replace

import pytest
from hand_made_plan import FRAME_ROUND_MM, LID_ROUND_MM, lid_job, lid_plan, whole_plan

from api.option_search import numbered
from api.option_table import options_text, rows_of, symmetry_lines, symmetry_of
from api.tables import columns
from solver.data.job import Edge
from solver.data.line import Line, Stretch
from solver.data.plan import EdgePlan, Progress


def text_of(plans, job=None, **how):
    asked = {"asked": len(plans), "differ_by": 1}
    return options_text(plans, job or lid_job(), **asked | how)


def bounded(plan, bound):
    gap = (plan.cost.objective - bound) / plan.cost.objective
    return plan.model_copy(
        update={"proof": plan.proof.model_copy(update={"bound": bound, "gap": gap})}
    )


def costing(plan, objective):
    cost = plan.cost.model_copy(update={"total": objective, "objective": objective})
    return plan.model_copy(update={"cost": cost})


# 413.195 min are 6.9 h; 9.8 kg / 0.45359 are 21.6 lb, 16.2 kg 35.7 lb, 3.1 kg 6.8 lb; the lid's
# border is 80.57 in, 6.7 ft round.
GOLDEN = """\
One lid in a frame                                                 goal cheapest
================================================================================
OPTIONS (USD)
       cost  metal  hours   sec-  heaviest    witness  joints  waste  gap
                           tions  lift             ft      ft     lb    %
  1  490.86  52.00    6.9      2  22 lb by 1      0.0     6.7    6.8  1.8
  2  504.86  66.00    6.9      1  36 lb by 2      0.0     0.0    6.8  0.0
  Each is checked, and the best found whose split differs by 1 joint or more
  from the options found before it, left and right counting alike. Gap: the best
  such plan may be cheaper by this at most.
JOINTS, against those of option 1
  1  has "lid | frame"
  2  leaves whole "lid | frame"
CAUTIONS
  Sharp edges: gloves and eye protection; deburr every edge before fitting.
  Lifting: masses are estimates; nobody stands under a load or pulls alone.
  Resin and dust: ventilate, gloves, the right respirator, no open flame.
  Local codes and licensed practice decide.
"""


def test_two_options_as_the_builder_sees_them():
    assert text_of([lid_plan(), whole_plan()]) == GOLDEN


def test_the_same_figures_as_data():
    first, second = rows_of([lid_plan(), whole_plan()], lid_job())
    assert (first.option, second.option) == (1, 2)
    assert (first.plan, second.plan) == ("lid-by-hand", "whole-by-hand")
    assert second.cost == pytest.approx(first.cost + 14)
    assert (first.joint_mm, second.joint_mm) == (pytest.approx(LID_ROUND_MM), 0)
    assert (first.heaviest_kg, first.people) == (9.8, 1)
    assert (second.heaviest_kg, second.people) == (16.2, 2)
    assert (first.joints_made, first.joints_left) == (("lid | frame",), ())
    assert (second.joints_made, second.joints_left) == ((), ("lid | frame",))
    assert first.witness_mm == second.witness_mm == 0


def test_a_difference_that_the_gap_leaves_open_is_marked_undecided():
    first, second = lid_plan(), whole_plan()
    # The best plan with the second split costs 490 or more, the first 490.86: it may be cheaper.
    open_second = bounded(second, 490.0)
    assert [row.decided for row in rows_of([first, open_second], lid_job())] == [True, False]
    text = text_of([first, open_second])
    assert "504.86~" in text
    assert "~ not decided by the evidence" in text
    # From 495 on it cannot be.
    closed = bounded(second, 495.0)
    assert rows_of([first, closed], lid_job())[1].decided
    assert "~" not in text_of([first, closed])


def test_without_a_bound_nothing_is_decided():
    second = whole_plan()
    proof = second.proof.model_copy(update={"bound": None, "gap": None})
    second = second.model_copy(update={"proof": proof})
    assert not rows_of([lid_plan(), second], lid_job())[1].decided
    assert "504.86~" in text_of([lid_plan(), second])


def test_a_goal_with_weights_shows_the_figure_that_orders_the_options():
    plan = lid_plan()
    weighted = plan.model_copy(update={"cost": plan.cost.model_copy(update={"objective": 77.5})})
    text = text_of([weighted])
    assert "weighted" in text
    assert "77.50" in text
    assert "weighted" not in text_of([plan])


def test_witness_lines_are_joints_across_one_part():
    # A second border, of 10 ft, between patches of one part.
    line = Line((Stretch(3048.0),))
    job = lid_job()
    job = replace(job, edges=(*job.edges, Edge("a | b", "lid", "frame", line, "A", "B")))
    across = EdgePlan(edge="a | b", treatment="witness", joint=True)
    plan = lid_plan(edges=(*lid_plan().edges, across))
    (row,) = rows_of([plan], job)
    assert row.witness_mm == 3048.0
    assert row.joint_mm == pytest.approx(LID_ROUND_MM + 3048.0)
    assert "10.0" in text_of([plan], job)


def test_a_metric_scenario_compares_metres_and_kilograms():
    text = text_of([lid_plan(length_unit="mm")], lid_job("mm"))
    # 9.8 kg, 80.57 in = 2.05 m.
    assert "9.8 kg by 1" in text
    assert " m " in text
    assert " 2.0 " in text
    assert "lb" not in text.partition("CAUTIONS")[0]


def long_job(count):
    line = Line((Stretch(FRAME_ROUND_MM),))
    names = [f"port-side-panel.fore-{k:02d} | starboard-rail.upper-{k:02d}" for k in range(count)]
    job = lid_job()
    edges = tuple(Edge(name, "lid", "frame", line, "A", "B") for name in names)
    return replace(job, title="蓋 " * 60, edges=(*job.edges, *edges)), names


def test_wide_figures_and_long_names_keep_to_80_columns():
    job, names = long_job(40)
    joints = tuple(EdgePlan(edge=name, treatment="pinched", joint=True) for name in names)
    second = whole_plan(edges=(*whole_plan().edges, *joints))
    cost = second.cost.model_copy(
        update={"total": 123456.78, "metal": 98765.43, "objective": 111111.1, "waste_kg": 4321.0}
    )
    heavy = second.sections[0].model_copy(update={"mass_kg": 2345.0, "people": None})
    second = second.model_copy(update={"cost": cost, "sections": (heavy,), "minutes": 99999.0})
    for whole in (False, True):
        text = text_of([lid_plan(), bounded(second, 1.0)], job, whole=whole)
        assert max(columns(line) for line in text.splitlines()) <= 80
        assert "5170 lb hoist" in text
        assert ("and 36 more" in text) == (not whole)
    assert all(f'"{name}"' in text for name in names)


def test_a_name_is_not_broken_between_lines():
    job, names = long_job(6)
    joints = tuple(EdgePlan(edge=name, treatment="pinched", joint=True) for name in names)
    text = text_of([lid_plan(), whole_plan(edges=joints)], job)
    assert all(f'"{name}"' in text for name in names[:4])


def test_fewer_options_than_asked_for_are_told_with_the_reason():
    assert "2 of 4 options: no further split" in text_of([lid_plan(), whole_plan()], asked=4)
    stopped = text_of([lid_plan()], asked=4, stopped=True)
    assert "1 of 4 options: stopped before the next one" in stopped


def test_a_joint_that_only_changed_sides_is_no_difference():
    # Two mirrored seams of the lid's rim, one of them a joint: left or right is the same split.
    line = Line((Stretch(500.0),))
    rim = (
        Edge("rim.left | frame", "lid", "frame", line, "A", "B", twin="rim.right | frame"),
        Edge("rim.right | frame", "lid", "frame", line, "A", "B", twin="rim.left | frame"),
    )
    job = lid_job()
    job = replace(job, edges=(*job.edges, *rim))

    def with_joints(*names):
        more = tuple(EdgePlan(edge=e.id, treatment="pinched", joint=e.id in names) for e in rim)
        return lid_plan(edges=(*lid_plan().edges, *more))

    left, right = with_joints("rim.left | frame"), with_joints("rim.right | frame")
    moved = rows_of([left, right], job)[1]
    assert (moved.joints_made, moved.joints_left) == ((), ())
    both = rows_of([right, with_joints("rim.left | frame", "rim.right | frame")], job)[1]
    assert (both.joints_made, both.joints_left) == (("rim.left | frame",), ())
    none = rows_of([right, with_joints()], job)[1]
    assert (none.joints_made, none.joints_left) == ((), ("rim.right | frame",))


def test_names_cannot_steer_the_terminal():
    job = replace(lid_job(), title="lid\x1b[2J\u202e")
    assert "\x1b" not in text_of([lid_plan()], job)


@pytest.mark.parametrize(
    ("found", "least", "free", "free_bound", "words"),
    [
        # Both proven: 500 against 480.
        (500, 500, 480, 480, "costs 20.00 USD: the best free split found costs 480.00 USD"),
        (500, 500, 480, 480, "that is proven"),
        # Symmetric within 490 to 500, free within 470 to 480: from 490 - 480 to 500 - 470.
        (500, 490, 480, 470, "costs between 10.00 and 30.00"),
        # No cheaper free plan was found, though one might be.
        (500, 490, 500, 450, "costs nothing that was found"),
        (500, 490, 500, 450, "between 0.00 and 50.00"),
        # A free search that was less lucky cannot beat the symmetric plan, itself a free one.
        (500, 490, 510, 500, "costs nothing that was found"),
        (500, 490, 480, None, "at most is not proven"),
    ],
)
def test_symmetry_costs_what_the_two_plans_and_their_bounds_say(
    found, least, free, free_bound, words
):
    symmetric = bounded(costing(lid_plan(), found), least)
    other = costing(lid_plan(), free)
    proof = other.proof.model_copy(update={"bound": free_bound, "gap": None})
    symmetry = symmetry_of(symmetric, other.model_copy(update={"proof": proof}))
    lines = symmetry_lines(symmetry, "USD")
    assert words in " ".join(" ".join(lines).split())
    assert max(len(line) for line in lines) <= 80
    assert len(lines) <= 2
    assert words in " ".join(text_of([symmetric], symmetry=symmetry).split())


def test_there_is_no_cost_of_symmetry_without_both_plans():
    assert symmetry_of(lid_plan(), lid_plan(status="no answer", cost=None)) is None


def test_progress_says_which_option_is_sought_and_forgets_the_one_before():
    heard = []
    tell = numbered(heard.append, 3)
    for phase, best in (
        ("deciding", None),
        ("better plan", 500.0),
        ("done", 500.0),
        ("deciding", 500.0),
        ("better plan", 600.0),
    ):
        tell(Progress(phase=phase, seconds=1, best=best, bound=best, gap=None))
    assert [(one.phase, one.best, one.bound) for one in heard] == [
        ("option 1/3: deciding", None, None),
        ("option 1/3: better plan", 500.0, 500.0),
        ("option 1/3: done", 500.0, 500.0),
        ("option 2/3: deciding", None, None),
        ("option 2/3: better plan", 600.0, 600.0),
    ]
