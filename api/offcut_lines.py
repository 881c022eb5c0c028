"""The offcuts of a plan in the form that a scenario takes: on hand for the next job."""

from __future__ import annotations

import math
from collections.abc import Iterator
from decimal import ROUND_FLOOR, Decimal
from typing import Any

from solver.data.plan import NestPlan, Offcut, Piece, Plan
from solver.data.units import LENGTH_MM

DIGITS = {"mm": 2, "cm": 3, "m": 5, "in": 4, "ft": 5}
"""Decimals of lengths by the plan's unit: about a hundredth of a millimetre."""


def offcut_entries(plan: Plan) -> list[dict[str, Any]]:
    """Return the entries for "offcuts" under "stock" of a scenario in the plan's own unit.

    Each says its metal, where it was cut from, and its size or outline.  Sizes are rounded down.
    """
    pieces = {piece.id: piece for piece in plan.pieces}
    return [
        _entry(plan, nest, offcut, number, pieces[nest.placed[0].piece])
        for nest in plan.nests
        for number, offcut in enumerate(nest.offcuts, start=1)
        if nest.placed
    ]


def _entry(plan: Plan, nest: NestPlan, offcut: Offcut, number: int, piece: Piece) -> dict[str, Any]:
    unit = plan.length_unit
    entry: dict[str, Any] = {
        "name": f"keep {number} of {nest.id}, plan {plan.id}",
        "metal": piece.metal,
    }
    if piece.gauge is not None:
        entry["gauge"] = piece.gauge
    else:
        entry["thickness"] = f"{piece.thickness_mm:g} mm"
    if offcut.holds_mm or len(offcut.outline_mm) != 4:
        entry["outline"] = [list(point) for point in _outline(offcut, unit)]
    else:
        a, b, c, _ = offcut.outline_mm
        sides = sorted((math.dist(a, b), math.dist(b, c)))
        entry["size"] = [_down(side, unit) for side in sides]
    return entry


def _down(length_mm: float, unit: str) -> float:
    step = Decimal(1).scaleb(-DIGITS[unit])
    return float(
        Decimal(length_mm / float(LENGTH_MM[unit]) + 1e-9).quantize(step, rounding=ROUND_FLOOR)
    )


def _outline(offcut: Offcut, unit: str) -> Iterator[tuple[float, float]]:
    """Corners from the least along and up, each to the nearest of the last decimal."""
    left = min(x for x, _ in offcut.outline_mm)
    low = min(y for _, y in offcut.outline_mm)
    for x, y in offcut.outline_mm:
        along, up = (value / float(LENGTH_MM[unit]) for value in (x - left, y - low))
        yield round(along, DIGITS[unit]), round(up, DIGITS[unit])
