"""Whether rectangles fit into rectangular rooms, square to them: decided in whole units.

Each rectangle lies in one room, as it is or a quarter turned, clear of the others. Besides that
CP-SAT is told what every layout obeys and it would not find by itself: with dual feasible functions
f along the rooms and g across them (Fekete and Schepers, 2004), the worths f(length) g(width) of
what lies in one room add up to no more than f(room's length) g(room's width).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from ortools.sat.python import cp_model

from solver.data.until import FOREVER, Until
from solver.models.cp_sat import new_solver, watched

Longs = npt.NDArray[np.int64]
Size = tuple[int, int]
"""Length along the room (or of it) and width across."""

FUNCTIONS = 5
"""Dual feasible functions of each family."""


@dataclass(frozen=True)
class Lies:
    """Where a rectangle lies: its room, its lower corner, and whether it is a quarter turned."""

    room: int
    x: int
    y: int
    turned: bool


@dataclass(frozen=True)
class Decision:
    """``fits`` is None where the work did not suffice; ``places`` in the order of the sizes."""

    fits: bool | None
    places: tuple[Lies, ...] = ()


def fit_rooms(
    sizes: Sequence[Size],
    rooms: Sequence[Size],
    *,
    work: float,
    seed: int = 0,
    until: Until = FOREVER,
) -> Decision:
    """Decide whether rectangles, all of them, fit into rooms; ``work`` as in ``new_solver``."""
    model = cp_model.CpModel()
    ways: list[list[_Way]] = [[] for _ in rooms]
    for number, (long, wide) in enumerate(sizes):
        able: list[cp_model.IntVar] = []
        for room, (length, width) in enumerate(rooms):
            for turned in (False, True)[: 1 if long == wide else 2]:
                along, across = (wide, long) if turned else (long, wide)
                if along <= length and across <= width:
                    chosen = model.new_bool_var("")
                    able.append(chosen)
                    x = model.new_int_var(0, length - along, "")
                    y = model.new_int_var(0, width - across, "")
                    ways[room].append(_Way(number, turned, along, across, chosen, x, y))
        if not able:
            return Decision(False)
        model.add_exactly_one(able)
    for room, (length, width) in enumerate(rooms):
        _lie_apart(model, ways[room], length, width)
        _worths(model, ways[room], length, width)
        if room and rooms[room] == rooms[room - 1]:  # units alike: the fuller one first
            model.add(_area(ways[room]) <= _area(ways[room - 1]))
    solver = new_solver(work=work, seconds=until.left(), seed=seed)
    solver.parameters.linearization_level = 1
    with watched(solver, None if until.asked is FOREVER.asked else until.asked):
        status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return Decision(False)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Decision(None)
    places: dict[int, Lies] = {}
    for room, here in enumerate(ways):
        for way in here:
            if solver.value(way.chosen):
                at = (solver.value(way.x), solver.value(way.y))
                places[way.number] = Lies(room, *at, way.turned)
    return Decision(True, tuple(places[number] for number in range(len(sizes))))


@dataclass(frozen=True)
class _Way:
    """A rectangle in one room, one way round."""

    number: int
    turned: bool
    along: int
    across: int
    chosen: cp_model.IntVar
    x: cp_model.IntVar
    y: cp_model.IntVar


def _area(ways: Sequence[_Way]) -> cp_model.LinearExprT:
    return sum(way.along * way.across * way.chosen for way in ways)


def _lie_apart(model: cp_model.CpModel, ways: Sequence[_Way], length: int, width: int) -> None:
    new = model.new_optional_fixed_size_interval_var
    spans = [new(way.x, way.along, way.chosen, "") for way in ways]
    lanes = [new(way.y, way.across, way.chosen, "") for way in ways]
    model.add_no_overlap_2d(spans, lanes)
    model.add_cumulative(spans, [way.across for way in ways], width)
    model.add_cumulative(lanes, [way.along for way in ways], length)
    for k, one in enumerate(ways):  # neither behind nor beside one another
        for other in ways[:k]:
            if one.number != other.number and (
                one.along + other.along > length and one.across + other.across > width
            ):
                model.add_bool_or([~one.chosen, ~other.chosen])


def _worths(model: cp_model.CpModel, ways: Sequence[_Way], length: int, width: int) -> None:
    along = _dual_feasible([way.along for way in ways], length)
    across = _dual_feasible([way.across for way in ways], width)
    for f, most in along:
        for g, widest in across:
            worths = [int(f[way.along]) * int(g[way.across]) for way in ways]
            common = math.gcd(*worths)
            if sum(worths) > most * widest:
                worth = [w // common * way.chosen for w, way in zip(worths, ways, strict=True)]
                model.add(sum(worth) <= most * widest // common)


def _dual_feasible(sizes: Sequence[int], room: int) -> list[tuple[Longs, int]]:
    """Functions f of 0..room, whole numbers, with f(room): sizes that fit in a row add up to it.

    x itself; u(k) and U(e) of Fekete and Schepers (2001).
    """
    x = np.arange(room + 1, dtype=np.int64)
    found = [(x, room)]
    for k in range(1, FUNCTIONS + 1):
        cut = (k + 1) * x
        found.append((np.where(cut % room == 0, x * k, cut // room * room), room * k))
    halves = sorted({size for size in sizes if 2 * size <= room})
    for size in halves[:: max(1, len(halves) // FUNCTIONS)]:
        for least in (size, min(size + 1, room // 2)):
            inner = np.where(x < least, 0, x)
            found.append((np.where(x > room - least, room, inner), room))
    return found
