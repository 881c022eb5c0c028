"""Blanks dropped along the stock: never too near one another, and arcs stack.

Layouts are measured by `verify`, which uses shapely on the outlines themselves.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest

from solver.data.until import FOREVER
from solver.models import ahead
from solver.nests.boards import NOWHERE
from solver.nests.dropping import (
    CELL_MM,
    HEIGHT_COUNTS,
    drop_onto,
    droppable,
    lowest,
    poses_of_all,
)
from solver.nests.many_blanks import LEARNED, ManyBlanks, _Unit
from solver.nests.nest_into import settle
from solver.nests.shapes import Placement, Shape, Stock
from solver.nests.verify import verify

GAP_MM = 3.0
SHEET = Stock("sheet", 900.0, 2400.0, 80.0, 1, None)
ROLL = Stock("roll", 300.0, 7600.0, 36.0, 0, None, None, 25.0)
SHORT = Stock("short", 300.0, 3000.0, 15.0, 0, 3, None, 25.0)


def arc(name: str, radius_mm: float, chord_mm: float, width_mm: float) -> Shape:
    half = math.asin(chord_mm / 2 / radius_mm)
    angles = np.linspace(-half, half, 40)
    rows = [
        [(r * math.sin(a), r * math.cos(a)) for a in order]
        for r, order in ((radius_mm, angles), (radius_mm + width_mm, angles[::-1]))
    ]
    return Shape(name, tuple(map(tuple, rows[0] + rows[1])), square=False, may_flip=True)


def strip(name: str, length_mm: float, width_mm: float) -> Shape:
    corners = ((0.0, 0.0), (length_mm, 0.0), (length_mm, width_mm), (0.0, width_mm))
    return Shape(name, corners, square=True, may_flip=False)


def mixed(seed: int, count: int) -> list[Shape]:
    rng = random.Random(seed)
    return [
        arc(str(i), rng.uniform(600, 4000), rng.uniform(200, 1100), rng.uniform(30, 80))
        if i % 3
        else strip(str(i), rng.uniform(100, 1500), rng.uniform(30, 120))
        for i in range(count)
    ]


@pytest.mark.parametrize("seed", range(20))
def test_a_blank_drops_where_it_wastes_least_of_all_places_that_have_room(seed: int) -> None:
    """Every place is looked at by itself: how high the blank lies there, and what it shuts off."""
    draw = np.random.default_rng(seed)
    top, low = draw.uniform(0, 150, 40), draw.uniform(0, 30, int(draw.integers(1, 45)))
    high, area, width = 60.0, 9000.0, draw.uniform(60, 300)
    places = {}
    for at in range(len(top) - len(low) + 1):
        under = top[at : at + len(low)]
        height = max(0.0, float((under - low).max()))
        shut_off = float((height + low - under).sum())
        if height + high <= width:
            waste = (shut_off + HEIGHT_COUNTS * height * len(low)) * CELL_MM / area
            places[at] = waste, height
    waste, at, height = lowest(top, low, high, area, width, math.inf)
    if at == NOWHERE:
        assert not places
    else:
        assert (waste, height) == pytest.approx(places[at])
        assert waste == pytest.approx(min(wasted for wasted, _ in places.values()))
        # where less may be wasted than the best place wastes, there is none; if more, it is found
        assert lowest(top, low, high, area, width, 0.99 * waste)[1] == NOWHERE
        assert lowest(top, low, high, area, width, 1.01 * waste) == (waste, at, height)


def test_twice_as_many_arcs_stack_as_their_boxes_would() -> None:
    # [derived] a stacked arc takes little more than its width over the chord's slope, here
    # 60 / cos(30 deg) = 70 mm; a box of its own takes its rise as well, 60 + 0.134 * 2000 mm
    arcs = [arc(str(i), 2000.0, 2000.0, 60.0) for i in range(20)]
    bowls = droppable(poses_of_all(arcs, GAP_MM, {}))
    draw = np.random.default_rng(0)
    laid = drop_onto(SHEET, [one.id for one in arcs], bowls, GAP_MM, draw)
    boxes = math.floor(SHEET.width_mm / (60 + 2000 * (1 - math.cos(math.pi / 6))))
    assert boxes == 2
    assert len(laid) >= 7


@pytest.mark.parametrize("seed", range(6))
def test_what_is_dropped_keeps_the_gap_and_lies_inside(seed: int) -> None:
    shapes = mixed(seed, 30)
    blanks = droppable(poses_of_all(shapes, GAP_MM, {}))
    worth = np.random.default_rng(seed).uniform(0.8, 1.2, len(shapes))
    for stock in (SHEET, ROLL):
        draw = np.random.default_rng(seed)
        laid = drop_onto(stock, [one.id for one in shapes], blanks, GAP_MM, draw, worth)
        assert laid
        layout = settle(laid, [stock], complete=False, cut=False)
        assert verify(layout, shapes, [stock], GAP_MM) == ()


def test_alike_blanks_are_known_by_their_poses_and_look_as_their_mirror_images_do() -> None:
    arcs = [arc("a", 900.0, 700.0, 60.0), arc("b", 900.0, 700.0, 60.0), strip("c", 500.0, 60.0)]
    mirrored = replace(arcs[0], id="d", outline_mm=tuple((x, -y) for x, y in arcs[0].outline_mm))
    blanks = droppable(poses_of_all([*arcs, mirrored], GAP_MM, {}))
    assert [blanks.kind[name] for name in "abcd"] == [0, 0, 1, 2]
    assert blanks.ways.looks.tolist() == [0, 1, 0]


def test_what_is_worth_more_is_laid_sooner() -> None:
    """Two strips on a roll for one: the first in order, unless the other is worth more."""
    strips = [strip("long", 1500.0, 60.0), strip("short", 1400.0, 60.0)]
    blanks = droppable(poses_of_all(strips, GAP_MM, {}))
    one = Stock("one", 61.0, 1600.0, 1.0, 0, None)
    for worth, first in ((None, "long"), (np.array((1.0, 1.1)), "short")):
        laid = drop_onto(one, ["long", "short"], blanks, GAP_MM, np.random.default_rng(0), worth)
        assert [placed.shape_id for placed in laid] == [first]


def test_blanks_where_room_was_lost_are_worth_more_next_time() -> None:
    # by hand: each takes a roll for itself, 2 rolls for the area of both together; so beside the
    # mean a blank took half of both areas over its own
    roll = Stock("roll", 60.0 + GAP_MM, 2000.0, 1.0, 0, None)
    strips = [strip("a", 2000.0 - GAP_MM, 60.0), strip("b", 1000.0 - GAP_MM, 60.0)]
    blanks = ManyBlanks(strips, {b.id: frozenset(("roll",)) for b in strips}, [roll], GAP_MM, 0)
    lie = [Placement(one.id, 0, 0.0, 0.0, 0.0, False) for one in strips]
    blanks._learn([[_Unit("roll", (lie[0],)), _Unit("roll", (lie[1],))]])
    areas = [blanks._area[one.id] for one in strips]
    seen = [sum(areas) / 2 / area for area in areas]
    assert blanks._worth == pytest.approx([1 - LEARNED + LEARNED * one for one in seen])
    blanks._learn([])
    assert blanks._worth == pytest.approx([1 - LEARNED + LEARNED * one for one in seen])


def many(seed: int, stocks: list[Stock], count: int = 30) -> ManyBlanks:
    shapes = mixed(seed, count)
    ids = frozenset(stock.id for stock in stocks)
    blanks = ManyBlanks(shapes, {one.id: ids for one in shapes}, stocks, GAP_MM, seed)
    assert blanks.lay(FOREVER)
    return blanks


@pytest.mark.parametrize("seed", range(3))
def test_all_blanks_lie_on_what_is_bought_and_more_work_never_costs_more(seed: int) -> None:
    stocks = [SHEET, ROLL, SHORT]
    blanks = many(seed, stocks)
    shapes = list(blanks.shapes.values())
    before = blanks.purchase(cut_short=False)
    blanks.improve(15, FOREVER)
    after = blanks.purchase(cut_short=False)
    for bought in (before, after):
        assert bought.layout.complete
        assert verify(bought.layout, shapes, stocks, GAP_MM) == ()
        assert bought.bought.get("short", 0) <= 3
        price = {stock.id: stock.price for stock in stocks}
        assert bought.price == pytest.approx(
            sum(price[kind] * count for kind, count in bought.bought.items())
        )
    assert after.price <= before.price


def test_the_same_seed_lays_the_same() -> None:
    one, other = many(1, [ROLL]), many(1, [ROLL])
    one.improve(10, FOREVER)
    other.improve(10, FOREVER)
    assert one.purchase(cut_short=False) == other.purchase(cut_short=False)


def test_what_is_on_hand_is_used_first() -> None:
    plenty = replace(SHEET, on_hand=20)
    blanks = many(2, [plenty, ROLL])
    assert blanks.purchase(cut_short=False).price == 0.0
    # and again when a large part is laid anew
    one = replace(ROLL, on_hand=1, for_sale=0, price=1000.0)  # who pays takes sheets
    blanks = many(2, [one, SHEET])
    assert blanks.units is not None
    for step in range(5):
        anew = blanks._part_anew(blanks.units, random.Random(step), FOREVER)
        assert anew is not None
        assert "roll" in {unit.stock for unit in anew}
    kept = [unit for unit in blanks.units if unit.stock != "roll"]
    left = [placed.shape_id for unit in blanks.units if unit not in kept for placed in unit.laid]
    anew = blanks._filled(kept, left, random.Random(0), FOREVER)
    assert anew is not None
    assert "roll" in {unit.stock for unit in anew[len(kept) :]}


def test_the_unit_is_taken_on_which_most_lies_for_its_price() -> None:
    # [derived] two strips side by side fill the wide roll, which costs less than two narrow ones
    narrow = Stock("narrow", 61.0, 1600.0, 6.0, 0, None)
    strips = [strip(name, 1500.0, 60.0) for name in "ab"]
    for price, taken in ((11.0, ["wide"]), (13.0, ["narrow", "narrow"])):
        stocks = [narrow, Stock("wide", 124.0, 1600.0, price, 0, None)]
        ids = frozenset(stock.id for stock in stocks)
        blanks = ManyBlanks(strips, {one.id: ids for one in strips}, stocks, GAP_MM, 0)
        assert blanks.lay(FOREVER)
        assert blanks.units is not None
        assert [unit.stock for unit in blanks.units] == taken


def test_what_dropping_leaves_over_is_eased_in_where_there_is_room() -> None:
    """Four bowls stack on a sheet; three lie spread over it, so the fourth does not drop."""
    bowls = [arc(f"bowl {k}", 500.0, 600.0, 70.0) for k in range(4)]
    # by hand: 73/cos 36.9 = 91.3 apart where they are steepest, and one is 570 - 400 high
    sheet = Stock("sheet", 3 * 92.0 + 204.0, 700.0, 20.0, 0, None)
    blanks = ManyBlanks(bowls, {b.id: frozenset(("sheet",)) for b in bowls}, [sheet], GAP_MM, 0)
    spread = [Placement(f"bowl {k}", 0, 350.0, -400.0 + 140.0 * k, 0.0, False) for k in range(3)]
    laid, rng = _Unit("sheet", tuple(spread)), random.Random(0)
    assert blanks._eased(["sheet"], [laid], ["bowl 3"], 0.2, rng, FOREVER) is None  # a quarter
    eased = blanks._eased(["sheet"], [laid], ["bowl 3"], 0.3, rng, FOREVER)
    assert eased is not None
    assert [len(unit.laid) for unit in eased] == [4]
    layout = settle(list(eased[0].laid), [sheet], complete=True, cut=False)
    assert verify(layout, bowls, [sheet], GAP_MM) == ()


def test_many_blanks_are_laid_alike_on_any_number_of_processors(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    found = []
    for number in (1, 2, 3):
        monkeypatch.setattr(ahead, "processors", lambda number=number: number)
        blanks = many(3, [ROLL, SHEET, SHORT])
        blanks.improve(9, FOREVER)
        blanks.improve(3, FOREVER)
        assert blanks.bettered == 12
        found.append(blanks.purchase(cut_short=False))
    assert found[0] == found[1] == found[2]


def test_blanks_longer_than_all_stock_are_not_laid() -> None:
    shapes = [strip("long", 9000.0, 50.0)]
    blanks = ManyBlanks(shapes, {"long": frozenset()}, [ROLL], GAP_MM, 0)
    assert not blanks.lay(FOREVER)


def test_a_nearly_empty_sheet_is_tried_to_be_spared_where_another_is_half_empty() -> None:
    # four sheets 0.8, 0.8, 0.45 and 0.05 full, on the whole 0.52: the last two together fill one
    # as full as all are, though that is twice as full as the two are
    sheet = Stock("sheet", 900.0, 2400.0, 80.0, 0, None)
    high = {"a": 720.0, "b": 720.0, "c": 400.0, "d": 40.0}
    shapes = [strip(name, 2390.0, width) for name, width in high.items()]
    blanks = ManyBlanks(shapes, {b.id: frozenset(("sheet",)) for b in shapes}, [sheet], GAP_MM, 0)
    units = [_Unit("sheet", (Placement(name, 0, 0.0, 0.0, 0.0, False),)) for name in high]
    drawn = [blanks._no_dearer(units, {2, 3}, random.Random(seed)) for seed in range(20)]
    assert {(one[0]["sheet"], one[1]) for one in drawn if one} == {(1, True), (2, False)}
