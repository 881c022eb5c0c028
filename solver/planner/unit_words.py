"""Figures of a sentence in the unit of the scenario; geometry and rules speak millimetres."""

from __future__ import annotations

import re

from solver.data.units import format_length

_BARE_MM = re.compile(r"(?<![(\d.])(\d+(?:\.\d+)?) mm(?![²2)])\b")
_BOTH = re.compile(r"(\d+(?:\.\d+)?) in \((\d+(?:\.\d+)?) mm\)")
_SHORTEST_MM = 2.0
"""Less than this is no length for a tape: it is told in decimals."""


def in_unit(sentence: str, unit: str) -> str:
    """Return a sentence with its lengths in the unit of the scenario.

    A figure told in inches and millimetres keeps the one that the scenario is written in; one in
    millimetres alone is turned into shop fractions, or into decimals where it is small.
    """
    inches = unit in ("in", "ft")

    def one_of_both(found: re.Match[str]) -> str:
        return f"{found[1]} in" if inches else _told(float(found[2]), unit)

    def alone(found: re.Match[str]) -> str:
        return _told(float(found[1]), unit)

    return _BARE_MM.sub(alone, _BOTH.sub(one_of_both, sentence))


def _told(length_mm: float, unit: str) -> str:
    if unit in ("in", "ft") and 0 < length_mm < _SHORTEST_MM:
        return f"{length_mm / 25.4:.4f} in"
    if unit in ("cm", "m") and 0 < length_mm < _SHORTEST_MM:
        return f"{length_mm:g} mm"
    return format_length(length_mm, unit)
