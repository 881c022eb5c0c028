"""Job and plan read side by side: what follows from the split alone, before anything is judged.

The split (which patch is in which section) and where pieces are cut are the decisions; joints,
treatments, the course of each piece and what its edges ask for follow from them and the job.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely

from solver.checker.strip import Strip, Track, cut, joined, rolled_out, track_of
from solver.checker.tolerances import SHARP_DEG, STEP_MM, station_slack_mm
from solver.data.job import Edge, Job, Run, StockItem
from solver.data.plan import Piece, Plan, Span
from solver.rules.bolts import bolt_notches, bolt_stations_mm


@dataclass(frozen=True)
class Profile:
    """What an edge asks of the metal along it, as its run walks it; a piece keeps one of these."""

    treatment: str
    stand_mm: float
    """Where it is highest, after the cap of flashings that run near."""
    grip_mm: float
    """Of a standing piece its foot."""
    return_mm: float
    return_left: bool | None
    """Whether the return goes to the left of the walk; None without a return."""
    out: bool
    """Whether the grip leg is folded outward (an open edge whose mold flange turns out)."""


@dataclass(frozen=True)
class EdgeOnRun:
    """One edge of a run between two stations of the run."""

    edge: Edge
    backward: bool
    from_mm: float
    to_mm: float
    profile: Profile

    def on_run(self, station_mm: float) -> float:
        """Station of the run for a station of the edge."""
        return self.to_mm - station_mm if self.backward else self.from_mm + station_mm


@dataclass(frozen=True)
class NotchOnRun:
    """A notch on a run; from the edge of the grip at a bolt, else from the free edge."""

    at_mm: float
    wide_mm: float
    deep_mm: float
    bolt: bool


@dataclass(frozen=True)
class RunReading:
    """One run, walked."""

    run: Run
    edges: tuple[EdgeOnRun, ...]
    track: Track
    notches: tuple[NotchOnRun, ...]
    drops: tuple[tuple[float, float, float], ...] = ()
    """Stretches (from, to, drop) from one end to the other: by how much metal stands lower there
    than where its edge stands highest."""

    @property
    def length_mm(self) -> float:
        """Length of the run."""
        return self.edges[-1].to_mm

    @cached_property
    def forced_mm(self) -> tuple[float, ...]:
        """Marks where treatment or profile changes, so that a seam must be there."""
        slots = self.edges
        pairs = list(pairwise(slots))
        forced = [b.from_mm for a, b in pairs if a.profile != b.profile]
        if self.run.closed and slots[-1].profile != slots[0].profile:
            forced.insert(0, 0.0)
        return tuple(forced)

    def is_forced(self, station_mm: float) -> bool:
        """Whether a seam at this station is forced by the run itself."""
        at = station_mm % self.length_mm if self.run.closed else station_mm
        slack = station_slack_mm(self.length_mm)
        return any(
            min(abs(at - mark), abs(at - self.length_mm - mark)) <= slack for mark in self.forced_mm
        )

    def sides_visible(self, station_mm: float) -> tuple[bool, bool]:
        """Whether the edges just before and just after a station show."""
        slack = station_slack_mm(self.length_mm)
        return self._visible(station_mm - 2 * slack), self._visible(station_mm + 2 * slack)

    def _visible(self, station_mm: float) -> bool:
        at = station_mm % self.length_mm if self.run.closed else station_mm
        return any(slot.edge.visible and slot.from_mm <= at <= slot.to_mm for slot in self.edges)


@dataclass(frozen=True)
class PieceReading:
    """One piece with the edges that it covers and its outline as drawn."""

    piece: Piece
    run: RunReading
    slots: tuple[EdgeOnRun, ...]
    """Edges that it covers, in order of the walk."""
    spans: tuple[Span, ...]
    """What its spans must be."""
    sheet: StockItem
    """A stock item of its metal and thickness."""
    outline: shapely.Polygon

    @property
    def place(self) -> str:
        """How faults name it."""
        return f'piece "{self.piece.id}"'

    @property
    def length_mm(self) -> float:
        """Length along the run."""
        return self.piece.to_mm - self.piece.from_mm

    @property
    def profile(self) -> Profile:
        """What its first edge asks for."""
        return self.slots[0].profile

    @property
    def visible(self) -> bool:
        """Whether any of its edges shows."""
        return any(slot.edge.visible for slot in self.slots)

    @property
    def folded(self) -> bool:
        """Whether its profile has a fold."""
        return self.profile.return_mm > 0 or self.profile.out

    @cached_property
    def track(self) -> Track:
        """Its part of the run, walked from 0."""
        whole = self.run.track
        if self.piece.to_mm > whole.length_mm:
            whole = joined([whole, whole])
        return cut(whole, self.piece.from_mm, self.piece.to_mm)

    @cached_property
    def bends_mm(self) -> tuple[float, ...]:
        """Sharp corners that it is bent round, from its own start."""
        return tuple(float(at) for at, easy, _ in self.track.corners if abs(easy) >= SHARP_DEG)

    @cached_property
    def strip(self) -> Strip:
        """Rolled out with the metal to trim that it is stated to have."""
        width = self.piece.blank.above_mm + self.piece.blank.below_mm
        return rolled_out(self.track, self.piece.trim_mm, width)

    @cached_property
    def _drops(self) -> list[tuple[float, float, float]]:
        """Stretches (from, to, drop) of the run that it covers, from its own start."""
        start, end = self.piece.from_mm, self.piece.to_mm
        laps = (0.0, self.run.length_mm) if self.run.run.closed else (0.0,)
        clipped = [
            (max(low + lap, start) - start, min(high + lap, end) - start, drop)
            for lap in laps
            for low, high, drop in self.run.drops
        ]
        return sorted(one for one in clipped if one[1] - one[0] > STEP_MM)

    @cached_property
    def _drop_mm(self) -> float:
        """Drop of the whole piece.

        A leg on the free edge is folded straight, so it is low all along if it is anywhere; a free
        edge without one is cut down where other metal runs near, and high elsewhere.
        """
        drops = [drop for _, _, drop in self._drops] or [0.0]
        return max(drops) if self.profile.return_mm > 0 else min(drops)

    @cached_property
    def stand_mm(self) -> float:
        """How high it stands, where it is highest."""
        return min(slot.profile.stand_mm for slot in self.slots) - self._drop_mm

    @cached_property
    def notches(self) -> tuple[NotchOnRun, ...]:
        """Notches that fall on it, at stations from its own start; those at bolts if pinched.

        A stretch where it stands lower than elsewhere is one too; the metal to trim is as low as
        what it continues.
        """
        laps = (0.0, self.run.length_mm) if self.run.run.closed else (0.0,)
        pinched = self.profile.treatment == "pinched"
        found = []
        for low, high, deep in self._steps:
            end = high if high < self.length_mm - STEP_MM else high + self.piece.trim_mm
            found.append(NotchOnRun((low + end) / 2, end - low, deep, bolt=False))
        for lap in laps:
            for notch in self.run.notches:
                at = notch.at_mm + lap - self.piece.from_mm
                on_it = self.piece.from_mm <= notch.at_mm + lap < self.piece.to_mm
                if on_it and (pinched or not notch.bolt):
                    deep = notch.deep_mm + (0.0 if notch.bolt else self._step_mm(at))
                    found.append(NotchOnRun(at, notch.wide_mm, deep, notch.bolt))
        return tuple(sorted(found, key=lambda notch: notch.at_mm))

    @property
    def _steps(self) -> list[tuple[float, float, float]]:
        """Stretches (from, to, depth) where the free edge is cut down, neighbours alike joined."""
        steps: list[tuple[float, float, float]] = []
        for low, high, drop in self._drops:
            deep = drop - self._drop_mm
            before = steps[-1] if steps else None
            if deep <= 1e-9:
                continue
            if before and low - before[1] <= STEP_MM and abs(before[2] - deep) <= 1e-9:
                steps[-1] = (before[0], high, deep)
            else:
                steps.append((low, high, deep))
        return steps

    def _step_mm(self, at_mm: float) -> float:
        """By how much it is cut down at a station of its own."""
        return max((deep for low, high, deep in self._steps if low <= at_mm <= high), default=0.0)


@dataclass(frozen=True)
class Reading:
    """Everything that the rules look at."""

    job: Job
    plan: Plan
    section_of: dict[str, str]
    """Section id by patch id."""
    runs: dict[str, RunReading]
    pieces: tuple[PieceReading, ...]

    def is_joint(self, edge: Edge) -> bool:
        """Whether the two patches of an edge lie in different sections."""
        return not edge.open and self.section_of[edge.first] != self.section_of[edge.second]

    @cached_property
    def joints(self) -> tuple[Edge, ...]:
        """All joints."""
        return tuple(edge for edge in self.job.edges if self.is_joint(edge))

    @cached_property
    def metal_edges(self) -> tuple[Edge, ...]:
        """All edges that carry metal."""
        return tuple(edge for edge in self.job.edges if self.job.carries_metal(edge))

    @cached_property
    def pieces_of(self) -> dict[str, tuple[PieceReading, ...]]:
        """Pieces by run, in order of their stations."""
        by_run: dict[str, list[PieceReading]] = {run.id: [] for run in self.job.runs}
        for piece in self.pieces:
            by_run[piece.piece.run].append(piece)
        return {
            run: tuple(sorted(found, key=lambda p: p.piece.from_mm))
            for run, found in by_run.items()
        }

    @cached_property
    def piece_of(self) -> dict[str, PieceReading]:
        """Pieces by id."""
        return {piece.piece.id: piece for piece in self.pieces}

    def seams_mm(self, run: str) -> list[float]:
        """Stations of the seams of a run: between neighbours, and where a closed run closes."""
        pieces = self.pieces_of[run]
        seams = [piece.piece.from_mm for piece in pieces[1:]]
        if self.runs[run].run.closed and pieces:
            seams.insert(0, pieces[0].piece.from_mm)
        return seams


def treatment(job: Job, edge: Edge, *, joint: bool) -> str:
    """Tell what becomes of the metal of an edge, from whether it is a joint."""
    if not job.carries_metal(edge):
        return "witness" if joint else "plain"
    if edge.open:
        return "clamped"
    return "pinched" if joint else "standing"


def stands_mm(job: Job, edge: Edge) -> list[tuple[float, float, float]]:
    """Stretches (from, to, stand) of an edge: at most gap·tan(access angle) beside other metal.

    A gap counts both ways: where the edge says, or all along it where only the other edge speaks.
    """
    slope = math.tan(math.radians(job.rules.access_angle_deg))
    told = {
        other: gaps
        for other, gaps in job.spoken_of.get(edge.id, {}).items()
        if job.carries_metal(job.edge_of[other])
    }
    zones = [
        (near.from_mm, near.to_mm, min([near.gap_mm, *told.get(near.edge, [])]) * slope)
        for near in edge.near
        if job.carries_metal(job.edge_of[near.edge])
    ]
    own = {near.edge for near in edge.near}
    zones += [
        (0.0, edge.length_mm, gap * slope)
        for other, gaps in told.items()
        if other not in own
        for gap in gaps
    ]
    ends = np.clip([at for low, high, _ in zones for at in (low, high)], 0.0, edge.length_mm)
    marks = [0.0]
    for mark in np.unique(ends).tolist():
        if mark - marks[-1] > STEP_MM and edge.length_mm - mark > STEP_MM:
            marks.append(mark)
    marks.append(edge.length_mm)
    return [
        (
            low,
            high,
            min([edge.stand_mm, *(cap for a, b, cap in zones if a <= (low + high) / 2 <= b)]),
        )
        for low, high in pairwise(marks)
    ]


def highest_stand_mm(job: Job, edge: Edge) -> float:
    """Stand where the edge stands highest."""
    return max(stand for _, _, stand in stands_mm(job, edge))


def bolt_places_mm(edge: Edge) -> tuple[float, ...]:
    """Stations of the bolts of an edge, if it is a joint."""
    return bolt_stations_mm(
        edge.length_mm,
        edge.bolts.pitch_mm,
        edge.bolts.from_ends_mm,
        tuple(corner.station_mm for corner in edge.line.corners),
        closed=edge.line.closed,
    )


def read(job: Job, plan: Plan) -> Reading:
    """Read a plan whose names all exist (see names.py)."""
    section_of = {patch: section.id for section in plan.sections for patch in section.patches}
    runs = {run.id: _run_reading(job, run, section_of) for run in job.runs}
    sheets = {(item.metal, item.thickness_mm): item for item in job.stock}
    pieces = tuple(
        _piece_reading(piece, runs[piece.run], _sheet(piece, sheets)) for piece in plan.pieces
    )
    return Reading(job, plan, section_of, runs, pieces)


def _sheet(piece: Piece, sheets: dict[tuple[str, float], StockItem]) -> StockItem:
    return min(
        (item for (metal, _), item in sheets.items() if metal == piece.metal),
        key=lambda item: abs(item.thickness_mm - piece.thickness_mm),
    )


def _run_reading(job: Job, run: Run, section_of: dict[str, str]) -> RunReading:
    slots: list[EdgeOnRun] = []
    tracks: list[Track] = []
    notches: list[NotchOnRun] = []
    drops: list[tuple[float, float, float]] = []
    station = 0.0
    for step in run.edges:
        edge = job.edge_of[step.edge]
        track = track_of(edge.line, backward=step.backward)
        joint = not edge.open and section_of[edge.first] != section_of[edge.second]
        profile = _profile(job, edge, treatment(job, edge, joint=joint), backward=step.backward)
        slot = EdgeOnRun(edge, step.backward, station, station + track.length_mm, profile)
        notches.extend(
            NotchOnRun(slot.on_run(notch.at_mm), notch.wide_mm, notch.deep_mm, bolt=False)
            for notch in edge.notches
        )
        if profile.treatment == "pinched":
            notches.extend(
                NotchOnRun(slot.on_run(notch.at_mm), notch.wide_mm, notch.deep_mm, bolt=True)
                for notch in bolt_notches(
                    bolt_places_mm(edge),
                    edge.grip_mm,
                    edge.bolts.inset_mm,
                    edge.bolts.diameter_mm,
                    job.rules.bolt_clearance_mm,
                )
            )
        for low, high, stand in stands_mm(job, edge):
            ends = sorted((slot.on_run(low), slot.on_run(high)))
            drops.append((ends[0], ends[1], profile.stand_mm - stand))
        slots.append(slot)
        tracks.append(track)
        station = slot.to_mm
    return RunReading(run, tuple(slots), joined(tracks), tuple(notches), tuple(drops))


def _profile(job: Job, edge: Edge, treatment: str, *, backward: bool) -> Profile:
    return Profile(
        treatment=treatment,
        stand_mm=highest_stand_mm(job, edge),
        grip_mm=job.rules.standing_foot_mm if treatment == "standing" else edge.grip_mm,
        return_mm=edge.return_mm,
        return_left=((edge.return_to == "first") != backward) if edge.return_mm > 0 else None,
        out=treatment == "clamped" and edge.flange == "out" and edge.grip_mm > 0,
    )


def _piece_reading(piece: Piece, run: RunReading, sheet: StockItem) -> PieceReading:
    slots: list[EdgeOnRun] = []
    spans: list[Span] = []
    slack = station_slack_mm(run.length_mm)
    for lap in (0.0, run.length_mm) if run.run.closed else (0.0,):
        for slot in run.edges:
            low = max(piece.from_mm, slot.from_mm + lap) - lap - slot.from_mm
            high = min(piece.to_mm, slot.to_mm + lap) - lap - slot.from_mm
            if high - low <= slack:
                continue
            if slot.backward:
                length = slot.to_mm - slot.from_mm
                low, high = length - high, length - low
            slots.append(slot)
            spans.append(Span(edge=slot.edge.id, from_mm=low, to_mm=high, backward=slot.backward))
    outline = shapely.Polygon(np.array(piece.blank.outline_mm, dtype=np.float64))
    return PieceReading(piece, run, tuple(slots), tuple(spans), sheet, outline)
