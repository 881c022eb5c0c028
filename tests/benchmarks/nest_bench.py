"""Nests side by side with general-purpose libraries, in equal time on generated sets.

    python tests/benchmarks/nest_bench.py curved --seconds 20 --seeds 100-107

Prints the length of roll used over the area bound (curved, mixed) or the lane bound (straight) for
each set and method. Peers run where they are installed (`pip install --target DIR spyrrow rectpack`
and PYTHONPATH=DIR):
spyrrow (irregular), rectpack (rectangles); packingsolver (both) in a Python 3.12 of its own that
PACKER_PYTHON names, on one core; every answer of theirs is verified before it counts.
`cp-sat` is a plain model of boxes that do not overlap, one worker. `boxes` nests the bounding
boxes of all blanks in lanes. All in one process, one after the other, equal time. With
`--own-clock` our own search gets so many seconds of processor time, on whatever machine.
"""

import argparse
import contextlib
import importlib.util
import json
import math
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from nest_sets import GAP_MM, curved_set, mixed_set, straight_set, strip

from solver.data.until import Until
from solver.nests.fill import angles
from solver.nests.lane_values import lane_relaxation
from solver.nests.lanes import is_box, make_boxes, make_room, whole_unit_mm
from solver.nests.shapes import Layout, Placement, Shape, Stock, UsedUnit, placed_points
from solver.nests.strip import shortest
from solver.nests.verify import verify

SETS = {"straight": straight_set, "curved": curved_set, "mixed": mixed_set}


def area_bound(shapes: list[Shape], stock: Stock) -> float:
    """Length below which the blanks, grown by half the gap, have more area than the roll."""
    area = sum(s.quantity * shapely.Polygon(s.outline_mm).buffer(GAP_MM / 2).area for s in shapes)
    return area / (stock.width_mm + GAP_MM) - GAP_MM


def lane_bound(shapes: list[Shape], stock: Stock) -> float:
    """Length that the lane relaxation proves, with the gap counted along the roll as well."""
    unit = whole_unit_mm(shapes, GAP_MM)
    boxes, room = make_boxes(shapes, GAP_MM, unit), make_room(stock, GAP_MM, unit)
    demands = [
        [[(b.width, float(b.length))] for b in boxes if b.kind == k and b.width <= room.width]
        for k in range(len(shapes))
    ]
    # blanks grown by half the gap on every side lie apart on a roll grown likewise
    return lane_relaxation(demands, room.width).least_length * unit - GAP_MM


SLACK_MM = 0.0025
"""Gap that a peer may miss: 1e-4 in."""

OWN_CLOCK = [False]
"""Whether our own search is given processor time."""


def ours(shapes: list[Shape], stock: Stock, seconds: float, seed: int) -> float:
    until = Until(time.monotonic() + seconds)
    if OWN_CLOCK[0]:
        end = time.process_time() + seconds
        until = Until(None, lambda: time.process_time() >= end)
    return shortest(shapes, stock, GAP_MM, seed, 10**6, until)[1]


def boxes(shapes: list[Shape], stock: Stock, seconds: float, seed: int) -> float:
    made = []
    for shape in shapes:
        box = shapely.oriented_envelope(shapely.Polygon(shape.outline_mm))
        a, b, c = np.asarray(box.exterior.coords)[:3]
        sides = sorted((float(np.hypot(*(b - a))), float(np.hypot(*(c - b)))))
        made.append(strip(shape.id, sides[1], sides[0], shape.quantity))
    try:
        return ours(made, stock, seconds, seed)
    except ValueError:  # a box is wider than the roll
        return math.nan


def with_rectpack(shapes: list[Shape], stock: Stock, seconds: float, seed: int) -> float:
    import rectpack

    unit = GAP_MM
    sizes = []
    for shape in shapes:
        xy = np.asarray(shape.outline_mm)
        long, high = (xy.max(axis=0) - xy.min(axis=0)).tolist()
        sizes.append((math.ceil((long + GAP_MM) / unit), math.ceil((high + GAP_MM) / unit)))
    width = int((stock.width_mm + GAP_MM) / unit + 1e-6)
    best = math.inf
    end = time.monotonic() + seconds
    for algorithm in (
        rectpack.MaxRectsBssf,
        rectpack.MaxRectsBl,
        rectpack.SkylineBl,
        rectpack.SkylineMwf,
    ):
        low, high = 0, int(stock.length_mm / unit)
        while high - low > 1 and time.monotonic() < end:
            middle = (low + high) // 2
            packer = rectpack.newPacker(pack_algo=algorithm, rotation=True)
            packer.add_bin(middle, width)
            for size in sizes:
                packer.add_rect(*size)
            packer.pack()
            if len(packer.rect_list()) == len(sizes):
                high = middle
            else:
                low = middle
        best = min(best, high * unit - GAP_MM)
    return best


def with_cp_sat(shapes: list[Shape], stock: Stock, seconds: float, seed: int) -> float:
    from ortools.sat.python import cp_model

    unit = GAP_MM
    high = int((stock.width_mm + GAP_MM) / unit + 1e-6)
    long = int(stock.length_mm / unit)
    model = cp_model.CpModel()
    end = model.new_int_var(0, long, "end")
    xs, ys = [], []
    for shape in shapes:
        xy = np.asarray(shape.outline_mm)
        a, b = (math.ceil((v + GAP_MM) / unit - 1e-6) for v in np.ptp(xy, axis=0).tolist())
        x, y = model.new_int_var(0, long - a, ""), model.new_int_var(0, high - b, "")
        xs.append(model.new_fixed_size_interval_var(x, a, ""))
        ys.append(model.new_fixed_size_interval_var(y, b, ""))
        model.add(x + a <= end)
    model.add_no_overlap_2d(xs, ys)
    model.add_cumulative(xs, [iv.size_expr() for iv in ys], high)
    model.minimize(end)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return math.nan
    return float(solver.objective_value * unit - GAP_MM)


@contextlib.contextmanager
def quiet() -> Iterator[None]:
    """Nothing written to the process's own standard error: a library's panic prints there."""
    kept = os.dup(2)
    with open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), 2)
        try:
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)


def with_spyrrow(shapes: list[Shape], stock: Stock, seconds: float, seed: int) -> float:
    import spyrrow

    items = []
    for shape in shapes:
        ring = [tuple(map(float, p)) for p in shape.outline_mm]
        turns = [float(a) for a in angles(shape)]
        items.append(
            spyrrow.Item(
                shape.id, [*ring, ring[0]], demand=shape.quantity, allowed_orientations=turns
            )
        )
    instance = spyrrow.StripPackingInstance(
        "set", strip_height=stock.width_mm + GAP_MM, items=items
    )
    config = spyrrow.StripPackingConfig(
        early_termination=False,
        total_computation_time=int(seconds),
        num_workers=1,
        min_items_separation=GAP_MM,
        seed=seed,
    )
    try:
        with quiet():
            solution = instance.solve(config)
    except BaseException as error:  # its panics are not Exceptions
        if isinstance(error, KeyboardInterrupt):
            raise
        return math.nan
    laid = [
        Placement(item.id, 0, *map(float, item.translation), item.rotation % 360.0, False)
        for item in solution.placed_items
    ]
    return measured(laid, shapes, stock)


def with_packingsolver(shapes: list[Shape], stock: Stock, seconds: float, seed: int) -> float:
    straight = all(is_box(shape) for shape in shapes)
    question = {
        "width": stock.width_mm,
        "gap": GAP_MM,
        "seconds": seconds,
        "unit": GAP_MM if straight else None,
        "items": [[s.outline_mm, s.quantity, angles(s).tolist()] for s in shapes],
    }
    answer = packed(question)
    if answer is None:
        return math.nan
    laid = [Placement(shapes[int(k)].id, 0, x, y, turn % 360.0, False) for k, x, y, turn in answer]
    return measured(laid, shapes, stock)


def packed(question: dict[str, object]) -> Any:
    """What packingsolver answers to a question (``packer_child``), None where it fails."""
    answer = subprocess.run(
        [os.environ["PACKER_PYTHON"], str(Path(__file__).with_name("packer_child.py"))],
        input=json.dumps(question),
        capture_output=True,
        text=True,
        check=False,
    )
    return None if answer.returncode else json.loads(answer.stdout.splitlines()[-1])


def measured(laid: list[Placement], shapes: list[Shape], stock: Stock) -> float:
    """Length that a peer's layout uses, nan unless it is right to 1e-4 in."""
    by_id = {shape.id: shape for shape in shapes}
    points = np.concatenate([placed_points(by_id[p.shape_id], p) for p in laid])
    low, high = points.min(axis=0), points.max(axis=0)
    moved = tuple(
        replace(p, x_mm=p.x_mm - float(low[0]), y_mm=p.y_mm - float(low[1])) for p in laid
    )
    layout = Layout((UsedUnit(stock.id, bought=True),), moved, True)
    if verify(layout, shapes, [stock], GAP_MM - SLACK_MM):
        return math.nan
    return float(high[0] - low[0])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=sorted(SETS))
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument("--seeds", default="100-103")
    parser.add_argument("--seed", type=int, default=0, help="seed of the search itself")
    parser.add_argument("--own-clock", action="store_true", help="ours by processor time")
    parser.add_argument("--only", nargs="+", metavar="METHOD", help="such as ours spyrrow")
    asked = parser.parse_args()
    OWN_CLOCK[0] = asked.own_clock
    first, last = (int(part) for part in asked.seeds.split("-"))
    methods: dict[str, Callable[[list[Shape], Stock, float, int], float]] = {
        "ours": ours,
        "packingsolver": with_packingsolver,
        "spyrrow": with_spyrrow,
    }
    if asked.kind == "straight":
        methods |= {"rectpack": with_rectpack, "cp-sat": with_cp_sat}
    else:
        methods["boxes"] = boxes
    if "PACKER_PYTHON" not in os.environ:
        print("PACKER_PYTHON is not set: packingsolver is left out")
        del methods["packingsolver"]
    for name in ("rectpack", "spyrrow"):
        if name in methods and importlib.util.find_spec(name) is None:
            print(f"{name} is not installed: left out")
            del methods[name]
    if asked.only:
        methods = {name: method for name, method in methods.items() if name in asked.only}
    ratios: dict[str, list[float]] = {name: [] for name in methods}
    for seed in range(first, last + 1):
        shapes, stock = SETS[asked.kind](seed)
        bound = (lane_bound if asked.kind == "straight" else area_bound)(shapes, stock)
        line = f"seed {seed}, {len(shapes)} blanks, {stock.width_mm / 25.4:g} in:"
        for name, method in methods.items():
            ratio = method(shapes, stock, asked.seconds, asked.seed) / bound
            ratios[name].append(ratio)
            line += f"  {name} {ratio:.4f}"
        print(line, flush=True)
    for name, values in ratios.items():
        good = [v for v in values if math.isfinite(v)]
        if good:
            mean, middle = statistics.fmean(good), statistics.median(good)
            print(
                f"{name}: mean {mean:.4f} median {middle:.4f} worst {max(good):.4f} of {len(good)}"
            )


if __name__ == "__main__":
    main()
