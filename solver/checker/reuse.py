"""Pieces that are there: each serves once, as it is or cut smaller, and what it spares is right.

A plan of a rerun counts what is still to be done.  A *kept* piece is the very piece that its place
wants; a *moved* one has the blank of its new place; a *trimmed* one holds it, with no fold, slit or
V-notch inside that is not wanted just there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from solver.checker.reading import PieceReading, Reading
from solver.checker.report import Fault
from solver.checker.tolerances import (
    FOLD_MM,
    OUTLINE_MM,
    REUSE_CUT_MM,
    near,
)
from solver.data.job import Job, StockItem
from solver.data.plan import Existing, Fold, NestPlan, Plan, Point, Source

Floats = NDArray[np.float64]

_INSIDE_MM = 0.5
"""Folds and slits so near the border of a new blank do not count as inside it."""
_STRAIGHT_MM = 1.5
"""So much longer than its chord may a cut be that is called straight."""
_LEAST_MM = 3.0
"""Shorter bits of border or fold are no cuts of their own."""
_PIECE = 1e-4
"""Of thicknesses that are one metal."""


def job_at_hand(job: Job, plan: Plan) -> Job:
    """Return the job with the whole units, bolts, clamps and metals that are there."""
    rerun = plan.rerun
    if rerun is None:
        return job
    stock = [replace(item, on_hand=rerun.on_hand.get(item.id, 0)) for item in job.stock]
    for number, sheet in enumerate(rerun.sheets, start=1):
        stock.append(
            StockItem(
                id=f"metal at hand {number}",
                form="sheet",
                metal=sheet.metal,
                gauge=sheet.gauge,
                thickness_mm=sheet.thickness_mm,
                core_mm=sheet.core_mm,
                mass_kg_m2=sheet.mass_kg_m2,
                width_mm=1.0,
                length_mm=1.0,
                for_sale=0,
            )
        )
    shop = replace(
        job.shop,
        bolts_on_hand=job.shop.bolts_on_hand + rerun.bolts_bought,
        clamps_on_hand=job.shop.clamps_on_hand + rerun.clamps_bought,
    )
    return replace(job, stock=tuple(stock), shop=shop)


# --- what is left to do -------------------------------------------------------------------------


@dataclass(frozen=True)
class Left:
    """What is still to be done about a piece."""

    from_stock: bool
    template: bool
    border_mm: float
    folds: int
    bends: bool
    slits: int
    v_notches: int
    notches: int
    preform: bool
    fit: bool


def sources_of(plan: Plan) -> dict[str, Source]:
    """Return the pieces that are made from what is there, by piece."""
    return {} if plan.rerun is None else {one.piece: one for one in plan.rerun.sources}


def existing_of(plan: Plan) -> dict[str, Existing]:
    """Return the pieces that are there, by id."""
    return {} if plan.rerun is None else {one.piece.id: one for one in plan.rerun.existing}


def left_of(reading: Reading, piece: PieceReading) -> Left:
    """Return what is still to be done about a piece, all of it where it is cut from stock."""
    blank = piece.piece.blank
    source = sources_of(reading.plan).get(piece.piece.id)
    if source is None:
        return Left(
            from_stock=True,
            template=piece.piece.template_of is None,
            border_mm=float(piece.outline.length),
            folds=len(blank.folds),
            bends=True,
            slits=len(blank.slits_mm),
            v_notches=len(blank.v_notches_mm),
            notches=len(piece.notches),
            preform=True,
            fit=True,
        )
    there = existing_of(reading.plan).get(source.old)
    if source.how == "kept":
        fitted = there is not None and there.fitted
        return Left(False, False, 0.0, 0, False, 0, 0, 0, False, not fitted)
    return Left(
        from_stock=False,
        template=source.template and piece.piece.template_of is None,
        border_mm=source.cut_mm,
        folds=len(blank.folds) - source.folds,
        bends=True,
        slits=len(blank.slits_mm) - source.slits,
        v_notches=len(blank.v_notches_mm) - source.v_notches,
        notches=len(piece.notches) if source.cut_mm > 0 else 0,
        preform=True,
        fit=True,
    )


def built_mm(reading: Reading) -> float:
    """Length of mold flange that is there: one of the two of a joint, the only one of an open edge.

    Rates are for both flanges of a joint, and half of that for an open edge.
    """
    if reading.plan.rerun is None:
        return 0.0
    return sum(
        edge.length_mm / 2
        for patches in reading.plan.rerun.built
        for edge in reading.job.edges
        if (edge.first in patches) != (edge.second in patches)
    )


def price_of_changes(plan: Plan) -> float:
    """Money in the objective for fitted pieces that do not stay where they are."""
    return 0.0 if plan.rerun is None else plan.rerun.change_price * plan.rerun.changes


# --- the rules ----------------------------------------------------------------------------------


def served_once(reading: Reading) -> Iterator[Fault]:
    """Each piece that is there serves one piece of the plan, or is told to be of no use."""
    rerun = reading.plan.rerun
    if rerun is None:
        return
    there = Counter(one.piece.id for one in rerun.existing)
    used = Counter(source.old for source in rerun.sources)
    scrapped = Counter(one.old for one in rerun.scrapped)
    fed = Counter(source.piece for source in rerun.sources)
    for name in dict.fromkeys((*there, *used, *scrapped)):
        place = f'piece "{name}"'
        if there[name] != 1:
            yield Fault("reuse", place, f"is there {there[name]} times, and used or scrapped")
        if used[name] + scrapped[name] != 1:
            yield Fault(
                "reuse", place, f"serves {used[name]} pieces and is scrapped {scrapped[name]} times"
            )
    for name, count in fed.items():
        if name not in reading.piece_of:
            yield Fault("reuse", f'piece "{name}"', "is no piece of the plan")
        elif count > 1:
            yield Fault("reuse", f'piece "{name}"', f"is made from {count} pieces that are there")
    for name in sorted(set(rerun.spoiled) & set(there)):
        yield Fault("reuse", f'piece "{name}"', "is spoiled, and is said to be there")


def changes(reading: Reading) -> Iterator[Fault]:
    """Fitted pieces that do not stay are counted."""
    rerun = reading.plan.rerun
    if rerun is None:
        return
    kept = {source.old for source in rerun.sources if source.how == "kept"}
    wanted = sum(one.fitted and one.piece.id not in kept for one in rerun.existing)
    if rerun.changes != wanted:
        yield Fault("changes", "rerun", f"{rerun.changes} are stated; it is {wanted}")
    if rerun.change_price < 0:
        yield Fault("changes", "rerun", f"a change is priced at {rerun.change_price}")


def built_sections(reading: Reading) -> Iterator[Fault]:
    """Built sections are sections of the plan."""
    if reading.plan.rerun is None:
        return
    sections = {frozenset(section.patches) for section in reading.plan.sections}
    for patches in reading.plan.rerun.built:
        if frozenset(patches) not in sections:
            yield Fault(
                "built sections", f"section of {', '.join(patches)}", "is built, and not kept whole"
            )


def fits(reading: Reading) -> Iterator[Fault]:
    """What a piece is made from is of its metal, holds its blank, and spares what is stated."""
    there = existing_of(reading.plan)
    for source in sources_of(reading.plan).values():
        piece, has = reading.piece_of.get(source.piece), there.get(source.old)
        if piece is None or has is None:
            continue  # told above
        for sentence in _faults(piece, has, source):
            yield Fault("reuse", piece.place, f'made from "{source.old}": {sentence}')


def _faults(piece: PieceReading, has: Existing, source: Source) -> Iterator[str]:
    was = has.piece
    thick = abs(was.thickness_mm - piece.piece.thickness_mm) > _PIECE
    if was.metal != piece.piece.metal or thick:
        yield (
            f"that is {was.metal} {was.thickness_mm:.4f} mm, not {piece.piece.metal} "
            f"{piece.piece.thickness_mm:.4f}"
        )
        return
    if source.how == "kept":
        yield from _kept_faults(piece, has, source)
        return
    if was.bends_mm or was.preform_mm > 0:
        yield "that is bent to its own line, and can only stay there"
    if min(source.cut_mm, source.folds, source.slits, source.v_notches) < 0:
        yield "it spares less than nothing"
    outline = _placed(piece.piece.blank.outline_mm, source)
    placed = shapely.Polygon(outline)
    region = _region(has)
    out = shapely.area(
        shapely.difference(placed, shapely.buffer(region, OUTLINE_MM, join_style="mitre"))
    )
    if out > 1e-6:
        yield f"{out:.2f} mm2 of the new blank lie outside"
        return
    yield from _border_faults(piece, region, source, placed)
    yield from _fold_faults(piece, has, source, placed)
    for name, mine, its, stated in (
        ("slits", piece.piece.blank.slits_mm, was.blank.slits_mm, source.slits),
        ("V-notches", piece.piece.blank.v_notches_mm, was.blank.v_notches_mm, source.v_notches),
    ):
        yield from _cut_faults(
            name,
            [_placed(one, source) for one in mine],
            [_array(one) for one in its],
            stated,
            placed,
        )


def _kept_faults(piece: PieceReading, has: Existing, source: Source) -> Iterator[str]:
    was, now = has.piece, piece.piece
    if was.id != now.id or source.old != source.piece:
        yield "it stays and has another name"
    if was.mounting != now.mounting:
        yield f"that was {was.mounting}, this is {now.mounting}"
    if (source.x_mm, source.y_mm, source.turn_deg, source.flipped) != (0, 0, 0, False):
        yield "it stays and is turned or moved"
    same_edges = [(s.edge, s.backward) for s in was.spans] == [
        (s.edge, s.backward) for s in now.spans
    ]
    same_parts = same_edges and all(
        abs((a.to_mm - a.from_mm) - (b.to_mm - b.from_mm)) <= OUTLINE_MM
        for a, b in zip(was.spans, now.spans, strict=True)
    )
    if not same_parts:
        yield "it was made for other parts of edges"
    old, new = shapely.Polygon(was.blank.outline_mm), piece.outline
    if (
        shapely.hausdorff_distance(old.boundary, new.boundary) > OUTLINE_MM
        or not _same_cuts(was.blank.slits_mm, now.blank.slits_mm)
        or not _same_cuts(was.blank.v_notches_mm, now.blank.v_notches_mm)
        or len(was.blank.folds) != len(now.blank.folds)
        or not all(map(_same_fold, was.blank.folds, now.blank.folds))
    ):
        yield "its blank is another"
    if len(was.bends_mm) != len(now.bends_mm) or not all(
        abs(a - b) <= OUTLINE_MM for a, b in zip(was.bends_mm, now.bends_mm, strict=True)
    ):
        yield "it is bent elsewhere"
    if abs(was.preform_mm - now.preform_mm) > OUTLINE_MM:
        yield f"{was.preform_mm:.1f} mm of it are pre-formed, {now.preform_mm:.1f} must be"


def _same_cuts(one: tuple[tuple[Point, ...], ...], other: tuple[tuple[Point, ...], ...]) -> bool:
    return len(one) == len(other) and all(
        len(a) == len(b) and bool(np.abs(_array(a) - _array(b)).max() <= OUTLINE_MM)
        for a, b in zip(one, other, strict=True)
    )


def _same_fold(one: Fold, other: Fold) -> bool:
    hands = one.hand is None or other.hand is None or one.hand == other.hand
    return (
        hands
        and near(one.angle_deg, other.angle_deg)
        and near(one.inside_radius_mm, other.inside_radius_mm)
        and near(one.deduction_mm, other.deduction_mm)
        and shapely.hausdorff_distance(
            shapely.LineString(one.line_mm), shapely.LineString(other.line_mm)
        )
        <= OUTLINE_MM
    )


def _array(points: tuple[Point, ...]) -> Floats:
    return np.array(points, dtype=np.float64)


def _placed(points: tuple[Point, ...], source: Source) -> Floats:
    """Points of a new blank where they lie on the old one: flipped, turned, moved."""
    found = _array(points)
    if source.flipped:
        found = found * (1.0, -1.0)
    turn = np.radians(source.turn_deg)
    cos, sin = float(np.cos(turn)), float(np.sin(turn))
    x = found[:, 0] * cos - found[:, 1] * sin + source.x_mm
    y = found[:, 0] * sin + found[:, 1] * cos + source.y_mm
    return np.column_stack((x, y))


def _region(has: Existing) -> shapely.Geometry:
    """What is there of a piece: its outline, less what was trimmed off when it was fitted."""
    blank, trim = has.piece.blank, has.piece.trim_mm
    outline = shapely.Polygon(blank.outline_mm)
    if not has.fitted or trim <= 0:
        return outline
    if blank.straight:
        end = blank.root_length_mm - trim
        return shapely.intersection(outline, shapely.box(-1.0, -1e4, end, 1e4))
    ring = _array(blank.outline_mm)
    behind = np.roll(ring, -1, axis=0)
    wide = np.abs(np.hypot(*(behind - ring).T) - blank.above_mm - blank.below_mm) <= OUTLINE_MM
    far = wide & (np.maximum(np.abs(ring[:, 0]), np.abs(behind[:, 0])) > OUTLINE_MM)
    for a, b in zip(ring[far], behind[far], strict=True):
        off = shapely.buffer(shapely.LineString((a, b)), trim - OUTLINE_MM, cap_style="flat")
        outline = shapely.difference(outline, off)
    return outline


def _border_faults(
    piece: PieceReading, region: shapely.Geometry, source: Source, placed: shapely.Polygon
) -> Iterator[str]:
    """The border still to be cut is what does not lie on the old border."""
    old = region.boundary
    # a line that leaves the old border slowly leaves it somewhere between these
    most = shapely.length(shapely.difference(placed.exterior, shapely.buffer(old, OUTLINE_MM / 5)))
    cut = shapely.difference(placed.exterior, shapely.buffer(old, 2 * OUTLINE_MM))
    parts = [p for p in shapely.get_parts(shapely.line_merge(cut)) if p.length > _LEAST_MM]
    least = sum(part.length for part in parts)
    if not least - REUSE_CUT_MM <= source.cut_mm <= most + REUSE_CUT_MM:
        yield (
            f"{source.cut_mm:.1f} mm of border are to be cut as stated; it is {least:.1f} to "
            f"{most:.1f}"
        )
    if source.how == "moved" and source.cut_mm > 0:
        yield f"it is moved as it is, and {source.cut_mm:.1f} mm are to be cut"
    if source.template or piece.track.straight:
        return
    for part in parts:
        points = shapely.get_coordinates(part)
        if part.length > float(np.hypot(*(points[-1] - points[0]))) + _STRAIGHT_MM:
            yield f"a cut of {part.length:.1f} mm is not straight, and has no template"
            return


def _fold_faults(
    piece: PieceReading, has: Existing, source: Source, placed: shapely.Polygon
) -> Iterator[str]:
    """Each old fold inside the new blank is one of its own; no more are spared than are there."""
    inside = shapely.buffer(placed, -_INSIDE_MM)
    mine = [
        (fold, shapely.LineString(_placed(fold.line_mm, source)))
        for fold in piece.piece.blank.folds
    ]
    spared: set[int] = set()
    for old in has.piece.blank.folds:
        line = shapely.LineString(old.line_mm)
        if shapely.length(shapely.intersection(line, inside)) <= _LEAST_MM:
            continue
        same = {
            number
            for number, (fold, at) in enumerate(mine)
            if _same_way(fold, old, flipped=source.flipped)
            and shapely.length(shapely.difference(at, shapely.buffer(line, FOLD_MM))) <= _LEAST_MM
        }
        if not same:
            yield "a fold of it lies inside the new blank, which has none there"
        spared |= same
    if source.folds > len(spared):
        yield f"{source.folds} folds are spared as stated; {len(spared)} are there"


def _same_way(fold: Fold, old: Fold, *, flipped: bool) -> bool:
    """Whether a fold is as wanted; turned over it would go to the other hand."""
    known = fold.hand is not None and old.hand is not None
    return (
        (not known or (fold.hand == old.hand) != flipped)
        and near(fold.angle_deg, old.angle_deg)
        and near(fold.inside_radius_mm, old.inside_radius_mm)
        and near(fold.deduction_mm, old.deduction_mm)
    )


def _cut_faults(
    name: str, mine: list[Floats], its: list[Floats], stated: int, placed: shapely.Polygon
) -> Iterator[str]:
    inside = shapely.buffer(placed, -_INSIDE_MM)
    there = 0
    for cut in its:
        wanted = any(
            one.shape == cut.shape
            and min(np.abs(one - cut).max(), np.abs(one[::-1] - cut).max()) <= FOLD_MM
            for one in mine
        )
        if wanted:
            there += 1
        elif shapely.intersects(shapely.LineString(cut), inside):
            yield f"one of its {name} lies inside the new blank, which has none there"
            return
    if stated > there:
        yield f"{stated} {name} are spared as stated; {there} are there"


def rests(reading: Reading) -> Iterator[Fault]:
    """A begun unit is one that is there, is used once, and lacks what was cut from it."""
    rerun = reading.plan.rerun
    known = {} if rerun is None else {rest.id: rest for rest in rerun.rests}
    used = Counter(nest.rest_of for nest in reading.plan.nests if nest.rest_of is not None)
    for nest in reading.plan.nests:
        place = f'nest "{nest.id}"'
        if nest.rest_of is None:
            if nest.gone_mm:
                yield Fault("rest", place, "is a whole unit, and something is cut from it already")
            continue
        rest = known.get(nest.rest_of)
        if rest is None:
            yield Fault("rest", place, f'there is no begun unit "{nest.rest_of}"')
        elif rest.stock != nest.stock or rest.gone_mm != nest.gone_mm or nest.bought:
            yield Fault("rest", place, "is not what is left of its unit")
        elif used[nest.rest_of] > 1:
            yield Fault("rest", place, f"is one of {used[nest.rest_of]} nests on one begun unit")


def gone_polygons(nest: NestPlan) -> list[shapely.Polygon]:
    """Return what was cut out of a unit before."""
    return [shapely.Polygon(_array(ring)) for ring in nest.gone_mm]
