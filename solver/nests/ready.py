"""Have what is compiled at hand before a clock runs: it takes long where it was never compiled."""

from __future__ import annotations

import random
import subprocess
from collections.abc import Callable

import numpy as np

from solver.models.second_process import second_process
from solver.nests.bed import make_bed, rooms_of, spots_of
from solver.nests.compiled import KEPT_IN
from solver.nests.dropping import drop_onto, droppable, poses_of
from solver.nests.fill import make_filling
from solver.nests.hopping import Ways, hop, lay_over
from solver.nests.lanes import Box, Room
from solver.nests.orders import lay_in_order, plain_order
from solver.nests.shapes import Placement, Shape, Stock
from solver.nests.wide_beam import Taste, blanks_of, fill, lay_all

NEEDED = (
    "boards.best_place",
    "boards.take",
    "dropping.drop_all",
    "fronts.offer",
    "fronts.take",
    "fronts.add_up_left",
    "fronts.must_lose",
    "hopping._search",
)
"""What the searches call, whichever is compiled last; ``_search`` takes in all that hops."""

BOX_MM = ((0.0, 0.0), (200.0, 0.0), (200.0, 50.0), (0.0, 50.0))
"""Outline of the blanks that are laid to have it compiled."""

LONGEST_SECONDS = 120.0
"""What a second process may take for its half, which takes it some 20 s."""


def is_compiled() -> bool:
    """Whether what these modules compile lies ready on disk, so that it is only to be loaded."""
    return KEPT_IN is not None and all(any(KEPT_IN.glob(f"*/{name}-*.nbi")) for name in NEEDED)


def compile_all() -> None:
    """Compile the searches for nests, or load them: each with a blank or two.

    Where they never were, a second process compiles one half meanwhile, on the second core.
    """
    second = None if is_compiled() else _second_process()
    lay_once()
    if second is not None:
        try:
            second.wait(LONGEST_SECONDS)
        except subprocess.TimeoutExpired:
            second.kill()
    hop_once()  # loaded if it was compiled by now


def _second_process() -> subprocess.Popen[bytes] | None:
    """A process that compiles what hops; None where it could keep nothing, or none can be had."""
    if KEPT_IN is None:
        return None
    return second_process(f"from {__name__} import hop_once; hop_once()")


def lay_once() -> None:
    """Call what lays blanks on cells and straight ones in lanes, and what drops them."""
    _lay_on_a_board()
    _lay_in_lanes()
    _drop_a_blank()


def _lay_on_a_board() -> None:
    shape = Shape("a", BOX_MM, square=True, may_flip=True, quantity=2)
    stock = Stock("roll", 60.0, 500.0, 1.0, 1, 0)
    filling = make_filling([shape], [stock], 1.0)
    lay_in_order(filling, plain_order(filling), random.Random(0))


def _lay_in_lanes() -> None:
    boxes = [Box(0, 40, 10, False), Box(1, 30, 10, False), Box(1, 10, 30, True)]
    blanks = blanks_of(boxes, 2)
    lay_all(blanks, [1, 1], [Room(50, 20)], 0, Taste(2, 2, 2))
    fill(blanks, [1, 1], [Room(50, 20)], 0, Taste(2, 2, 2), 1000)


def _drop_a_blank() -> None:
    blanks = droppable({"a": poses_of(Shape("a", BOX_MM, square=True, may_flip=True), 1.0)})
    stock = Stock("roll", 60.0, 500.0, 1.0, 1, 0)
    drop_onto(stock, ["a"], blanks, 1.0, np.random.default_rng(0))


def hop_once() -> None:
    """Call what eases and hops: two boxes where there is room for one."""
    shapes = [Shape(name, BOX_MM, square=False, may_flip=True) for name in ("a", "b")]
    bed = make_bed(shapes, 1.0)
    rooms, shift = rooms_of([(0.0, 0.0, 210.0, 52.0)])
    spots = spots_of(bed, [Placement(s.id, 0, 0.0, 1.0, 0.0, False) for s in shapes], shift)
    ways = Ways(
        np.array((0, 1, 2), dtype=np.int64),
        np.zeros(2),
        np.ones(2),
        np.ones(2, dtype=np.bool_),
        np.zeros(2),
        np.ones(2),
        np.array(((1,), (0,)), dtype=np.int64),
    )
    rng = np.random.default_rng(0)
    hop(bed, lay_over(bed, spots, rooms, ways, 0, rng), rooms, ways, 1, rng)


def get_ready(tell: Callable[[], None]) -> None:
    """Compile where that was never done, and tell so before."""
    if not is_compiled():
        tell()
        compile_all()
