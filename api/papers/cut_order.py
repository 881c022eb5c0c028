"""The order in which stock is cut: straight from edge to edge while that can be done.

Each straight cut parts the stock in two along a line that touches no blank and no offcut to keep,
and lies at the outward mark of what stands before it.  Of the cuts that can be made the shortest
comes first: across a roll before along it.  What no straight cut parts is cut along its outlines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from api.papers.shop_sizes import ShopSizes

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Item:
    """A blank or an offcut and the box it fills: least x, least y, greatest x, greatest y."""

    name: str
    box: Box
    offcut: bool = False


@dataclass(frozen=True)
class StraightCut:
    """A cut from edge to edge: across at a station along the stock, or along at a height."""

    way: Literal["across", "along"]
    mark: int
    frees: tuple[str, ...]
    """What comes away alone by this cut, ready but for trimming."""


@dataclass(frozen=True)
class OutlineCut:
    """Blanks that are cut along their outlines, in order from the end of the stock."""

    names: tuple[str, ...]


def cut_order(items: Sequence[Item], sizes: ShopSizes) -> tuple[StraightCut | OutlineCut, ...]:
    """Return the cuts of one unit of stock, first to last."""
    steps: list[StraightCut | OutlineCut] = []
    _part(list(items), sizes, steps)
    return tuple(steps)


def _part(items: list[Item], sizes: ShopSizes, steps: list[StraightCut | OutlineCut]) -> None:
    if not items or all(item.offcut for item in items):
        return
    if len(items) == 1:
        return
    splits = [split for axis in (0, 1) if (split := _split(items, axis)) is not None]
    if not splits:
        blanks = sorted((item for item in items if not item.offcut), key=lambda item: item.box)
        steps.append(OutlineCut(tuple(item.name for item in blanks)))
        return

    def size(split: tuple[int, list[Item], list[Item]]) -> float:
        axis = split[0]
        other = 1 - axis
        return max(i.box[other + 2] for i in items) - min(i.box[other] for i in items)

    axis, before, after = min(splits, key=size)
    alone = tuple(item.name for group in (before, after) if len(group) == 1 for item in group)
    ends = [item.box[axis + 2] for item in before if not item.offcut]
    # at the outward mark of the blanks before it; where only an offcut stands there, of those after
    mark = sizes.up(max(ends)) if ends else sizes.down(min(i.box[axis] for i in after))
    steps.append(StraightCut("across" if axis == 0 else "along", mark, alone))
    _part(before, sizes, steps)
    _part(after, sizes, steps)


def _split(items: list[Item], axis: int) -> tuple[int, list[Item], list[Item]] | None:
    """Return the first straight line across an axis that touches nothing, and what it parts."""
    ordered = sorted(items, key=lambda item: item.box[axis])
    reach = ordered[0].box[axis + 2]
    for n, item in enumerate(ordered[1:], start=1):
        if item.box[axis] >= reach - 1e-6:
            return axis, ordered[:n], ordered[n:]
        reach = max(reach, item.box[axis + 2])
    return None
