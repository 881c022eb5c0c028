"""Pieces that are there in the master: one place each, no stock, no setting up, its saving once."""

from dataclasses import replace

import pytest

from solver.models.master import (
    LaneRow,
    Master,
    MasterProblem,
    Option,
    PieceNeed,
    Reuse,
    StockKind,
    Template,
)

ROLL = StockKind(sheet=0, price=14.0, on_hand=0, for_sale=None, capacity_mm2=100_000.0)
"""Holds one blank of 60 000 mm² and no two."""


def line(number, cost=10.0, area=60_000.0, name="", twin=""):
    templates = (Template(name, twin, 3.0),) if name else ()
    need = PieceNeed(area, frozenset({0}))
    return Option((number,), "clamped", 0, cost, (need,), templates=templates)


def problem(options, reuses=(), **given):
    return MasterProblem(
        **{
            "patch_count": 1,
            "columns": (1,),
            "column_costs": (0.0,),
            "edges": (),
            "line_count": 1 + max(n for o in options for n in o.lines),
            "options": tuple(options),
            "stock": (ROLL,),
            "sheet_count": 1,
            "setup_cost": 10.0,
            "reuses": tuple(reuses),
            **given,
        }
    )


def solved(one):
    answer = Master(one).solve(work=5.0, seconds=None, seed=0)
    assert answer.status == "optimal"
    return answer


def test_without_what_is_there_each_line_is_cut_from_a_roll_of_its_own():
    answer = solved(problem([line(0), line(1)]))
    assert answer.bought == (2,)
    assert answer.cost == pytest.approx(20 + 28 + 10)


def test_a_piece_that_is_there_takes_no_stock_and_spares_its_work():
    answer = solved(problem([line(0), line(1)], [Reuse(0, 0, 0, saving=6.0)]))
    assert (answer.bought, answer.reused) == ((1,), (0,))
    assert answer.cost == pytest.approx(20 - 6 + 14 + 10)


def test_where_all_is_there_nothing_is_bought_or_set_up():
    reuses = [Reuse(0, 0, 0, saving=6.0), Reuse(1, 0, 1, saving=6.0)]
    answer = solved(problem([line(0), line(1)], reuses))
    assert answer.bought == (0,)
    assert answer.cost == pytest.approx(20 - 12)


def test_a_piece_serves_once_where_it_saves_most():
    reuses = [Reuse(0, 0, 0, saving=6.0), Reuse(1, 0, 0, saving=7.0)]
    answer = solved(problem([line(0), line(1)], reuses))
    assert answer.reused == (1,)


def test_a_place_is_served_once():
    reuses = [Reuse(0, 0, 0, saving=6.0), Reuse(0, 0, 1, saving=5.0)]
    answer = solved(problem([line(0)], reuses))
    assert answer.reused == (0,)


def test_no_piece_serves_an_option_that_is_not_made():
    cheap, dear = line(0), line(0, cost=30.0)
    answer = solved(problem([cheap, dear], [Reuse(1, 0, 0, saving=15.0)]))
    # cheap: 10 + roll 14 + setting up 10; dear: 30 - 15
    assert answer.options == (1,)
    assert answer.cost == pytest.approx(15)


def test_a_piece_that_is_there_needs_no_stock_that_could_hold_it():
    nowhere = replace(line(0), needs=(PieceNeed(60_000.0, frozenset()),))
    assert Master(problem([nowhere])).solve(work=5.0, seconds=None, seed=0).status == "impossible"
    assert solved(problem([nowhere], [Reuse(0, 0, 0, saving=0.0)])).reused == (0,)


@pytest.mark.parametrize(
    ("reuses", "saved"),
    [
        ([], 3.0),  # one template serves both
        ([Reuse(0, 0, 0, saving=5.0)], 8.0),  # the other is marked out from the one that is there
        ([Reuse(0, 0, 0, 5.0), Reuse(1, 0, 1, 5.0)], 10.0),  # no template is left to spare
        ([Reuse(0, 0, 0, 2.0, True), Reuse(1, 0, 1, 2.0, True)], 7.0),  # both cut, one template
    ],
)
def test_templates_are_spared_once(reuses, saved):
    twins = [line(0, name="a", twin="b"), line(1, name="b", twin="a")]
    free = replace(ROLL, price=0.0)
    answer = solved(problem(twins, reuses, stock=(free,), setup_cost=0.0))
    assert answer.cost == pytest.approx(20 - saved)


def test_a_lane_row_counts_only_what_is_cut():
    full = LaneRow({0: 60, 1: 60}, {0: 100}, {0: 60})
    one = problem(
        [line(0, area=10.0), line(1, area=10.0)], [Reuse(0, 0, 0, 0.0)], lane_rows=(full,)
    )
    assert solved(one).bought == (1,)
    assert solved(replace(one, reuses=(), lane_rows=(replace(full, reused={}),))).bought == (2,)


def test_asked_for_a_cheaper_choice_there_is_one_or_none():
    one = problem([line(0), line(1)])
    for cost, status in ((58.0, "impossible"), (58.1, "optimal")):
        master = Master(one)
        master.cheaper_than(cost)
        assert master.solve(work=5.0, seconds=None, seed=0).status == status


def test_what_was_found_dear_together_is_paid_or_left():
    # by area both fit on a roll; nests found that they take two
    small = [line(0, area=10.0), line(1, area=10.0), line(1, cost=17.0, area=10.0)]
    one = problem(small)
    assert solved(one).bought == (1,)
    master = Master(one)
    master.costs_together([0, 1], [], [0], 28.0)
    answer = master.solve(work=5.0, seconds=None, seed=0)
    assert answer.options == (0, 2)  # 7 more for another way is less than a roll
    assert answer.cost == pytest.approx(27 + 14 + 10)
