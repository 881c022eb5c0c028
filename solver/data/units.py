"""Shop lengths, areas, masses, forces and prices: what a tape measure and a price tag say.

Numbers are read exactly, as fractions: ``"2 ft 3-1/2 in"`` is 698.5 mm and nothing near it.  An
inch is 25.4 mm and a pound 0.45359237 kg by definition (international yard and pound, 1959); a
pound-force is 4.4482216152605 N (standard gravity 9.80665 m/s²).  Nothing is ever negative.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

LENGTH_MM: Mapping[str, Fraction] = {
    "in": Fraction(254, 10),
    "ft": Fraction(3048, 10),
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
}
AREA_MM2: Mapping[str, Fraction] = {f"{unit}2": mm**2 for unit, mm in LENGTH_MM.items()}
POUND_KG = Fraction(45359237, 100_000_000)
MASS_KG: Mapping[str, Fraction] = {
    "kg": Fraction(1),
    "g": Fraction(1, 1000),
    "lb": POUND_KG,
    "oz": POUND_KG / 16,
}
AREAL_MASS_KG_M2: Mapping[str, Fraction] = {
    "kg/m2": Fraction(1),
    "g/m2": Fraction(1, 1000),
    "lb/ft2": POUND_KG * 1_000_000 / AREA_MM2["ft2"],
    "oz/ft2": POUND_KG / 16 * 1_000_000 / AREA_MM2["ft2"],
}
FORCE_N: Mapping[str, Fraction] = {
    "N": Fraction(1),
    "lbf": POUND_KG * Fraction(980665, 100_000),
}

_DIGITS = r"[0-9]{1,12}"
_AMOUNT = re.compile(
    rf"(?P<whole>{_DIGITS})[- ] ?(?P<top>{_DIGITS})/(?P<bottom>{_DIGITS})"
    rf"|(?P<over>{_DIGITS})/(?P<under>{_DIGITS})"
    rf"|(?P<decimal>{_DIGITS}(?:\.{_DIGITS})?|\.{_DIGITS})"
)
_LONGEST_TEXT = 60


class MeasureError(ValueError):
    """A text that cannot be read; ``remedy`` says how to write it."""

    def __init__(self, finding: str, remedy: str) -> None:
        super().__init__(f"{finding}: {remedy}")
        self.finding = finding
        self.remedy = remedy


@dataclass(frozen=True)
class Measure:
    """An exact amount and its unit; no unit means the one of the scenario."""

    amount: Fraction
    unit: str | None

    def mm(self, default_unit: str) -> float:
        """Return the length in millimetres."""
        return float(self.amount * LENGTH_MM[self.unit or default_unit])

    def mm2(self, default_unit: str) -> float:
        """Return the area in mm²; ``default_unit`` is a unit of length."""
        return float(self.amount * AREA_MM2[self.unit or f"{default_unit}2"])


def parse_amount(text: str) -> Fraction | None:
    """Read "3-1/2", "3 1/2", "5/8", "1.5" or "12"; None where the text is no such number."""
    found = _AMOUNT.fullmatch(text)
    if found is None:
        return None
    if found["decimal"] is not None:
        return Fraction(found["decimal"])
    if found["over"] is not None:
        whole, top, bottom = 0, int(found["over"]), int(found["under"])
    else:
        whole, top, bottom = int(found["whole"]), int(found["top"]), int(found["bottom"])
    return None if bottom == 0 else whole + Fraction(top, bottom)


def parse_length(raw: object) -> Measure:
    """Read a length: a bare number, "5/8 in", "2 ft 3-1/2 in", "1.5 mm" or "3/4".

    Raises MeasureError.
    """
    feet = isinstance(raw, str) and re.fullmatch(r"(.+?) ?ft (.+?) ?in", _tidy(raw))
    if feet:
        whole, rest = parse_amount(feet[1]), parse_amount(feet[2])
        if whole is None or rest is None or whole.denominator != 1 or rest >= 12:
            raise MeasureError(f"{shown(raw)} is no length", 'write it as "2 ft 3-1/2 in"')
        return Measure(whole * 12 + rest, "in")
    return _parse(raw, LENGTH_MM, "length", '"5/8 in" or "16 mm"', bare=True)


def parse_area(raw: object) -> Measure:
    """Read an area: a bare number (the square of the scenario's unit) or "11.5 ft2"."""
    return _parse(raw, AREA_MM2, "area", '"11.5 ft2" or "1.07 m2"', bare=True)


def parse_mass_kg(raw: object) -> float:
    """Read a mass, always with its unit ("90 lb"); return kilograms."""
    return _parse_in(raw, MASS_KG, "mass", '"90 lb" or "40 kg"')


def parse_areal_mass_kg_m2(raw: object) -> float:
    """Read a mass by area, always with its unit ("18 kg/m2"); return kg/m²."""
    return _parse_in(raw, AREAL_MASS_KG_M2, "mass by area", '"18 kg/m2" or "3.7 lb/ft2"')


def parse_force_n(raw: object) -> float:
    """Read a force, always with its unit ("2 lbf"); return newtons."""
    return _parse_in(raw, FORCE_N, "force", '"2 lbf" or "9 N"')


def parse_price(raw: object) -> Measure:
    """Read a price: money for one piece (bare), "1.75 /ft2" by area or "0.5 /kg" by mass.

    The unit of the result is None, a unit of area or a unit of mass.
    """
    if isinstance(raw, str):
        found = re.fullmatch(r"([^/ ]+) ?(?:/|per) ?([a-z]+2?)", _tidy(raw))
        amount = parse_amount(found[1]) if found else None
        if found and amount is not None and (found[2] in AREA_MM2 or found[2] in MASS_KG):
            return Measure(amount, found[2])
    return _parse(raw, {}, "price", '84, "1.75 /ft2" or "0.5 /kg"', bare=True)


def parse_diameter_mm(raw: object) -> float:
    """Read a bolt size, "5/16 in", "8 mm" or "M8"; return its diameter in mm."""
    if isinstance(raw, str) and (metric := re.fullmatch(r"[Mm]([0-9]{1,2})", raw.strip())):
        return float(metric[1])
    return _parse_in(raw, LENGTH_MM, "bolt size", '"5/16 in" or "M8"')


def _parse_in(raw: object, units: Mapping[str, Fraction], kind: str, example: str) -> float:
    measure = _parse(raw, units, kind, example, bare=False)
    return float(measure.amount * units[measure.unit or ""])


def _parse(
    raw: object, units: Mapping[str, Fraction], kind: str, example: str, *, bare: bool
) -> Measure:
    if isinstance(raw, bool) or not isinstance(raw, int | float | str):
        raise MeasureError(f"{shown(raw)} is no {kind}", f"write it as {example}")
    if not isinstance(raw, str):
        amount = number(raw)
        if amount is None or amount < 0:
            raise MeasureError(
                shown(raw), f"a {kind} is never negative".replace("a area", "an area")
            )
        if not bare:
            raise MeasureError(
                f"{shown(raw)} has no unit", f"a {kind} needs its unit, such as {example}"
            )
        return Measure(amount, None)
    text = _tidy(raw)
    if text.startswith(("-", "−")):
        raise MeasureError(shown(raw), f"a {kind} is never negative".replace("a area", "an area"))
    found = re.fullmatch(r"([0-9][0-9 ./-]*?|\.[0-9]+) ?([A-Za-z][A-Za-z/0-9]*)?", text)
    amount = parse_amount(found[1]) if found else None
    if found is None or amount is None or (found[2] is not None and found[2] not in units):
        raise MeasureError(f"{shown(raw)} is no {kind}", _respelt(text, units, example))
    if found[2] is None and not bare:
        raise MeasureError(
            f"{shown(raw)} has no unit", f"a {kind} needs its unit, such as {example}"
        )
    return Measure(amount, found[2])


def number(raw: int | float) -> Fraction | None:
    """Return the decimal number that was written (not its binary neighbour); None if not finite."""
    if isinstance(raw, int):
        return Fraction(raw)
    try:
        return Fraction(repr(raw))
    except ValueError:
        return None


def shown(raw: object) -> str:
    """Return a value as it may be quoted in a message: short, text in quotes, in JSON's words."""
    text = json.dumps(raw) if raw is None or isinstance(raw, bool) else repr(raw)
    return text if len(text) <= _LONGEST_TEXT else f"{text[: _LONGEST_TEXT - 1]}…"


def _tidy(text: str) -> str:
    return " ".join(text[: _LONGEST_TEXT + 1].split())


_SPELLINGS = (
    (re.compile(r"(?<=[0-9]) ?(?:''|[\"”″]|inch(?:es)?|ins?\.?)(?= |$)", re.IGNORECASE), " in"),
    (re.compile(r"(?<=[0-9]) ?(?:['’′]|f(?:oo|ee)?t\.?)(?= |[0-9]|$)", re.IGNORECASE), " ft "),
    (re.compile(r"(?<=[0-9]) ?(?:sq\.? ?ft|ft\^2|ft²|sf)$", re.IGNORECASE), " ft2"),
    (re.compile(r"(?<=[0-9]) ?(?:sq\.? ?in|in\^2|in²)$", re.IGNORECASE), " in2"),
    (re.compile(r"(?<=[0-9]) ?(?:sq\.? ?m|m\^2|m²)$", re.IGNORECASE), " m2"),
    (re.compile(r"(?<=[0-9]) ?(?:lbs\.?|pounds?|#)$", re.IGNORECASE), " lb"),
    (re.compile(r"(?<=[0-9]) ?(?:kgs|kilos?)$", re.IGNORECASE), " kg"),
    (re.compile(r"(?<=[0-9]),(?=[0-9])"), "."),
    (re.compile(r"(?<=[0-9])-(?=[a-z])"), " "),
)
_GLYPHS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}


def _respelt(text: str, units: Mapping[str, Fraction], example: str) -> str:
    """Guess what was meant, so that the remedy can be copied."""
    guess = text
    for glyph, fraction in _GLYPHS.items():
        guess = re.sub(rf"(?<=[0-9]) ?{glyph}", f"-{fraction}", guess).replace(glyph, fraction)
    for pattern, spelling in _SPELLINGS:
        guess = pattern.sub(spelling, guess)
    guess = " ".join(guess.split())
    last = re.fullmatch(r"(?:([0-9]+) ft )?(\S+(?: [0-9]+/[0-9]+)?) ([a-z]+2?)", guess)
    if last and last[3] in units and parse_amount(last[2]) is not None:
        return f'write it as "{guess}"'
    return f"write it as {example}"


def format_inches(length_mm: float, *, feet: bool = False) -> str:
    """Return a length in shop fractions to the nearest 1/16 in: "27-1/2 in" or "2 ft 3-1/2 in"."""
    sixteenths = round(Fraction(length_mm) / LENGTH_MM["in"] * 16)
    sign, sixteenths = ("-" if sixteenths < 0 else ""), abs(sixteenths)
    whole_feet, sixteenths = divmod(sixteenths, 192) if feet else (0, sixteenths)
    inches, rest = divmod(sixteenths, 16)
    fraction = str(Fraction(rest, 16)) if rest else ""
    text = "-".join(part for part in (str(inches) if inches else "", fraction) if part) or "0"
    if not whole_feet:
        return f"{sign}{text} in"
    return f"{sign}{whole_feet} ft" if text == "0" else f"{sign}{whole_feet} ft {text} in"


def format_length(length_mm: float, unit: str) -> str:
    """Return a length as the shop writes it: fractions in inches and feet, else decimals."""
    if unit in ("in", "ft"):
        return format_inches(length_mm, feet=unit == "ft")
    digits = {"mm": 1, "cm": 2, "m": 4}[unit]
    text = f"{length_mm / float(LENGTH_MM[unit]):.{digits}f}".rstrip("0").rstrip(".")
    return f"{text} {unit}"


_FINE = (32, 64)
"""Parts of an inch that a fine rule shows."""
_DECIMALS = 3
"""A length with so many digits behind the point was typed, not computed."""


def as_written(length_mm: float, unit: str) -> str:
    """Return a length that reads back to what was written: "5/8 in", "0.6 in", "5/64 in", "15 mm".

    What no shop would write, such as the length of an arc, is rounded as ``format_length`` does.
    """
    rounded = format_length(length_mm, unit)
    if _same(parse_length(rounded).mm(unit), length_mm):
        return rounded
    own = "in" if unit == "ft" else unit
    if (text := _decimal(length_mm, own, _DECIMALS)) is not None:
        return text
    inches = length_mm / float(LENGTH_MM["in"])
    for parts in _FINE:
        fraction = Fraction(round(inches * parts), parts)
        if _same(float(fraction * LENGTH_MM["in"]), length_mm):
            whole, rest = divmod(fraction, 1)
            return f"{whole}-{rest} in" if whole else f"{rest} in"
    return _decimal(length_mm, "mm", 1) or rounded


def _decimal(length_mm: float, unit: str, digits: int) -> str | None:
    """Return the length as a short decimal of a unit, or None where it is none."""
    text = f"{length_mm / float(LENGTH_MM[unit]):.{digits}f}".rstrip("0").rstrip(".")
    return f"{text} {unit}" if _same(float(Fraction(text) * LENGTH_MM[unit]), length_mm) else None


def _same(one_mm: float, other_mm: float) -> bool:
    return abs(one_mm - other_mm) <= 1e-9 * max(1.0, abs(other_mm))


def format_thickness(thickness_mm: float) -> str:
    """Return the thickness of sheet as it is sold: "0.019 in", "0.5 mm".

    Inches if they are whole thousandths or the millimetres are not round.
    """
    thousandths = thickness_mm / float(LENGTH_MM["in"]) * 1000
    if abs(thousandths - round(thousandths)) < 1e-6:
        return f"{round(thousandths) / 1000:.3f} in"
    twentieths = thickness_mm * 20
    if abs(twentieths - round(twentieths)) < 1e-6:
        return f"{round(twentieths) / 20:g} mm"
    return f"{thousandths / 1000:.4f} in"


def format_area(area_mm2: float, unit: str) -> str:
    """Return an area in ft² for inches and feet, else in m²."""
    if unit in ("in", "ft"):
        return f"{area_mm2 / float(AREA_MM2['ft2']):.2f} ft²"
    return f"{area_mm2 / 1e6:.3f} m²"
