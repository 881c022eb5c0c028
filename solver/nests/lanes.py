"""Straight blanks laid square, side by side in lanes along the stock.

A layout grows from the start of the unit: the leftmost notch of its front takes a blank or is given
up and raised to its nearer neighbour. A beam keeps the most promising fronts, those that have lost
least metal for what they hold. A notch prefers blanks that fill it exactly or leave a width that
other widths of the job add up to, and long ones before short ones, since short ones even out the
ragged end. Whole units of length: 1/16 in, the gap added to blanks and stock; finer where the
sizes ask for it. Blanks round up, stock rounds down.
"""

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from solver.data.until import FOREVER, Until
from solver.nests.shapes import Placement, Shape, Stock, usable_region

UNIT_MM = 25.4 / 16
FINE_UNIT_MM = 0.0125
"""1/127 of 1/16 in and 1/8 of 0.1 mm: whole for sizes in either measure."""
MOST_OF_A_KIND = 255

Front = tuple[tuple[int, int, int], ...]
Put = tuple[int, int, int, int]
"""Room, x, y and index of a box; index -1 for none."""


@dataclass(frozen=True)
class Box:
    """A straight blank in whole units, gap included: `length` along the stock, `width` across it.

    `kind` is the index of the blank; `turned` when it lies a quarter turn from its outline.
    """

    kind: int
    length: int
    width: int
    turned: bool


@dataclass(frozen=True)
class Room:
    """A rectangle of stock in whole units, gap included."""

    length: int
    width: int


@dataclass(frozen=True, slots=True)
class _Node:
    """A front of segments (x, y, width) by rising y in one room, and how many of each kind remain.

    `lost` is the area given up behind the front, `held` that of the boxes laid, `guide` what the
    beam sorts by.
    """

    guide: float
    lost: int
    held: int
    room: int
    front: Front
    left: bytes
    parent: "_Node | None"
    put: Put


@dataclass(eq=False)
class _Job:
    boxes: Sequence[Box]
    ranks: Sequence[int]
    areas: Sequence[int]
    lengths: Sequence[int]
    total: int
    rooms: Sequence[Room]
    fill: Sequence[int]
    taste: Sequence[float]
    window: int
    ranked: dict[int, list[int]] = field(default_factory=dict)

    def ranking(self, notch: int) -> list[int]:
        """Boxes that fit a notch, best first."""
        order = self.ranked.get(notch)
        if order is None:
            fitting = [k for k, box in enumerate(self.boxes) if box.width <= notch]
            order = sorted(fitting, key=lambda k: self._dislike(k, notch))
            self.ranked[notch] = order
        return order

    def _dislike(self, k: int, notch: int) -> float:
        box = self.boxes[k]
        rest = notch - box.width
        return 4.0 * (rest - self.fill[rest]) / box.width - self.taste[k]


def is_box(shape: Shape) -> bool:
    """Whether a blank is a rectangle laid square, its sides along the axes."""
    if not shape.square or len(shape.outline_mm) != 4:
        return False
    xy = np.asarray(shape.outline_mm)
    low, high = xy.min(axis=0), xy.max(axis=0)
    return bool(np.all((np.abs(xy - low) < 1e-9) | (np.abs(xy - high) < 1e-9)))


def size_mm(shape: Shape) -> tuple[float, float]:
    """Extent of a blank along x and y."""
    xy = np.asarray(shape.outline_mm)
    extent = xy.max(axis=0) - xy.min(axis=0)
    return float(extent[0]), float(extent[1])


def whole_unit_mm(shapes: Sequence[Shape], gap_mm: float) -> float:
    """1/16 in if all sizes are whole sixteenths with the gap added, else the fine unit."""
    for shape in shapes:
        for side in size_mm(shape):
            value = (side + gap_mm) / UNIT_MM
            if abs(value - round(value)) > 1e-4:
                return FINE_UNIT_MM
    return UNIT_MM


def make_boxes(shapes: Sequence[Shape], gap_mm: float, unit_mm: float) -> list[Box]:
    """Boxes of rectangular blanks, each way they may lie."""
    boxes: list[Box] = []
    for kind, shape in enumerate(shapes):
        length, width = (math.ceil((side + gap_mm) / unit_mm - 1e-6) for side in size_mm(shape))
        boxes.append(Box(kind, length, width, False))
        if length != width:
            boxes.append(Box(kind, width, length, True))
    return boxes


def make_room(stock: Stock, gap_mm: float, unit_mm: float) -> Room:
    """Room of a rectangular unit of stock."""
    low_x, low_y, high_x, high_y = shapely.bounds(usable_region(stock)).tolist()
    return Room(
        int((high_x - low_x + gap_mm) / unit_mm + 1e-6),
        int((high_y - low_y + gap_mm) / unit_mm + 1e-6),
    )


def beam(
    boxes: Sequence[Box],
    counts: Sequence[int],
    rooms: Sequence[Room],
    width: int,
    rng: random.Random,
    until: Until = FOREVER,
    branches: int = 5,
    window: int = 12,
) -> tuple[list[Put], bool]:
    """Lay boxes into rooms one after the other.

    `counts` are the numbers of each kind, at most 255. `width` is the number of fronts kept.
    Returns the puts of the front that left out least area and, among equals, ended earliest; and
    whether it was cut short.
    """
    longest_side = [0] * len(counts)
    for box in boxes:
        longest_side[box.kind] = max(longest_side[box.kind], box.length)
    by_length = sorted(range(len(counts)), key=lambda kind: -longest_side[kind])
    rank = {kind: r for r, kind in enumerate(by_length)}
    ranks = [rank[box.kind] for box in boxes]
    areas = [0] * len(counts)
    for k, box in enumerate(boxes):
        areas[ranks[k]] = box.length * box.width
    left = bytes(counts[kind] for kind in by_length)
    taste = [rng.uniform(0.85, 1.15) * box.length / longest_side[by_length[0]] for box in boxes]
    fill = fillable([box.width for box in boxes], max((r.width for r in rooms), default=0))
    total = sum(area * count for area, count in zip(areas, left, strict=True))
    lengths = [longest_side[kind] for kind in by_length]
    job = _Job(boxes, ranks, areas, lengths, total, rooms, fill, taste, window)
    front: Front = ((0, 0, rooms[0].width),) if rooms else ()
    level = [_Node(0.0, 0, 0, 0, front, left, None, (0, 0, 0, -1))]
    best, best_value = level[0], (math.inf, math.inf)
    cut = False
    while level and not cut:
        cut = until.over()
        grown: dict[tuple[int, Front, bytes], _Node] = {}
        for node in level:
            children = [] if cut else _grow(job, node, branches)
            if not children:
                ends = max((x for x, _, _ in node.front), default=0)
                value = (float(-node.held), node.room * 1e9 + ends)
                if value < best_value:
                    best, best_value = node, value
            for child in children:
                key = (child.room, child.front, child.left)
                known = grown.get(key)
                if known is None or child.guide < known.guide:
                    grown[key] = child
        level = sorted(grown.values(), key=lambda node: node.guide)[:width]
    return _puts(best), cut


def _puts(node: _Node) -> list[Put]:
    puts: list[Put] = []
    at: _Node | None = node
    while at is not None:
        if at.put[3] >= 0:
            puts.append(at.put)
        at = at.parent
    return puts[::-1]


def fillable(widths: Sequence[int], most: int) -> list[int]:
    """For every width up to `most`, the largest sum of the given widths that it holds."""
    reach, full = 1, (1 << (most + 1)) - 1
    for w in sorted(set(widths)):
        step = w
        while step <= most:  # 0, 1, 2, 4 ... copies more: every number of copies is met
            reach |= (reach << step) & full
            step *= 2
    as_bytes = np.frombuffer(reach.to_bytes(most // 8 + 1, "little"), dtype=np.uint8)
    reached = np.unpackbits(as_bytes, bitorder="little")[: most + 1]
    largest: list[int] = np.maximum.accumulate(np.arange(most + 1) * reached).tolist()
    return largest


def _grow(job: _Job, node: _Node, branches: int) -> list[_Node]:
    """Fronts that follow from putting one more box into the leftmost notch that holds one."""
    room_index, front, lost, left = node.room, list(node.front), node.lost, node.left
    if not any(left):
        return []
    boxes, ranks = job.boxes, job.ranks
    remaining = [r for r, number in enumerate(left) if number][: job.window]
    last = remaining[-1]  # ranks up to this one are among the longest that remain
    while room_index < len(job.rooms):
        room = job.rooms[room_index]
        k = front.index(min(front))
        x, y, h = front[k]
        below = front[k - 1][0] if k else room.length
        above = front[k + 1][0] if k + 1 < len(front) else room.length
        space = room.length - x
        children: list[_Node] = []
        for b in job.ranking(h):
            box = boxes[b]
            r = ranks[b]
            if r <= last and left[r] and box.length <= space:
                children.append(_put(job, node, room_index, front, lost, k, b, (below, above)))
                if len(children) >= branches:
                    break
        if children:
            return children
        level = min(below, above)
        lost += (level - x) * h
        front[k] = (level, y, h)
        front = _joined(front)
        if level == room.length and len(front) == 1:
            room_index += 1
            if room_index < len(job.rooms):
                front = [(0, 0, job.rooms[room_index].width)]
    return []


def _put(
    job: _Job,
    node: _Node,
    room_index: int,
    front: list[tuple[int, int, int]],
    lost: int,
    k: int,
    b: int,
    neighbours: tuple[int, int],
) -> _Node:
    box = job.boxes[b]
    below, above = neighbours
    x, y, h = front[k]
    end = x + box.length
    rest = h - box.width
    at = y
    if rest == 0:
        new = [(end, y, h)]
    elif abs(end - below) <= abs(end - above):
        new = [(end, y, box.width), (x, y + box.width, rest)]
    else:
        at = y + rest
        new = [(x, y, rest), (end, at, box.width)]
    rank = job.ranks[b]
    left = node.left[:rank] + bytes((node.left[rank] - 1,)) + node.left[rank + 1 :]
    held = node.held + job.areas[rank]
    doomed = lost + (rest - job.fill[rest]) * box.length
    grown = tuple(_joined(front[:k] + new + front[k + 1 :]))
    guide = job.total * (1.0 + doomed / held)
    if node.room + 1 == len(job.rooms) and held > job.total // 2:
        last = len(left) - len(left.lstrip(b"\0"))
        ends = max(grown)[0]
        if last < len(left):
            ends = max(ends, min(grown)[0] + job.lengths[last])
        guide = max(guide, ends * job.rooms[-1].width + 0.5 * (doomed * job.total / held))
    return _Node(guide, lost, held, room_index, grown, left, node, (room_index, x, at, b))


def _joined(front: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """Front with neighbouring segments of equal x joined."""
    result = [front[0]]
    for segment in front[1:]:
        if result[-1][0] == segment[0]:
            x, y, h = result[-1]
            result[-1] = (x, y, h + segment[2])
        else:
            result.append(segment)
    return result


def end_of(boxes: Sequence[Box], puts: Sequence[Put]) -> int:
    """Where the last blank of a room ends."""
    return max((x + boxes[b].length for _, x, _, b in puts), default=0)


def placements_of(
    shapes: Sequence[Shape],
    boxes: Sequence[Box],
    units: Sequence[Stock],
    puts: Sequence[Put],
    unit_mm: float,
) -> list[Placement]:
    """Placements of a beam's puts, their unit an index into `units`."""
    origins = [shapely.bounds(usable_region(stock)).tolist()[:2] for stock in units]
    placements: list[Placement] = []
    for room, x, y, b in puts:
        shape = shapes[boxes[b].kind]
        xy = np.asarray(shape.outline_mm)
        low_x, low_y = xy.min(axis=0).tolist()
        corner_x, corner_y = origins[room][0] + x * unit_mm, origins[room][1] + y * unit_mm
        if boxes[b].turned:  # (x, y) -> (-y, x): the lowest x is now that of the highest y
            move, turn = (corner_x + float(xy[:, 1].max()), corner_y - low_x), 90.0
        else:
            move, turn = (corner_x - low_x, corner_y - low_y), 0.0
        placements.append(Placement(shape.id, room, *move, turn, False))
    return placements


def fill_exactly(
    boxes: Sequence[Box], counts: Sequence[int], room: Room, most_nodes: int = 30_000
) -> list[Put] | None:
    """All boxes in one room by depth-first search, for jobs that nearly fill it; None if not found.

    In a full room some box has its corner in the lower corner of the leftmost notch: try each that
    fits, or give the notch up while the spare area allows. Three orders are tried, widest, largest
    and longest first, `most_nodes` notches each.
    """
    for key in (
        lambda box: (-box.width, -box.length),
        lambda box: (-box.width * box.length, -box.width),
        lambda box: (-box.length, -box.width),
    ):
        puts = _fill_in_order(boxes, counts, room, most_nodes, key)
        if puts is not None:
            return puts
    return None


def _fill_in_order(
    boxes: Sequence[Box],
    counts: Sequence[int],
    room: Room,
    most_nodes: int,
    key: Callable[[Box], tuple[int, int]],
) -> list[Put] | None:
    area = {box.kind: box.length * box.width for box in boxes}
    spare = room.length * room.width - sum(area[kind] * n for kind, n in enumerate(counts))
    if spare < 0:
        return None
    left = list(counts)
    order = sorted(range(len(boxes)), key=lambda k: key(boxes[k]))
    puts: list[Put] = []
    nodes = 0

    def search(front: list[tuple[int, int, int]], spare: int, missing: int) -> bool:
        nonlocal nodes
        if missing == 0:
            return True
        nodes += 1
        k = front.index(min(front))
        x, y, h = front[k]
        reach = 1  # sums of widths that remain: a notch that none fills costs at least a strip
        for box in boxes:
            if left[box.kind]:
                reach |= reach << box.width
        if h - (reach & ((1 << (h + 1)) - 1)).bit_length() + 1 > spare:
            return False
        seen: set[tuple[int, int]] = set()
        for b in order:
            box = boxes[b]
            size = (box.length, box.width)
            if not left[box.kind] or box.width > h or x + box.length > room.length or size in seen:
                continue
            seen.add(size)
            new = [(x + box.length, y, box.width)]
            if h > box.width:
                new.append((x, y + box.width, h - box.width))
            left[box.kind] -= 1
            puts.append((0, x, y, b))
            if search(_joined(front[:k] + new + front[k + 1 :]), spare, missing - 1):
                return True
            puts.pop()
            left[box.kind] += 1
            if nodes > most_nodes:
                return False
        level = min(
            front[k - 1][0] if k else room.length,
            front[k + 1][0] if k + 1 < len(front) else room.length,
        )
        lost = (level - x) * h
        if lost > spare or (level == room.length and len(front) == 1):
            return False
        raised = _joined([*front[:k], (level, y, h), *front[k + 1 :]])
        return search(raised, spare - lost, missing)

    return puts if search([(0, 0, room.width)], spare, sum(counts)) else None
