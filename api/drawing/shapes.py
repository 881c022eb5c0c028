"""What a drawing is made of: paths and words with a meaning, in millimetres, y upward.

A drawing says what a line means, never how thick or which colour it is: that is left to the paper,
the file or the page that shows it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Literal

Point = tuple[float, float]

Meaning = Literal[
    "cut",
    "fold",
    "bend",
    "slit",
    "V-notch",
    "mold line",
    "clamp",
    "stock",
    "roll end",
    "offcut",
    "gone",
]
"""cut: the outline; bend: across the strip, round a sharp corner; mold line: where the metal leaves
the mold surface; clamp: middle of a clamp; stock: edge of a roll, sheet or offcut; roll end: where
the usable length begins and ends; gone: cut out of the stock before."""


@dataclass(frozen=True)
class Path:
    """A polyline, or a ring that does not repeat its first point."""

    meaning: Meaning
    points: tuple[Point, ...]
    closed: bool = False
    of: str = ""
    """Id of the piece it belongs to, if any."""


@dataclass(frozen=True)
class Word:
    """Words whose middle stands at a point, turned by degrees."""

    text: str
    at: Point
    turn_deg: float = 0.0
    of: str = ""


@dataclass(frozen=True)
class Drawing:
    """Paths and words, and a name."""

    name: str
    paths: tuple[Path, ...]
    words: tuple[Word, ...] = ()

    def of_meaning(self, *meanings: Meaning) -> tuple[Path, ...]:
        """Return the paths with one of these meanings."""
        return tuple(path for path in self.paths if path.meaning in meanings)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Least x, least y, greatest x, greatest y of all paths."""
        return box_of(point for path in self.paths for point in path.points)


def box_of(points: Iterable[Point]) -> tuple[float, float, float, float]:
    """Return least x, least y, greatest x, greatest y; raises ValueError without points."""
    listed = list(points)
    xs, ys = [x for x, _ in listed], [y for _, y in listed]
    return min(xs), min(ys), max(xs), max(ys)


@dataclass(frozen=True)
class Pose:
    """Flipped (y to -y) first, then turned about the origin, then moved."""

    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0
    flipped: bool = False

    def point(self, at: Point) -> Point:
        """Return where a point comes to lie."""
        x, y = at
        if self.flipped:
            y = -y
        # exact quarter turns keep straight blanks square to the stock
        cos, sin = _cos_sin(self.turn_deg)
        return (x * cos - y * sin + self.x_mm, x * sin + y * cos + self.y_mm)


def _cos_sin(turn_deg: float) -> tuple[float, float]:
    quarter = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}
    turn = turn_deg % 360.0
    if turn in quarter:
        return quarter[turn]
    return math.cos(math.radians(turn)), math.sin(math.radians(turn))


def posed(drawing: Drawing, pose: Pose) -> Drawing:
    """Return the drawing flipped, turned and moved; words stay readable from below or the right."""
    return Drawing(
        drawing.name,
        tuple(_each_point(path, pose.point) for path in drawing.paths),
        tuple(
            replace(
                word,
                at=pose.point(word.at),
                turn_deg=upright(
                    (-word.turn_deg if pose.flipped else word.turn_deg) + pose.turn_deg
                ),
            )
            for word in drawing.words
        ),
    )


def _each_point(path: Path, move: Callable[[Point], Point]) -> Path:
    return replace(path, points=tuple(move(point) for point in path.points))


def upright(turn_deg: float) -> float:
    """Return the same slope within -90 < turn <= 90, so that words do not stand on their head."""
    turn = (turn_deg + 180.0) % 360.0 - 180.0
    if turn > 90.0 + 1e-9:
        return turn - 180.0
    if turn <= -90.0 + 1e-9:
        return turn + 180.0
    return turn
