"""Seams: off the places where none may be, off corners and notches, and off lines that show.

A seam that the run forces (treatment or profile changes at the mark) is not judged.  Near a corner
or a notch, or on a line that shows, a seam is a fault only where its stretch of the run could be
cut into as many pieces with all seams in free places.
"""

from __future__ import annotations

from collections.abc import Iterator

from solver.checker.reading import PieceReading, Reading, RunReading
from solver.checker.report import Fault
from solver.checker.tolerances import SPARE_PLACE_MM, station_slack_mm

Zone = tuple[float, float]


def seams_in_place(reading: Reading) -> Iterator[Fault]:
    """Every seam keeps off what the rules name, where the run leaves another place."""
    rules = reading.job.rules
    for run_id, run in reading.runs.items():
        banned = _no_seam(run)
        avoided: list[tuple[str, str, Zone]] = [
            *(
                ("seam near corner", "a corner", zone)
                for zone in _corners(run, rules.seam_from_corner_mm)
            ),
            *(
                ("seam near notch", "a notch", zone)
                for zone in _notches(run, rules.seam_from_notch_mm)
            ),
        ]
        if rules.seams_on_visible == "forbidden":
            avoided += [("seam on visible", "a line that shows", zone) for zone in _visible(run)]
        for stretch in _stretches(run, reading.pieces_of[run_id]):
            free = _has_free_places(
                stretch,
                [*banned, *(zone for _, _, zone in avoided)],
                run,
                rules.longest_piece_mm,
                rules.shortest_piece_mm,
            )
            for seam in stretch.seams_mm:
                place = (
                    f'run "{run_id}" at {seam % run.length_mm if run.run.closed else seam:.2f} mm'
                )
                for zone in banned:
                    if _inside(seam, zone):
                        yield Fault("no seam", place, f"no seam may be from {_words(zone)}")
                for rule, what, zone in avoided:
                    if free and _inside(seam, zone):
                        yield Fault(
                            rule, place, f"is too near {what}; it keeps out of {_words(zone)}"
                        )


class _Stretch:
    """Part of a run between forced seams: its ends, the seams inside, and whether it is a loop."""

    def __init__(self, from_mm: float, to_mm: float, seams_mm: list[float], *, loop: bool) -> None:
        self.from_mm, self.to_mm, self.seams_mm, self.loop = from_mm, to_mm, seams_mm, loop


def _stretches(run: RunReading, pieces: tuple[PieceReading, ...]) -> Iterator[_Stretch]:
    if not pieces:
        return
    starts = [piece.piece.from_mm for piece in pieces]
    end = pieces[-1].piece.to_mm
    loop = run.run.closed
    if loop and not any(run.is_forced(start) for start in starts):
        yield _Stretch(starts[0], starts[0] + run.length_mm, starts, loop=True)
        return
    if loop:
        # Begin at a forced seam, so that no stretch runs over the start.
        first = next(n for n, start in enumerate(starts) if run.is_forced(start))
        starts = starts[first:] + [start + run.length_mm for start in starts[:first]]
        end = starts[0] + run.length_mm
    low, inside = starts[0], list[float]()
    for start in starts[1:]:
        if run.is_forced(start):
            yield _Stretch(low, start, inside, loop=False)
            low, inside = start, []
        else:
            inside.append(start)
    yield _Stretch(low, end, inside, loop=False)


def _unrolled(run: RunReading, zones: list[Zone]) -> list[Zone]:
    if not run.run.closed:
        return zones
    laps = (-run.length_mm, 0.0, run.length_mm, 2 * run.length_mm)
    return [(low + lap, high + lap) for lap in laps for low, high in zones]


def _no_seam(run: RunReading) -> list[Zone]:
    zones: list[Zone] = []
    for slot in run.edges:
        for low, high in slot.edge.no_seam_mm:
            a, b = sorted((slot.on_run(low), slot.on_run(high)))
            zones.append((a, b))
    return _unrolled(run, zones)


def _corners(run: RunReading, keep_mm: float) -> list[Zone]:
    stations = [float(at) for at in run.track.corners[:, 0]]
    return _unrolled(run, [(at - keep_mm, at + keep_mm) for at in stations])


def _notches(run: RunReading, keep_mm: float) -> list[Zone]:
    reach = [(notch.at_mm, notch.wide_mm / 2 + keep_mm) for notch in run.notches]
    return _unrolled(run, [(at - half, at + half) for at, half in reach])


def _visible(run: RunReading) -> list[Zone]:
    """Lines that show, neighbours made one: a mark where a hidden edge begins is free."""
    zones: list[Zone] = []
    for slot in run.edges:
        if not slot.edge.visible:
            continue
        if zones and abs(zones[-1][1] - slot.from_mm) <= 1e-9:
            zones[-1] = (zones[-1][0], slot.to_mm)
        else:
            zones.append((slot.from_mm, slot.to_mm))
    if run.run.closed and zones and zones[0][0] <= 0 and zones[-1][1] >= run.length_mm - 1e-9:
        if len(zones) == 1:
            return [(-run.length_mm, 3 * run.length_mm)]
        zones[0] = (zones.pop()[0] - run.length_mm, zones[0][1])
    return _unrolled(run, zones)


def _inside(seam_mm: float, zone: Zone) -> bool:
    slack = station_slack_mm(abs(seam_mm))
    return zone[0] + slack < seam_mm < zone[1] - slack


def _words(zone: Zone) -> str:
    return f"{zone[0]:.2f} to {zone[1]:.2f} mm"


def _has_free_places(
    stretch: _Stretch, zones: list[Zone], run: RunReading, longest_mm: float, shortest_mm: float
) -> bool:
    """Whether as many seams fit into free places, with some room to spare.

    Where a line turns the hard way, folds and widths limit pieces too, and the answer is no.
    """
    if not stretch.seams_mm or not run.track.straight:
        return False
    pieces = len(stretch.seams_mm) + (0 if stretch.loop else 1)
    length = stretch.to_mm - stretch.from_mm
    most = longest_mm - SPARE_PLACE_MM
    least = min(shortest_mm, length) + SPARE_PLACE_MM
    end = stretch.to_mm + (length if stretch.loop else 0.0)
    free = _free_zones(stretch.from_mm, end, zones)
    if not stretch.loop:
        return _chain(stretch.from_mm, stretch.to_mm, pieces, free, least, most)
    starts = [at for low, high in free for at in (low, (low + high) / 2, high)]
    return any(
        pieces == 1 or _chain(at, at + length, pieces, free, least, most)
        for at in starts
        if at <= stretch.to_mm
    )


def _free_zones(low_mm: float, high_mm: float, zones: list[Zone]) -> list[Zone]:
    """What zones leave of an interval, each end drawn in by half the room to spare."""
    spare = SPARE_PLACE_MM / 2
    free: list[Zone] = []
    at = low_mm
    for low, high in sorted(zones):
        if low - spare > at + spare:
            free.append((at + spare, min(low, high_mm) - spare))
        at = max(at, high)
        if at >= high_mm:
            break
    if at + spare < high_mm - spare:
        free.append((at + spare, high_mm - spare))
    return [zone for zone in free if zone[0] <= zone[1]]


def _chain(
    start: float, end: float, pieces: int, free: list[Zone], least: float, most: float
) -> bool:
    """Whether pieces of allowed lengths lead from start to end with all seams in free zones."""
    reached: list[Zone] = [(start, start)]
    for _ in range(pieces - 1):
        ahead = [(low + least, high + most) for low, high in reached]
        reached = [
            (max(a[0], b[0]), min(a[1], b[1]))
            for a in ahead
            for b in free
            if max(a[0], b[0]) <= min(a[1], b[1])
        ]
        reached = _merged(reached)
    return any(low + least <= end <= high + most for low, high in reached)


def _merged(zones: list[Zone]) -> list[Zone]:
    joined: list[Zone] = []
    for low, high in sorted(zones):
        if joined and low <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high))
        else:
            joined.append((low, high))
    return joined


def seams_that_show(reading: Reading, run_id: str) -> int:
    """Seams of a run with a visible edge on either side."""
    run = reading.runs[run_id]
    return sum(any(run.sides_visible(seam)) for seam in reading.seams_mm(run_id))
