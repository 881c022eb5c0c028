"""One piece of an option: its blank, what stock holds it, what its template shows.

What a piece is like whatever its metal is worked out once for all the sheet metals it may be of.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from solver.data.job import Job
from solver.data.line import Stretch
from solver.data.plan import Mounting
from solver.data.units import format_length
from solver.geometry.blanks import Blank, BlankError
from solver.geometry.folds import SHARP_DEG
from solver.geometry.lines import Floats, corners_between, sub_line
from solver.planner.piece_blanks import BlankMaker
from solver.planner.run_lines import CutOut, FlashingShape, RunLine, run_lines
from solver.planner.sheets import room_mm, sheets_of
from solver.rules.clamping import clamp_count
from solver.rules.conformity import elastic_limit_radius_mm
from solver.rules.gauge_choice import largest_clamp_pitch_mm

STATION_DIGITS = 3


@dataclass(frozen=True)
class PieceOption:
    """One piece of an option, ready to be cut."""

    run: int
    from_mm: float
    to_mm: float
    trim_mm: float
    mounting: Mounting
    shape: FlashingShape
    visible: bool
    blank: Blank
    perimeter_mm: float
    clamp_pitch_mm: float | None
    clamps: int
    preform_mm: float
    folds: int
    bends_mm: tuple[float, ...]
    """Sharp easy-way corners that it is bent round, from its own start."""
    seam_at_start: bool
    seam_visible: bool
    template: str
    twin_template: str
    fits: frozenset[int]
    """Stock items (indices into the job's stock) on which the blank can lie by itself."""
    might_fit: frozenset[int]
    """Stock items that the blank is not proven too large for; never fewer than ``fits``."""

    @property
    def length_mm(self) -> float:
        """Length along the run."""
        return self.to_mm - self.from_mm

    @property
    def key(self) -> PieceKey:
        """What tells it from other pieces of its sheet metal."""
        return self.run, self.from_mm, self.to_mm, self.trim_mm, self.mounting


PieceKey = tuple[int, float, float, float, Mounting]
Holders = tuple[frozenset[int], frozenset[int]]
"""Stock that holds a blank, and stock that is not proven too small for it."""


@dataclass(frozen=True)
class _Place:
    """What a piece is like whatever metal it is of."""

    shape: FlashingShape
    visible: bool
    seam_at_start: bool
    seam_visible: bool
    bends_mm: tuple[float, ...]
    tight: tuple[Stretch, ...]
    """Stretches that some metal of the job does not spring onto by itself."""
    template: _Template
    twin: _Template | None


class PieceMaker:
    """Makes the pieces of one job, with all that is worked out once for several of them."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self.lines = run_lines(job)
        self.sheets = sheets_of(job)
        self._blanks = BlankMaker(job)
        self._twins = twin_runs(self.lines)
        self._places: dict[tuple[int, int, float, float, float, Mounting], _Place] = {}
        self._holders: dict[int, tuple[Holders, ...]] = {}
        self._rooms = np.array([room_mm(job, item) for item in job.stock]).reshape(-1, 2) + 1e-6
        self._limits = [
            1.0 / elastic_limit_radius_mm(sheet.metal.metal, sheet.metal.core_mm)
            for sheet in self.sheets
        ]
        self._pitches: dict[tuple[int, bool], float] = {}

    def piece(
        self,
        run: int,
        first: int,
        start: float,
        end: float,
        trim: float,
        mounting: Mounting,
        sheet: int,
    ) -> PieceOption:
        """Return the piece between two stations of a run, on whose edge ``first`` it begins.

        Raises BlankError where no blank can be cut for it, or no stock of its metal holds it.
        """
        metal = self.sheets[sheet].metal
        place = self._place(run, first, start, end, trim, mounting)
        blank, perimeter, folds = self._blanks.blank(
            run, self.lines[run], start, end, trim, mounting, place.shape, metal
        )
        fits, might = self._held(blank)[sheet]
        if not fits:
            size = _size(blank, self.job.length_unit)
            raise BlankError((f"a blank {size} fits on no {metal.label} in the stock",))
        pitch = self._pitch_mm(sheet, place.visible) if mounting == "clamped" else None
        folded_mm = metal.thickness_mm if folds else None
        return PieceOption(
            run=run,
            from_mm=start,
            to_mm=end,
            trim_mm=trim,
            mounting=mounting,
            shape=place.shape,
            visible=place.visible,
            blank=blank,
            perimeter_mm=perimeter,
            clamp_pitch_mm=pitch,
            clamps=0 if pitch is None else clamp_count(end - start, pitch, 1),
            preform_mm=_preform_mm(place.tight, self._limits[sheet]),
            folds=folds,
            bends_mm=place.bends_mm,
            seam_at_start=place.seam_at_start,
            seam_visible=place.seam_visible,
            template=place.template.name(folded_mm),
            twin_template="" if place.twin is None else place.twin.name(folded_mm),
            fits=fits,
            might_fit=might,
        )

    def twin(self, run: int) -> tuple[int, bool] | None:
        """Index of the mirrored run, and whether its stations count from the other end."""
        return self._twins[run]

    def _place(
        self, run: int, first: int, start: float, end: float, trim: float, mounting: Mounting
    ) -> _Place:
        key = (run, first, start, end, trim, mounting)
        if key not in self._places:
            self._places[key] = self._look(run, first, start, end, mounting)
        return self._places[key]

    def _look(self, run: int, first: int, start: float, end: float, mounting: Mounting) -> _Place:
        line = self.lines[run]
        whole, closed = line.length_mm, line.run.closed
        shape = line.shape_between(first, start, end)
        begin = start % whole if closed else start
        seam = closed or start > 1e-6
        cuts = line.cutouts(shape, start, end, 0.0, mounting)
        looks = _Looks(mounting, shape, end - start, cuts, start)
        mirrored = None
        twin = self._twins[run]
        if twin is not None:
            other, turned = twin
            there = whole - (start + (end - start)) if turned else start
            mirrored = _template(other, there % whole if closed else there, looks, turned=turned)
        least = min(self._limits)
        return _Place(
            shape=shape,
            visible=line.shows_between(start, end),
            seam_at_start=seam,
            seam_visible=seam and line.visible_at(begin),
            bends_mm=tuple(
                corner.station_mm - start
                for corner in corners_between(line.line, start, end)
                if abs(corner.easy_deg) >= SHARP_DEG
            ),
            tight=tuple(
                stretch
                for stretch in sub_line(line.line, start, end).stretches
                if max(abs(stretch.easy_start), abs(stretch.easy_end)) > least
            ),
            template=_template(run, begin, looks, turned=None),
            twin=mirrored,
        )

    def _pitch_mm(self, sheet: int, visible: bool) -> float:
        key = (sheet, visible)
        if key not in self._pitches:
            self._pitches[key] = largest_clamp_pitch_mm(
                self.sheets[sheet].metal, self.job.rules, visible=visible
            )
        return self._pitches[key]

    def _held(self, blank: Blank) -> tuple[Holders, ...]:
        """What stock of each sheet metal holds a blank."""
        key = id(blank)  # blanks live as long as their maker
        if key not in self._holders:
            high, wide, slack = _extents_mm(blank)
            lengths, widths = self._rooms.T
            fits = ((wide[:, None] <= lengths) & (high[:, None] <= widths)).any(axis=0).tolist()
            might = fits
            if slack:
                by_length, by_width = (
                    wide[:, None] - slack <= lengths,
                    high[:, None] - slack <= widths,
                )
                might = (by_length & by_width).any(axis=0).tolist()
            self._holders[key] = tuple(
                (
                    frozenset(i for i in sheet.items if fits[i]),
                    frozenset(i for i in sheet.items if might[i]),
                )
                for sheet in self.sheets
            )
        return self._holders[key]


def twin_runs(lines: Sequence[RunLine]) -> tuple[tuple[int, bool] | None, ...]:
    """For each run the index of its mirrored one, and whether that counts from the other end."""
    by_edges = {frozenset(e.id for e in line.edges): i for i, line in enumerate(lines)}
    return tuple(_twin_run(line, lines, by_edges) for line in lines)


def _twin_run(
    line: RunLine, lines: Sequence[RunLine], by_edges: Mapping[frozenset[str], int]
) -> tuple[int, bool] | None:
    twins = [edge.twin for edge in line.edges]
    if any(twin is None for twin in twins):
        return None
    other = by_edges.get(frozenset(t for t in twins if t is not None))
    if other is None:
        return None
    walk = lines[other]
    place = {edge.id: i for i, edge in enumerate(walk.edges)}
    at = place[str(twins[0])]
    turned = walk.backward[at] == line.backward[0]
    expected = list(reversed(twins)) if turned else list(twins)
    if [edge.id for edge in walk.edges] != expected:
        return None
    return other, turned


def _preform_mm(stretches: Sequence[Stretch], limit: float) -> float:
    """Length curved tighter (1/mm), easy way, than the metal springs onto by itself."""
    tight = 0.0
    for stretch in stretches:
        low, high = sorted((abs(stretch.easy_start), abs(stretch.easy_end)))
        if stretch.easy_start * stretch.easy_end < 0:
            low = 0.0
        if low > limit:
            tight += stretch.length_mm
        elif high > limit:
            tight += stretch.length_mm * (high - limit) / (high - low)
    return tight


def _extents_mm(blank: Blank) -> tuple[Floats, Floats, float]:
    """Heights and widths over the angles a blank may lie at, and what lies between two angles."""
    points = np.asarray(blank.outline_mm)
    step = 90.0 if blank.straight else 1.0
    angles = np.radians(np.arange(0.0, 180.0, step))
    high = np.ptp(points @ np.stack((-np.sin(angles), np.cos(angles))), axis=0)
    wide = np.ptp(points @ np.stack((np.cos(angles), np.sin(angles))), axis=0)
    reach = float(np.hypot(*np.ptp(points, axis=0)))
    slack = 0.0 if blank.straight else reach * math.radians(step) / 2
    return high, wide, slack


@dataclass(frozen=True)
class _Looks:
    """What a template shows of a piece; where it is folded also how thick the metal is."""

    mounting: Mounting
    shape: FlashingShape
    length_mm: float
    cuts: tuple[CutOut, ...]
    start_mm: float


@dataclass(frozen=True)
class _Template:
    """Name of a template, before and after what it says of the metal."""

    place: str
    cuts: str

    def name(self, folded_mm: float | None) -> str:
        """Return the name; ``folded_mm``: thickness of the metal where it is folded."""
        return self.place + (f"; {folded_mm:.3f}" if folded_mm is not None else "") + self.cuts


def _template(run: int, begin_mm: float, looks: _Looks, *, turned: bool | None) -> _Template:
    """Name a template by place and looks; with ``turned`` the one that a mirrored twin would have.

    Seen from a twin whose stations count from the other end, everything lies the other way round.
    """
    shape, begin = looks.shape, round(begin_mm, STATION_DIGITS) + 0.0
    said = [f"{run} {begin:.2f} {looks.length_mm:.2f} {looks.mounting}"]
    said.append(f"{shape.stand_mm:.2f} {shape.return_mm:.2f}")
    if looks.mounting != "standing":
        said.append(f"{shape.grip_mm:.2f} {shape.flange}")
    if shape.return_mm > 0:
        # a mirror image changes hands, and so does a walk from the other end
        flips = turned is False
        other = {"left": "right", "right": "left"}[shape.return_hand]
        said.append(other if flips else shape.return_hand)
    places = []
    for cut in looks.cuts:
        at = cut.at_mm - looks.start_mm
        at = looks.length_mm - at if turned else at
        # off the round figures on which two ways of counting may fall to either side
        places.append(f"; {cut.side} {at + 0.0137:.1f} {cut.wide_mm:.2f} {cut.deep_mm:.2f}")
    return _Template("; ".join(said), "".join(sorted(places)))


def _size(blank: Blank, unit: str) -> str:
    long, high = np.ptp(np.asarray(blank.outline_mm), axis=0).tolist()
    return f"{format_length(long, unit)} x {format_length(high, unit)}"
