"""Blanks made for tests: straight strips and arc strips, lengths in mm."""

from __future__ import annotations

import math

from solver.nests.shapes import Shape


def strip(name: str, length: float, width: float, quantity: int) -> Shape:
    ring = ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width))
    return Shape(name, ring, square=True, may_flip=True, quantity=quantity)


def arc(name: str, radius: float, angle: float, width: float, quantity: int) -> Shape:
    """Strip along an arc, from its inner radius outwards, angle in radians."""
    angles = [angle * k / 16 for k in range(17)]
    rings = [(radius, angles), (radius + width, angles[::-1])]
    ring = tuple((r * math.cos(a), r * math.sin(a)) for r, turn in rings for a in turn)
    return Shape(name, ring, square=False, may_flip=True, quantity=quantity)
