"""Seams moved so that pieces fill the stock to its ends: ways to cut long straight runs.

The best seams of a run cut it evenly, which rarely fits the stock: of a roll that gives 118 in each
piece of 75 in leaves 43.  Offered besides are pieces as long as the stock or an even share of it,
and pieces as long as what those of another straight run leave of it, the rest of the run cut evenly
before or behind them.  They take the same pieces and seams, so the master weighs them by the stock
alone; its lanes along the length tell it what fits.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from solver.data.job import Job
from solver.data.plan import Mounting
from solver.geometry.lines import sub_line
from solver.planner.assemble import stock_area_mm2
from solver.planner.options import GivenSeams, shapes_alike
from solver.planner.run_lines import RunLine
from solver.planner.sheets import Sheet, room_mm

MOST_LENGTHS = 5
"""Lengths of pieces tried for one stretch, number of pieces and sheet metal."""
MOST_WAYS = 600
"""Of all stretches together; each is one option more for the master."""
ONE_HOLDS = 0.6
"""Share of a unit that blanks fill without any care for their lengths."""
MOST_STARTS = 2
"""Marks of a loop where its first piece may begin."""
MOST_SHARES = 4
"""Pieces that share the length of a unit of stock evenly."""
STRAIGHT_PER_MM = 1e-9
"""Hard-way curvature of rounding only."""
SPARE_MM = 0.01
"""Pieces are that much shorter than what they fill, so that rounding never keeps them out."""


@dataclass(frozen=True)
class _Stretch:
    """Straight edges of one run that pieces may run along, in one mounting."""

    run: int
    first: int
    count: int
    mounting: Mounting
    start_mm: float
    length_mm: float
    trim_mm: float


def filling_seams(
    job: Job, lines: Sequence[RunLine], sheets: Sequence[Sheet]
) -> Iterator[GivenSeams]:
    """Yield seams of long straight stretches with which pieces fill the stock to its ends.

    A stretch is long where no metal could be had to make it in one piece, or no piece may be so
    long.  Where one unit of the smallest stock holds all the metal of the job with room to spare,
    no seam saves another, and none is moved.
    """
    stretches = list(_straight_stretches(job, lines))
    area = _area_mm2(job, lines)
    ways = (
        GivenSeams(one.run, one.first, one.count, one.mounting, number, stations)
        for one in stretches
        for number, sheet in enumerate(sheets)
        if area > ONE_HOLDS * min(stock_area_mm2(job.stock[item]) for item in sheet.items)
        for stations in _ways(job, one, sheet, stretches)
    )
    return itertools.islice(ways, MOST_WAYS)


def _area_mm2(job: Job, lines: Sequence[RunLine]) -> float:
    """Area of all metal of the job, flat, the trim and notches apart."""
    foot = job.rules.standing_foot_mm
    return sum(
        edge.length_mm * (shape.stand_mm + shape.return_mm + max(shape.grip_mm, foot))
        for line in lines
        for edge, shape in zip(line.edges, line.shapes, strict=True)
    )


def _straight_stretches(job: Job, lines: Sequence[RunLine]) -> Iterator[_Stretch]:
    """Whole stretches that one piece might follow and whose blanks are straight."""
    for run, line in enumerate(lines):
        if line.lowered:
            continue
        mountings: tuple[Mounting, ...] = ("clamped",) if line.open else ("pinched", "standing")
        for mounting in mountings:
            if line.run.closed:
                yield from _straight_loops(job, run, line, mounting)
                continue
            first, total = 0, len(line.edges)
            while first < total:
                count = 1
                while first + count < total and shapes_alike(
                    line.shapes[first], line.shapes[first + count], mounting
                ):
                    count += 1
                start, end = line.starts_mm[first], line.starts_mm[first + count]
                if _flat(line, start, end):
                    trim = job.rules.trim_per_run_mm if first + count == total else 0.0
                    yield _Stretch(run, first, count, mounting, start, end - start, trim)
                first += count


def _straight_loops(job: Job, run: int, line: RunLine, mounting: Mounting) -> Iterator[_Stretch]:
    """A loop that is straight but for the easy way, from some of its marks on."""
    alike = all(shapes_alike(line.shapes[0], shape, mounting) for shape in line.shapes)
    if alike and _flat(line, 0.0, line.length_mm):
        for start in line.starts_mm[:-1][:MOST_STARTS]:
            trim = job.rules.trim_per_run_mm
            yield _Stretch(run, 0, len(line.edges), mounting, start, line.length_mm, trim)


def _flat(line: RunLine, start_mm: float, end_mm: float) -> bool:
    """Whether a line never turns the hard way between two stations: its blanks are straight."""
    part = sub_line(line.line, start_mm, end_mm)
    turns = [abs(side) for one in part.stretches for side in (one.hard_start, one.hard_end)]
    return max(turns) < STRAIGHT_PER_MM and not any(corner.hard_deg for corner in part.corners)


def _fewest(job: Job, stretch: _Stretch, sheet: Sheet) -> int:
    """Fewest pieces of a stretch that may be so long and lie on some stock."""
    longest = max(max(room_mm(job, job.stock[item])) for item in sheet.items)
    whole = stretch.length_mm + stretch.trim_mm
    return max(1, math.ceil(whole / min(longest, job.rules.longest_piece_mm) - 1e-9))


def _others(job: Job, stretch: _Stretch, stretches: Sequence[_Stretch]) -> list[float]:
    """Lengths of blanks of other straight runs cut evenly, those that are most often needed first.

    A mirrored run is another run: its pieces are as long.
    """
    lengths: Counter[float] = Counter()
    for other in stretches:
        if (other.run, other.first) == (stretch.run, stretch.first):
            continue
        number = max(1, math.ceil(other.length_mm / job.rules.longest_piece_mm - 1e-9))
        lengths[round(other.length_mm / number, 2)] += number
        if other.trim_mm:
            lengths[round(other.length_mm / number + other.trim_mm, 2)] += 1
    return [length for length, _ in sorted(lengths.items(), key=lambda one: (-one[1], -one[0]))]


def _ways(
    job: Job, stretch: _Stretch, sheet: Sheet, stretches: Sequence[_Stretch]
) -> Iterator[tuple[float, ...]]:
    """Stations of a stretch cut into its fewest pieces, or one more, some of them as long as asked.

    Every piece is as short as the last one must be for its metal to trim, so that a mirrored run,
    whose trim is at the other end, can be cut by the same templates.
    """
    fewest = _fewest(job, stretch, sheet)
    if fewest < 2:
        return
    rules = job.rules
    others = _others(job, stretch, stretches)
    known: set[tuple[float, ...]] = set()
    for number in (fewest, fewest + 1):
        fair = stretch.length_mm / number
        lengths = _lengths(job, sheet, others, stretch.trim_mm)
        # a piece much shorter than a fair share only moves the waste to the others
        fitting = [one for one in lengths if fair * 0.4 <= one <= rules.longest_piece_mm]
        for length in fitting[:MOST_LENGTHS]:
            for alike in range(1, number):
                rest = (stretch.length_mm - alike * length) / (number - alike)
                if not rules.shortest_piece_mm <= rest <= rules.longest_piece_mm:
                    continue
                sides = [length] * alike, [rest] * (number - alike)
                for pieces in (sides[0] + sides[1], sides[1] + sides[0]):
                    ends = itertools.accumulate(pieces[:-1], initial=stretch.start_mm)
                    stations = (*ends, stretch.start_mm + stretch.length_mm)
                    key = tuple(round(station, 3) for station in stations)
                    if key not in known:
                        known.add(key)
                        yield stations


def _lengths(job: Job, sheet: Sheet, others: Sequence[float], trim_mm: float) -> list[float]:
    """Lengths that fill some stock: shares of it, and what other pieces leave, best first."""
    gap = job.rules.cutting_gap_mm
    sides = dict.fromkeys(
        round(side, 4)
        for item in sheet.items
        for side in (max(room_mm(job, job.stock[item])), min(room_mm(job, job.stock[item])))
    )
    longest = job.rules.longest_piece_mm
    shares = [
        (side - (share - 1) * gap) / share
        for share in range(1, MOST_SHARES + 1)
        for side in sides
        if (side - (share - 1) * gap) / share <= longest + trim_mm
    ]
    rests = [side - other - gap for other in others for side in sides]
    blanks = dict.fromkeys(
        round(blank - SPARE_MM, 3)
        for blank in (*shares, *rests)
        if blank - trim_mm - SPARE_MM >= job.rules.shortest_piece_mm
    )
    return [blank - trim_mm for blank in blanks]
