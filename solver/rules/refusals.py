"""Refusing numbers that no rule can work with: one wording for every file here."""

from __future__ import annotations

import math


def need_positive(name: str, value: float) -> None:
    """Raise ValueError unless the value is a finite number above zero."""
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"{name} is {value}; it must be above 0")


def need_not_negative(name: str, value: float) -> None:
    """Raise ValueError unless the value is a finite number, zero or more."""
    if not (math.isfinite(value) and value >= 0):
        raise ValueError(f"{name} is {value}; it must be 0 or more")


def need_between(name: str, value: float, least: float, most: float) -> None:
    """Raise ValueError unless least <= value <= most."""
    if not least <= value <= most:
        raise ValueError(f"{name} is {value}; it must lie between {least} and {most}")
