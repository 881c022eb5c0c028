"""Whether rectangles fit into rectangular rooms, square to them: decided in whole units.

Each rectangle lies in one room, as it is or a quarter turned, clear of the others. Besides that
CP-SAT is told what every layout obeys and it would not find by itself: with dual feasible functions
f along the rooms and g across them (Fekete and Schepers, 2004), the worths f(length) g(width) of
what lies in one room add up to no more than f(room's length) g(room's width).

One model for all rooms serves few rectangles; `shared_rooms` decides more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from ortools.sat.python import cp_model

from solver.data.until import FOREVER, Until
from solver.models.cp_sat import decide, new_solver

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
    """``fits`` is None where the work did not suffice; ``places`` in the order of the sizes.

    ``work`` is what was spent of it.
    """

    fits: bool | None
    places: tuple[Lies, ...] = ()
    work: float = 0.0


def fit_rooms(
    sizes: Sequence[Size],
    rooms: Sequence[Size],
    *,
    work: float,
    seed: int = 0,
    until: Until = FOREVER,
    given: Sequence[Lies] | None = None,
) -> Decision:
    """Decide whether rectangles, all of them, fit into rooms; ``work`` as in ``new_solver``.

    With ``given`` only layouts count where each has that room, turn and place along it.
    """
    model = cp_model.CpModel()
    ways: list[list[_Placed]] = [[] for _ in rooms]
    for number, (long, wide) in enumerate(sizes):
        able: list[cp_model.IntVar] = []
        for room, (length, width) in enumerate(rooms):
            for turned in (False, True)[: 1 if long == wide else 2]:
                along, across = (wide, long) if turned else (long, wide)
                if given is not None and (given[number].room, given[number].turned) != (
                    room,
                    turned,
                ):
                    continue
                if along <= length and across <= width:
                    chosen = model.new_bool_var("")
                    able.append(chosen)
                    x = model.new_int_var(0, length - along, "")
                    y = model.new_int_var(0, width - across, "")
                    if given is not None:
                        model.add(x == given[number].x)
                    ways[room].append(_Placed(number, turned, along, across, chosen, x, y))
        if not able:
            return Decision(False)
        model.add_exactly_one(able)
    for room, (length, width) in enumerate(rooms):
        _lie_apart(model, ways[room], length, width)
        add_worths(model, ways[room], length, width)
        if room and rooms[room] == rooms[room - 1] and given is None:
            # units alike: the fuller one first
            model.add(_area(ways[room]) <= _area(ways[room - 1]))
    solver = new_solver(work=work, seconds=until.left(), seed=seed)
    solver.parameters.linearization_level = 1
    fits, spent = decide(solver, model, until)
    if not fits:
        return Decision(fits, work=spent)
    places: dict[int, Lies] = {}
    for room, here in enumerate(ways):
        for way in here:
            if solver.value(way.chosen):
                places[way.number] = Lies(
                    room, solver.value(way.x), solver.value(way.y), way.turned
                )
    return Decision(True, tuple(places[number] for number in range(len(sizes))), spent)


@dataclass(frozen=True)
class Way:
    """A rectangle in one room, one way round, and its place along the room."""

    number: int
    turned: bool
    along: int
    across: int
    chosen: cp_model.IntVar
    x: cp_model.IntVar


@dataclass(frozen=True)
class _Placed(Way):
    y: cp_model.IntVar


def _area(ways: Sequence[Way]) -> cp_model.LinearExprT:
    return sum(way.along * way.across * way.chosen for way in ways)


def _lie_apart(model: cp_model.CpModel, ways: Sequence[_Placed], length: int, width: int) -> None:
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


def add_worths(model: cp_model.CpModel, ways: Sequence[Way], length: int, width: int) -> None:
    """Add the rows of dual feasible functions for what lies in one room."""
    lengths = np.array([way.along for way in ways], dtype=np.int64)
    widths = np.array([way.across for way in ways], dtype=np.int64)
    along = _dual_feasible(lengths.tolist(), length)
    across = [(g[widths], widest) for g, widest in _dual_feasible(widths.tolist(), width)]
    chosen = [way.chosen for way in ways]
    for f, most in along:
        for of_widths, widest in across:
            worths = f[lengths] * of_widths
            if worths.sum() > most * widest:
                common = int(np.gcd.reduce(worths))
                worth = cp_model.LinearExpr.weighted_sum(chosen, (worths // common).tolist())
                model.add(worth <= most * widest // common)


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
