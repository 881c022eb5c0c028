"""Directions in words: "up", "left 10 up" (left, leaning 10° up), "up 30 front left"."""

from __future__ import annotations

import math
import re

import numpy as np

from solver.data.errors import did_you_mean
from solver.data.job import Vector

WORDS: dict[str, Vector] = {
    "front": (1.0, 0.0, 0.0),
    "rear": (-1.0, 0.0, 0.0),
    "left": (0.0, 1.0, 0.0),
    "right": (0.0, -1.0, 0.0),
    "up": (0.0, 0.0, 1.0),
    "down": (0.0, 0.0, -1.0),
}
_EXAMPLE = 'write it as "up", "left 10 up" or [0, 1, 0]'
_MOST_LEANS = 2


class DirectionError(ValueError):
    """Words that name no direction; the message is the remedy."""


def unit(vector: Vector) -> Vector:
    """Return the vector scaled to length 1; it must not be zero."""
    length = math.sqrt(sum(x * x for x in vector))
    x, y, z = (0.0 if abs(part) < 1e-15 * length else part / length for part in vector)
    return (x, y, z)


def dot(one: Vector, other: Vector) -> float:
    """Return the scalar product."""
    return sum(a * b for a, b in zip(one, other, strict=True))


def cross(one: Vector, other: Vector) -> Vector:
    """Return the vector product."""
    (a, b, c), (x, y, z) = one, other
    return (b * z - c * y, c * x - a * z, a * y - b * x)


def angle_deg(one: Vector, other: Vector) -> float:
    """Return the angle between two unit vectors in degrees."""
    crossed = cross(one, other)
    return math.degrees(math.atan2(math.sqrt(dot(crossed, crossed)), dot(one, other)))


def read_direction(words: str | Vector) -> Vector:
    """Return the unit vector (front, left, up) of some words or of three numbers.

    The first word is the direction; each angle after it leans it toward the word or two words that
    follow.  Raises DirectionError.
    """
    if not isinstance(words, str):
        return unit(words)
    parts = words.split()
    if not parts:
        raise DirectionError(_EXAMPLE)
    direction = _word(parts[0])
    groups = _leans(parts[1:])
    for lean_deg, toward in groups:
        across = _across(direction, toward)
        if across is None:
            raise DirectionError(f'"{parts[0]}" cannot lean that way; {_EXAMPLE}')
        cos, sin = math.cos(math.radians(lean_deg)), math.sin(math.radians(lean_deg))
        x, y, z = (cos * d + sin * a for d, a in zip(direction, across, strict=True))
        direction = unit((x, y, z))
    return direction


def _word(word: str) -> Vector:
    try:
        return WORDS[word]
    except KeyError:
        hint = did_you_mean(word, WORDS)
        raise DirectionError(hint or _EXAMPLE) from None


def _leans(parts: list[str]) -> list[tuple[float, Vector]]:
    groups: list[tuple[float, Vector]] = []
    rest = parts
    while rest:
        if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,6})?", rest[0]):
            _word(rest[0])
            raise DirectionError(f'say by how many degrees, such as "left 45 {rest[0]}"')
        lean_deg = float(rest[0])
        if lean_deg > 90:
            raise DirectionError("a direction leans by at most 90 degrees")
        count = next((i for i, part in enumerate(rest[1:]) if part[0].isdigit()), len(rest) - 1)
        if not 1 <= count <= 2:
            raise DirectionError(f"say where it leans to; {_EXAMPLE}")
        toward = [_word(part) for part in rest[1 : 1 + count]]
        x, y, z = (sum(axis) for axis in zip(*toward, strict=True))
        if not (x or y or z):
            raise DirectionError(f"say where it leans to; {_EXAMPLE}")
        groups.append((lean_deg, unit((x, y, z))))
        rest = rest[1 + count :]
    if len(groups) > _MOST_LEANS:
        raise DirectionError("a direction leans at most twice; give [x, y, z] instead")
    return groups


def _across(direction: Vector, toward: Vector) -> Vector | None:
    along = dot(direction, toward)
    x, y, z = (t - along * d for t, d in zip(toward, direction, strict=True))
    if x * x + y * y + z * z < 1e-12:
        return None
    return unit((x, y, z))


def mean_direction(vectors: tuple[Vector, ...]) -> Vector | None:
    """Return the unit vector of the sum; None where the vectors cancel out."""
    total = np.sum(np.array(vectors, dtype=float), axis=0) if vectors else np.zeros(3)
    if float(np.linalg.norm(total)) < 1e-6 * max(len(vectors), 1):
        return None
    return unit((float(total[0]), float(total[1]), float(total[2])))


def flipped_across(vector: Vector) -> Vector:
    """Return the vector mirrored on the plane between left and right (y changes its sign)."""
    return (vector[0], 0.0 - vector[1], vector[2])
