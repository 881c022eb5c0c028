"""One strip laid by packingsolver, a peer to measure against, in a Python of its own (3.12).

Reads JSON from standard input (`width`, `gap`, `seconds`, `unit` or null, `items` of ring, quantity
and turns) and writes placements as JSON: index of the item, x, y, turn. With `unit` all rings are
rectangles, sized in whole units. Where there are `bins` (length, width, price) in place of a width,
it chooses among them: kinds of bin used, then placements with the bin after the item's index.
Pinned to one core, as the others are.
"""

import json
import math
import os
import sys
from typing import Any


def rectangles(asked: dict[str, Any]) -> list[list[float]]:
    """Placements of rectangles, quarter turns allowed."""
    import packingsolver.rectangle as packer

    unit, gap = asked["unit"], asked["gap"]
    builder = packer.InstanceBuilder()
    builder.set_objective(packer.Objective.OpenDimensionX)
    sizes = []
    for ring, quantity, _ in asked["items"]:
        xs, ys = zip(*ring, strict=True)
        x, y = (math.ceil((max(side) - min(side) + gap) / unit - 1e-6) for side in (xs, ys))
        sizes.append((x, y))
        builder.add_item_type(x, y, copies=quantity)
    long = sum(max(size) * item[1] for size, item in zip(sizes, asked["items"], strict=True))
    builder.add_bin_type(long, int((asked["width"] + gap) / unit + 1e-6))
    solution = packer.optimize(builder.build(), _parameters(packer, asked)).solution
    result = []
    for item in solution.bin(0).items:
        ring = asked["items"][item.item_type_id][0]
        xs, ys = zip(*ring, strict=True)
        x, y = item.x * unit, item.y * unit
        if item.rotate:  # a quarter turn: (x, y) -> (-y, x)
            result.append([item.item_type_id, x + max(ys), y - min(xs), 90.0])
        else:
            result.append([item.item_type_id, x - min(xs), y - min(ys), 0.0])
    return result


def bins(asked: dict[str, Any]) -> tuple[list[int], list[list[float]]]:
    """Kind of each bin that is used, and the placements of polygons in them."""
    import packingsolver.irregular as packer

    builder = packer.InstanceBuilder()
    builder.set_objective(packer.Objective.VariableSizedBinPacking)
    builder.set_item_item_minimum_spacing(asked["gap"])
    for ring, quantity, turns in asked["items"]:
        shape = packer.build_shape([(float(x), float(y)) for x, y in ring])
        builder.add_item_type(
            shape, allowed_rotations=[(t, t, False) for t in turns], copies=quantity
        )
    for length, width, price in asked["bins"]:
        builder.add_bin_type(packer.build_rectangle(length, width), cost=price, copies=-1)
    solution = packer.optimize(builder.build(), _parameters(packer, asked)).solution
    kinds: list[int] = []
    laid: list[list[float]] = []
    for index in range(solution.number_of_different_bins()):
        used = solution.bin(index)
        for _ in range(used.copies):
            for item in used.items:
                at = [item.bl_corner.x, item.bl_corner.y, item.angle]
                laid.append([item.item_type_id, len(kinds), *at])
            kinds.append(used.bin_type_id)
    return kinds, laid


def polygons(asked: dict[str, Any]) -> list[list[float]]:
    """Placements of polygons at the turns given."""
    import packingsolver.irregular as packer

    builder = packer.InstanceBuilder()
    builder.set_objective(packer.Objective.OpenDimensionX)
    builder.set_item_item_minimum_spacing(asked["gap"])
    long = 0.0
    for ring, quantity, turns in asked["items"]:
        xs, ys = zip(*ring, strict=True)
        long += quantity * math.hypot(max(xs) - min(xs), max(ys) - min(ys))
        shape = packer.build_shape([(float(x), float(y)) for x, y in ring])
        builder.add_item_type(
            shape, allowed_rotations=[(t, t, False) for t in turns], copies=quantity
        )
    builder.add_bin_type(packer.build_rectangle(long, asked["width"]))
    solution = packer.optimize(builder.build(), _parameters(packer, asked)).solution
    return [
        [item.item_type_id, item.bl_corner.x, item.bl_corner.y, item.angle]
        for item in solution.bin(0).items
    ]


def _parameters(packer: Any, asked: dict[str, Any]) -> Any:
    parameters = packer.OptimizeParameters()
    parameters.time_limit = asked["seconds"]
    parameters.verbosity_level = 0
    return parameters


def main() -> None:
    """Answer one question."""
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    asked = json.load(sys.stdin)
    found: object
    if "bins" in asked:
        found = bins(asked)
    else:
        found = polygons(asked) if asked["unit"] is None else rectangles(asked)
    print("\n" + json.dumps(found))


if __name__ == "__main__":
    main()
