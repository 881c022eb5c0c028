"""The pieces that are there, and for each new piece those that it can be made from.

A piece *stays* where it was made for: the same blank, the same metal, held alike, on the same part
of its edges.  Else it may serve another place, as it is or trimmed (see ``reuse_fit``).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from solver.data.job import Job
from solver.data.plan import Existing, Piece, Plan
from solver.data.work import Work
from solver.planner.labor import PieceWork, added, labor_cost, minutes_of, piece_work
from solver.planner.labor import Work as Minutes
from solver.planner.options import StretchOption, work_asked
from solver.planner.piece_blanks import profile_of
from solver.planner.piece_options import PieceOption
from solver.planner.reuse_fit import Fit, Flat, FlatFold, fit_of
from solver.planner.reuse_seams import OldLines
from solver.planner.run_lines import RunLine
from solver.planner.sheets import Sheet

SAME_OUTLINE_MM = 0.01
SAME_MM = 1e-3
SAME_AREA = 1e-3
MOST_SOURCES = 6
"""Pieces offered to one new piece, the smallest that will do: more would only slow the choice."""

Metal = tuple[str, float]


@dataclass(frozen=True)
class Use:
    """A new piece of an option made from a piece that is there."""

    existing: int
    stays: bool
    fit: Fit
    left: Minutes
    """What is still to be done."""
    saved_minutes: float
    needs_template: bool


@dataclass(frozen=True)
class Pool:
    """Pieces that are there with their blanks, and the lines that they were made for."""

    pieces: tuple[Existing, ...]
    flats: tuple[Flat, ...]
    old: OldLines


def existing_of(plan: Plan, work: Work) -> tuple[Existing, ...]:
    """Return the pieces that are there: cut for this plan, or left from an older one."""
    found = [
        Existing(piece=piece, fitted=piece.id in work.fitted)
        for piece in plan.pieces
        if piece.id in work.cut
    ]
    if plan.rerun is not None:
        # a source that has not been made over yet is still what it was; scrap lies about
        used = {s.old for s in plan.rerun.sources if s.piece in work.cut | work.spoiled}
        found += [
            one
            for one in plan.rerun.existing
            if one.piece.id not in used and one.piece.id not in work.spoiled
        ]
    by_id = {one.piece.id: one for one in reversed(found)}
    return tuple(by_id[name] for name in dict.fromkeys(one.piece.id for one in found))


def pool_of(job: Job, existing: Sequence[Existing], old: OldLines) -> Pool:
    """Return the pool with the blanks as they are now."""
    return Pool(tuple(existing), tuple(_flat_of_old(job, one) for one in existing), old)


def metal_of(piece: Piece) -> Metal:
    """Key of a sheet metal."""
    return piece.metal, round(piece.thickness_mm, 4)


def _flat_of_old(job: Job, one: Existing) -> Flat:
    blank = one.piece.blank
    folds = []
    unsure = False
    for fold in blank.folds:
        hand = fold.hand or _hand(job, one.piece, fold.toward)
        unsure |= hand is None
        folds.append(
            FlatFold(
                np.array(fold.line_mm),
                fold.angle_deg,
                hand == "left",
                fold.inside_radius_mm,
                fold.deduction_mm,
            )
        )
    flat = Flat(
        outline=np.array(blank.outline_mm),
        length_mm=blank.root_length_mm,
        straight=blank.straight,
        width_mm=blank.above_mm + blank.below_mm,
        folds=tuple(folds),
        slits=tuple(np.array(slit) for slit in blank.slits_mm),
        v_notches=tuple(np.array(cut) for cut in blank.v_notches_mm),
        fixed=bool(one.piece.bends_mm) or one.piece.preform_mm > 0 or unsure,
    )
    if one.fitted and one.piece.trim_mm > 0 and not flat.fixed:
        return _trimmed_at_fitting(flat, one.piece.trim_mm)
    return flat


def _hand(job: Job, piece: Piece, toward: str) -> str | None:
    """Tell on which hand a fold goes from the patch that it goes toward, if its edge is there."""
    span = piece.spans[0]
    edge = job.edge_of.get(span.edge)
    if edge is None or toward not in (edge.first, edge.second, "outside"):
        return None
    return "left" if (toward == edge.first) != span.backward else "right"


def _trimmed_at_fitting(flat: Flat, trim_mm: float) -> Flat:
    """Take away the metal that was trimmed off at the end of a run: a straight strip."""
    if len(flat.ends) != 2:
        return _fixed(flat)
    end = flat.ends[1]
    left = np.array((-end.inward[1], end.inward[0]))
    low, high = end.at + (end.left_mm + 1) * left, end.at - (end.right_mm + 1) * left
    out, back = -end.inward, trim_mm * end.inward
    off = shapely.Polygon([low + out, high + out, high + back, low + back])
    rest = shapely.difference(flat.polygon, off)
    if rest.geom_type != "Polygon" or len(rest.interiors):
        return _fixed(flat)
    ring = np.array(shapely.geometry.polygon.orient(rest).exterior.coords)[:-1]
    return Flat(
        outline=ring,
        length_mm=flat.length_mm - trim_mm,
        straight=flat.straight,
        width_mm=flat.width_mm,
        folds=flat.folds,
        slits=flat.slits,
        v_notches=flat.v_notches,
    )


def _fixed(flat: Flat) -> Flat:
    return Flat(flat.outline, flat.length_mm, flat.straight, flat.width_mm, fixed=True)


def flat_of_new(job: Job, sheet: Sheet, piece: PieceOption) -> Flat:
    """Return a new piece's blank."""
    profile = profile_of(job, piece.shape, piece.mounting, sheet.metal)
    blank = piece.blank
    return Flat(
        outline=np.array(blank.outline_mm),
        length_mm=blank.root_length_mm,
        straight=blank.straight,
        width_mm=blank.width_mm,
        folds=tuple(
            FlatFold(
                np.array(drawn.points_mm),
                drawn.angle_deg,
                drawn.toward == "left",
                fold.inside_radius_mm,
                fold.deduction_mm,
            )
            for drawn, fold in zip(blank.folds, profile.folds, strict=True)
        ),
        slits=tuple(np.array(slit) for slit in blank.slits),
        v_notches=tuple(np.array(cut) for cut in blank.v_notches),
    )


# --- which piece serves where -------------------------------------------------------------------


class Matcher:
    """Finds for each new piece what it can be made from; equal blanks are compared once."""

    def __init__(
        self, job: Job, lines: Sequence[RunLine], sheets: Sequence[Sheet], pool: Pool
    ) -> None:
        self._job, self._lines, self._sheets, self._pool = job, lines, sheets, pool
        self._flats: dict[tuple[int, object], Flat] = {}
        self._fits: dict[tuple[int, int], Fit | None] = {}
        self._keep: list[object] = []
        self._same: dict[tuple[int, int], str | None] = {}
        self._area = np.array([flat.polygon.area for flat in pool.flats])
        by_metal: dict[Metal, list[int]] = defaultdict(list)
        self._begin_on: dict[tuple[Metal, str], list[int]] = defaultdict(list)
        self._on: dict[str, set[int]] = defaultdict(set)
        for index, one in enumerate(pool.pieces):
            by_metal[metal_of(one.piece)].append(index)
            self._begin_on[metal_of(one.piece), one.piece.spans[0].edge].append(index)
            for span in one.piece.spans:
                self._on[span.edge].add(index)
        # the smallest first: least is cut off them
        self._by_metal = {
            metal: np.array(sorted(those, key=lambda index: (self._area[index], index)))
            for metal, those in by_metal.items()
        }
        self._fitting = np.zeros(len(pool.pieces), dtype=bool)

    def know_fitting(self, options: Sequence[StretchOption]) -> None:
        """Find the pieces that still fit their place: they are not cut up for another one.

        They may serve another place as they are, and be cut for the edges that they lie on.
        """
        for option in options:
            for number in range(len(option.pieces)):
                self._fitting[self._here(option, number)] = True

    def _metal(self, option: StretchOption) -> Metal:
        metal = self._sheets[option.sheet].metal
        return metal.metal, round(metal.thickness_mm, 4)

    def _here(self, option: StretchOption, number: int) -> list[int]:
        """Return the pieces that stay where this piece of an option is wanted."""
        piece, line = option.pieces[number], self._lines[option.run]
        placed = spans_of(line, piece.from_mm, piece.to_mm)
        return [
            index
            for index in self._begin_on.get((self._metal(option), placed[0][0]), ())
            if self._stays(index, option, piece, placed)
        ]

    def uses(self, option: StretchOption, number: int) -> tuple[Use, ...]:
        """Return the pieces that could become this piece of an option, the best first."""
        candidates = self._by_metal.get(self._metal(option))
        if candidates is None:
            return ()
        piece = option.pieces[number]
        flat = self._flat(option.sheet, piece)
        here = self._here(option, number)
        area = flat.polygon.area
        alike = np.abs(self._area[candidates] / area - 1) <= SAME_AREA
        free = np.zeros(len(candidates), dtype=bool)
        if not here:
            edges = self._lines[option.run].edges
            names = {edges[(option.first + i) % len(edges)].id for i in range(option.count)}
            on_it = set().union(*(self._on.get(name, set()) for name in names))
            free = ~self._fitting[candidates] | np.isin(candidates, list(on_it))
            free &= self._area[candidates] >= area * (1 - SAME_AREA)
        found = [self._use(i, option, piece, _AS_IT_IS, stays=True) for i in here]
        for index in candidates[alike | free].tolist():
            if len(found) >= MOST_SOURCES:
                break
            fit = None if index in here else self._fit(flat, index)
            if fit is not None:
                found.append(self._use(index, option, piece, fit, stays=False))
        found = [use for use in found if use.stays or use.saved_minutes > 1e-9]
        found.sort(
            key=lambda use: (
                not use.stays,
                -round(use.saved_minutes, 6),
                self._area[use.existing],
            )
        )
        return tuple(found)

    def same(self, option: StretchOption, number: int) -> str | None:
        """Return the id of the piece that is just this one, at the same place."""
        key = (id(option), number)
        if key not in self._same:
            self._same[key] = self._find_same(option, number)
            self._keep.append(option)
        return self._same[key]

    def _find_same(self, option: StretchOption, number: int) -> str | None:
        here = self._here(option, number)
        return self._pool.pieces[here[0]].piece.id if here else None

    def _flat(self, sheet: int, piece: PieceOption) -> Flat:
        folded = sheet if piece.folds else -1
        key = (id(piece.blank), folded)
        if key not in self._flats:
            self._flats[key] = flat_of_new(self._job, self._sheets[sheet], piece)
            self._keep.append(piece.blank)
        return self._flats[key]

    def _fit(self, flat: Flat, index: int) -> Fit | None:
        key = (id(flat), index)
        if key not in self._fits:
            self._fits[key] = fit_of(flat, self._pool.flats[index])
        return self._fits[key]

    def _stays(
        self, index: int, option: StretchOption, piece: PieceOption, placed: Sequence[Placed]
    ) -> bool:
        """Whether a piece is what is wanted at the place that it was made for."""
        was = self._pool.pieces[index].piece
        if was.mounting != piece.mounting:
            return False
        if abs(was.blank.root_length_mm - piece.blank.root_length_mm) > SAME_OUTLINE_MM:
            return False
        if not same_place(was, placed, self._pool.old, self._lines[option.run]):
            return False
        flat = self._flat(option.sheet, piece)
        outline = np.array(was.blank.outline_mm)
        return (
            outline.shape == flat.outline.shape
            and bool(np.abs(outline - flat.outline).max() <= SAME_OUTLINE_MM)
            and _same_folds(self._pool.flats[index], flat)
            and len(was.bends_mm) == len(piece.bends_mm)
            and all(
                abs(a - b) <= SAME_MM for a, b in zip(was.bends_mm, piece.bends_mm, strict=True)
            )
            and abs(was.preform_mm - piece.preform_mm) <= SAME_MM
        )

    def _use(
        self, index: int, option: StretchOption, piece: PieceOption, fit: Fit, *, stays: bool
    ) -> Use:
        fitted = self._pool.pieces[index].fitted
        needs_template = not stays and not fit.straight_cut
        left = left_to_do(
            self._job,
            self._sheets[option.sheet],
            piece,
            fit,
            stays=stays,
            fitted=fitted,
            needs_template=needs_template,
        )
        whole = minutes_of(full_work(self._job, self._sheets[option.sheet], piece))
        return Use(index, stays, fit, left, whole - minutes_of(left), needs_template)


_AS_IT_IS = Fit(0.0, 0.0, 0.0, False, 0.0, True, 0, 0, 0)


def _same_folds(one: Flat, other: Flat) -> bool:
    return (
        len(one.folds) == len(other.folds)
        and len(one.slits) == len(other.slits)
        and len(one.v_notches) == len(other.v_notches)
        and all(
            a.left == b.left
            and abs(a.angle_deg - b.angle_deg) <= SAME_MM
            and abs(a.radius_mm - b.radius_mm) <= SAME_MM
            and abs(a.deduction_mm - b.deduction_mm) <= SAME_MM
            and a.points.shape == b.points.shape
            and bool(np.abs(a.points - b.points).max() <= SAME_OUTLINE_MM)
            for a, b in zip(one.folds, other.folds, strict=True)
        )
        and all(
            a.shape == b.shape and bool(np.abs(a - b).max() <= SAME_OUTLINE_MM)
            for a, b in zip(
                (*one.slits, *one.v_notches), (*other.slits, *other.v_notches), strict=True
            )
        )
    )


Placed = tuple[str, float, float, bool]
"""Part of an edge: its id, from, to (in its own stations), walked backward."""


def spans_of(line: RunLine, from_mm: float, to_mm: float) -> tuple[Placed, ...]:
    """Parts of edges between two stations of a run, in the order of the walk."""

    def parts() -> Iterator[Placed]:
        for lap in (0.0, line.length_mm) if line.run.closed else (0.0,):
            for index, edge in enumerate(line.edges):
                begin = line.starts_mm[index] + lap
                low = max(from_mm, begin) - begin
                high = min(to_mm, begin + edge.length_mm) - begin
                if high - low > 1e-6:
                    back = line.backward[index]
                    yield (
                        edge.id,
                        edge.length_mm - high if back else low,
                        edge.length_mm - low if back else high,
                        back,
                    )

    return tuple(parts())


def same_place(was: Piece, now: Sequence[Placed], old: OldLines, line: RunLine) -> bool:
    """Whether a piece lay on these parts of edges, measured from one end of each or the other."""
    if len(was.spans) != len(now):
        return False
    length: Mapping[str, float] = {edge.id: edge.length_mm for edge in line.edges}
    for span, (edge, low, high, back) in zip(was.spans, now, strict=True):
        if span.edge != edge or span.backward != back or edge not in old.length_mm:
            return False
        change = length[edge] - old.length_mm[edge]
        from_start = max(abs(span.from_mm - low), abs(span.to_mm - high))
        from_end = max(abs(span.from_mm + change - low), abs(span.to_mm + change - high))
        if min(from_start, from_end) > SAME_MM:
            return False
    return True


# --- minutes ------------------------------------------------------------------------------------


def full_work(job: Job, sheet: Sheet, piece: PieceOption) -> Minutes:
    """Minutes of a piece that is cut anew, its template included; seams apart."""
    return piece_work(job, work_asked(sheet.metal, piece))


def left_to_do(
    job: Job,
    sheet: Sheet,
    piece: PieceOption,
    fit: Fit,
    *,
    stays: bool,
    fitted: bool,
    needs_template: bool,
) -> Minutes:
    """Minutes still to spend on a piece that is there, or lies within one.

    One that stays is cut, folded, bent and pre-formed; if it is fitted, it is set and clamped too.
    Another is cut along its new border, folded, slit and bent where it is not, and fitted.  A
    template is made for a cut that is not straight.
    """
    asked = work_asked(sheet.metal, piece)
    work = piece_work(
        job,
        PieceWork(
            metal=asked.metal,
            thickness_mm=asked.thickness_mm,
            length_mm=asked.length_mm,
            root_length_mm=asked.root_length_mm,
            perimeter_mm=fit.cut_mm,
            own_template=needs_template,
            folds=0 if stays else asked.folds - fit.folds,
            bends=0 if stays else asked.bends,
            width_mm=asked.width_mm,
            slits=0 if stays else asked.slits - fit.slits,
            v_notches=0 if stays else asked.v_notches - fit.v_notches,
            notches=0 if stays or fit.whole else asked.notches,
            preform_mm=0.0 if stays else asked.preform_mm,
            standing=asked.standing,
            clamps=asked.clamps,
        ),
    )
    if stays and fitted:
        for operation in ("fit", "clamps", "hold standing"):
            work.pop(operation, None)
    return added([work])


def labor_saving(job: Job, minutes: float) -> float:
    """Weighted money for minutes not spent."""
    return job.goal.labor * labor_cost(job, minutes)
