"""Mirrored twins: one side of a body is written, the other follows.

Mirroring changes the sign of y.  The twin of an edge is walked from its other end with the same
words, so that its first-named patch is on the left again; stations count from there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from solver.data.job import OPEN, Edge, EdgeNotch, Near, Patch, Vector
from solver.geometry.lines import mirrored_line, reversed_line
from solver.intake.directions import flipped_across
from solver.intake.names import Rename, read_edge_name


def mirrored_patch(patch: Patch, rename: Rename) -> Patch:
    """Return the twin of a patch."""
    return replace(
        patch,
        id=rename(patch.id),
        part=None if patch.part is None else rename(patch.part),
        pin=None if patch.pin is None else rename(patch.pin),
        facings=tuple(flipped_across(facing) for facing in patch.facings),
        box_mm=None if patch.box_mm is None else mirrored_box(patch.box_mm),
        twin=patch.id if patch.twin is not None else None,
    )


def mirrored_box(box_mm: tuple[Vector, Vector]) -> tuple[Vector, Vector]:
    """Return the box on the other side."""
    (x0, y0, z0), (x1, y1, z1) = box_mm
    return (x0, 0.0 - y1, z0), (x1, 0.0 - y0, z1)


def renamed_edge(edge_id: str, rename: Rename, spelled: Mapping[str, str] | None = None) -> str:
    """Return the id of the twin of an edge; ``spelled`` maps ids to how the file spells them."""
    name = read_edge_name(edge_id)
    twin = rename(edge_id) if name is None else name.renamed(rename).id
    return twin if spelled is None else spelled.get(twin, twin)


def mirrored_edge(edge: Edge, rename: Rename) -> Edge:
    """Return the twin of an edge, walked from its other end."""
    back = _stations_back(edge)
    return replace(
        back,
        id=renamed_edge(edge.id, rename),
        first=rename(edge.first),
        second=OPEN if edge.open else rename(edge.second),
        line=mirrored_line(edge.line),
        start_mark=None if edge.end_mark is None else rename(edge.end_mark),
        end_mark=None if edge.start_mark is None else rename(edge.start_mark),
        near=tuple(replace(near, edge=renamed_edge(near.edge, rename)) for near in back.near),
        facings=tuple(flipped_across(facing) for facing in edge.facings),
        twin=edge.id if edge.twin is not None else None,
    )


def walked_back(edge: Edge) -> Edge:
    """Return the same edge walked from its other end; the other patch is then on the left."""
    return replace(
        _stations_back(edge),
        first=edge.second,
        second=edge.first,
        line=reversed_line(edge.line),
        start_mark=edge.end_mark,
        end_mark=edge.start_mark,
        return_to="second" if edge.return_to == "first" else "first",
        facings=tuple((0.0 - x, 0.0 - y, 0.0 - z) for x, y, z in edge.facings),
    )


def _stations_back(edge: Edge) -> Edge:
    length_mm = edge.length_mm

    def back(station_mm: float) -> float:
        return max(length_mm - station_mm, 0.0)

    return replace(
        edge,
        notches=tuple(
            EdgeNotch(back(notch.at_mm), notch.wide_mm, notch.deep_mm)
            for notch in reversed(edge.notches)
        ),
        no_seam_mm=tuple((back(end), back(start)) for start, end in reversed(edge.no_seam_mm)),
        near=tuple(
            Near(near.edge, near.gap_mm, back(near.to_mm), back(near.from_mm)) for near in edge.near
        ),
    )
