"""Blanks one deep: cutting stock by patterns.

Where no two blanks can follow one another on any unit (they are longer than half of it, or the
stock is so narrow that they follow one another in a single lane), a unit is a pattern: a set of
sizes that add up to its room. Then the least number of units is the cutting-stock problem itself,
solved over all patterns, or over those that column generation finds when they are too many.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from ortools.linear_solver import pywraplp

from solver.nests.lane_values import lane_relaxation

MOST_PATTERNS = 4000
MOST_NODES = 300


@dataclass(frozen=True)
class Bin:
    """Units alike: room for sizes side by side, kinds that fit, indices of the units."""

    room: int
    kinds: tuple[int, ...]
    units: tuple[int, ...]


def fill_bins(
    sizes: Sequence[int], counts: Sequence[int], bins: Sequence[Bin]
) -> list[tuple[int, list[int]]]:
    """Most area in the bins: (unit, kinds laid side by side) of each unit used.

    `sizes` and `counts` describe the kinds; the sum of laid sizes is maximised, each kind no more
    often than its count, and units used only where needed. Deterministic: a limit on nodes.
    """
    solver = pywraplp.Solver.CreateSolver("SCIP")
    solver.SetNumThreads(1)
    solver.SetSolverSpecificParametersAsString(f"limits/nodes = {MOST_NODES}\n")
    rows = [solver.Constraint(0, int(count)) for count in counts]
    objective = solver.Objective()
    objective.SetMaximization()
    columns: list[tuple[int, list[int], pywraplp.Variable]] = []
    for b, bin_ in enumerate(bins):
        limit = solver.Constraint(0, len(bin_.units))
        for pattern in _patterns(sizes, counts, bin_):
            use = solver.IntVar(0, len(bin_.units), f"p{len(columns)}")
            limit.SetCoefficient(use, 1)
            columns.append((b, pattern, use))
    # a blank is laid when some pattern that is used has a place for it: places may stay empty
    for kind, row in enumerate(rows):
        laid = solver.IntVar(0, int(counts[kind]), f"k{kind}")
        row.SetBounds(0, solver.infinity())
        row.SetCoefficient(laid, -1)
        for _, pattern, use in columns:
            if pattern[kind]:
                row.SetCoefficient(use, pattern[kind])
        objective.SetCoefficient(laid, float(sizes[kind]))
    hair = 0.1 / (1 + sum(len(bin_.units) for bin_ in bins))
    for _, _, use in columns:
        objective.SetCoefficient(use, -hair)
    if solver.Solve() not in (pywraplp.Solver.OPTIMAL, pywraplp.Solver.FEASIBLE):
        return []
    left = list(counts)
    waiting = {b: list(bin_.units) for b, bin_ in enumerate(bins)}
    result: list[tuple[int, list[int]]] = []
    for b, pattern, use in columns:
        for _ in range(round(use.solution_value())):
            kinds: list[int] = []
            for kind, number in enumerate(pattern):
                take = min(number, left[kind])
                left[kind] -= take
                kinds += [kind] * take
            if kinds and waiting[b]:
                result.append((waiting[b].pop(0), kinds))
    return result


def _patterns(sizes: Sequence[int], counts: Sequence[int], bin_: Bin) -> list[list[int]]:
    """All maximal patterns of a room, or good ones when they are too many."""
    found: list[list[int]] = []
    room = bin_.room
    order = sorted((k for k in bin_.kinds if sizes[k] <= room), key=lambda k: -sizes[k])
    smallest = min((sizes[k] for k in order), default=0)

    def extend(start: int, left: int, pattern: list[int]) -> bool:
        """Grow a pattern by kinds from `start` on; False when there are too many."""
        if start == len(order):
            spare = [k for k in order if sizes[k] <= left and pattern[k] < counts[k]]
            if not spare:
                found.append(pattern.copy())
            return len(found) <= MOST_PATTERNS
        kind = order[start]
        for number in range(min(counts[kind], left // sizes[kind]), -1, -1):
            pattern[kind] = number
            rest = left - number * sizes[kind]
            nowhere = rest < smallest
            if not extend(len(order) if nowhere else start + 1, rest, pattern):
                return False
            pattern[kind] = 0
        return True

    if len(order) <= 30 and extend(0, room, [0] * len(sizes)):
        return found
    demands = [[[(sizes[k], float(counts[k]))]] for k in order]
    good = lane_relaxation(demands, room).patterns
    index: dict[int, list[int]] = {}
    for k in order:
        index.setdefault(sizes[k], []).append(k)
    result: list[list[int]] = []
    for by_width in good:
        pattern = [0] * len(sizes)
        for width, number in by_width.items():
            for k in index[width]:
                take = min(number, counts[k])
                pattern[k] += take
                number -= take
        result.append(pattern)
    return [list(p) for p in np.unique(np.array(result), axis=0).tolist()] if result else []
