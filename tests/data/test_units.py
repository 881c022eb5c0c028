"""Shop lengths are read exactly and written back in fractions that a tape has."""

import math
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.data.units import (
    Measure,
    MeasureError,
    as_written,
    format_area,
    format_inches,
    format_length,
    parse_area,
    parse_areal_mass_kg_m2,
    parse_diameter_mm,
    parse_force_n,
    parse_length,
    parse_mass_kg,
    parse_price,
)

# An inch is 25.4 mm and a pound 0.45359237 kg exactly (international yard and pound agreement,
# 1959); a pound-force is 4.4482216152605 N (NIST SP 811, appendix B.8).


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        (24, 24),
        (16.51, Fraction(1651, 100)),
        ("24", 24),
        ("3/4", Fraction(3, 4)),
        ("5/8 in", Fraction(5, 8)),
        ("5/8in", Fraction(5, 8)),
        ("2-1/2 in", Fraction(5, 2)),
        ("2 1/2 in", Fraction(5, 2)),
        ("2 ft 3-1/2 in", Fraction(55, 2)),
        ("2ft 3 1/2in", Fraction(55, 2)),
        ("2 ft 3/4 in", Fraction(99, 4)),
        ("2 ft", 24),
        ("1.5 ft", 18),
        ("25.4 mm", 1),
        ("2.54 cm", 1),
        ("0.0254 m", 1),
        (".5 in", Fraction(1, 2)),
    ],
)
def test_a_length_is_read_as_the_tape_shows_it(text, inches):
    assert parse_length(text).mm("in") == float(inches * Fraction(254, 10))


@pytest.mark.parametrize("unit", ["in", "ft", "mm", "cm", "m"])
def test_a_bare_length_takes_the_unit_of_the_file(unit):
    assert parse_length(3).mm(unit) == parse_length(f"3 {unit}").mm("mm")


@given(
    feet=st.integers(0, 300),
    inches=st.integers(0, 11),
    sixteenths=st.integers(0, 15),
    with_feet=st.booleans(),
)
@settings(max_examples=200, derandomize=True)
def test_every_sixteenth_survives_writing_and_reading(feet, inches, sixteenths, with_feet):
    length = Fraction(feet * 12 + inches) + Fraction(sixteenths, 16)
    text = format_inches(float(length * Fraction(254, 10)), feet=with_feet)
    read = parse_length(text)
    assert read.amount * (12 if read.unit == "ft" else 1) == length


@given(st.fractions(0, 5000, max_denominator=64))
@settings(max_examples=200, derandomize=True)
def test_a_written_length_is_the_nearest_sixteenth(inches):
    text = format_inches(float(inches * Fraction(254, 10)), feet=True)
    read = parse_length(text)
    assert abs(read.amount * (12 if read.unit == "ft" else 1) - inches) <= Fraction(1, 32)


@given(whole=st.integers(0, 999), top=st.integers(0, 64), bottom=st.integers(1, 64))
@settings(max_examples=200, derandomize=True)
def test_fractions_are_exact_whatever_the_denominator(whole, top, bottom):
    assert parse_length(f"{whole}-{top}/{bottom} in").amount == whole + Fraction(top, bottom)


@given(st.decimals(0, 9999, places=4))
@settings(max_examples=100, derandomize=True)
def test_decimals_are_exact_not_their_binary_neighbours(amount):
    assert parse_length(f"{amount:f} mm").amount == Fraction(amount)
    assert parse_length(float(amount)).amount == Fraction(amount)


@given(st.text(max_size=40))
@settings(max_examples=300, derandomize=True)
def test_any_text_is_a_length_or_a_clear_refusal(text):
    try:
        measure = parse_length(text)
    except MeasureError as fault:
        remedy = fault.remedy
    else:
        remedy = "none needed" if measure.amount >= 0 else ""
    assert remedy


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ('5/8"', '"5/8 in"'),
        ("5/8”", '"5/8 in"'),
        ("3'", '"3 ft"'),
        ("3' 6\"", '"3 ft 6 in"'),
        ("3 feet 6 inches", '"3 ft 6 in"'),
        ("2½ in", '"2-1/2 in"'),
        ("2,5 mm", '"2.5 mm"'),
        ("12 inches", '"12 in"'),
    ],
)
def test_what_was_meant_can_be_copied_from_the_remedy(text, remedy):
    with pytest.raises(MeasureError) as caught:
        parse_length(text)
    assert remedy in caught.value.remedy
    parse_length(remedy.strip('"'))


@pytest.mark.parametrize("raw", [-1, -0.5, "-3 in", "−3 in"])
def test_no_length_is_negative(raw):
    with pytest.raises(MeasureError, match="never negative"):
        parse_length(raw)


@pytest.mark.parametrize(
    "raw",
    ["", " ", "in", "1/0 in", "3 1/2 1/2 in", "2 ft 14 in", "1e3 mm", "3 yd", None, True, [3],
     "0x10", "٣ in", "3-in", float("nan"), float("inf"), "2 ft 3 mm"],
)  # fmt: skip
def test_nonsense_is_no_length(raw):
    with pytest.raises(MeasureError):
        parse_length(raw)


def test_areas_masses_forces_and_prices():
    assert parse_area("11.5 ft2").mm2("mm") == pytest.approx(11.5 * 304.8**2, rel=1e-12)
    assert parse_area(144).mm2("in") == pytest.approx(304.8**2, rel=1e-12)
    assert parse_mass_kg("90 lb") == pytest.approx(90 * 0.45359237, rel=1e-12)
    assert parse_mass_kg("16 oz") == pytest.approx(0.45359237, rel=1e-12)
    assert parse_force_n("2 lbf") == pytest.approx(2 * 4.4482216152605, rel=1e-12)
    # lb/ft² to kg/m²: 4.882428 (NIST SP 811, appendix B.8)
    assert parse_areal_mass_kg_m2("1 lb/ft2") == pytest.approx(4.882428, rel=1e-6)
    assert parse_price("1.75 /ft2") == Measure(Fraction(7, 4), "ft2")
    assert parse_price("0.5/kg") == Measure(Fraction(1, 2), "kg")
    assert parse_price(84) == Measure(Fraction(84), None)


def test_bolt_sizes():
    assert parse_diameter_mm("5/16 in") == pytest.approx(7.9375)
    assert parse_diameter_mm("M8") == 8.0
    assert parse_diameter_mm("6 mm") == 6.0


@pytest.mark.parametrize("parse", [parse_mass_kg, parse_force_n, parse_areal_mass_kg_m2])
@pytest.mark.parametrize("raw", [90, "90"])
def test_a_mass_or_force_without_its_unit_is_refused(parse, raw):
    with pytest.raises(MeasureError, match="needs its unit"):
        parse(raw)


@pytest.mark.parametrize(
    ("length_mm", "unit", "text"),
    [
        (698.5, "ft", "2 ft 3-1/2 in"),
        (698.5, "in", "27-1/2 in"),
        (609.6, "ft", "2 ft"),
        (15.875, "in", "5/8 in"),
        (0, "in", "0 in"),
        (304.79, "ft", "1 ft"),
        (698.5, "mm", "698.5 mm"),
        (698.5, "cm", "69.85 cm"),
        (698.5, "m", "0.6985 m"),
        (700, "mm", "700 mm"),
    ],
)
def test_lengths_are_written_as_the_shop_writes_them(length_mm, unit, text):
    assert format_length(length_mm, unit) == text


@pytest.mark.parametrize(
    ("written", "unit", "text"),
    [
        (0.6, "in", "0.6 in"),
        ("5/8 in", "in", "5/8 in"),
        ("5/64 in", "in", "5/64 in"),
        ("1-1/32 in", "in", "1-1/32 in"),
        (10.125, "in", "10-1/8 in"),
        ("15 mm", "in", "15 mm"),
        ("2 ft 3.6 in", "ft", "27.6 in"),
        ("2 ft 3-1/2 in", "ft", "2 ft 3-1/2 in"),
        ("0.25 mm", "mm", "0.25 mm"),
        ("5/8 in", "mm", "15.875 mm"),
        ("1.234 cm", "cm", "1.234 cm"),
        ("1/64 in", "mm", "1/64 in"),
    ],
)
def test_what_was_typed_reads_back(written, unit, text):
    length_mm = parse_length(written).mm(unit)
    assert as_written(length_mm, unit) == text
    assert parse_length(text).mm(unit) == pytest.approx(length_mm, rel=1e-12)


def test_what_was_computed_is_rounded_to_the_tape():
    # A quarter of a circle of 4 in: 2 pi in.
    assert as_written(2 * math.pi * 25.4, "in") == "6-5/16 in"


def test_areas_are_written_in_square_feet_or_metres():
    assert format_area(11.5 * 304.8**2, "in") == "11.50 ft²"
    assert format_area(2.5e6, "mm") == "2.500 m²"
