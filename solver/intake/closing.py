"""Whether a closed walk comes back to where it began, and where to measure again if not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from solver.data.line import Line
from solver.geometry.frames import NodeCurvatures, rotations, walk_frames

Floats = NDArray[np.float64]

GAP_SHARE = 0.01
LEAST_GAP_MM = 2.54
"""A loop closes within 1 % of its length or 0.1 in, whichever is more [practice]."""
TURN_SLACK_DEG = 3.6
"""And its turns within 1 % of a whole turn."""
BENT_GAP_SHARE = 0.05
BENT_SLACK_DEG = 30.0
"""Where it also turns the hard way a tape cannot tell the twist, so only the gross is refused: a
rectangle of 30 in × 16 in on a cylinder of 20 in ends 1.1 % and 7° off without it [derived]."""
_STEP_RAD = 0.1
_MOST_STEPS = 400
_ALONG = math.cos(math.radians(20))
"""A stretch runs along the gap if it lies within 20° of it."""


@dataclass(frozen=True)
class Closing:
    """How a closed walk ends: its turn in the surface, the gap, and the stretches along the gap."""

    turn_deg: float
    gap_mm: float
    twisted_deg: float
    """Angle between the walker's frames at the start and at the end."""
    along: tuple[int, ...]
    """Straight stretches that run along the gap, where a wrong length would make it."""

    bent: bool
    """Whether it turns the hard way without a known twist."""

    def closes(self, length_mm: float) -> bool:
        """Whether the walk comes back within what a tape can tell."""
        share, slack_deg = (
            (BENT_GAP_SHARE, BENT_SLACK_DEG) if self.bent else (GAP_SHARE, TURN_SLACK_DEG)
        )
        return self.gap_mm <= max(share * length_mm, LEAST_GAP_MM) and self.twisted_deg <= slack_deg


def closing_of(line: Line) -> Closing:
    """Walk a line in space from its start to its end."""
    position, frame = np.zeros(3), np.eye(3)
    corners = sorted(line.corners, key=lambda corner: corner.station_mm)
    headings: list[tuple[bool, Floats]] = []
    station_mm = 0.0
    turn_deg = sum(corner.easy_deg for corner in corners)
    for stretch in line.stretches:
        while corners and corners[0].station_mm <= station_mm + 1e-6:
            corner = corners.pop(0)
            frame = frame @ _turn(corner.easy_deg, corner.hard_deg)
        easy = (stretch.easy_start, stretch.easy_end)
        hard = (stretch.hard_start, stretch.hard_end)
        turn_deg += math.degrees(sum(easy) / 2 * stretch.length_mm)
        start = frame[:, 0]
        turned = _Turning(easy, hard, stretch.twist_per_mm).walked(stretch.length_mm)
        position = position + frame @ turned[0]
        frame = frame @ turned[1]
        straight = not any((*easy, *hard))
        headings.append((straight, start))
        station_mm += stretch.length_mm
    for corner in corners:
        frame = frame @ _turn(corner.easy_deg, corner.hard_deg)
    gap_mm = float(np.linalg.norm(position))
    cosine = (float(np.trace(frame)) - 1) / 2
    return Closing(
        turn_deg=turn_deg,
        gap_mm=gap_mm,
        twisted_deg=math.degrees(math.acos(min(1.0, max(-1.0, cosine)))),
        along=_along(position, gap_mm, headings),
        bent=any(s.hard_start or s.hard_end for s in line.stretches)
        and not any(s.twist_per_mm for s in line.stretches),
    )


@dataclass(frozen=True)
class _Turning:
    """Curvatures at both ends of a stretch, and its twist, 1/mm."""

    easy: tuple[float, float]
    hard: tuple[float, float]
    twist: float

    def walked(self, length_mm: float) -> tuple[Floats, Floats]:
        """Return how far the walker comes and how the frame turns, in the frame of the start."""
        if self.easy[0] == self.easy[1] and self.hard[0] == self.hard[1]:
            return self._helix(length_mm)
        steepest = max(math.hypot(*pair) for pair in zip(self.easy, self.hard, strict=True))
        turn = (steepest + abs(self.twist)) * length_mm
        steps = min(max(1, math.ceil(turn / _STEP_RAD)), _MOST_STEPS)
        share = np.linspace(0.0, 1.0, steps + 1)
        walk = walk_frames(
            share * length_mm,
            NodeCurvatures(
                self.easy[0] + share * (self.easy[1] - self.easy[0]),
                self.hard[0] + share * (self.hard[1] - self.hard[0]),
                np.full(steps, self.twist),
            ),
            np.zeros(3),
            np.eye(3),
        )
        return walk.points[-1], walk.frames[-1]

    def _helix(self, length_mm: float) -> tuple[Floats, Floats]:
        """With even curvatures the walk is a helix about the Darboux vector (Rodrigues)."""
        turn = np.array([self.twist, -self.hard[0], self.easy[0]]) * length_mm
        angle = float(np.linalg.norm(turn))
        tangent = np.array([length_mm, 0.0, 0.0])
        if angle < 1e-9:
            return tangent, np.eye(3)
        axis = turn / angle
        along = axis * (axis[0] * length_mm)
        across = tangent - along
        around = np.cross(axis, across)
        moved: Floats = (
            along + across * (math.sin(angle) / angle) + around * ((1 - math.cos(angle)) / angle)
        )
        return moved, rotations(turn[None, :])[0]


def _turn(easy_deg: float, hard_deg: float) -> Floats:
    turned: Floats = rotations(np.radians([[0.0, -hard_deg, easy_deg]]))[0]
    return turned


def _along(gap: Floats, gap_mm: float, headings: Sequence[tuple[bool, Floats]]) -> tuple[int, ...]:
    if gap_mm < 1e-9:
        return ()
    way = gap / gap_mm
    return tuple(
        index
        for index, (straight, heading) in enumerate(headings)
        if straight and abs(float(heading @ way)) >= _ALONG
    )
