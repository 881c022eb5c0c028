"""What is proven of a purchase by deciding every cheaper one is the bound that a plan tells."""

from small_jobs import job

from solver.nests.shapes import Layout, Purchase, Shape, Stock
from solver.planner.nesting import DECIDED, Nester, SheetNest

STRIP = Shape("strip", ((0.0, 0.0), (2000.0, 0.0), (2000.0, 50.0), (0.0, 50.0)), True, True, 2)
ROLL = Stock("roll", 300.0, 3000.0, 12.0, 0, None)


def bound_of(least: float):
    bought = Purchase({"roll": 2}, {}, Layout((), (), True), 24.0, least=least)
    nest = SheetNest(0, (), (STRIP,), (ROLL,), bought)
    return Nester(job((), ()), (), 0).bound(nest)


def test_a_decided_price_above_the_rows_is_told_with_how_it_was_shown():
    rows = bound_of(0.0)
    assert rows.value == 12.0
    assert DECIDED not in rows.basis
    decided = bound_of(24.0)
    assert decided.value == 24.0
    assert decided.basis == f"{rows.basis}; {DECIDED}"


def test_a_decided_price_below_the_rows_changes_nothing():
    assert bound_of(6.0) == bound_of(0.0)
