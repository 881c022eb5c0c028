"""Every way to make a stretch of run: mounting, sheet metal, number of pieces, with real blanks.

An option covers edges of one run that follow one another, in one mounting and metal, cut into a
number of pieces at the best seams for that number.  Blanks, minutes and money are those of the
finished plan, so the master's costs are the plan's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from solver.data.job import FOOT_MM, Job
from solver.data.plan import Mounting
from solver.data.until import FOREVER, Until
from solver.geometry.blanks import BlankError
from solver.geometry.folds import SHARP_DEG
from solver.geometry.lines import Floats
from solver.planner.fold_reach import fold_reach
from solver.planner.labor import (
    PieceWork,
    Work,
    added,
    labor_cost,
    minutes_of,
    piece_work,
    seam_work,
    template_minutes,
)
from solver.planner.piece_options import PieceMaker, PieceOption
from solver.planner.run_lines import FlashingShape, RunLine, Zone
from solver.planner.seams import SeamRules, Seams, place_seams, place_seams_round
from solver.planner.sheets import Sheet
from solver.rules.gauge_choice import (
    EdgeNeed,
    Verdict,
    verdicts,
)
from solver.rules.gauges import SheetMetal

MORE_PIECES = 2
"""Numbers of pieces offered beyond the fewest possible; each seam costs some ten minutes."""
MOST_PIECES = 40
ROUND_STARTS = 24
"""Places offered for the first seam of a closed run."""


@dataclass(frozen=True)
class StretchOption:
    """One way to make some edges of a run."""

    run: int
    first: int
    """Index of its first edge in the run."""
    count: int
    mounting: Mounting
    sheet: int
    pieces: tuple[PieceOption, ...]
    work: Work
    money: float
    """Joint money: packers, seam tape, release wax."""
    forced: bool
    """Whether a seam had to lie near a corner or a notch."""


@dataclass
class Refusals:
    """Why an edge has no option, by edge id: what a builder is told when no plan is possible."""

    by_edge: dict[str, list[str]] = field(default_factory=dict)
    uncut: dict[str, list[Mounting]] = field(default_factory=dict)
    """Mountings in which the pieces of an edge can have no seams that the rules allow."""
    made: set[str] = field(default_factory=set)
    """Edges that can be made in some way all the same."""

    def add(self, edge: str, sentence: str) -> None:
        """Keep a sentence once."""
        sentences = self.by_edge.setdefault(edge, [])
        if sentence not in sentences:
            sentences.append(sentence)

    def take(self, others: Refusals) -> None:
        """Keep others' as well, those of another run."""
        for edge, sentences in others.by_edge.items():
            for sentence in sentences:
                self.add(edge, sentence)
        for edge, mountings in others.uncut.items():
            self.uncut.setdefault(edge, []).extend(mountings)


@dataclass(frozen=True)
class GivenSeams:
    """A stretch with its seams given from outside, those of an old plan: an option more."""

    run: int
    first: int
    count: int
    mounting: Mounting
    sheet: int
    stations_mm: tuple[float, ...]
    """From the start of the stretch to its end."""


MoreSeams = Callable[[tuple[RunLine, ...], tuple[Sheet, ...]], Iterable[GivenSeams]]


@dataclass(frozen=True)
class RunOptions:
    """The options of one run, and why edges of it lack some."""

    options: tuple[StretchOption, ...]
    refusals: Refusals


MadeElsewhere = Callable[[int, bool], RunOptions | None]
"""Options of a run, few or all, where somebody else has made them by now."""


def stretch_options(
    pieces: PieceMaker,
    more: MoreSeams | None = None,
    *,
    few: bool = False,
    until: Until = FOREVER,
    elsewhere: MadeElsewhere | None = None,
) -> tuple[tuple[StretchOption, ...], Refusals]:
    """Return all options of all runs, and why edges lack them; ``more`` names seams to add.

    ``few``: only those that cut a stretch into as few pieces as may be.  ``pieces`` remembers what
    was made for an earlier call, ``elsewhere`` is asked for runs that another process has made.
    Runs met when it is to end have no options.
    """
    refusals, lines = Refusals(), pieces.lines
    maker = OptionMaker(pieces, few=few)
    options: list[StretchOption] = []
    for run in range(len(lines)):
        if until.over():
            break
        made = None if elsewhere is None else elsewhere(run, few)
        if made is None:
            made = maker.of_run(run)
        options.extend(made.options)
        refusals.take(made.refusals)
    maker.refusals = refusals
    if more is not None:
        known = {_cut_of(option) for option in options}
        for given in more(lines, pieces.sheets):
            option = maker.given(given)
            if option is not None and _cut_of(option) not in known:
                known.add(_cut_of(option))
                options.append(option)
    for option in options:
        edges = lines[option.run].edges
        refusals.made |= {edges[(option.first + i) % len(edges)].id for i in range(option.count)}
    return tuple(options), refusals


def _cut_of(option: StretchOption) -> tuple[object, ...]:
    """What makes two options the same: stretch, mounting, metal and seams."""
    seams = tuple(round(piece.from_mm, 4) for piece in option.pieces)
    return option.run, option.first, option.count, option.mounting, option.sheet, seams


class OptionMaker:
    """Makes the options of a job, run by run; caches what they share: verdicts, seams.

    ``few``: only those that cut a stretch into as few pieces as may be.
    """

    def __init__(self, pieces: PieceMaker, *, few: bool) -> None:
        self.job = pieces.job
        self.lines = pieces.lines
        self.sheets = pieces.sheets
        self.pieces = pieces
        self.refusals = Refusals()
        self.more_pieces = 0 if few else MORE_PIECES
        self._verdicts: dict[tuple[EdgeNeed, int], tuple[Verdict, ...]] = {}
        self._reach: dict[tuple[int, float, str], Callable[[Floats], Floats] | None] = {}
        self._seams: dict[tuple[int, int, int, Mounting, int], Seams | None] = {}

    # -- stretches ---------------------------------------------------------------------------------

    def of_run(self, run: int) -> RunOptions:
        """Return the options of one run."""
        self.refusals = Refusals()
        line = self.lines[run]
        mountings: tuple[Mounting, ...] = ("clamped",) if line.open else ("pinched", "standing")
        options = tuple(
            option
            for mounting in mountings
            for first, count in self._stretches(line, mounting)
            for option in self._stretch(run, first, count, mounting)
        )
        return RunOptions(options, self.refusals)

    def _stretches(self, line: RunLine, mounting: Mounting) -> Iterator[tuple[int, int]]:
        """Yield (first edge, number of edges) of every stretch that pieces may run along."""
        total = len(line.edges)
        usable = [self._usable(line, i, mounting) for i in range(total)]
        for first in range(total):
            most = total if line.run.closed else total - first
            for count in range(1, most + 1):
                last = (first + count - 1) % total
                if not usable[last]:
                    break
                if not shapes_alike(line.shapes[first], line.shapes[last], mounting):
                    break
                yield first, count

    def _usable(self, line: RunLine, index: int, mounting: Mounting) -> bool:
        edge = line.edges[index]
        if mounting == "pinched":
            return edge.split != "forbidden"
        if mounting == "standing":
            return edge.standing == "allowed" and edge.split != "required"
        return True

    def _stretch(
        self, run: int, first: int, count: int, mounting: Mounting
    ) -> Iterator[StretchOption]:
        line = self.lines[run]
        edges = [line.edges[(first + i) % len(line.edges)] for i in range(count)]
        allowed = self._allowed(line, first, count, mounting)
        if not allowed:
            return
        length = sum(edge.length_mm for edge in edges)
        fewest = max(1, math.ceil(length / self.job.rules.longest_piece_mm - 1e-9))
        offered = 0
        cut = False
        for pieces in range(fewest, min(fewest + MOST_PIECES, MOST_PIECES) + 1):
            if pieces > 1 and length / pieces < self.job.rules.shortest_piece_mm - 1e-9:
                break
            seams = self._place(run, first, count, mounting, pieces)
            if seams is None:
                continue
            cut = True
            made = False
            for sheet in allowed:
                option = self._option(run, first, count, mounting, sheet, seams)
                if option is not None:
                    made = True
                    yield option
            offered += made
            if offered > self.more_pieces:
                return
        if not cut and count == 1:
            self.refusals.uncut.setdefault(edges[0].id, []).append(mounting)

    def _allowed(self, line: RunLine, first: int, count: int, mounting: Mounting) -> list[int]:
        """Sheet metals that no rule of gauges refuses along a stretch."""
        edges = [line.edges[(first + i) % len(line.edges)] for i in range(count)]
        shape = line.shapes[first]
        visible = any(edge.visible for edge in edges)
        folded = shape.return_mm > 0 or (shape.flange == "out" and mounting == "clamped")
        bent = any(
            abs(corner.easy_deg) >= SHARP_DEG
            for edge in edges
            for corner in edge.line.corners
            if 0 < corner.station_mm < edge.length_mm
        ) or (count > 1 and any(edge.line.corners for edge in edges))
        allowed = []
        for sheet in range(len(self.sheets)):
            need = EdgeNeed(
                mounting=mounting,
                visible=visible,
                stand_mm=shape.stand_mm,
                fold_radius_mm=self.job.rules.bend_radius_mm if folded or bent else None,
            )
            refused = [v for v in self._judge(need, sheet) if not v.allowed]
            if refused:
                if count == 1:
                    self.refusals.add(edges[0].id, f"{mounting}: {refused[0].sentence}")
            else:
                allowed.append(sheet)
        return allowed

    def given(self, seams: GivenSeams) -> StretchOption | None:
        """Return the option with these seams; None where a rule of seams or gauges is against it.

        Near corners and notches they may lie only where the best seams must as well.
        """
        rules, line = self.job.rules, self.lines[seams.run]
        stations = seams.stations_mm
        lengths = np.diff(stations)
        whole = stations[-1] - stations[0]
        shortest = min(rules.shortest_piece_mm, whole)
        if lengths.min() < shortest - 1e-6 or lengths.max() > rules.longest_piece_mm + 1e-6:
            return None
        total = len(line.edges)
        edges = [(seams.first + i) % total for i in range(seams.count)]
        fits = all(
            self._usable(line, i, seams.mounting)
            and shapes_alike(line.shapes[seams.first], line.shapes[i], seams.mounting)
            for i in edges
        )
        if not fits or seams.sheet not in self._allowed(
            line, seams.first, seams.count, seams.mounting
        ):
            return None
        looped = line.run.closed and seams.count == total
        inner = stations[:-1] if looped else stations[1:-1]
        banned, _ = _unwelcome(self.job, line, seams.mounting)
        forced = False
        for station in inner:
            if seam_unwelcome(self.job, line, station, seams.mounting):
                laps = (0.0, line.length_mm, -line.length_mm) if line.run.closed else (0.0,)
                if any(a + 1e-6 < station + s < b - 1e-6 for a, b in banned for s in laps):
                    return None
                forced = True
        if forced:
            best = self._place(
                seams.run, seams.first, seams.count, seams.mounting, len(stations) - 1
            )
            if best is not None and not best.forced:
                return None
        return self._option(
            seams.run,
            seams.first,
            seams.count,
            seams.mounting,
            seams.sheet,
            Seams(stations, 0.0, forced),
        )

    def _judge(self, need: EdgeNeed, sheet: int) -> tuple[Verdict, ...]:
        key = (need, sheet)
        if key not in self._verdicts:
            self._verdicts[key] = verdicts(need, self.sheets[sheet].metal, self.job.rules)
        return self._verdicts[key]

    # -- seams -------------------------------------------------------------------------------------

    def _place(
        self, run: int, first: int, count: int, mounting: Mounting, pieces: int
    ) -> Seams | None:
        """Seams of a stretch; a mirrored run takes those of its twin, mirrored."""
        key = (run, first, count, mounting, pieces)
        if key in self._seams:
            return self._seams[key]
        twin = self.pieces.twin(run)
        line = self.lines[run]
        if twin is not None and twin[0] < run:
            other, turned = twin
            total = len(line.edges)
            there = (total - first - count) % total if turned else first
            seams = self._place(other, there, count, mounting, pieces)
            if seams is not None and turned:
                whole = line.length_mm
                stations = tuple(whole - s for s in reversed(seams.stations_mm))
                lift = whole if stations[0] < -1e-6 else 0.0
                seams = Seams(tuple(s + lift for s in stations), seams.cost, seams.forced)
        else:
            reach = self._fold_reach(run, first)
            seams = find_seams(self.job, line, first, count, mounting, pieces, reach)
        self._seams[key] = seams
        return seams

    def _fold_reach(self, run: int, first: int) -> Callable[[Floats], Floats] | None:
        """How far a fold follows the run of an edge; edges of one offset share it."""
        line = self.lines[run]
        shape = line.shapes[first]
        key = (run, shape.stand_mm if shape.return_mm > 0 else 0.0, shape.flange)
        if key not in self._reach:
            self._reach[key] = reach_of_fold(self.job, line, first)
        return self._reach[key]

    # -- one option --------------------------------------------------------------------------------

    def _option(
        self,
        run: int,
        first: int,
        count: int,
        mounting: Mounting,
        sheet: int,
        seams: Seams,
    ) -> StretchOption | None:
        job, line = self.job, self.lines[run]
        ends_run = _ends_run(line, first, count)
        pieces: list[PieceOption] = []
        pairs = list(zip(seams.stations_mm[:-1], seams.stations_mm[1:], strict=True))
        for number, (start, end) in enumerate(pairs):
            trim = job.rules.trim_per_run_mm if ends_run and number == len(pairs) - 1 else 0.0
            try:
                piece = self.pieces.piece(run, first, start, end, trim, mounting, sheet)
            except BlankError as error:
                for fault in error.faults:
                    self.refusals.add(line.edges[first].id, f"{mounting}: {fault}")
                return None
            pieces.append(piece)
        metal = self.sheets[sheet].metal
        works: list[Work] = []
        money = 0.0
        prices = job.shop.prices
        for piece in pieces:
            works.append(piece_work(job, work_asked(metal, piece)))
            if piece.seam_at_start:
                works.append(seam_work(job, visible=piece.seam_visible))
                money += prices.seam_tape_per_seam
            money += 2 * piece.blank.area_mm2 * 1e-6 * prices.release_wax_per_m2
        if mounting == "pinched" and job.rules.joint_gap_mm - metal.thickness_mm > 1e-9:
            length = sum(piece.length_mm for piece in pieces)
            money += length / FOOT_MM * prices.packer_per_foot
        return StretchOption(
            run=run,
            first=first,
            count=count,
            mounting=mounting,
            sheet=sheet,
            pieces=tuple(pieces),
            work=added(works),
            money=money,
            forced=seams.forced,
        )


SEAM_RULES = (
    "no_seam",
    "seams_on_visible",
    "longest_piece",
    "shortest_piece",
    "fold_chord_tolerance",
)
"""Keys of the scenario that say where a run may not be cut into pieces."""


def find_seams(
    job: Job,
    line: RunLine,
    first: int,
    count: int,
    mounting: Mounting,
    pieces: int,
    reach: Callable[[Floats], Floats] | None,
    kept: Sequence[str] = SEAM_RULES,
) -> Seams | None:
    """Return the best seams of a stretch of some edges in so many pieces, or None without any.

    ``reach`` tells how far a fold follows the line; only the ``kept`` rules of ``SEAM_RULES`` hold.
    """
    rules = job.rules
    banned, avoided = _unwelcome(job, line, mounting, kept)
    seam_rules = SeamRules(
        longest_mm=rules.longest_piece_mm if "longest_piece" in kept else math.inf,
        shortest_mm=rules.shortest_piece_mm if "shortest_piece" in kept else 0.0,
        banned=banned,
        avoided=avoided,
        curved=line.curved,
        visible=line.visible,
        visible_cost=rules.seam_visible_minutes,
        marks=line.marks_mm,
        reach=reach if "fold_chord_tolerance" in kept else None,
        trim_mm=rules.trim_per_run_mm if _ends_run(line, first, count) else 0.0,
    )
    total, whole = len(line.edges), line.length_mm
    start = line.starts_mm[first]
    if line.run.closed and count == total:
        if first:
            return None  # the first seam is chosen below, so one start is enough
        borders = [border % whole for zone in banned + avoided for border in zone]
        starts = sorted({*line.starts_mm[:-1], *_evenly(whole, ROUND_STARTS), *borders})
        return place_seams_round(whole, pieces, seam_rules, starts)
    end = start + sum(line.edges[(first + i) % total].length_mm for i in range(count))
    if line.run.closed:
        # what lies behind the start of a loop is near its end, and over the start once more
        laps = (-whole, 0.0, whole)
        banned, avoided, curved, visible = (
            tuple((a + lap, b + lap) for lap in laps for a, b in zones)
            for zones in (banned, avoided, line.curved, line.visible)
        )
        seam_rules = replace(
            seam_rules,
            banned=banned,
            avoided=avoided,
            curved=curved,
            visible=visible,
            marks=tuple(m + lap for lap in laps for m in line.marks_mm),
        )
    return place_seams(start, end, pieces, seam_rules)


def can_be_cut(
    job: Job, line: RunLine, edge: int, mounting: Mounting, kept: Sequence[str] = SEAM_RULES
) -> bool:
    """Whether one edge of a run has seams for any number of pieces under the rules kept."""
    reach = reach_of_fold(job, line, edge)
    length, rules = line.edges[edge].length_mm, job.rules
    fewest = 1
    if "longest_piece" in kept:
        fewest = max(1, math.ceil(length / rules.longest_piece_mm - 1e-9))
    shortest = rules.shortest_piece_mm if "shortest_piece" in kept else 0.0
    for pieces in range(fewest, MOST_PIECES + 1):
        if pieces > 1 and length / pieces < shortest - 1e-9:
            return False
        if find_seams(job, line, edge, 1, mounting, pieces, reach, kept) is not None:
            return True
    return False


def reach_of_fold(job: Job, line: RunLine, edge: int) -> Callable[[Floats], Floats] | None:
    """How far a straight fold follows a line curved the hard way, from any station."""
    shape = line.shapes[edge]
    if shape.return_mm <= 0 and shape.flange == "along":
        return None
    offset = shape.stand_mm if shape.return_mm > 0 else 0.0
    return fold_reach(line.line, offset, job.rules.fold_chord_tolerance_mm)


def _unwelcome(
    job: Job, line: RunLine, mounting: Mounting, kept: Sequence[str] = SEAM_RULES
) -> tuple[tuple[Zone, ...], tuple[Zone, ...]]:
    """Zones of a run where seams are banned, and where they are avoided."""
    rules = job.rules
    keep = rules.seam_from_notch_mm
    notches = line.asked_notches + (line.bolt_notches if mounting == "pinched" else ())
    avoided = line.corners + tuple(
        (c.at_mm - c.wide_mm / 2 - keep, c.at_mm + c.wide_mm / 2 + keep) for c in notches
    )
    banned = line.no_seam if "no_seam" in kept else ()
    if rules.seams_on_visible == "forbidden" and "seams_on_visible" in kept:
        banned = banned + line.visible
    return banned, avoided


def seam_unwelcome(job: Job, line: RunLine, station_mm: float, mounting: Mounting) -> bool:
    """Whether a seam at a station would lie in a banned or an avoided zone."""
    banned, avoided = _unwelcome(job, line, mounting)
    laps = (0.0, line.length_mm, -line.length_mm) if line.run.closed else (0.0,)
    return any(
        low + 1e-6 < station_mm + lap < high - 1e-6
        for low, high in banned + avoided
        for lap in laps
    )


def shapes_alike(one: FlashingShape, other: FlashingShape, mounting: Mounting) -> bool:
    """Whether one piece may run from one edge to the next; a standing flashing has no grip."""
    if mounting == "standing":
        return (one.stand_mm, one.return_mm, one.return_hand) == (
            other.stand_mm,
            other.return_mm,
            other.return_hand,
        )
    return one == other


def _ends_run(line: RunLine, first: int, count: int) -> bool:
    """Whether a stretch holds the last edge of its run, and with it the metal to trim."""
    total = len(line.edges)
    return first + count >= total if line.run.closed else first + count == total


def work_asked(metal: SheetMetal, piece: PieceOption) -> PieceWork:
    """Return what is to be done to a piece of new metal, with a template of its own."""
    return PieceWork(
        metal=metal.metal,
        thickness_mm=metal.thickness_mm,
        length_mm=piece.length_mm,
        root_length_mm=piece.blank.root_length_mm,
        perimeter_mm=piece.perimeter_mm,
        own_template=True,
        folds=piece.folds,
        bends=len(piece.bends_mm),
        width_mm=piece.blank.width_mm,
        slits=len(piece.blank.slits),
        v_notches=len(piece.blank.v_notches),
        notches=len(piece.blank.notches),
        preform_mm=piece.preform_mm,
        standing=piece.mounting == "standing",
        clamps=piece.clamps,
    )


def option_cost(job: Job, option: StretchOption) -> float:
    """Weighted money of an option: labor and what is not metal; clamps are bought apart."""
    goal = job.goal
    return goal.labor * labor_cost(job, minutes_of(option.work)) + goal.joints * option.money


def template_saving(job: Job, piece: PieceOption) -> float:
    """Weighted money saved where the twin's template serves this piece too."""
    minutes = template_minutes(job, piece.blank.root_length_mm)
    return job.goal.labor * labor_cost(job, minutes)


def _evenly(length_mm: float, count: int) -> list[float]:
    return [float(s) for s in np.arange(count) * length_mm / count]
