"""A plan of what is still to do: pieces with the ids they had, sources, hours and money left."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from solver.data.job import FOOT_MM, Job
from solver.data.plan import (
    Amount,
    Existing,
    HoursLine,
    Piece,
    Plan,
    Scrapped,
    Source,
)
from solver.planner.assemble import Body, cost_of
from solver.planner.labor import UNITS, Work, added, template_minutes
from solver.planner.options import StretchOption
from solver.planner.piece_options import PieceOption
from solver.planner.quantities import hours_of, total_minutes
from solver.planner.reuse_nests import SheetCut, ToCut, nest_plans
from solver.planner.reuse_pool import Matcher, Use, full_work
from solver.planner.reuse_words import moved_reason, scrap_reason
from solver.planner.run_lines import RunLine
from solver.planner.sheets import Sheet

FLANGES = "mold flange laminate"


@dataclass(frozen=True)
class Chosen:
    """A piece of the plan, with its id and the piece that it is made from, if any."""

    id: str
    option: StretchOption
    piece: PieceOption
    use: Use | None


@dataclass(frozen=True)
class RerunBody:
    """A body of what is left to do, and what becomes of the pieces that are there."""

    body: Body
    sources: tuple[Source, ...]
    scrapped: tuple[Scrapped, ...]
    changes: int


def named(
    lines: Sequence[RunLine],
    options: Sequence[StretchOption],
    uses: Mapping[tuple[int, int], Use],
    plan: Plan,
    before: Matcher,
    there: Sequence[str],
) -> tuple[Chosen, ...]:
    """Return the chosen pieces with ids: the old one where nothing about a piece changes.

    ``uses`` by the option's place in ``options`` and the piece's in the option; ``before`` knows
    all pieces of the old plan, cut or not.  New ids go on counting where the old plan's and the
    pieces that are there (``there``, in the order of their indices) end.
    """
    last: dict[str, int] = {}
    old = [piece.id for piece in plan.pieces]
    for name in (*old, *there):
        found = re.fullmatch(r"(.*) #(\d+)", name)
        if found:
            last[found[1]] = max(last.get(found[1], 0), int(found[2]))
    order = sorted(
        ((option.run, piece.from_mm, at, number)
         for at, option in enumerate(options) for number, piece in enumerate(option.pieces))
    )  # fmt: skip
    chosen: list[Chosen] = []
    given: set[str] = set()
    for run, _, at, number in order:
        option = options[at]
        use = uses.get((at, number))
        same = before.same(option, number)
        if use is not None and use.stays:
            name = there[use.existing]
        elif same is not None and same not in given and same not in there:
            name = same
        else:
            run_id = lines[run].run.id
            last[run_id] = last.get(run_id, 0) + 1
            name = f"{run_id} #{last[run_id]}"
        given.add(name)
        chosen.append(Chosen(name, option, option.pieces[number], use))
    return tuple(chosen)


def to_cut(chosen: Sequence[Chosen]) -> dict[int, list[ToCut]]:
    """Return the pieces to be cut from stock, by sheet metal."""
    found: dict[int, list[ToCut]] = {}
    for one in chosen:
        if one.use is None:
            found.setdefault(one.option.sheet, []).append(ToCut(one.id, one.piece))
    return dict(sorted(found.items()))


def rerun_body(
    job: Job,
    lines: Sequence[RunLine],
    sheets: Sequence[Sheet],
    whole: Body,
    chosen: Sequence[Chosen],
    cuts: Sequence[SheetCut],
    existing: Sequence[Existing],
    built_flange_mm: float,
    change_price: float,
    taken_nests: Sequence[str],
) -> RerunBody:
    """Turn the body of the whole plan into what is left of it.

    ``whole`` is the plan as if nothing were there, without nests.
    """
    by_place = {(piece.run, piece.from_mm): piece for piece in whole.pieces}
    template_of = _templates(chosen)
    pieces = tuple(
        _piece(by_place[lines[one.option.run].run.id, one.piece.from_mm], one, template_of)
        for one in chosen
    )
    hours = _hours(job, sheets, whole, chosen, template_of, built_flange_mm)
    amounts = _amounts(job, whole.amounts, built_flange_mm)
    nests, purchases = nest_plans(job, cuts, taken_nests)
    minutes = total_minutes(job, hours)
    cost = cost_of(job, purchases, amounts, minutes, nests)
    used = {one.use.existing for one in chosen if one.use is not None}
    stay = {one.use.existing for one in chosen if one.use is not None and one.use.stays}
    changes = sum(one.fitted and i not in stay for i, one in enumerate(existing))
    sources = tuple(
        _source(one, piece, existing[one.use.existing], job)
        for one, piece in zip(chosen, pieces, strict=True)
        if one.use is not None
    )
    scrapped = tuple(
        Scrapped(old=one.piece.id, reason=scrap_reason(job, one.piece, pieces))
        for i, one in enumerate(existing)
        if i not in used
    )
    body = replace(
        whole,
        pieces=pieces,
        purchases=purchases,
        nests=nests,
        hours=hours,
        minutes=minutes,
        amounts=amounts,
        cost=cost.model_copy(update={"objective": cost.objective + change_price * changes}),
    )
    return RerunBody(body, sources, scrapped, changes)


def _piece(whole: Piece, one: Chosen, template_of: Mapping[str, str]) -> Piece:
    return whole.model_copy(update={"id": one.id, "template_of": template_of.get(one.id)})


def _source(one: Chosen, piece: Piece, existing: Existing, job: Job) -> Source:
    use = one.use
    assert use is not None
    how = "kept" if use.stays else "moved" if use.fit.whole else "trimmed"
    return Source.model_validate(
        {
            "piece": one.id,
            "old": existing.piece.id,
            "how": how,
            "x_mm": use.fit.x_mm,
            "y_mm": use.fit.y_mm,
            "turn_deg": use.fit.turn_deg,
            "flipped": use.fit.flipped,
            "cut_mm": use.fit.cut_mm,
            "template": use.needs_template,
            "folds": use.fit.folds,
            "slits": use.fit.slits,
            "v_notches": use.fit.v_notches,
            "reason": moved_reason(job, how, piece, existing),
        }
    )


def _wants_template(one: Chosen) -> bool:
    return one.use is None or one.use.needs_template


def _templates(chosen: Sequence[Chosen]) -> dict[str, str]:
    """Piece -> the mirrored piece whose template, or which itself, it is marked out from."""
    by_name = {one.piece.template: one for one in chosen}
    sharing: dict[str, str] = {}
    for one in chosen:
        twin = by_name.get(one.piece.twin_template)
        if twin is None or twin is one or twin.id in sharing or one.id in sharing:
            continue
        if not _wants_template(one) and not _wants_template(twin):
            continue
        first, second = one, twin
        longer = one.piece.blank.root_length_mm > twin.piece.blank.root_length_mm + 1e-9
        if not _wants_template(twin) or (longer and _wants_template(one)):
            first, second = twin, one
        sharing[second.id] = first.id
    return sharing


def _hours(
    job: Job,
    sheets: Sequence[Sheet],
    whole: Body,
    chosen: Sequence[Chosen],
    template_of: Mapping[str, str],
    built_flange_mm: float,
) -> tuple[HoursLine, ...]:
    options = list({id(one.option): one.option for one in chosen}.values())
    shared = [
        template_minutes(job, one.piece.blank.root_length_mm)
        for one in chosen
        if one.id in template_of
    ]
    metals = len({one.option.sheet for one in chosen if one.use is None})
    lines = hours_of(job, options, shared, whole.edges, len(whole.sections), metals)
    works: list[Work] = [{line.operation: (line.count, line.minutes) for line in lines}]
    for one in chosen:
        if one.use is not None:
            works.append(one.use.left)
            works.append(_negative(full_work(job, sheets[one.option.sheet], one.piece)))
    feet = built_flange_mm / FOOT_MM
    works.append({"mold flanges": (-feet, -feet * job.shop.minutes.mold_flange_per_foot)})
    return tuple(
        HoursLine(operation=name, count=count, unit=UNITS[name], minutes=minutes)
        for name, (count, minutes) in added(works).items()
        if abs(count) > 1e-9 or abs(minutes) > 1e-9
    )


def _negative(work: Work) -> Work:
    return {name: (-count, -minutes) for name, (count, minutes) in work.items()}


def _amounts(job: Job, amounts: Sequence[Amount], built_flange_mm: float) -> tuple[Amount, ...]:
    found = []
    for amount in amounts:
        if amount.item == FLANGES and built_flange_mm > 0:
            left = max(0.0, amount.amount - built_flange_mm / FOOT_MM)
            if left <= 1e-9:
                continue
            price = left * job.shop.prices.mold_flange_per_foot
            amount = amount.model_copy(update={"amount": left, "buy": left, "price": price})
        found.append(amount)
    return tuple(found)
