"""Snip minutes by metal and thickness."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.rules.gauges import sheet_by_gauge
from solver.rules.minutes import per_foot, snip_minutes_per_mm

FOOT = 304.8
ALUMINIUM, GALVANISED = 0.25, 0.6  # [practice], per foot


def per_foot_of(metal: str, gauge: int) -> float:
    thickness = sheet_by_gauge(metal, gauge).thickness_mm
    return snip_minutes_per_mm(metal, thickness, ALUMINIUM, GALVANISED) * FOOT


def test_minutes_per_foot_in_millimetres():
    assert per_foot(12) * FOOT == pytest.approx(12)


@pytest.mark.parametrize(
    ("metal", "gauge", "minutes"),
    [
        ("aluminium", 24, 0.25), ("aluminium", 25, 0.25), ("aluminium", 26, 0.25),
        ("galvanised", 20, 0.6), ("galvanised", 21, 0.6), ("galvanised", 22, 0.6),
        # In proportion to thickness: 0.0276/0.0336 of the 22 ga rate, 0.0253/0.0201 of the 24 ga.
        ("galvanised", 24, 0.6 * 0.0276 / 0.0336), ("aluminium", 22, 0.25 * 0.0253 / 0.0201),
    ],
)  # fmt: skip
def test_the_rate_of_each_gauge(metal, gauge, minutes):
    assert per_foot_of(metal, gauge) == pytest.approx(minutes, rel=3e-3)


def test_aluminium_sold_by_thickness_takes_the_rate_of_its_class():
    minutes = snip_minutes_per_mm("aluminum", 0.019 * 25.4, ALUMINIUM, GALVANISED) * FOOT
    assert minutes == pytest.approx(0.25)


@given(thickness=st.floats(0.2, 3), metal=st.sampled_from(["aluminium", "galvanised"]))
@settings(max_examples=50, deadline=None, derandomize=True)
def test_thicker_metal_never_snips_faster(thickness, metal):
    one = snip_minutes_per_mm(metal, thickness, ALUMINIUM, GALVANISED)
    assert snip_minutes_per_mm(metal, thickness * 1.01, ALUMINIUM, GALVANISED) >= one > 0
