"""Twist of a strip: what it strains, and how it is read from frames.

A strip that twists is not developable, so its flat blank is only nearly right.  A line at height h
above the root runs sqrt(1 + (twist h)^2) times as long as the root, a strain of (twist h)^2 / 2
(small angles; Timoshenko, *Strength of Materials* II, torsion of thin strips).  0.07 % is nothing,
2 % will not fit [practice].
"""

from __future__ import annotations

import numpy as np

from solver.data.line import Line
from solver.geometry.lines import Floats, sub_line


def strain_of_twist(twist_per_mm: float, height_mm: float) -> float:
    """Strain (a ratio) of the free edge at a height above the root line: (twist h)^2 / 2."""
    return 0.5 * (twist_per_mm * height_mm) ** 2


def free_edge_strain(line: Line, start_mm: float, end_mm: float, height_mm: float) -> float:
    """Largest strain (a ratio) of the free edge of a piece.

    Raises ValueError for stations off the line.
    """
    twist = sub_line(line, start_mm, end_mm).curvature_table[:, 4]
    return strain_of_twist(float(np.abs(twist).max()), height_mm)


def twist_of_frames(points_mm: Floats, ups: Floats) -> Floats:
    """Mean twist (n - 1,) in radians per mm between neighbouring frames.

    ``points_mm`` (n, 3) along the line, ``ups`` (n, 3) unit vectors toward the free edge there.
    Each up is carried to the next point without twist by the smallest turn that takes one chord
    direction into the next (parallel transport); what is left is twist, positive when the left hand
    rises.  Second order in the spacing.

    Raises ValueError for fewer than two points or points that coincide.
    """
    if len(points_mm) < 2:
        raise ValueError(f"{len(points_mm)} point has no twist; give two or more")
    chord = np.diff(points_mm, axis=0)
    length = np.linalg.norm(chord, axis=1)
    if bool(np.any(length <= 0.0)):
        at = int(np.argmin(length))
        raise ValueError(f"points {at} and {at + 1} coincide; leave one out")
    along = chord / length[:, None]
    tangent = np.empty_like(points_mm)
    tangent[0], tangent[-1] = along[0], along[-1]
    if len(points_mm) > 2:
        # circle through three neighbours: chords weighted by the other one's length
        mixed = along[:-1] * length[1:, None] + along[1:] * length[:-1, None]
        tangent[1:-1] = mixed / np.linalg.norm(mixed, axis=1)[:, None]
        # tangents at the ends by reflection in the chord, exact on a circle
        tangent[0] = 2.0 * float(tangent[1] @ along[0]) * along[0] - tangent[1]
        tangent[-1] = 2.0 * float(tangent[-2] @ along[-1]) * along[-1] - tangent[-2]
    across = ups - np.sum(ups * tangent, axis=1)[:, None] * tangent
    across /= np.linalg.norm(across, axis=1)[:, None]
    here, there = tangent[:-1], tangent[1:]
    axis = np.cross(here, there)
    share = 1.0 / (1.0 + np.sum(here * there, axis=1))
    carried = across[:-1]
    # Rodrigues: the smallest turn from here to there
    carried = (
        carried * np.sum(here * there, axis=1)[:, None]
        + np.cross(axis, carried)
        + axis * (np.sum(axis * carried, axis=1) * share)[:, None]
    )
    # left is up x tangent, and twist turns up away from it: d up = -twist * left
    left = np.cross(across[1:], there)
    turned = np.arctan2(np.sum(carried * left, axis=1), np.sum(carried * across[1:], axis=1))
    twist: Floats = turned / length
    return twist
