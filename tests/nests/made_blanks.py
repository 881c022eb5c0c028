"""Blanks made for tests: straight and arc strips, lengths in mm, and rooms cut into rectangles."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

from solver.nests.lanes import Box, Put, Room
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


def cut_apart(rng: random.Random, room: Room, least: int) -> list[tuple[int, int]]:
    """Sizes that a room is cut into by straight cuts from side to side, none under a least side."""
    waiting, sizes = [(room.length, room.width)], list[tuple[int, int]]()
    while waiting:
        long, wide = waiting.pop()
        ways = [k for k, side in enumerate((long, wide)) if side >= 2 * least]
        if not ways or (long * wide < 8 * least * least and rng.random() < 0.5):
            sizes.append((long, wide))
        elif rng.choice(ways) == 0:
            at = rng.randint(least, long - least)
            waiting += [(at, wide), (long - at, wide)]
        else:
            at = rng.randint(least, wide - least)
            waiting += [(long, at), (long, wide - at)]
    return sizes


def three_rooms(seed: int) -> tuple[list[Room], list[tuple[int, int]]]:
    """Three rooms, and the sizes of blanks that they are cut into without waste."""
    rng = random.Random(seed)
    rooms = [Room(60, 14), Room(48, 18), Room(40, 10)]
    sizes = [size for room in rooms for size in cut_apart(rng, room, 5)]
    rng.shuffle(sizes)
    return rooms, sizes


def lie_apart(boxes: Sequence[Box], rooms: Sequence[Room], puts: Sequence[Put]) -> bool:
    """Whether blanks lie within their rooms and none over another, cell by cell."""
    taken = set[tuple[int, int, int]]()
    for room, x, y, b in puts:
        end, top = x + boxes[b].length, y + boxes[b].width
        if min(x, y) < 0 or end > rooms[room].length or top > rooms[room].width:
            return False
        cells = {(room, i, j) for i in range(x, end) for j in range(y, top)}
        if cells & taken:
            return False
        taken |= cells
    return True
