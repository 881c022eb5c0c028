"""Fillets of wax or clay."""

from __future__ import annotations

import math

import pytest
from shapely.geometry import Point, Polygon

from solver.rules.fillets import fillet_area_mm2, fillet_volume_mm3, too_tight_for_cloth

INCH = 25.4


def test_the_detail_fillet():
    # r 3/64 at 90°: 0.000472 in², 9.27 cm³ per 100 ft a side [derived].
    assert fillet_area_mm2(3 / 64 * INCH) / INCH**2 == pytest.approx(0.000472, abs=1e-6)
    volume = fillet_volume_mm3(100 * 12 * INCH, 3 / 64 * INCH, sides=1)
    assert volume / 1000 == pytest.approx(9.27, abs=0.01)


def test_the_fillet_for_structural_cloth():
    # r 1/8 in [practice]: 65.9 cm³ per 100 ft a side.
    assert fillet_volume_mm3(1200 * INCH, INCH / 8, sides=1) / 1000 == pytest.approx(65.9, abs=0.1)
    assert too_tight_for_cloth(3 / 64 * INCH, INCH / 8)
    assert not too_tight_for_cloth(INCH / 8, INCH / 8)


@pytest.mark.parametrize("angle", [60, 75, 90, 110, 150])
def test_the_area_is_what_is_left_between_two_faces_and_a_disc(angle):
    # Source: shapely, the tangent kite less the disc that touches both faces.
    half = math.radians(angle) / 2
    centre = (1 / math.sin(half), 0.0)
    reach = 1 / math.tan(half)
    kite = Polygon(
        [
            (0, 0),
            (reach * math.cos(half), reach * math.sin(half)),
            centre,
            (reach * math.cos(half), -reach * math.sin(half)),
        ]
    )
    left = kite.difference(Point(centre).buffer(1, quad_segs=2000)).area
    assert fillet_area_mm2(1, angle) == pytest.approx(left, rel=1e-3)


def test_two_sides_and_waste_take_more():
    once = fillet_volume_mm3(1000, 1.2, sides=1)
    assert fillet_volume_mm3(1000, 1.2, sides=2, waste_fraction=0.25) == pytest.approx(2.5 * once)
    assert fillet_volume_mm3(1000, 1.2, sides=0) == 0


def test_a_flat_corner_takes_nothing():
    assert fillet_area_mm2(5, 180) == pytest.approx(0, abs=1e-12)


def test_bad_figures_are_refused():
    with pytest.raises(ValueError, match="fillet sides is 3"):
        fillet_volume_mm3(1000, 1.2, sides=3)
    with pytest.raises(ValueError, match="fillet angle is 0"):
        fillet_area_mm2(1, 0)
