"""Shapes of edges: a walked path or loop, a rectangle, a circle, or measured points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solver.data import scenario as form
from solver.data.errors import Key
from solver.data.job import Vector
from solver.data.units import Measure, format_length
from solver.intake import paths
from solver.intake.context import Context, Source
from solver.intake.facings import facings_of_points
from solver.intake.names import EdgeName
from solver.intake.patches import read_directions

MOST_MEASURED_POINTS = 400
"""Of all edges together; each is fitted, which takes its time."""


@dataclass(frozen=True)
class Shaped:
    """The walk of an edge, the key of its shape, and facings where points tell them."""

    walk: paths.Walk
    shape: str
    facings: tuple[Vector, ...]


def walk_of(
    context: Context,
    written: form.Edge,
    name: EdgeName,
    stands_on: str | None,
    keys: tuple[Key, ...],
) -> Shaped | None:
    """Return the line of an edge; None where it cannot be walked, which is then a problem."""
    shape = next(shape for shape in form.SHAPES if getattr(written, shape) is not None)
    source = Source(keys, shape, (), short=written.model_fields_set == {"path"})
    try:
        if written.points is not None:
            return _measured(context, written.points, name, stands_on, source)
        if written.rectangle is not None:
            width, height = (side.mm(context.unit) for side in written.rectangle)
            radius = 0.0 if written.radius is None else written.radius.mm(context.unit)
            walk = paths.rectangle(width, height, radius)
        elif written.circle is not None:
            walk = paths.circle(written.circle.mm(context.unit))
        else:
            walk = _steps(context, written, source)
        if written.rolled is not None:
            walk = paths.rolled(walk, written.rolled, context.unit)
    except paths.WalkError as fault:
        place = source.shape_keys
        if shape in ("path", "loop"):
            place = (*place, fault.item)
        elif shape == "rectangle":
            place = (*keys, "radius")
        context.problems.add(place, fault.finding or _shown(context, written, shape), fault.remedy)
        return None
    return Shaped(walk, shape, ())


def _shown(context: Context, written: form.Edge, shape: str) -> str:
    value = getattr(written, "radius" if shape == "rectangle" else shape)
    if isinstance(value, Measure):
        return format_length(value.mm(context.unit), context.unit)
    return f"a {shape} that cannot be walked"


def _steps(context: Context, written: form.Edge, source: Source) -> paths.Walk:
    if written.loop is not None:
        steps, first, closed = written.loop, 0, True
    else:
        assert written.path is not None
        steps, first = written.path[1:-1], 1
        closed = written.path[0] == written.path[-1]
        for index in (0, len(written.path) - 1):
            if not isinstance(written.path[index], str):
                raise paths.WalkError(
                    index,
                    'a path goes from mark to mark: ["A", 24, "B"]; a closed one is a "loop"',
                    "no mark",
                )
    for index, step in enumerate(steps, first):
        if isinstance(step, str):
            raise paths.WalkError(
                index,
                "marks stand at the two ends of a path; cut the edge in two here"
                if written.loop is None
                else 'a loop has no marks; a "path" has them',
                f'"{step}"',
            )
    lengths = [step for step in steps if not isinstance(step, str)]
    return paths.walk_steps(lengths, context.unit, closed=closed, first_item=first)


def _measured(
    context: Context,
    written: list[form.PointStep],
    name: EdgeName,
    stands_on: str | None,
    source: Source,
) -> Shaped | None:
    marked = [index for index, step in enumerate(written) if isinstance(step, str)]
    if marked not in ([], [0, len(written) - 1]):
        context.problems.add(
            source.shape_keys,
            "marks in odd places",
            "points have a mark at both ends, or none and close on themselves",
        )
        return None
    points: list[list[float]] = []
    normals: list[Vector] = []
    usual = _only_facing(context, stands_on or name.first)
    for index, step in enumerate(written):
        if isinstance(step, str):
            continue
        at = step if isinstance(step, list) else step.at
        normal = usual
        if isinstance(step, form.MeasuredPoint) and step.faces is not None:
            place = (*source.shape_keys, index, "faces")
            found = read_directions([step.faces], place, context.problems)
            normal = found[0] if found else usual
        if normal is None:
            context.problems.add(
                (*source.shape_keys, index),
                "the surface faces many ways",
                'say which way here: {"at": [x, y, z], "faces": "up 10 left"}',
            )
            return None
        points.append([x.mm(context.unit) for x in at])
        normals.append(normal)
    closed = not marked
    if closed and len(points) > 1 and np.allclose(points[0], points[-1], atol=1e-6):
        points, normals = points[:-1], normals[:-1]
    if _too_many_points(context):
        context.problems.add(
            source.shape_keys,
            f"more than {MOST_MEASURED_POINTS} points in all edges",
            "leave out points where the line is even",
        )
        return None
    from solver.geometry.points import fit_points  # slow to load, and rarely needed

    places, outward = np.array(points), np.array(normals)
    sharp = paths.sharpest_turn(places, closed=closed)
    if sharp is not None:
        context.problems.add(
            (*source.shape_keys, sharp if closed else sharp + 1),
            "the line turns sharply here",
            "points follow a smooth line: cut the edge in two at a corner, or measure again",
        )
        return None
    try:
        fit = fit_points(
            places, outward, tolerance_mm=context.rules.measuring_tolerance_mm, closed=closed
        )
    except ValueError as fault:
        context.problems.add(source.shape_keys, "no line passes these points", str(fault))
        return None
    walk = paths.Walk(fit.line, (0,) * len(fit.line.stretches))
    return Shaped(walk, "points", facings_of_points(places, outward, closed=closed))


def _only_facing(context: Context, patch: str) -> Vector | None:
    written = context.patches[patch]
    flat = len(written.facings) == 1 and not written.spread_deg
    return written.facings[0] if flat else None


def _too_many_points(context: Context) -> bool:
    edges = context.scenario.edges.values()
    return sum(len(edge.points or ()) for edge in edges) > MOST_MEASURED_POINTS
