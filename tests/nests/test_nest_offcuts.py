"""What is left of a unit, as real outlines."""

import itertools
import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.nests.nest_into import nest_into
from solver.nests.offcuts import as_stock, largest_rectangle, offcuts
from solver.nests.shapes import Layout, Placement, Shape, Stock, UsedUnit

INCH = 25.4
GAP = INCH / 16


def box(name, length, width):
    ring = ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width))
    return Shape(name, ring, True, True)


def arc(name, radius, degrees, width):
    """An arc strip about the origin, from straight up to the right."""
    angles = [math.radians(90 - degrees * k / 48) for k in range(49)]
    rings = [(radius, angles), (radius + width, angles[::-1])]
    ring = tuple((r * math.cos(a), r * math.sin(a)) for r, turn in rings for a in turn)
    return Shape(name, ring, False, True)


def left_of(stock, laid):
    """Offcuts with these shapes laid at these places on one unit."""
    shapes = [shape for shape, _, _ in laid]
    places = tuple(Placement(shape.id, 0, x, y, 0.0, False) for shape, x, y in laid)
    layout = Layout((UsedUnit(stock.id, True),), places, True)
    return offcuts(layout, shapes, [stock], GAP).offcuts


def sheet(length, width):
    return Stock("sheet", width, length, 10.0, 0, None)


def test_an_angle_round_a_blank_in_the_corner_is_one_offcut():
    """Sheet less blank and gap [derived]; its largest rectangle is two thirds of it."""
    (kept,) = left_of(sheet(1200.0, 600.0), [(box("b", 600.0, 300.0), 0.0, 0.0)])
    assert len(kept.outline_mm) == 6
    assert kept.area_mm2 == pytest.approx(1200 * 600 - (600 + GAP) * (300 + GAP))
    assert kept.size_mm == pytest.approx((600 - GAP, 600))


def test_a_rectangle_that_is_nearly_all_is_kept_as_one_and_the_rest_beside_it():
    """The strip beside the blank is 100 mm wide, of all but 6 %: two rectangles."""
    kept = left_of(sheet(2400.0, 600.0), [(box("b", 700.0, 500.0), 0.0, 0.0)])
    assert [one.is_rectangle for one in kept] == [True, True]
    assert kept[0].size_mm == pytest.approx((1700 - GAP, 600))
    assert kept[1].size_mm == pytest.approx((700, 100 - GAP))


def test_what_lies_within_an_arc_follows_it():
    """A disc of the arc's inner radius less the gap, a quarter of it [derived]."""
    shape = arc("a", 500.0, 90, 100.0)
    kept, corner = left_of(sheet(600.0, 600.0), [(shape, 0.0, 0.0)])
    assert min(math.dist((0, 0), point) for point in corner.outline_mm) >= 600 + GAP
    blank = shapely.Polygon(shape.outline_mm)
    outline = shapely.Polygon(kept.outline_mm)
    assert not kept.is_rectangle
    assert outline.distance(blank) >= GAP
    assert outline.area == pytest.approx(math.pi / 4 * (500 - GAP) ** 2, rel=0.01)
    # the largest rectangle in a quarter disc is a square of its radius over root 2 [derived]
    assert math.prod(kept.size_mm) == pytest.approx((500 - GAP) ** 2 / 2, rel=0.03)


def test_parts_that_hang_together_by_less_than_two_inches_are_parted():
    wall = box("b", 100.0, 560.0)
    kept = left_of(sheet(1100.0, 600.0), [(wall, 500.0, 0.0)])
    assert len(kept) == 2
    for one in kept:
        assert one.size_mm == pytest.approx((500 - GAP, 600))


def test_a_blank_amid_a_sheet_leaves_no_ring():
    sheet_, blank = sheet(1000.0, 1000.0), box("b", 200.0, 200.0)
    kept = left_of(sheet_, [(blank, 400.0, 400.0)])
    assert len(kept) >= 2
    area = sum(one.area_mm2 for one in kept)
    assert area >= 0.99 * (1000**2 - (200 + 2 * GAP) ** 2)


def test_the_ends_of_a_roll_are_no_offcut():
    roll = Stock("roll", 200.0, 3000.0, 10.0, 0, None, end_trim_mm=INCH)
    (kept,) = left_of(roll, [(box("b", 1000.0, 200.0), INCH, 0.0)])
    assert kept.size_mm == pytest.approx((3000 - 1000 - 2 * INCH - GAP, 200))


def test_an_outlined_offcut_is_stock_for_the_next_job():
    shape = arc("a", 500.0, 90, 100.0)
    kept, _ = left_of(sheet(600.0, 600.0), [(shape, 0.0, 0.0)])
    again = as_stock(kept, "left")
    assert again.outline_mm is not None
    smaller = arc("c", 380.0, 90, 100.0)
    assert nest_into([smaller], [again], GAP, effort=10).complete
    assert not nest_into([arc("d", 460.0, 90, 100.0)], [again], GAP, effort=10).complete


@given(st.lists(st.tuples(*[st.integers(0, 12)] * 4), min_size=1, max_size=4))
@settings(max_examples=30, deadline=None, derandomize=True)
def test_the_largest_rectangle_square_to_a_stepped_region_is_found(walls):
    """Against every rectangle whose sides lie on sides of the region."""
    region = shapely.box(0, 0, 1200, 1200)
    for x, y, long, high in walls:
        wall = shapely.box(100 * x, 100 * y, 100 * (x + long // 3), 100 * (y + high // 3))
        region = shapely.difference(region, wall)
    part = max(shapely.get_parts(region).tolist(), key=lambda one: one.area)
    best = 0.0
    steps = range(0, 1300, 100)
    for x0, x1 in itertools.combinations(steps, 2):
        for y0, y1 in itertools.combinations(steps, 2):
            area = float((x1 - x0) * (y1 - y0))
            if area <= best or max(x1 - x0, y1 - y0) < 304.8:
                continue
            if part.covers(shapely.box(x0, y0, x1, y1)):
                best = area
    found = largest_rectangle(part)
    assert (found is None) == (best == 0.0)
    if found is not None:
        assert part.buffer(1e-6).covers(found)
        assert found.area >= best * (1 - 1e-6)
