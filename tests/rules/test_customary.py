"""Customary units against scipy's table of physical constants (CODATA and NIST)."""

from __future__ import annotations

import pytest
from scipy import constants

from solver.rules import customary


def test_conversions_are_those_of_scipy():
    # Source: scipy.constants.
    assert constants.inch * 1000 == pytest.approx(customary.INCH_MM, rel=1e-12)
    assert constants.foot * 1000 == pytest.approx(customary.FOOT_MM, rel=1e-12)
    assert constants.pound == pytest.approx(customary.POUND_KG, rel=1e-12)
    assert constants.oz == pytest.approx(customary.OUNCE_KG, rel=1e-12)
    assert constants.pound_force == pytest.approx(customary.POUND_FORCE_N, rel=1e-12)
    assert constants.psi / 1e6 == pytest.approx(customary.PSI_MPA, rel=1e-12)
    assert constants.pound / constants.foot**2 == pytest.approx(
        customary.POUND_PER_SQUARE_FOOT_KG_M2, rel=1e-12
    )
    assert constants.pound / constants.inch**3 == pytest.approx(
        customary.POUND_PER_CUBIC_INCH_KG_M3, rel=1e-12
    )


def test_figures_are_given_in_both_units():
    assert customary.length_words(25.4) == "1.00 in (25.4 mm)"
    assert customary.thickness_words(0.0201 * 25.4) == "0.0201 in (0.511 mm)"
    assert customary.mass_words(51 * customary.POUND_KG) == "51.0 lb (23.1 kg)"
    assert customary.force_words(8.896) == "2.0 lbf (8.9 N)"
