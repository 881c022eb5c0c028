"""Seams of an old plan on the lines of a new job, so that its pieces can stay.

Where an edge keeps its length its seams stay where they are.  Where it does not, something along it
has grown or shrunk, nobody says where: each piece in turn is the one that changes, those before it
keep their place from the start and those behind it from the end.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from solver.data.job import Job
from solver.data.plan import Mounting, Piece
from solver.planner.options import GivenSeams
from solver.planner.run_lines import RunLine
from solver.planner.sheets import Sheet

SAME_MM = 1e-4
MOST_WAYS = 24
"""Ways to lay the old seams of one stretch whose edges have changed."""


@dataclass(frozen=True)
class OldLines:
    """Lengths and seams of the edges of an old plan, by edge, in the edge's own stations."""

    length_mm: dict[str, float]
    ends_mm: dict[str, tuple[float, ...]]
    """Where pieces begin or end, at marks as well."""
    metals: dict[str, tuple[tuple[str, float], ...]]
    """Metal and thickness of the pieces along it."""


def old_lines(pieces: Sequence[Piece]) -> OldLines:
    """Read the lines of an old plan from its pieces, which cover each edge from end to end."""
    length: dict[str, float] = defaultdict(float)
    ends: dict[str, set[float]] = defaultdict(set)
    metals: dict[str, dict[tuple[str, float], None]] = defaultdict(dict)
    for piece in pieces:
        for span in piece.spans:
            length[span.edge] = max(length[span.edge], span.to_mm)
            metals[span.edge][piece.metal, round(piece.thickness_mm, 4)] = None
        first, last = piece.spans[0], piece.spans[-1]
        ends[first.edge].add(first.to_mm if first.backward else first.from_mm)
        ends[last.edge].add(last.from_mm if last.backward else last.to_mm)
    return OldLines(
        dict(length),
        {edge: _distinct(at) for edge, at in ends.items()},
        {edge: tuple(found) for edge, found in metals.items()},
    )


def _distinct(stations: set[float]) -> tuple[float, ...]:
    found: list[float] = []
    for station in sorted(stations):
        if not found or station - found[-1] > SAME_MM:
            found.append(station)
    return tuple(found)


def given_seams(
    job: Job, old: OldLines, lines: Sequence[RunLine], sheets: Sequence[Sheet]
) -> Iterator[GivenSeams]:
    """Yield the old plan's seams on the new lines, in every mounting and in the old metals."""
    sheet_of = {
        (s.metal.metal, round(s.metal.thickness_mm, 4)): index for index, s in enumerate(sheets)
    }
    for run, line in enumerate(lines):
        mountings: tuple[Mounting, ...] = ("clamped",) if line.open else ("pinched", "standing")
        for first, count in _stretches(line, old):
            edges = [line.edges[(first + i) % len(line.edges)].id for i in range(count)]
            metals = dict.fromkeys(m for edge in edges for m in old.metals.get(edge, ()))
            for stations in _ways(job, line, old, first, count):
                for metal in metals:
                    if metal in sheet_of:
                        for mounting in mountings:
                            yield GivenSeams(run, first, count, mounting, sheet_of[metal], stations)


def _stretches(line: RunLine, old: OldLines) -> Iterator[tuple[int, int]]:
    """Yield stretches (first edge, number of edges) between marks where the old plan had seams."""
    total = len(line.edges)
    at_mark = [_seam_at(line, old, i) for i in range(total)]
    if line.run.closed:
        starts = [i for i in range(total) if at_mark[i]]
        if not starts:
            if any(edge.id in old.length_mm for edge in line.edges):
                yield 0, total
            return
        for number, first in enumerate(starts):
            behind = starts[(number + 1) % len(starts)]
            count = (behind - first) % total or total
            if count == total and first:
                continue  # a whole loop is one stretch from its start
            yield first, count
        if len(starts) > 1 or (starts and starts[0]):
            yield 0, total
        return
    first = 0
    for i in range(1, total + 1):
        if i == total or at_mark[i]:
            yield first, i - first
            first = i


def _seam_at(line: RunLine, old: OldLines, index: int) -> bool:
    """Whether the old plan had a seam at the mark where an edge of the walk begins."""
    before, after = (index - 1) % len(line.edges), index
    return (index == 0 and not line.run.closed) or (
        _ends_at(line, old, before, start=False) and _ends_at(line, old, after, start=True)
    )


def _ends_at(line: RunLine, old: OldLines, index: int, *, start: bool) -> bool:
    """Whether a piece began or ended at an end of an edge; edges that are new have seams there."""
    edge = line.edges[index].id
    if edge not in old.length_mm:
        return True
    at = 0.0 if start != line.backward[index] else old.length_mm[edge]
    return any(abs(station - at) <= SAME_MM for station in old.ends_mm.get(edge, ()))


def _ways(
    job: Job, line: RunLine, old: OldLines, first: int, count: int
) -> Iterator[tuple[float, ...]]:
    """Yield stations of the old seams along a stretch: one way, or several where edges changed."""
    total, whole = len(line.edges), line.length_mm
    choices: list[list[tuple[float, ...]]] = []
    marks: list[float] = []
    begin = line.starts_mm[first]
    for step in range(count):
        index = (first + step) % total
        edge = line.edges[index]
        if step and _seam_at(line, old, index):
            marks.append(begin)
        choices.append(
            [tuple(begin + s for s in way) for way in _along(job, line, old, index)] or [()]
        )
        begin += edge.length_mm
    start, end = line.starts_mm[first], begin
    looped = line.run.closed and count == total
    for way in itertools.islice(itertools.product(*choices), MOST_WAYS):
        inner = sorted({*marks, *(s for stations in way for s in stations)})
        if not looped:
            yield (start, *inner, end)
            continue
        if _seam_at(line, old, first):
            inner = [start, *inner]
        if inner:
            yield (*inner, inner[0] + whole)


def _along(job: Job, line: RunLine, old: OldLines, index: int) -> Iterator[tuple[float, ...]]:
    """Yield the old seams inside an edge, as walked from where the walk enters it."""
    edge = line.edges[index]
    was = old.length_mm.get(edge.id)
    if was is None:
        return
    back, now = line.backward[index], edge.length_mm
    inner = sorted(
        was - s if back else s for s in old.ends_mm.get(edge.id, ()) if SAME_MM < s < was - SAME_MM
    )
    change = now - was
    if abs(change) <= SAME_MM:
        yield tuple(inner)
        return
    for number in range(len(inner) + 1):
        kept, moved = inner[:number], [s + change for s in inner[number:]]
        stations = (*kept, *moved)
        if all(0 < s < now for s in stations) and list(stations) == sorted(stations):
            yield stations
    if change < job.rules.shortest_piece_mm:
        return
    # all stay, and one piece more fills what the line has grown by
    yield (change, *(s + change for s in inner))
    for number, at in enumerate(inner):
        yield (*inner[: number + 1], at + change, *(s + change for s in inner[number + 1 :]))
    yield (*inner, was)
