"""Flashings that run beside one another: clear gaps, both ways and on both sides of the body."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from solver.data import scenario as form
from solver.data.errors import Key
from solver.data.job import OPEN, Edge, Near
from solver.data.units import Measure
from solver.intake.context import Context
from solver.intake.names import EdgeKey, EdgeName, Rename, edge_key, read_edge_name


def with_nears(
    context: Context, edges: Sequence[Edge], names: Mapping[str, EdgeName]
) -> list[Edge]:
    """Return the edges with their clear gaps, which count both ways and follow the mirror."""
    edge_of = {edge.id: edge for edge in edges}
    by_key = {edge_key(edge.id): edge.id for edge in edges}
    found: dict[str, list[Near]] = {edge.id: [] for edge in edges}
    for spelling, name in names.items():
        own = by_key.get(name.key)
        if own is None:
            continue
        for other_spelling, gap in (context.scenario.edges[spelling].near or {}).items():
            keys: tuple[Key, ...] = ("edges", spelling, "near", other_spelling)
            other_name = read_edge_name(other_spelling)
            other = by_key.get(other_name.key) if other_name else None
            if other == own:
                context.problems.add(keys, "is this edge itself", "name the other flashing")
                continue
            if other is None:
                hint = context.problems.hint(other_spelling, edge_of)
                remedy = hint or "name another edge, as it is written there"
                context.problems.add(keys, "no such edge", remedy)
                continue
            near = _near(context, gap, other, edge_of[own].length_mm, keys)
            if name.first == OPEN:
                # that edge is walked from its other end
                near = _mirrored(near, other, edge_of[own].length_mm)
            found[own].append(near)
    if context.sides.rename is not None:
        _add_mirrored(found, edge_of, by_key, context.sides.rename)
    for own, nears in list(found.items()):
        for near in list(nears):
            back = found[near.edge]
            if not any(one.edge == own for one in back):
                back.append(Near(own, near.gap_mm, 0.0, edge_of[near.edge].length_mm))
    return [replace(edge, near=tuple(dict.fromkeys(found[edge.id]))) for edge in edges]


def _near(
    context: Context, gap: Measure | form.Gap, other: str, length_mm: float, keys: tuple[Key, ...]
) -> Near:
    if isinstance(gap, Measure):
        return Near(other, gap.mm(context.unit), 0.0, length_mm)
    start = 0.0 if gap.from_ is None else gap.from_.mm(context.unit)
    end = length_mm if gap.to is None else gap.to.mm(context.unit)
    for key, at in (("from", gap.from_), ("to", gap.to)):
        if at is not None:
            context.check_station(at, length_mm, (*keys, key))
    if start >= end:
        context.problems.add(keys, "ends before it begins", 'make "to" greater than "from"')
    return Near(other, gap.gap.mm(context.unit), start, end)


def _mirrored(near: Near, other: str, length_mm: float) -> Near:
    """Return the gap with its stations counted from the other end."""
    start, end = max(length_mm - near.to_mm, 0.0), max(length_mm - near.from_mm, 0.0)
    return Near(other, near.gap_mm, start, end)


def _add_mirrored(
    found: dict[str, list[Near]],
    edge_of: Mapping[str, Edge],
    by_key: Mapping[EdgeKey, str],
    rename: Rename,
) -> None:
    for own, nears in list(found.items()):
        twin = edge_of[own].twin
        for near in list(nears):
            name = read_edge_name(near.edge)
            other = None if name is None else by_key.get(name.renamed(rename).key)
            if twin is None or other is None or any(n.edge == other for n in found[twin]):
                continue
            found[twin].append(_mirrored(near, other, edge_of[twin].length_mm))
