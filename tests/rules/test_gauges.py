"""Gauges, against published tables and a general-purpose library."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from fluids import t_from_gauge
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.rules.gauges import (
    HEAVIEST_GAUGE,
    LIGHTEST_GAUGE,
    US_STANDARD_OUNCES,
    sheet_by_gauge,
    sheet_by_thickness,
)

INCH = 25.4
POUND_PER_FT2 = 0.45359237 / 0.3048**2
GAUGES = range(HEAVIEST_GAUGE, LIGHTEST_GAUGE + 1)


@pytest.mark.parametrize("gauge", GAUGES)
def test_aluminium_gauges_are_the_awg_table_of_a_general_library(gauge):
    # Source: the AWG table of the PyPI package fluids, which is printed to 4 decimals.
    thickness = sheet_by_gauge("aluminium", gauge).thickness_mm / INCH
    assert thickness == pytest.approx(t_from_gauge(gauge, SI=False, schedule="AWG"), abs=6e-5)


@pytest.mark.parametrize(
    ("gauge", "inches"), [(20, 0.0320), (22, 0.0253), (24, 0.0201), (26, 0.0159)]
)
def test_aluminium_gauges_as_published(gauge, inches):
    # Brown & Sharpe, ASTM B258 [memory].
    assert round(sheet_by_gauge("aluminium", gauge).thickness_mm / INCH, 4) == inches


@pytest.mark.parametrize(
    ("gauge", "total", "core"),
    [(20, 0.0396, 0.0359), (22, 0.0336, 0.0299), (24, 0.0276, 0.0239), (26, 0.0217, 0.0179)],
)
def test_galvanised_total_and_core_as_published(gauge, total, core):
    # Galvanised sheet gauge and Manufacturers' Standard gauge, published rounded.
    sheet = sheet_by_gauge("galvanised", gauge)
    assert sheet.thickness_mm / INCH == pytest.approx(total, abs=6e-5)
    assert sheet.core_mm / INCH == pytest.approx(core, abs=6e-5)


def test_24_ga_galvanised_weighs_what_the_handbook_says():
    # Longfield, Sheet Metal Drafting, 1921, p. 102: 1.156 lb/ft².
    mass = sheet_by_gauge("galvanised", 24).mass_kg_m2 / POUND_PER_FT2
    assert mass == pytest.approx(1.156, abs=5e-4)


@pytest.mark.parametrize(("gauge", "mass"), [(26, 0.906), (24, 1.156), (22, 1.406), (20, 1.656)])
def test_galvanised_is_weighed_by_area(gauge, mass):
    # (oz + 2.5)/16 lb/ft² [derived].
    assert sheet_by_gauge("galvanised", gauge).mass_kg_m2 / POUND_PER_FT2 == pytest.approx(
        mass, abs=5e-4
    )


@pytest.mark.parametrize(
    ("gauge", "inches"),
    [(10, 9 / 64), (14, 5 / 64), (16, 1 / 16), (17, 9 / 160), (19, 7 / 160), (20, 3 / 80),
     (21, 11 / 320), (23, 9 / 320), (25, 7 / 320), (27, 11 / 640), (29, 9 / 640), (30, 1 / 80)],
)  # fmt: skip
def test_ounces_are_those_of_the_statute(gauge, inches):
    # 15 U.S.C. § 206 prints the thickness as a fraction of an inch: t = oz/640 in.
    assert US_STANDARD_OUNCES[gauge] / 640 == pytest.approx(inches)


@pytest.mark.parametrize(
    ("gauge", "ounces"),
    [(16, 40), (18, 32), (20, 24), (22, 20), (24, 16), (26, 12), (28, 10), (30, 8)],
)
def test_one_number_of_ounces_makes_three_thicknesses(gauge, ounces):
    # US Standard t = oz/640 (15 U.S.C. § 206); Manufacturers' Standard oz/(16·41.82); galvanised
    # sheet gauge (oz + 2.5)/(16·41.82), all in inches.
    assert US_STANDARD_OUNCES[gauge] == ounces
    sheet = sheet_by_gauge("galvanised", gauge)
    assert sheet.core_mm / INCH == pytest.approx(ounces / (16 * 41.82))
    assert sheet.thickness_mm / INCH == pytest.approx((ounces + 2.5) / (16 * 41.82))


def test_aluminium_is_weighed_by_its_density():
    # 0.0986 lb/in³ (Aluminum Association) times 0.0201 in times 144 in²/ft².
    mass = sheet_by_gauge("aluminium", 24).mass_kg_m2 / POUND_PER_FT2
    assert mass == pytest.approx(0.0986 * 0.0201 * 144, rel=1e-4)


@pytest.mark.parametrize("metal", ["aluminium", "galvanised"])
@pytest.mark.parametrize("gauge", GAUGES)
def test_a_thickness_tells_the_same_sheet_as_its_gauge(metal, gauge):
    by_gauge = sheet_by_gauge(metal, gauge)
    by_thickness = sheet_by_thickness(metal, by_gauge.thickness_mm)
    assert by_thickness.core_mm == pytest.approx(by_gauge.core_mm)
    assert by_thickness.mass_kg_m2 == pytest.approx(by_gauge.mass_kg_m2)
    assert by_thickness.gauge is None


@pytest.mark.parametrize("metal", ["aluminium", "galvanised"])
def test_a_higher_gauge_number_is_lighter_and_thinner(metal):
    sheets = [sheet_by_gauge(metal, gauge) for gauge in GAUGES]
    for heavier, lighter in pairwise(sheets):
        assert lighter.thickness_mm < heavier.thickness_mm
        assert lighter.core_mm < heavier.core_mm
        assert lighter.mass_kg_m2 < heavier.mass_kg_m2


@given(thickness_mm=st.floats(0.2, 6.0))
@settings(max_examples=40, deadline=None, derandomize=True)
def test_zinc_takes_the_same_off_every_galvanised_sheet(thickness_mm):
    # 2.5 oz/ft² over 41.82 lb/ft² per inch is 0.0037 in, the step between the two published tables.
    sheet = sheet_by_thickness("galvanised", thickness_mm)
    assert (sheet.thickness_mm - sheet.core_mm) / INCH == pytest.approx(0.0037, abs=5e-5)
    assert sheet.thickness_mm == pytest.approx(thickness_mm)


def test_labels_say_what_the_builder_says():
    assert sheet_by_gauge("aluminum", 24).label == "24 ga aluminium"
    assert sheet_by_gauge("galvanised", 22).label == "22 ga galvanised"
    assert sheet_by_thickness("aluminium", 0.019 * INCH).label == "0.019 in aluminium"
    assert sheet_by_thickness("aluminium", 0.5).label == "0.5 mm aluminium"
    assert sheet_by_thickness("galvanised", 0.0276 * INCH).label == "0.0276 in galvanised"


@pytest.mark.parametrize("gauge", [9, 31, 0, -24])
@pytest.mark.parametrize("metal", ["aluminium", "galvanised"])
def test_a_gauge_that_is_not_sold_is_refused_with_the_range(metal, gauge):
    with pytest.raises(ValueError, match=rf"no {gauge} ga {metal}.*10 \(heavy\) to 30 \(light\)"):
        sheet_by_gauge(metal, gauge)


@pytest.mark.parametrize("thickness_mm", [0.0, -1.0, 0.05, 24.0, math.nan, math.inf])
@pytest.mark.parametrize("metal", ["aluminium", "galvanised"])
def test_a_thickness_that_is_no_sheet_is_refused_with_the_range(metal, thickness_mm):
    with pytest.raises(ValueError, match=r"is no sheet; give between 0\.0060 in .* 0\.2490 in"):
        sheet_by_thickness(metal, thickness_mm)


def test_an_unknown_metal_has_no_gauge():
    with pytest.raises(ValueError, match=r'no metal "tin"'):
        sheet_by_gauge("tin", 24)
