"""What finishing the old plan would still take: the measure of what a change costs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from solver.data.job import FOOT_MM, Job
from solver.data.plan import Piece, Plan, Spending
from solver.data.work import Work
from solver.planner.labor import PieceWork, minutes_of, piece_work, template_minutes
from solver.planner.reuse_sections import built_flange_mm

AT_FITTING = ("fit", "clamps", "hold standing")


def spending_before(job: Job, old: Plan, work: Work) -> Spending:
    """Return money and minutes that the old plan still took, its prices and the new job's rates.

    Spoiled pieces count as cut: cutting them again is what their loss costs.
    """
    assert old.cost is not None
    done = sum(_done_minutes(job, old, work))
    minutes = max(0.0, old.minutes - done * (1 + job.shop.minutes.allowance))
    labor = minutes / 60 * job.shop.labor_rate_per_hour
    metal = old.cost.metal
    for purchase in old.purchases:
        metal -= min(purchase.buy, work.bought.get(purchase.stock, 0)) * purchase.unit_price
    joints = old.cost.joints - sum(_joints_bought(job, old, work))
    goal = job.goal
    return Spending(
        metal=metal,
        joints=joints,
        labor=labor,
        total=metal + joints + labor,
        minutes=minutes,
        objective=goal.metal * metal + goal.joints * joints + goal.labor * labor,
    )


def _built_mm(job: Job, old: Plan, work: Work) -> float:
    """Length of mold flange built since the old plan was made."""
    before = set(old.rerun.built) if old.rerun is not None else set()
    names = set(work.built)
    sections = [s.patches for s in old.sections if s.id in names and s.patches not in before]
    return built_flange_mm(job, sections)


def _done_minutes(job: Job, old: Plan, work: Work) -> Iterator[float]:
    yield _built_mm(job, old, work) / FOOT_MM * job.shop.minutes.mold_flange_per_foot
    cut = work.cut | work.spoiled
    there = {source.piece for source in old.rerun.sources} if old.rerun is not None else set()
    was_fitted = (
        {one.piece.id for one in old.rerun.existing if one.fitted}
        if old.rerun is not None
        else set()
    )
    to_cut: dict[tuple[str, float], list[bool]] = defaultdict(list)
    for piece in old.pieces:
        if piece.id not in there:
            to_cut[piece.metal, round(piece.thickness_mm, 4)].append(piece.id in cut)
        if piece.id not in cut:
            continue
        works = piece_work(job, _asked(piece))
        fitting = sum(works[name][1] for name in AT_FITTING if name in works)
        if piece.id not in there:
            yield minutes_of(works) - fitting
        if piece.id in work.fitted and piece.id not in was_fitted:
            yield fitting
    for all_cut in to_cut.values():
        if all(all_cut):
            yield job.shop.minutes.setup_per_gauge
    shared = {piece.template_of for piece in old.pieces if piece.id in cut}
    for piece in old.pieces:
        owner = piece.template_of is None and piece.id not in there
        if owner and (piece.id in cut or piece.id in shared):
            yield template_minutes(job, piece.blank.root_length_mm)


def _asked(piece: Piece) -> PieceWork:
    blank = piece.blank
    ring = np.array(blank.outline_mm)
    return PieceWork(
        metal=piece.metal,
        thickness_mm=piece.thickness_mm,
        length_mm=piece.to_mm - piece.from_mm,
        root_length_mm=blank.root_length_mm,
        perimeter_mm=float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum()),
        own_template=False,
        folds=len(blank.folds),
        bends=len(piece.bends_mm),
        width_mm=blank.above_mm + blank.below_mm,
        slits=len(blank.slits_mm),
        v_notches=len(blank.v_notches_mm),
        notches=blank.notch_count,
        preform_mm=piece.preform_mm,
        standing=piece.mounting == "standing",
        clamps=piece.clamps,
    )


def _joints_bought(job: Job, old: Plan, work: Work) -> Iterator[float]:
    prices = job.shop.prices
    yield _built_mm(job, old, work) / FOOT_MM * prices.mold_flange_per_foot
    was = old.rerun
    bolts = work.bolts_bought - (was.bolts_bought if was is not None else 0)
    clamps = work.clamps_bought - (was.clamps_bought if was is not None else 0)
    for kind, count, price in (("bolt", bolts, prices.bolt), ("clamp", clamps, prices.clamp)):
        to_buy = sum(amount.buy for amount in old.amounts if amount.item.startswith(kind))
        yield min(count, to_buy) * price
