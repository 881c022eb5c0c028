"""Sides on the metal's own edge, lanes that change places, twins side by side."""

import math

import pytest

from solver.nests.cutting_sense import borders_mm, cut_sensibly
from solver.nests.nest_into import nest_into
from solver.nests.offcuts import offcuts
from solver.nests.shapes import Layout, Placement, Shape, Stock, UsedUnit, placed_points
from solver.nests.verify import verify

INCH = 25.4
GAP = INCH / 16


def strip(name, length_in, width_in=1.0):
    length, width = length_in * INCH, width_in * INCH
    return Shape(name, ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width)), True, True)


def lanes(stock, *rows):
    """Strips laid end to end in rows one above the other, from the lower edge up."""
    shapes, places = [], []
    y = 0.0
    for row in rows:
        x = stock.end_trim_mm
        for shape in row:
            shapes.append(shape)
            places.append(Placement(shape.id, 0, x, y, 0.0, False))
            x += shape.outline_mm[2][0] + GAP
        y += row[0].outline_mm[2][1] + GAP
    return shapes, Layout((UsedUnit(stock.id, True),), tuple(places), True)


def on_edge_in(shapes, layout, stock):
    by_id = {shape.id: shape for shape in shapes}
    outlines = [placed_points(by_id[p.shape_id], p) for p in layout.placements]
    border, on_edge = borders_mm(outlines, stock)
    assert border / INCH == pytest.approx(
        sum(2 * (s.outline_mm[2][0] + s.outline_mm[2][1]) for s in shapes) / INCH
    )
    return on_edge / INCH


def roll(width_in, length_in=120.0):
    return Stock("roll", width_in * INCH, length_in * INCH, 10.0, 0, None, end_trim_mm=INCH)


def test_the_longest_lanes_go_to_the_edges_of_a_roll():
    """Rows of 20, 90, 60, 80 in on a roll: 20 in lie on an edge as laid, 90 + 80 at best."""
    stock = roll(4.5)
    shapes, layout = lanes(stock, [strip("a", 20)], [strip("b", 90)], [strip("c", 60)],
                           [strip("d", 80)])  # fmt: skip
    assert on_edge_in(shapes, layout, stock) == pytest.approx(20.0)
    better = cut_sensibly(layout, shapes, [stock], GAP)
    assert on_edge_in(shapes, better, stock) == pytest.approx(170.0)
    assert verify(better, shapes, [stock], GAP) == ()


def test_the_ends_of_a_roll_are_cut_and_those_of_a_sheet_are_not():
    blank = strip("a", 90, 4)
    there = Stock("sheet", 4 * INCH, 90 * INCH, 10.0, 0, None)
    shapes, layout = lanes(there, [blank])
    assert on_edge_in(shapes, layout, there) == pytest.approx(2 * (90 + 4))
    assert on_edge_in(*lanes(roll(4, 92), [blank]), roll(4, 92)) == pytest.approx(2 * 90)


def test_no_offcut_is_given_up_for_an_edge():
    """With 2-1/2 in of lanes on a 6 in roll the 3 in that are left stay whole."""
    stock = roll(6.0)
    shapes, layout = lanes(stock, [strip("a", 100, 1.25)], [strip("b", 100, 1.25)])
    kept = offcuts(layout, shapes, [stock], GAP).offcuts_mm2
    better = cut_sensibly(layout, shapes, [stock], GAP)
    assert offcuts(better, shapes, [stock], GAP).offcuts_mm2 >= kept - 1.0
    assert on_edge_in(shapes, better, stock) >= 100.0


def test_mirrored_twins_lie_side_by_side():
    stock = roll(6.0)
    rows = [[strip("left", 70)], [strip("x", 70)], [strip("y", 70)], [strip("right", 70)]]
    shapes, layout = lanes(stock, *rows)
    better = cut_sensibly(layout, shapes, [stock], GAP, {"left": "right", "right": "left"})
    at = {p.shape_id: p.y_mm for p in better.placements}
    assert abs(at["left"] - at["right"]) == pytest.approx(INCH + GAP)
    assert verify(better, shapes, [stock], GAP) == ()


def test_a_nest_of_arcs_and_strips_stays_right_and_loses_nothing():
    angles = [0.6 * k / 16 for k in range(17)]
    rings = [(600.0, angles), (660.0, angles[::-1])]
    ring = tuple((r * math.cos(a), r * math.sin(a)) for r, turn in rings for a in turn)
    shapes = [Shape("arc", ring, False, True), strip("a", 30, 2), strip("b", 40, 2)]
    stock = roll(10.0)
    layout = nest_into(shapes, [stock], GAP, effort=5)
    better = cut_sensibly(layout, shapes, [stock], GAP)
    assert verify(better, shapes, [stock], GAP) == ()
    before = offcuts(layout, shapes, [stock], GAP).offcuts_mm2
    assert offcuts(better, shapes, [stock], GAP).offcuts_mm2 >= before - 1.0
