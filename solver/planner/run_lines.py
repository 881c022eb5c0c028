"""Runs as the planner sees them: one line to walk, with what changes and what matters along it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from solver.data.job import Edge, Job, Run
from solver.data.line import Line
from solver.geometry.lines import joined, reversed_line
from solver.planner.stands import SLACK_MM, Stand, stands_along
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
    lowered: tuple[Stand, ...] = ()
    """Stretches, by station of the run, where metal stands lower than the shape of its edge."""

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

    @property
    def marks_mm(self) -> tuple[float, ...]:
        """Stations at which something changes, where seams are offered."""
        borders = (at for one in self.lowered for at in (one.from_mm, one.to_mm))
        return (*self.starts_mm, *borders)

    def shape_between(self, first: int, start_mm: float, end_mm: float) -> FlashingShape:
        """Return the shape of a piece that begins on an edge: as high as it stands anywhere.

        Where it stands lower its free edge is cut down, see ``steps``; a leg that is folded on the
        free edge runs straight, so such a piece stands as low as it must anywhere.
        """
        shape = self.shapes[first]
        low = self._low(start_mm, end_mm)
        if not low:
            return shape
        if shape.return_mm > 0:
            return replace(shape, stand_mm=min(one.stand_mm for one in low))
        if sum(one.to_mm - one.from_mm for one in low) < end_mm - start_mm - SLACK_MM:
            return shape
        return replace(shape, stand_mm=max(one.stand_mm for one in low))

    def steps(
        self, shape: FlashingShape, start_mm: float, end_mm: float, trim_mm: float
    ) -> tuple[CutOut, ...]:
        """Return where the free edge of a piece of this shape is cut down beside other metal.

        The metal to trim is as low as what it continues.
        """
        found = []
        for one in self._low(start_mm, end_mm):
            if one.stand_mm < shape.stand_mm - 1e-9:
                ends = one.to_mm >= end_mm - SLACK_MM
                high = end_mm + trim_mm if ends else one.to_mm
                wide = high - one.from_mm
                deep = shape.stand_mm - one.stand_mm
                found.append(CutOut(one.from_mm + wide / 2, wide, deep, "free"))
        return tuple(found)

    def cutouts(
        self,
        shape: FlashingShape,
        start_mm: float,
        end_mm: float,
        trim_mm: float,
        mounting: Literal["pinched", "clamped", "standing"],
    ) -> tuple[CutOut, ...]:
        """Return everything that is cut out of a piece: notches asked for, at bolts, and steps."""
        cuts = self.asked_notches + (self.bolt_notches if mounting == "pinched" else ())
        laps = (0.0, self.length_mm) if self.run.closed else (0.0,)
        found = [
            replace(
                cut,
                at_mm=cut.at_mm + lap,
                # from the free edge as it stands there
                deep_mm=cut.deep_mm
                + (self.step_at(shape, cut.at_mm + lap) if cut.side == "free" else 0.0),
            )
            for lap in laps
            for cut in cuts
            if start_mm <= cut.at_mm + lap < end_mm
        ]
        return (*found, *self.steps(shape, start_mm, end_mm, trim_mm))

    def step_at(self, shape: FlashingShape, station_mm: float) -> float:
        """Return by how much a piece of this shape is cut down at a station."""
        laps = (0.0, self.length_mm) if self.run.closed else (0.0,)
        stands = [
            one.stand_mm
            for one in self.lowered
            for lap in laps
            if one.from_mm + lap <= station_mm <= one.to_mm + lap
        ]
        return max(0.0, shape.stand_mm - min(stands, default=shape.stand_mm))

    def _low(self, start_mm: float, end_mm: float) -> list[Stand]:
        """Lowered stretches between two stations, clipped to them, neighbours of a height joined.

        A piece may run over the start of a loop.
        """
        laps = (0.0, self.length_mm) if self.run.closed else (0.0,)
        clipped = (
            Stand(max(one.from_mm + lap, start_mm), min(one.to_mm + lap, end_mm), one.stand_mm)
            for one in self.lowered
            for lap in laps
        )
        found: list[Stand] = []
        for one in sorted(clipped, key=lambda one: one.from_mm):
            if one.to_mm - one.from_mm <= SLACK_MM:
                continue
            before = found[-1] if found else None
            if (
                before is not None
                and one.from_mm - before.to_mm <= SLACK_MM
                and abs(one.stand_mm - before.stand_mm) <= 1e-9
            ):
                found[-1] = replace(before, to_mm=one.to_mm)
            else:
                found.append(one)
        return found

    def visible_at(self, station_mm: float) -> bool:
        """Whether the line shows at a station or on either side of it."""
        length = self.length_mm
        places = [station_mm]
        if self.run.closed:
            # the start of a loop is also its end
            at = station_mm % length
            places = [at, at - length, at + length]
        return any(a - 1e-6 <= s <= b + 1e-6 for a, b in self.visible for s in places)


def run_lines(job: Job) -> tuple[RunLine, ...]:
    """Every run of the job, walked."""
    stands = stands_along(job)
    return tuple(_run_line(job, run, stands) for run in job.runs)


def _run_line(job: Job, run: Run, stands: Mapping[str, Sequence[Stand]]) -> RunLine:
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
    lowered: list[Stand] = []
    highest = {edge.id: max(one.stand_mm for one in stands[edge.id]) for edge in edges}
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
        for one in stands[edge.id]:
            if one.stand_mm < highest[edge.id] - 1e-9:
                low, high = sorted(_walked(at, length, back) for at in (one.from_mm, one.to_mm))
                lowered.append(Stand(begin + low, begin + high, one.stand_mm))
    keep = job.rules.seam_from_corner_mm
    breaks = np.concatenate(([0.0], np.cumsum([s.length_mm for s in line.stretches])))
    return RunLine(
        run=run,
        line=line,
        edges=edges,
        backward=backward,
        starts_mm=tuple(float(s) for s in starts),
        shapes=tuple(_shape(e, b, highest[e.id]) for e, b in zip(edges, backward, strict=True)),
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
        lowered=tuple(lowered),
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
