"""The two metals, against published typical values."""

from __future__ import annotations

import pytest
from scipy import constants

from solver.rules.metals import METALS, metal_named

PSI = constants.psi / 1e6


def test_aluminium_is_3003_h14():
    # Aluminum Association typical values: 10.0 Msi, 0.33, 21 ksi, 0.0986 lb/in³; in SI the same
    # source gives 69 GPa, 145 MPa and 2.73 g/cm³.
    metal = METALS["aluminium"]
    assert metal.youngs_modulus_mpa == pytest.approx(10.0e6 * PSI)
    assert metal.youngs_modulus_mpa == pytest.approx(69_000, rel=2e-3)
    assert metal.poisson == 0.33
    assert metal.yield_mpa == pytest.approx(145, rel=2e-3)
    assert metal.density_kg_m3 == pytest.approx(2730, rel=1e-3)


def test_galvanised_is_commercial_steel_weighed_by_area():
    # ASTM A653 typical [memory]: 29.5 Msi, 0.29, yield 30-55 ksi of which 40 is used.
    metal = METALS["galvanised"]
    assert metal.youngs_modulus_mpa == pytest.approx(29.5e6 * PSI)
    assert metal.poisson == 0.29
    assert metal.yield_mpa == pytest.approx(40e3 * PSI)
    assert metal.density_kg_m3 is None


@pytest.mark.parametrize(
    ("spelled", "name"),
    [("aluminium", "aluminium"), ("Aluminum", "aluminium"), (" galvanized ", "galvanised")],
)
def test_both_spellings_mean_one_metal(spelled, name):
    assert metal_named(spelled).name == name


def test_an_unknown_metal_is_refused_with_those_there_are():
    with pytest.raises(ValueError, match=r'no metal "copper".*aluminium, galvanised'):
        metal_named("copper")
