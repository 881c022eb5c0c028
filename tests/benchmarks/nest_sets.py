"""Seeded sets of blanks for the nest benchmark: straight, curved, mixed. Lengths in millimetres.

Sizes follow what a shop cuts for a large mold: strips 2.5-4.5 in wide and 10-96 in long; arc
strips 3-4 in wide of radius 12-80 in and chord 10-60 in, some S-shaped, some with straight ends.
"""

import math
import random

import numpy as np
import shapely

from solver.nests.shapes import Ring, Shape, Stock

INCH = 25.4
GAP_MM = INCH / 16


def sixteenths(value_in: float) -> float:
    return round(value_in * 16) / 16 * INCH


def strip(id_: str, length_mm: float, width_mm: float, quantity: int = 1) -> Shape:
    outline = ((0.0, 0.0), (length_mm, 0.0), (length_mm, width_mm), (0.0, width_mm))
    return Shape(id_, outline, square=True, may_flip=True, quantity=quantity)


def band(curvatures: list[tuple[float, float]], width_mm: float) -> Ring:
    """Strip along a line of (length, curvature) stretches, half the width to each side."""
    x = y = heading = 0.0
    spine: list[tuple[float, float, float]] = []
    for length, curvature in curvatures:
        steps = max(1, math.ceil(length / (1.0 * INCH))) if curvature else 1
        for _ in range(steps):
            spine.append((x, y, heading))
            ds = length / steps
            if curvature:
                x += (math.sin(heading + curvature * ds) - math.sin(heading)) / curvature
                y += (math.cos(heading) - math.cos(heading + curvature * ds)) / curvature
                heading += curvature * ds
            else:
                x += ds * math.cos(heading)
                y += ds * math.sin(heading)
    spine.append((x, y, heading))
    left = [(a - math.sin(h) * width_mm / 2, b + math.cos(h) * width_mm / 2) for a, b, h in spine]
    right = [(a + math.sin(h) * width_mm / 2, b - math.cos(h) * width_mm / 2) for a, b, h in spine]
    return tuple(right + left[::-1])


def _least_width(ring: Ring) -> float:
    hull = np.asarray(shapely.convex_hull(shapely.Polygon(ring)).exterior.coords)
    edges = np.diff(hull, axis=0)
    normals = np.column_stack((-edges[:, 1], edges[:, 0])) / np.hypot(*edges.T)[:, None]
    spans = hull @ normals.T
    return float((spans.max(axis=0) - spans.min(axis=0)).min())


def arc_strip(rng: random.Random, id_: str, roll_mm: float) -> Shape:
    """Arc strip that fits a roll so wide; redrawn until it does."""
    while True:
        width = sixteenths(rng.uniform(3, 4))
        radius = rng.uniform(12, 80) * INCH
        chord = rng.uniform(10, 60) * INCH
        if chord > 1.8 * radius:
            continue
        length = 2 * radius * math.asin(chord / 2 / radius)
        kind = rng.random()
        if kind < 0.15:
            line = [(length / 2, 1 / radius), (length / 2, -1 / radius)]
        elif kind < 0.35:
            end = rng.uniform(2, 8) * INCH
            line = [(end, 0.0), (length, 1 / radius), (end, 0.0)]
        else:
            line = [(length, 1 / radius)]
        ring = band(line, width)
        if _least_width(ring) <= roll_mm - 1.0 and shapely.Polygon(ring).is_valid:
            return Shape(id_, ring, square=False, may_flip=True)


def straight_set(seed: int) -> tuple[list[Shape], Stock]:
    rng = random.Random(f"straight {seed}")
    shapes = [
        strip(f"s{i}", sixteenths(rng.uniform(10, 96)), sixteenths(rng.uniform(2.5, 4.5)))
        for i in range(rng.randint(20, 120))
    ]
    return shapes, roll(24, shapes)


def curved_set(seed: int) -> tuple[list[Shape], Stock]:
    rng = random.Random(f"curved {seed}")
    width = rng.choice((10, 14, 20, 24))
    shapes = [arc_strip(rng, f"c{i}", width * INCH) for i in range(rng.randint(20, 60))]
    return shapes, roll(width, shapes)


def mixed_set(seed: int) -> tuple[list[Shape], Stock]:
    rng = random.Random(f"mixed {seed}")
    width = rng.choice((14, 20, 24))
    shapes = [arc_strip(rng, f"c{i}", width * INCH) for i in range(rng.randint(10, 30))]
    shapes += [
        strip(f"s{i}", sixteenths(rng.uniform(10, 96)), sixteenths(rng.uniform(2.5, 4.5)))
        for i in range(rng.randint(20, 60))
    ]
    return shapes, roll(width, shapes)


def roll(width_in: float, shapes: list[Shape]) -> Stock:
    """Roll of that width, long enough for any sensible nest of the blanks."""
    area = sum(s.quantity * shapely.Polygon(s.outline_mm).area for s in shapes)
    length = 4 * area / (width_in * INCH) + 4000
    return Stock(f"roll-{width_in:g}", width_in * INCH, length, 1.0, 0, None)
