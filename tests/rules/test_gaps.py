"""Gap and packer."""

from __future__ import annotations

import pytest

from solver.rules.gaps import fits_gap, packer_thickness_mm
from solver.rules.gauges import sheet_by_gauge

INCH = 25.4


def test_the_packer_fills_what_the_metal_leaves():
    # 0.125 in gap less 0.0276 in of 24 ga galvanised, zinc included (published table).
    sheet = sheet_by_gauge("galvanised", 24)
    packer = packer_thickness_mm(sheet.thickness_mm, INCH / 8)
    assert packer / INCH == pytest.approx(0.125 - 0.0276, abs=6e-5)


def test_a_joint_without_metal_is_packed_whole():
    assert packer_thickness_mm(0, 3.175) == 3.175


def test_metal_as_thick_as_the_gap_just_fits():
    assert fits_gap(0.1 + 0.2, 0.3)
    assert packer_thickness_mm(0.1 + 0.2, 0.3) == 0


def test_metal_thicker_than_the_gap_is_refused():
    # 10 ga galvanised is 0.138 in thick.
    thick = sheet_by_gauge("galvanised", 10).thickness_mm
    assert not fits_gap(thick, INCH / 8)
    with pytest.raises(ValueError, match=r"0\.1382 in .* does not fit a joint gap of 0\.1250 in"):
        packer_thickness_mm(thick, INCH / 8)
