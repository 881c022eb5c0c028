"""Runs: pieces cover each run once and follow its edges, one mounting and one profile a piece."""

from __future__ import annotations

from collections.abc import Iterator

from solver.checker.reading import PieceReading, Reading
from solver.checker.report import Fault
from solver.checker.tolerances import near, station_slack_mm


def coverage(reading: Reading) -> Iterator[Fault]:
    """The pieces of a run cover it from end to end, without gap or overlap."""
    for run_id, run in reading.runs.items():
        pieces = reading.pieces_of[run_id]
        place = f'run "{run_id}"'
        if not pieces:
            yield Fault("coverage", place, f"no piece covers its {run.length_mm:.2f} mm")
            continue
        slack = station_slack_mm(run.length_mm)
        start = pieces[0].piece.from_mm if run.run.closed else 0.0
        for piece in pieces:
            if abs(piece.piece.from_mm - start) > slack:
                found = "is covered twice" if piece.piece.from_mm < start else "is not covered"
                low, high = sorted((piece.piece.from_mm, start))
                yield Fault("coverage", place, f"from {low:.4f} to {high:.4f} mm it {found}")
            start = piece.piece.to_mm
        end = pieces[0].piece.from_mm + run.length_mm if run.run.closed else run.length_mm
        if abs(start - end) > slack:
            found = "is covered twice" if start > end else "is not covered"
            low, high = sorted((start, end))
            yield Fault("coverage", place, f"from {low:.4f} to {high:.4f} mm it {found}")


def spans(reading: Reading) -> Iterator[Fault]:
    """The spans of a piece are the edges between its stations, in order of the walk."""
    for piece in reading.pieces:
        stated, wanted = piece.piece.spans, piece.spans
        slack = station_slack_mm(piece.run.length_mm)
        same = len(stated) == len(wanted) and all(
            a.edge == b.edge
            and a.backward == b.backward
            and abs(a.from_mm - b.from_mm) <= slack
            and abs(a.to_mm - b.to_mm) <= slack
            for a, b in zip(stated, wanted, strict=True)
        )
        if not same:
            words = ", ".join(
                f"{s.edge} {s.from_mm:.3f} to {s.to_mm:.3f}{' backward' if s.backward else ''}"
                for s in wanted
            )
            yield Fault("spans", piece.place, f"its spans do not follow the run; they are {words}")


def mountings(reading: Reading) -> Iterator[Fault]:
    """A piece is held as its edges say."""
    for piece in reading.pieces:
        wanted = piece.profile.treatment
        if piece.piece.mounting != wanted:
            yield Fault("mounting", piece.place, f"is {piece.piece.mounting}; its edge is {wanted}")


def crossings(reading: Reading) -> Iterator[Fault]:
    """A piece crosses a mark only where mounting, stand, grip, return and flange stay the same."""
    for piece in reading.pieces:
        for before, after in zip(piece.slots, piece.slots[1:], strict=False):
            if before.profile != after.profile:
                yield Fault(
                    "crossing",
                    piece.place,
                    f'runs from edge "{before.edge.id}" onto "{after.edge.id}", which asks for '
                    f"{after.profile} after {before.profile}",
                )


def _stretch_mm(piece: PieceReading) -> float:
    """Length of the part of the run between forced seams that a piece lies in."""
    run = piece.run
    marks = list(run.forced_mm)
    if not run.run.closed:
        marks = [0.0, *marks, run.length_mm]
    if not marks:
        return run.length_mm
    if run.run.closed:
        marks = [*marks, *(mark + run.length_mm for mark in marks), marks[0] + 2 * run.length_mm]
    middle = (piece.piece.from_mm + piece.piece.to_mm) / 2
    below = max((mark for mark in marks if mark <= middle), default=marks[-2] - run.length_mm)
    above = min(mark for mark in marks if mark > middle)
    return above - below


def piece_lengths(reading: Reading) -> Iterator[Fault]:
    """No piece is longer than can be handled, nor shorter than is worth fitting."""
    rules = reading.job.rules
    for piece in reading.pieces:
        length = piece.length_mm
        slack = station_slack_mm(length)
        if length > rules.longest_piece_mm + slack:
            yield Fault(
                "longest piece",
                piece.place,
                f"is {length:.2f} mm long; {rules.longest_piece_mm:.2f} is the most",
            )
        least = min(rules.shortest_piece_mm, _stretch_mm(piece))
        if length < least - slack:
            yield Fault(
                "shortest piece", piece.place, f"is {length:.2f} mm long; {least:.2f} is the least"
            )


def trims(reading: Reading) -> Iterator[Fault]:
    """The last piece of a run has metal to trim, the others none."""
    for pieces in reading.pieces_of.values():
        for piece in pieces:
            wanted = reading.job.rules.trim_per_run_mm if piece is pieces[-1] else 0.0
            if not near(piece.piece.trim_mm, wanted):
                yield Fault(
                    "trim",
                    piece.place,
                    f"has {piece.piece.trim_mm:.3f} mm to trim, not {wanted:.3f}",
                )
