"""Conformity: the radius at which a strip begins to yield."""

from __future__ import annotations

import math

import pytest

from solver.rules.bending import sprung_radius_mm
from solver.rules.conformity import elastic_limit_radius_mm, needs_preforming
from solver.rules.gauges import sheet_by_gauge
from solver.rules.metals import METALS

INCH = 25.4


@pytest.mark.parametrize(
    ("metal", "gauge", "inches"),
    # E·t/2σ_y by hand from the published figures: 10e6·0.0201/42e3 and 29.5e6·0.0299/80e3.
    [("aluminium", 24, 4.786), ("galvanised", 22, 11.026)],
)
def test_the_elastic_limit_radius(metal, gauge, inches):
    sheet = sheet_by_gauge(metal, gauge)
    assert elastic_limit_radius_mm(metal, sheet.core_mm) / INCH == pytest.approx(inches, rel=2e-3)


@pytest.mark.parametrize("metal", sorted(METALS))
def test_at_the_limit_springback_has_just_become_complete(metal):
    # The springback formula (Kalpakjian & Schmid [memory]) is valid to the same radius.
    kind = METALS[metal]
    radius = elastic_limit_radius_mm(metal, 0.6)
    below = sprung_radius_mm(0.9 * radius, 0.6, kind.youngs_modulus_mpa, kind.yield_mpa)
    beyond = sprung_radius_mm(1.0001 * radius, 0.6, kind.youngs_modulus_mpa, kind.yield_mpa)
    assert math.isfinite(below)
    assert beyond == math.inf


def test_only_curves_tighter_than_the_limit_are_formed_first():
    radius = elastic_limit_radius_mm("aluminium", 0.5)
    assert needs_preforming("aluminium", 0.5, 0.99 * radius)
    assert not needs_preforming("aluminium", 0.5, 1.01 * radius)
    assert not needs_preforming("aluminium", 0.5, math.inf)


def test_thicker_metal_needs_forming_on_wider_curves():
    radii = [elastic_limit_radius_mm("galvanised", 0.1 * n) for n in range(1, 20)]
    assert radii == sorted(set(radii))


def test_a_curve_without_a_radius_is_refused():
    with pytest.raises(ValueError, match="easy-way radius is 0"):
        needs_preforming("aluminium", 0.5, 0)
