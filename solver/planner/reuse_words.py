"""Why a piece that is there stays, moves, is trimmed or of no use, in a builder's words."""

from __future__ import annotations

from collections.abc import Sequence

from solver.data.job import Job
from solver.data.plan import Existing, Piece
from solver.data.units import format_length

LEAST_MM = 0.5


def moved_reason(job: Job, how: str, piece: Piece, existing: Existing) -> str:
    """Return why a piece serves as it does."""
    was = existing.piece
    if how == "kept":
        return "fits as it is" if not existing.fitted else "fits, and is in its place"
    words = []
    here = _edges(was) == _edges(piece)
    if not here:
        words.append(f"its blank fits {_place(piece)}")
    elif how == "moved":
        words.append("held differently now")
    if how == "trimmed":
        shorter = was.blank.root_length_mm - piece.blank.root_length_mm
        narrower = _width(was) - _width(piece)
        if shorter > LEAST_MM:
            words.append(f"cut {_length(job, shorter)} shorter")
        if narrower > LEAST_MM:
            words.append(f"cut {_length(job, narrower)} narrower")
        if piece.blank.notch_count > was.blank.notch_count:
            words.append(f"{piece.blank.notch_count} notches")
        if not words or (here and len(words) == 0):
            words.append("its border is cut to the new line")
    if len(piece.blank.folds) > len(was.blank.folds):
        words.append("folded now")
    if existing.fitted:
        words.append("comes off its place first")
    return ", ".join(words)


def scrap_reason(job: Job, was: Piece, pieces: Sequence[Piece]) -> str:
    """Return why a piece that is there is of no use."""
    edges = {span.edge for span in was.spans}
    gone = [name for name in _edges(was) if name not in job.edge_of]
    if gone:
        return f'its line "{gone[0]}" is gone, and its blank serves nowhere else'
    bare = [name for name in _edges(was) if not job.carries_metal(job.edge_of[name])]
    if len(bare) == len(edges):
        return f'"{bare[0]}" carries no metal now, and its blank serves nowhere else'
    here = [piece for piece in pieces if edges & {span.edge for span in piece.spans}]
    if not here:
        return "its place takes no metal now"
    now = max(here, key=lambda piece: _overlap(was, piece))
    words = []
    if now.metal != was.metal or abs(now.thickness_mm - was.thickness_mm) > 1e-4:
        words.append(f"its place takes {_metal(now)} now")
    if now.mounting != was.mounting:
        words.append(f"its place is {now.mounting} now, not {was.mounting}")
    longer = now.blank.root_length_mm - was.blank.root_length_mm
    wider = _width(now) - _width(was)
    if longer > LEAST_MM:
        words.append(f"{_length(job, longer)} too short for its place")
    if wider > LEAST_MM:
        words.append(f"{_length(job, wider)} too narrow for its place")
    if now.blank.straight != was.blank.straight or (
        not words and not now.blank.straight and abs(longer) <= LEAST_MM
    ):
        words.append("its line curves differently now")
    notched = was.blank.notch_count + now.blank.notch_count > 0
    if not words and notched and max(abs(longer), abs(wider)) <= LEAST_MM:
        words.append("its notches lie elsewhere now")
    if len(was.blank.folds) > len(now.blank.folds):
        words.append("folded, and its place wants it flat")
    if was.bends_mm or was.preform_mm:
        words.append("bent to its old line")
    if not words and longer < -LEAST_MM:
        words.append(f"{_length(job, -longer)} longer than its place, and cut or bent otherwise")
    return "; ".join(words) or "a new piece is cheaper than making this one over"


def _edges(piece: Piece) -> tuple[str, ...]:
    return tuple(span.edge for span in piece.spans)


def _overlap(one: Piece, other: Piece) -> float:
    total = 0.0
    for a in one.spans:
        for b in other.spans:
            if a.edge == b.edge:
                total += max(0.0, min(a.to_mm, b.to_mm) - max(a.from_mm, b.from_mm))
    return total


def _place(piece: Piece) -> str:
    names = dict.fromkeys(_edges(piece))
    return f'"{next(iter(names))}"' + (" and on" if len(names) > 1 else "")


def _width(piece: Piece) -> float:
    return piece.blank.above_mm + piece.blank.below_mm


def _length(job: Job, length_mm: float) -> str:
    return format_length(length_mm, job.length_unit)


def _metal(piece: Piece) -> str:
    return f"{piece.gauge} ga {piece.metal}" if piece.gauge else piece.metal
