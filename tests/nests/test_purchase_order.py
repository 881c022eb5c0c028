"""In which order purchases are tried: those that need no search first, hopeless ones last."""

from __future__ import annotations

import pytest

import solver.nests.purchase as subject
from solver.data.until import FOREVER
from solver.models import ahead
from solver.nests.shapes import Layout, Shape, Stock
from tests.nests.made_blanks import arc, strip

INCH = 25.4
GAP = INCH / 16


def sheet(wide_in: float, long_in: float, price: float) -> Stock:
    name = f"{wide_in:g}x{long_in:g}"
    return Stock(name, wide_in * INCH, long_in * INCH, price, 0, None)


class Tried(list[tuple[tuple[str, ...], int, bool]]):
    """Units, effort and whether the blanks went on them, of every nest that was tried.

    None of them is searched for in truth: the order is what counts here.
    """


@pytest.fixture
def tried(monkeypatch: pytest.MonkeyPatch) -> Tried:
    noted = Tried()
    monkeypatch.setattr(ahead, "processors", lambda: 1)  # nothing is made before its turn
    nest_into = subject.nest_into

    def noting(
        shapes: list[Shape], units: list[Stock], gap: float, seed: int, effort: int, until: object
    ) -> Layout:
        layout = nest_into(shapes, units, gap, seed, 0, FOREVER)
        noted.append((tuple(unit.id for unit in units), effort, layout.complete))
        return layout

    monkeypatch.setattr(subject, "nest_into", noting)
    return noted


def test_what_needs_no_search_is_tried_before_any_search(tried: Tried) -> None:
    shapes = [
        arc("a", 30 * INCH, 0.6, 3 * INCH, 15),
        strip("s", 30 * INCH, 4 * INCH, 12),
        strip("t", 11 * INCH, 3 * INCH, 9),
    ]
    kinds = [sheet(w, long, 3 + w * long / 144) for w in (20, 18, 12) for long in (60, 96)]
    assert subject.purchase(shapes, kinds, GAP, effort=60).layout.complete
    soon = [(units, held) for units, effort, held in tried if effort == 0]
    assert all(effort == 0 for _, effort, _ in tried[: len(soon)])
    assert len({units for units, _ in soon}) == len(soon)  # none at the first go twice
    assert sum(held for _, held in soon) > 1
    # what failed at the first go may hold the blanks all the same
    searched = {units for units, effort, _ in tried if effort == 60}
    assert {units for units, held in soon if not held} & searched


def test_curved_blanks_that_leave_next_to_nothing_are_not_searched_for_first(tried: Tried) -> None:
    """One sheet would be filled to 97 %; one wider by a sixth comes before it."""
    area = 3 * (20 + 1.5) * 1.0
    count = int(0.97 * 36 * 96 / area)
    stocks = [sheet(36, 96, 20.0), sheet(18, 96, 11.0), sheet(42, 96, 24.0)]
    shapes = [arc("a", 20 * INCH, 1.0, 3 * INCH, count)]
    subject.purchase(shapes, stocks, GAP, effort=60)
    searched = [units for units, effort, _ in tried if effort > 0]
    assert searched[0] == ("42x96",)


def test_from_a_known_layout_only_what_is_cheaper_is_tried(tried: Tried) -> None:
    shapes = [
        arc("a", 30 * INCH, 0.6, 3 * INCH, 5),
        strip("s", 30 * INCH, 4 * INCH, 4),
    ]
    kinds = [sheet(w, long, 3 + w * long / 144) for w in (20, 18, 12) for long in (60, 96)]
    price = {kind.id: kind.price for kind in kinds}
    known = subject.nest_into(shapes, [kinds[1]] * 2, GAP, 0, 0, FOREVER)
    assert known.complete
    spent = sum(price[unit.stock_id] for unit in known.units)
    tried.clear()
    bought = subject.purchase(shapes, kinds, GAP, effort=20, known=known)
    assert bought.layout.complete
    assert bought.price <= spent
    assert tried
    assert all(sum(price[unit] for unit in units) < spent for units, _, _ in tried)
    tried.clear()
    again = subject.purchase(shapes, kinds, GAP, effort=0, known=bought.layout)
    assert (again.layout.placements, again.price) == (bought.layout.placements, bought.price)
    assert not tried
