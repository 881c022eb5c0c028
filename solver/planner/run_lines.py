"""Runs as the planner sees them: one line to walk, with what changes and what matters along it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from solver.data.job import Edge, Job, Run
from solver.data.line import Line
from solver.geometry.lines import joined, reversed_line
from solver.rules.access import capped_stand_mm
from solver.rules.bolts import bolt_notches, bolt_stations_mm

Zone = tuple[float, float]
Hand = Literal["left", "right"]


@dataclass(frozen=True)
class FlashingShape:
    """The cross-section asked for along an edge, as the run walks it; pieces keep one shape."""

    stand_mm: float
    grip_mm: float
    return_mm: float
    return_hand: Hand
    flange: Literal["along", "out"]


@dataclass(frozen=True)
class CutOut:
    """A notch on a run: where its middle is, how wide, how deep, from which edge of the metal."""

    at_mm: float
    wide_mm: float
    deep_mm: float
    side: Literal["free", "grip"]


@dataclass(frozen=True)
class RunLine:
    """One run: its edges in the order of the walk and everything by station of the run."""

    run: Run
    line: Line
    edges: tuple[Edge, ...]
    backward: tuple[bool, ...]
    starts_mm: tuple[float, ...]
    """Station where each edge begins, and the run's length at last."""
    shapes: tuple[FlashingShape, ...]
    asked_notches: tuple[CutOut, ...]
    bolt_notches: tuple[CutOut, ...]
    """Cut only where the edge is pinched."""
    no_seam: tuple[Zone, ...]
    corners: tuple[Zone, ...]
    """Around sharp corners, where seams are kept away."""
    visible: tuple[Zone, ...]
    curved: tuple[Zone, ...]
    """Where the walk turns easy way or hard way; seams are better elsewhere."""

    @property
    def length_mm(self) -> float:
        """Length of the whole run."""
        return self.starts_mm[-1]

    @property
    def open(self) -> bool:
        """Whether the run lies on the open edge of the mold."""
        return self.edges[0].open

    def shows_between(self, start_mm: float, end_mm: float) -> bool:
        """Whether any of the line between two stations shows; they may run over a loop's start."""
        laps = (0.0, self.length_mm) if self.run.closed else (0.0,)
        return any(
            min(end_mm, high + lap) - max(start_mm, low + lap) > 1e-6
            for low, high in self.visible
            for lap in laps
        )

    def visible_at(self, station_mm: float) -> bool:
        """Whether the line shows at a station or on either side of it."""
        length = self.length_mm
        places = [station_mm]
        if self.run.closed:
            # the start of a loop is also its end
            at = station_mm % length
            places = [at, at - length, at + length]
        return any(a - 1e-6 <= s <= b + 1e-6 for a, b in self.visible for s in places)


def capped_stands_mm(job: Job) -> dict[str, float]:
    """Stand of each metal edge, capped where another flashing runs near (access rule)."""
    stands = {edge.id: edge.stand_mm for edge in job.edges if job.carries_metal(edge)}
    for edge in job.edges:
        for near in edge.near:
            if edge.id in stands and near.edge in stands:
                for one in (edge.id, near.edge):
                    stands[one] = min(
                        stands[one],
                        capped_stand_mm(stands[one], near.gap_mm, job.rules.access_angle_deg),
                    )
    return stands


def run_lines(job: Job) -> tuple[RunLine, ...]:
    """Every run of the job, walked."""
    stands = capped_stands_mm(job)
    return tuple(_run_line(job, run, stands) for run in job.runs)


def _run_line(job: Job, run: Run, stands: dict[str, float]) -> RunLine:
    edges = tuple(job.edge_of[step.edge] for step in run.edges)
    backward = tuple(step.backward for step in run.edges)
    lines = [
        reversed_line(edge.line) if back else edge.line
        for edge, back in zip(edges, backward, strict=True)
    ]
    starts = np.concatenate(([0.0], np.cumsum([line.length_mm for line in lines])))
    line = joined(lines, closed=run.closed)
    asked: list[CutOut] = []
    at_bolts: list[CutOut] = []
    no_seam: list[Zone] = []
    visible: list[Zone] = []
    for edge, back, start in zip(edges, backward, starts[:-1], strict=True):
        begin, length = float(start), edge.length_mm
        for notch in edge.notches:
            at = begin + _walked(notch.at_mm, length, back)
            asked.append(CutOut(at, notch.wide_mm, notch.deep_mm, "free"))
        at_bolts.extend(
            CutOut(begin + _walked(cut.at_mm, length, back), cut.wide_mm, cut.deep_mm, "grip")
            for cut in edge_bolt_notches(job, edge)
        )
        for low, high in edge.no_seam_mm:
            ends = sorted((_walked(low, length, back), _walked(high, length, back)))
            no_seam.append((begin + ends[0], begin + ends[1]))
        if edge.visible:
            visible.append((begin, begin + length))
    keep = job.rules.seam_from_corner_mm
    breaks = np.concatenate(([0.0], np.cumsum([s.length_mm for s in line.stretches])))
    return RunLine(
        run=run,
        line=line,
        edges=edges,
        backward=backward,
        starts_mm=tuple(float(s) for s in starts),
        shapes=tuple(_shape(e, b, stands[e.id]) for e, b in zip(edges, backward, strict=True)),
        asked_notches=tuple(asked),
        bolt_notches=tuple(at_bolts),
        no_seam=tuple(no_seam),
        corners=tuple((c.station_mm - keep, c.station_mm + keep) for c in line.corners),
        visible=tuple(visible),
        curved=tuple(
            (float(a), float(b))
            for a, b, s in zip(breaks[:-1], breaks[1:], line.stretches, strict=True)
            if s.easy_start or s.easy_end or s.hard_start or s.hard_end
        ),
    )


def _walked(station_mm: float, length_mm: float, backward: bool) -> float:
    return length_mm - station_mm if backward else station_mm


def _shape(edge: Edge, backward: bool, stand_mm: float) -> FlashingShape:
    # without a return its side says nothing, and pieces may run on where the names change places
    to_left = not edge.return_mm or (edge.return_to == "first") != backward
    return FlashingShape(
        stand_mm=stand_mm,
        grip_mm=edge.grip_mm,
        return_mm=edge.return_mm,
        return_hand="left" if to_left else "right",
        flange=edge.flange,
    )


def edge_corner_stations_mm(edge: Edge) -> tuple[float, ...]:
    """Stations of the sharp corners of an edge, in its own walk."""
    return tuple(sorted(c.station_mm for c in edge.line.corners))


def edge_bolt_stations_mm(job: Job, edge: Edge) -> tuple[float, ...]:
    """Bolts along an edge if it becomes a joint, in its own walk."""
    return bolt_stations_mm(
        edge.length_mm,
        edge.bolts.pitch_mm,
        edge.bolts.from_ends_mm,
        edge_corner_stations_mm(edge),
        closed=edge.line.closed,
    )


def edge_bolt_notches(job: Job, edge: Edge) -> tuple[CutOut, ...]:
    """Notches that the grip needs at bolts if the edge is pinched, in its own walk."""
    if edge.open:
        return ()
    cuts = bolt_notches(
        edge_bolt_stations_mm(job, edge),
        edge.grip_mm,
        edge.bolts.inset_mm,
        edge.bolts.diameter_mm,
        job.rules.bolt_clearance_mm,
    )
    return tuple(CutOut(cut.at_mm, cut.wide_mm, cut.deep_mm, "grip") for cut in cuts)
