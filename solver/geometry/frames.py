"""A line in space: positions and frames from its curvatures.

Integrates the frame equations of ``lines`` by the fourth-order Magnus method (Iserles & Norsett,
*On the solution of linear differential equations in Lie groups*, 1999), which keeps every frame
square to rounding, and positions by the corrected trapezoid rule, also of fourth order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from solver.geometry.lines import Floats


@dataclass(frozen=True)
class Walk:
    """A walk in space at g nodes: positions (g, 3) mm and frames (g, 3, 3).

    The columns of a frame are tangent, left and up.
    """

    points: Floats
    frames: Floats


@dataclass(frozen=True)
class NodeCurvatures:
    """Curvatures in 1/mm, linear between g nodes; twist constant from node to node (g - 1,)."""

    easy: Floats
    hard: Floats
    twist: Floats


def walk_frames(
    nodes_mm: Floats, curvatures: NodeCurvatures, start_mm: Floats, start_frame: Floats
) -> Walk:
    """Walk from a position (3,) with a frame (3, 3) along ascending nodes (g,).

    Steps should turn by 0.2 rad or less; the error of a step then is below 1e-6 of its length.
    """
    step = np.diff(nodes_mm)
    easy, hard, twist = curvatures.easy, curvatures.hard, curvatures.twist
    # Darboux vector in the walker's own frame: (twist, -hard, easy)
    shift = 0.5 / np.sqrt(3.0)
    early, late = 0.5 - shift, 0.5 + shift
    first = np.stack((twist, -_between(hard, early), _between(easy, early)), axis=1)
    second = np.stack((twist, -_between(hard, late), _between(easy, late)), axis=1)
    omega = 0.5 * step[:, None] * (first + second)
    omega += (np.sqrt(3.0) / 12.0) * (step**2)[:, None] * np.cross(first, second)
    turns = rotations(omega)
    frames = np.empty((len(nodes_mm), 3, 3))
    frames[0] = start_frame
    for index in range(len(step)):
        frames[index + 1] = frames[index] @ turns[index]
    tangent = frames[:, :, 0]
    bend = easy[:, None] * frames[:, :, 1] + hard[:, None] * frames[:, :, 2]
    moved = 0.5 * step[:, None] * (tangent[1:] + tangent[:-1])
    moved += (step**2 / 12.0)[:, None] * (bend[:-1] - bend[1:])
    points = np.concatenate((start_mm[None, :], start_mm + np.cumsum(moved, axis=0)))
    return Walk(points, frames)


def _between(values: Floats, share: float) -> Floats:
    mixed: Floats = values[:-1] + share * (values[1:] - values[:-1])
    return mixed


def rotations(vectors: Floats) -> NDArray[np.float64]:
    """Rotation matrices (n, 3, 3) of rotation vectors (n, 3) in radians (Rodrigues)."""
    angle = np.linalg.norm(vectors, axis=1)
    small = angle < 1e-6
    safe = np.where(small, 1.0, angle)
    sine = np.where(small, 1.0 - angle**2 / 6.0, np.sin(safe) / safe)
    versine = np.where(small, 0.5 - angle**2 / 24.0, (1.0 - np.cos(safe)) / safe**2)
    cross = np.zeros((len(vectors), 3, 3))
    cross[:, 0, 1], cross[:, 0, 2] = -vectors[:, 2], vectors[:, 1]
    cross[:, 1, 0], cross[:, 1, 2] = vectors[:, 2], -vectors[:, 0]
    cross[:, 2, 0], cross[:, 2, 1] = -vectors[:, 1], vectors[:, 0]
    turned: NDArray[np.float64] = (
        np.eye(3) + sine[:, None, None] * cross + versine[:, None, None] * (cross @ cross)
    )
    return turned
