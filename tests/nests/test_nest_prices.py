"""Purchases and their proven least price."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp
from shapely import affinity

from solver.nests import price_rows
from solver.nests.lane_values import knapsack, lane_relaxation
from solver.nests.nest_into import nest_into
from solver.nests.price_bound import bound_from_rows, price_bound
from solver.nests.price_rows import may_fit
from solver.nests.purchase import purchase
from solver.nests.shapes import Shape, Stock
from solver.nests.strip import shortest
from solver.nests.transversal import free_worths
from solver.nests.verify import verify

INCH = 25.4
GAP = INCH / 16
PAPER = {
    1380: 22, 1520: 25, 1560: 12, 1710: 14, 1820: 18, 1880: 18, 1930: 20,
    2000: 10, 2050: 12, 2100: 14, 2140: 16, 2150: 18, 2200: 20,
}  # fmt: skip


def box(id_, length, width, quantity=1, square=True):
    ring = ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width))
    return Shape(id_, ring, square, True, quantity)


def roll(width, length, price=1.0, **kw):
    base = {"on_hand": 0, "for_sale": None}
    return Stock(kw.pop("id", f"{width:g}x{length:g}"), width, length, price, **{**base, **kw})


def test_textbook_cutting_stock_needs_73_rolls_and_73_are_found():
    """Paper-mill example: stock 5600, relaxation 72.9167, optimum 73 [memory, recomputed]."""
    shapes = [box(str(w), 100.0, float(w), n) for w, n in PAPER.items()]
    stock = [roll(5600.0, 100.0)]
    assert price_bound(shapes, stock, 0.0).value == pytest.approx(73.0)
    bought = purchase(shapes, stock, 0.0, effort=10)
    assert bought.layout.complete
    assert bought.price == pytest.approx(73.0)


def test_lane_relaxation_of_the_textbook_example():
    demands = [[[(w, float(n))]] for w, n in PAPER.items()]
    lanes = lane_relaxation(demands, 5600, accuracy=1e-9)
    assert lanes.least_length == pytest.approx(72.9167, abs=1e-3)


def test_lane_relaxation_is_that_of_listing_every_pattern():
    """308 feasible patterns, 213 of them maximal [memory, recomputed]; HiGHS over them all."""
    widths = list(PAPER)

    def patterns(first, room):
        if first == len(widths):
            yield ()
            return
        for count in range(room // widths[first] + 1):
            for rest in patterns(first + 1, room - count * widths[first]):
                yield (count, *rest)

    feasible = [p for p in patterns(0, 5600) if any(p)]
    maximal = [p for p in feasible if 5600 - np.dot(p, widths) < min(widths)]
    assert (len(feasible), len(maximal)) == (308, 213)
    needed = LinearConstraint(np.array(maximal, dtype=float).T, list(PAPER.values()), np.inf)
    solved = milp(np.ones(len(maximal)), constraints=needed)
    lanes = lane_relaxation([[[(w, float(n))]] for w, n in PAPER.items()], 5600, accuracy=1e-9)
    assert lanes.least_length == pytest.approx(solved.fun, abs=1e-6)


def test_value_function_is_superadditive_and_agrees_with_an_independent_knapsack():
    widths, prices = [7, 11, 16], np.array([0.2, 0.37, 0.5])
    value = knapsack(widths, prices, 60)
    for a in range(61):
        for b in range(61 - a):
            assert value[a] + value[b] <= value[a + b] + 1e-12
    for room in (10, 33, 47, 60):
        solved = milp(
            -prices,
            constraints=LinearConstraint(np.array([widths]), -np.inf, room),
            integrality=np.ones(3),
            bounds=Bounds(0, np.inf),
        )
        assert value[room] == pytest.approx(-solved.fun)


def length_bound(shapes, width):
    """Shortest single roll of that width that the rows allow, by bisection to 0.1 mm."""
    low, high = 0.0, 2e4
    while high - low > 0.1:
        middle = (low + high) / 2
        bound = price_bound(shapes, [roll(width, middle, for_sale=1)], GAP)
        low, high = (low, middle) if bound.value <= 1.0 + 1e-6 else (middle, high)
    return high


def test_quarter_turns_are_not_forgotten():
    """Five 3 x 10 on a 10 in roll: lanes alone say 16.71 in, a layout takes 15.25 [derived]."""
    shapes = [box("s", 10 * INCH, 3 * INCH, 5)]
    assert nest_into(shapes, [roll(10 * INCH, 15.25 * INCH + 1e-4)], GAP, effort=200).complete
    assert length_bound(shapes, 10 * INCH) <= 15.25 * INCH + 0.1
    assert price_bound(shapes, [roll(10 * INCH, 15.25 * INCH + 1e-4)], GAP).value <= 1.0


def test_blanks_that_may_tilt_are_not_held_to_lanes():
    """3.02 x 14.65 in blanks on a 6 in roll repeat every 14.525 in when tilted [derived].

    Square ones lie one to a lane of 6 in and need 14.65 in each; no bound may say so of free ones.
    """
    number = 40
    tilted = [box("t", 14.65 * INCH, 3.02 * INCH, number, square=False)]
    square = [box("t", 14.65 * INCH, 3.02 * INCH, number)]
    reach = (number * 14.525 + 15) * INCH
    assert length_bound(tilted, 6 * INCH) <= number * 14.525 * INCH
    assert length_bound(square, 6 * INCH) >= number * 14.65 * INCH * 0.999
    assert price_bound(tilted, [roll(6 * INCH, reach)], GAP).value <= 1.0


def brute_least(shapes, stocks, gap, effort):
    """Cheapest purchase of up to three units on which a layout is found (an upper bound)."""
    best = math.inf
    for numbers in itertools.product(range(4), repeat=len(stocks)):
        price = sum(n * s.price for n, s in zip(numbers, stocks, strict=True))
        if not 0 < sum(numbers) <= 3 or price >= best:
            continue
        units = [s for s, n in zip(stocks, numbers, strict=True) for _ in range(n)]
        if nest_into(shapes, units, gap, effort=effort).complete:
            best = price
    return best


@st.composite
def small_jobs(draw):
    shapes = [
        box(
            f"b{k}",
            float(draw(st.integers(2, 16)) * 25),
            float(draw(st.integers(2, 9)) * 25),
            draw(st.integers(1, 2)),
            square=draw(st.booleans()),
        )
        for k in range(draw(st.integers(1, 3)))
    ]
    stocks = [
        roll(
            float(draw(st.integers(4, 12)) * 25),
            float(draw(st.integers(8, 20)) * 25),
            float(draw(st.integers(3, 20))),
            id=f"k{k}",
        )
        for k in range(draw(st.integers(1, 2)))
    ]
    return shapes, stocks, draw(st.sampled_from([0.0, GAP]))


@given(small_jobs())
@settings(max_examples=15, deadline=None, derandomize=True)
def test_no_layout_is_cheaper_than_the_proven_least_price(job):
    shapes, stocks, gap = job
    bound = price_bound(shapes, stocks, gap)
    least = brute_least(shapes, stocks, gap, effort=4)
    assert bound.value <= least + 1e-6
    found = purchase(shapes, stocks, gap, effort=4)
    if math.isfinite(bound.value):
        if found.layout.complete:
            assert found.price >= bound.value - 1e-6
            assert verify(found.layout, shapes, stocks, gap) == ()
        else:
            assert math.isinf(least)


def test_lanes_priced_by_a_few_of_the_blanks_are_never_worth_more_than_rolls_hold(monkeypatch):
    """Rows hold whatever the prices, and blanks of like sizes are priced as if by all of them."""
    shapes = [box(f"b{k}", 900.0 + k, 161.0 + k % 4) for k in range(24)]
    stock = [roll(310.0, 2000.0, price=3.0), roll(620.0, 1000.0, price=4.0)]
    by_all = price_bound(shapes, stock, 0.0).value
    monkeypatch.setattr(price_rows, "MOST_GUIDES", 5)
    by_few = price_bound(shapes, stock, 0.0).value
    assert by_all >= by_few >= 0.98 * by_all
    assert by_few <= purchase(shapes, stock, 0.0, effort=5).price
    by_area = price_rows.price_rows(shapes, stock, 0.0, lanes=False)
    assert bound_from_rows(by_area, stock).value < by_few


def test_two_sheets_one_lane_each_are_proven_necessary():
    """Blanks 50 in long follow one another on no 96 in sheet, area says one sheet would do."""
    shapes = [box("b", 50 * INCH, 11 * INCH, 5)]
    sheets = [roll(48 * INCH, 96 * INCH, 90.0)]
    # four lie across 48 in; a fifth would need its own 50 in of length, and 96 holds one
    assert price_bound(shapes, sheets, GAP).value == pytest.approx(180.0)
    assert purchase(shapes, sheets, GAP, effort=10).price == pytest.approx(180.0)


def test_what_is_on_hand_is_used_before_anything_is_bought():
    shapes = [box("b", 900.0, 90.0, 6)]
    stocks = [
        roll(300.0, 3000.0, 50.0),
        roll(300.0, 1000.0, 20.0, id="shelf", on_hand=1, for_sale=0),
    ]
    found = purchase(shapes, stocks, GAP, effort=20)
    assert found.layout.complete
    assert found.on_hand_used == {"shelf": 1}
    assert found.bought == {"300x3000": 1}
    shelf_enough = purchase([box("b", 900.0, 90.0, 3)], stocks, GAP)
    assert shelf_enough.price == 0.0
    assert price_bound([box("b", 900.0, 90.0, 3)], stocks, GAP).value == pytest.approx(0.0)


def test_the_cheaper_of_two_rolls_that_both_hold_the_blanks_is_bought():
    shapes = [box("b", 500.0, 95.0, 12)]
    stocks = [roll(200.0, 3200.0, 40.0), roll(400.0, 3200.0, 55.0), roll(400.0, 1600.0, 33.0)]
    found = purchase(shapes, stocks, GAP, effort=20)
    assert found.price == pytest.approx(brute_least(shapes, stocks, GAP, 20))


def test_blanks_that_fit_no_stock_have_no_price():
    shapes = [box("b", 5000.0, 90.0)]
    stocks = [roll(300.0, 3000.0, 50.0)]
    bound = price_bound(shapes, stocks, GAP)
    assert math.isinf(bound.value)
    assert "'b'" in bound.basis
    assert not purchase(shapes, stocks, GAP).layout.complete


def test_stock_that_runs_out_is_told():
    shapes = [box("b", 900.0, 290.0, 5)]
    stocks = [roll(300.0, 1000.0, 5.0, for_sale=2)]
    assert math.isinf(price_bound(shapes, stocks, GAP).value)
    assert not purchase(shapes, stocks, GAP).layout.complete


@pytest.mark.parametrize(("long", "fits"), [(500.0, True), (505.0, True), (530.0, False)])
def test_a_free_blank_may_lie_along_the_diagonal(long, fits):
    """A strip 20 wide on 480 x 200 (diagonal 520): tilted it may be longer than 480 [derived].

    For angle a it needs long cos a + 20 sin a <= 480 and long sin a + 20 cos a <= 200.
    """
    a = np.linspace(0, math.pi / 2, 100001)
    room = (long * np.cos(a) + 20 * np.sin(a) <= 480) & (long * np.sin(a) + 20 * np.cos(a) <= 200)
    truly = bool(room.any())
    free = box("f", long, 20.0, square=False)
    assert truly is fits
    assert may_fit(free, 480.0, 200.0) is fits
    assert not may_fit(box("s", long, 20.0), 480.0, 200.0)


def test_more_kinds_of_stock_never_raise_the_bound():
    shapes = [box("b", 500.0, 95.0, 12), box("c", 700.0, 60.0, 7)]
    one = [roll(200.0, 3200.0, 40.0)]
    more = [*one, roll(400.0, 1600.0, 33.0)]
    assert price_bound(shapes, more, GAP).value <= price_bound(shapes, one, GAP).value + 1e-6


def test_a_purchase_is_the_same_each_time():
    shapes = [box("b", 500.0, 95.0, 12), box("c", 700.0, 60.0, 7)]
    stocks = [roll(200.0, 3200.0, 40.0), roll(400.0, 1600.0, 33.0)]
    assert purchase(shapes, stocks, GAP, 3, 20) == purchase(shapes, stocks, GAP, 3, 20)


def arc(id_, radius, angle, width, quantity=1):
    outer, inner = radius + width / 2, radius - width / 2
    steps = [-angle + 2 * angle * k / 16 for k in range(17)]
    ring = [(outer * math.sin(a), outer * math.cos(a)) for a in steps]
    ring += [(inner * math.sin(a), inner * math.cos(a)) for a in reversed(steps)]
    return Shape(id_, tuple(ring), False, True, quantity)


def test_curved_blanks_that_lie_one_abreast_are_bounded_by_more_than_area():
    """3.5 in wide arcs on a 6 in roll: any line across meets one of them and wastes 2.5 in."""
    shapes = [arc(f"a{k}", (30 + 5 * k) * INCH, 0.3, 3.5 * INCH, 3) for k in range(4)]
    area = sum(s.quantity * shapely.Polygon(s.outline_mm).area for s in shapes)
    short = roll(6 * INCH, 1.4 * area / (6 * INCH), for_sale=1)
    assert math.isinf(price_bound(shapes, [short], GAP).value)


@pytest.mark.parametrize(("width_in", "seed"), [(5, 1), (6, 2), (7.5, 3), (10, 4)])
def test_no_nest_of_curved_blanks_is_shorter_than_the_bound(width_in, seed):
    rng = np.random.default_rng(seed)
    shapes = [
        arc(f"a{k}", float(rng.uniform(300, 1500)), float(rng.uniform(0.1, 0.5)), 3.1 * INCH)
        for k in range(4)
    ]
    stock = roll(width_in * INCH, 9000.0)
    shapes = [s for s in shapes if may_fit(s, 9000.0, width_in * INCH)]
    layout, used = shortest(shapes, stock, GAP, seed, effort=2)
    assert verify(layout, shapes, [stock], GAP) == ()
    # one roll exactly as long as the nest must not be proven too short
    exact = roll(width_in * INCH, used + 1e-3, for_sale=1)
    assert price_bound(shapes, [exact], GAP).value <= 1.0 + 1e-6


def test_worth_at_any_angle_is_never_above_that_of_a_sampled_one():
    """free_worths of a ring sector against chords measured by shapely at 90 angles."""
    shape = arc("a", 400.0, 0.7, 70.0)
    unit = GAP
    room = int(200 / unit)
    half = np.minimum(1.0, np.floor(3 * np.arange(room + 1) / room * (1 - 1e-9)) / 2)
    (least,) = free_worths(shape.outline_mm, GAP, unit, [half], [(5000.0, 5000.0)])
    grown = shapely.Polygon(shape.outline_mm).buffer(GAP / 2, quad_segs=16)
    for degrees in range(0, 180, 2):
        turned = affinity.rotate(grown, degrees)
        x0, y0, x1, y1 = turned.bounds
        xs = np.linspace(x0, x1, 400)
        lines = shapely.linestrings([[(x, y0 - 1), (x, y1 + 1)] for x in xs])
        chords = shapely.length(shapely.intersection(turned, lines))
        index = np.minimum(np.floor(chords / unit + 1e-9).astype(int), room)
        # the sampled integral itself errs by an abscissa or two where the function jumps
        assert least <= half[index].sum() * (xs[1] - xs[0]) + 8 * (xs[1] - xs[0])
    assert least > 0
