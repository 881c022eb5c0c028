"""What is kept off a blank is kept off by the whole gap, wherever its outline begins."""

import math

import numpy as np
import pytest
import shapely

from solver.nests.offcuts import offcuts
from solver.nests.shapes import Layout, Placement, Shape, Stock, UsedUnit, placed_points

GAP_MM = 25.4 / 16
SHEET = Stock("sheet", 900.0, 1800.0, 10.0, 1, 0)


def strip(radius_mm, length_mm, width_mm, begin, points=80):
    """A curved strip whose outline begins at any of its corners."""
    turn = np.linspace(0.0, length_mm / radius_mm, points)
    inner = np.column_stack((radius_mm * np.sin(turn), radius_mm * (1 - np.cos(turn))))
    outward = np.column_stack((np.sin(turn), -np.cos(turn)))
    ring = np.concatenate((inner + width_mm * outward, inner[::-1]))
    ring = np.roll(ring, -begin, axis=0)
    return tuple((float(x), float(y)) for x, y in ring - ring.min(axis=0))


@pytest.mark.parametrize("begin", range(0, 160, 13))
def test_offcuts_keep_the_gap_from_curved_blanks(begin):
    radius = 250.0 + 3 * begin
    shape = Shape("s", strip(radius, 600.0, 40.0, begin), square=False, may_flip=True)
    laid = Placement("s", 0, 120.0, 250.0, 17.0, False)
    layout = Layout((UsedUnit("sheet", False),), (laid,), True)
    left = offcuts(layout, [shape], [SHEET], GAP_MM)
    assert left.offcuts
    blank = shapely.Polygon(placed_points(shape, laid))
    apart = min(shapely.Polygon(one.outline_mm).distance(blank) for one in left.offcuts)
    assert apart >= GAP_MM - 1e-6
    assert math.isclose(
        left.stock_mm2, left.blanks_mm2 + left.offcuts_mm2 + left.scrap_mm2, rel_tol=1e-9
    )
