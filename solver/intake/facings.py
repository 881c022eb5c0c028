"""Joint facings: which way the second patch lies across a joint.

A taped path has no place in space, so the facing comes from ``toward``; for a loop from the facing
of the surface that it lies on (all round, square to it); from points; else from box centre to box
centre, which has been measured to be up to 44° off and is said to be a guess.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from solver.data.job import OPEN, Edge, Patch, Vector
from solver.intake.directions import cross, dot, mean_direction, unit

_ROUND = 16
"""Directions that stand for all round: a pull that leans by 0.51° is still seen to be blocked."""
_LEAST_SHARE = 0.2
"""Share of the way between box centres that must lie in the surface to say anything."""


def with_facings(edge: Edge, patches: Mapping[str, Patch], stands_on: str | None) -> Edge:
    """Return the edge with facings from its loop or from boxes where it has none yet."""
    if edge.second == OPEN or edge.facings:
        return edge
    normal = _normal(edge, patches, stands_on)
    if normal is not None and is_flat_loop(edge):
        return replace(edge, facings=_all_round(normal), facing_source="loop")
    guess = _between_boxes(edge, patches, normal)
    if guess is not None:
        return replace(edge, facings=(guess,), facing_source="boxes")
    return edge


def is_flat_loop(edge: Edge) -> bool:
    """Whether the edge closes by turning in the surface; a ring round a tube does not."""
    line = edge.line
    turn = sum((s.easy_start + s.easy_end) / 2 * s.length_mm for s in line.stretches)
    turn += sum(math.radians(corner.easy_deg) for corner in line.corners)
    return line.closed and abs(turn) > math.pi


def _normal(edge: Edge, patches: Mapping[str, Patch], stands_on: str | None) -> Vector | None:
    names = [stands_on] if stands_on is not None else [edge.first, edge.second]
    means = [mean_direction(patches[name].facings) for name in names]
    return mean_direction(tuple(mean for mean in means if mean is not None))


def _all_round(normal: Vector) -> tuple[Vector, ...]:
    x, y, z = (abs(part) for part in normal)
    least = min(x, y, z)
    helper: Vector = (1.0, 0.0, 0.0) if x == least else (0.0, 1.0, 0.0)
    if x != least and y != least:
        helper = (0.0, 0.0, 1.0)
    one = unit(cross(normal, helper))
    other = cross(normal, one)
    found = []
    for step in range(_ROUND):
        cos, sin = (f(2 * math.pi * step / _ROUND) for f in (math.cos, math.sin))
        a, b, c = (cos * p + sin * q for p, q in zip(one, other, strict=True))
        found.append(unit((a, b, c)))
    return tuple(found)


def _between_boxes(
    edge: Edge, patches: Mapping[str, Patch], normal: Vector | None
) -> Vector | None:
    first, second = patches[edge.first].box_mm, patches[edge.second].box_mm
    if first is None or second is None:
        return None
    x, y, z = ((s0 + s1 - f0 - f1) / 2 for f0, f1, s0, s1 in zip(*first, *second, strict=True))
    way: Vector = (x, y, z)
    if normal is not None:
        along = dot(way, normal)
        x, y, z = (w - along * n for w, n in zip(way, normal, strict=True))
        if dot((x, y, z), (x, y, z)) > (_LEAST_SHARE**2) * dot(way, way):
            way = (x, y, z)
    return unit(way) if dot(way, way) > 1e-6 else None


def facings_of_points(
    points_mm: NDArray[np.float64], normals: NDArray[np.float64], *, closed: bool
) -> tuple[Vector, ...]:
    """Return the facing at each measured point: to the right hand of the walker, n × tangent."""
    following = np.roll(points_mm, -1, axis=0) - points_mm
    coming = points_mm - np.roll(points_mm, 1, axis=0)
    tangents = following + coming
    if not closed:
        tangents[0], tangents[-1] = following[0], coming[-1]
    facings = np.cross(normals, tangents)
    return tuple(
        unit((float(x), float(y), float(z))) for x, y, z in facings if math.hypot(x, y, z) > 1e-9
    )
