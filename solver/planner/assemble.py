"""A plan from the master's choice and the nests: pieces with reasons, quantities, hours, money."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import shapely

from solver.data.job import Job, StockItem
from solver.data.plan import (
    Amount,
    BlankPlan,
    Cost,
    EdgePlan,
    Fold,
    HoursLine,
    NestPlan,
    Offcut,
    Piece,
    Placed,
    PullStep,
    Purchase,
    Reason,
    Section,
    Span,
    Treatment,
)
from solver.nests.cutting_sense import borders_mm, cut_sensibly
from solver.nests.offcuts import offcuts
from solver.nests.shapes import placed_points
from solver.planner.labor import template_minutes
from solver.planner.nesting import SheetNest
from solver.planner.options import StretchOption
from solver.planner.piece_blanks import profile_of
from solver.planner.piece_options import PieceOption
from solver.planner.quantities import amounts_of, hours_of, total_minutes
from solver.planner.run_lines import RunLine
from solver.planner.sections_of import PlannedSections
from solver.planner.sheets import Sheet
from solver.rules.gaps import packer_thickness_mm
from solver.rules.gauge_choice import EdgeNeed, first_refusal


@dataclass(frozen=True)
class Body:
    """All of a plan but its proof: what is decided, counted and priced."""

    sections: tuple[Section, ...]
    removal: tuple[PullStep, ...]
    edges: tuple[EdgePlan, ...]
    pieces: tuple[Piece, ...]
    purchases: tuple[Purchase, ...]
    nests: tuple[NestPlan, ...]
    hours: tuple[HoursLine, ...]
    minutes: float
    amounts: tuple[Amount, ...]
    cost: Cost
    used: tuple[Sheet, ...]
    forced_runs: tuple[str, ...]


@dataclass(frozen=True)
class _Named:
    """A chosen piece with its id and its option."""

    id: str
    option: StretchOption
    piece: PieceOption


def assemble(
    job: Job,
    lines: Sequence[RunLine],
    sheets: Sequence[Sheet],
    chosen: Sequence[StretchOption],
    sections: PlannedSections,
    bolts: Mapping[str, int],
    nests: Sequence[SheetNest],
) -> Body:
    """Put a plan together; every figure follows from the choice and the nests."""
    named = _named(lines, chosen)
    edges = _edges(job, lines, sheets, chosen, sections, bolts)
    sharing = _shared_templates(named)
    pieces = tuple(_piece(job, lines, sheets, one, sharing) for one in named)
    template_of = {one.id: sharing[one.id] for one in named if one.id in sharing}
    shared = [
        template_minutes(job, one.piece.blank.root_length_mm)
        for one in named
        if one.id in template_of
    ]
    used = tuple(sheets[s] for s in sorted({option.sheet for option in chosen}))
    hours = hours_of(job, chosen, shared, edges, len(sections.sections), len(used))
    amounts = amounts_of(job, [one.piece for one in named], edges)
    purchases, nest_plans = _stock(job, named, nests)
    minutes = total_minutes(job, hours)
    return Body(
        sections=sections.sections,
        removal=sections.removal,
        edges=edges,
        pieces=pieces,
        purchases=purchases,
        nests=nest_plans,
        hours=hours,
        minutes=minutes,
        amounts=amounts,
        cost=cost_of(job, purchases, amounts, minutes, nest_plans),
        used=used,
        forced_runs=tuple(dict.fromkeys(lines[o.run].run.id for o in chosen if o.forced)),
    )


def cost_of(
    job: Job,
    purchases: Sequence[Purchase],
    amounts: Sequence[Amount],
    minutes: float,
    nests: Sequence[NestPlan],
) -> Cost:
    """Return the money of what is bought and done, and what the goal makes of it."""
    metal = sum(purchase.price for purchase in purchases)
    joints = sum(amount.price for amount in amounts)
    labor = minutes / 60 * job.shop.labor_rate_per_hour
    waste = sum(nest.scrap_mm2 * 1e-6 * job.stock_of[nest.stock].mass_kg_m2 for nest in nests)
    goal = job.goal
    return Cost(
        metal=metal,
        joints=joints,
        labor=labor,
        total=metal + joints + labor,
        waste_kg=waste,
        objective=goal.metal * metal
        + goal.joints * joints
        + goal.labor * labor
        + goal.waste_per_kg * waste,
    )


def _named(lines: Sequence[RunLine], chosen: Sequence[StretchOption]) -> list[_Named]:
    """Pieces in the order of their runs and stations, with ids that name run and place."""
    by_run: dict[int, list[tuple[PieceOption, StretchOption]]] = defaultdict(list)
    for option in chosen:
        for piece in option.pieces:
            by_run[option.run].append((piece, option))
    named = []
    for run in sorted(by_run):
        ordered = sorted(by_run[run], key=lambda pair: pair[0].from_mm)
        for number, (piece, option) in enumerate(ordered, start=1):
            named.append(_Named(f"{lines[run].run.id} #{number}", option, piece))
    return named


def _edges(
    job: Job,
    lines: Sequence[RunLine],
    sheets: Sequence[Sheet],
    chosen: Sequence[StretchOption],
    sections: PlannedSections,
    bolts: Mapping[str, int],
) -> tuple[EdgePlan, ...]:
    made: dict[str, StretchOption] = {}
    for option in chosen:
        run = lines[option.run].edges
        for i in range(option.count):
            made[run[(option.first + i) % len(run)].id] = option
    plans = []
    for edge in job.edges:
        joint = not edge.open and (sections.of_patch[edge.first] != sections.of_patch[edge.second])
        packer = 0.0
        treatment: Treatment = "witness" if joint else "plain"
        if edge.id in made:
            treatment = made[edge.id].mounting
        if joint:
            thickness = sheets[made[edge.id].sheet].metal.thickness_mm if edge.id in made else 0.0
            packer = packer_thickness_mm(thickness, job.rules.joint_gap_mm)
        plans.append(
            EdgePlan(
                edge=edge.id,
                treatment=treatment,
                joint=joint,
                bolts=bolts[edge.id] if joint else 0,
                packer_mm=packer,
            )
        )
    return tuple(plans)


def _shared_templates(named: Sequence[_Named]) -> dict[str, str]:
    """Piece -> the mirrored piece whose template it is cut from.

    Of two twins the longer one (by metal to trim) is cut from the other's template, so that as much
    template as possible is saved; the master counts the same.
    """
    by_name = {one.piece.template: one for one in named}
    sharing: dict[str, str] = {}
    for one in named:
        twin = by_name.get(one.piece.twin_template)
        if twin is None or twin is one or twin.id in sharing or one.id in sharing:
            continue
        first, second = one, twin
        if one.piece.blank.root_length_mm > twin.piece.blank.root_length_mm + 1e-9:
            first, second = twin, one
        sharing[second.id] = first.id
    return sharing


def _piece(
    job: Job,
    lines: Sequence[RunLine],
    sheets: Sequence[Sheet],
    one: _Named,
    sharing: Mapping[str, str],
) -> Piece:
    option, piece = one.option, one.piece
    line, metal = lines[option.run], sheets[option.sheet].metal
    profile = profile_of(job, piece.shape, piece.mounting, metal)
    blank = piece.blank
    return Piece(
        id=one.id,
        run=line.run.id,
        from_mm=piece.from_mm,
        to_mm=piece.to_mm,
        spans=_spans(line, piece),
        trim_mm=piece.trim_mm,
        mounting=piece.mounting,
        metal=metal.metal,
        gauge=metal.gauge,
        thickness_mm=metal.thickness_mm,
        stand_mm=piece.shape.stand_mm,
        grip_mm=job.rules.standing_foot_mm if piece.mounting == "standing" else piece.shape.grip_mm,
        return_mm=piece.shape.return_mm,
        visible=piece.visible,
        blank=BlankPlan(
            outline_mm=blank.outline_mm,
            root_length_mm=blank.root_length_mm,
            above_mm=profile.above_mm,
            below_mm=profile.below_mm,
            area_mm2=blank.area_mm2,
            straight=blank.straight,
            folds=tuple(
                Fold(
                    line_mm=drawn.points_mm,
                    angle_deg=drawn.angle_deg,
                    toward=_toward(line, piece, drawn.toward, fold.toward),
                    inside_radius_mm=fold.inside_radius_mm,
                    deduction_mm=fold.deduction_mm,
                    hand=drawn.toward,
                )
                for drawn, fold in zip(blank.folds, profile.folds, strict=True)
            ),
            slits_mm=blank.slits,
            v_notches_mm=blank.v_notches,
            notch_count=len(blank.notches),
        ),
        reason=_reason(job, sheets, piece, option.sheet),
        clamp_pitch_mm=piece.clamp_pitch_mm,
        clamps=piece.clamps,
        bends_mm=piece.bends_mm,
        preform_mm=piece.preform_mm,
        template_of=sharing.get(one.id),
        mass_kg=blank.area_mm2 * 1e-6 * metal.mass_kg_m2,
    )


def _toward(line: RunLine, piece: PieceOption, hand: str, profile_toward: str) -> str:
    """Name the patch on the hand a leg is folded to, where the piece begins; "outside" if none."""
    if profile_toward == "out":
        return "outside"
    station = piece.from_mm % line.length_mm if line.run.closed else piece.from_mm
    index = max(i for i, start in enumerate(line.starts_mm[:-1]) if start <= station + 1e-6)
    edge = line.edges[index]
    first_hand = "right" if line.backward[index] else "left"
    name = edge.first if hand == first_hand else edge.second
    return "outside" if name == "open" else name


def _spans(line: RunLine, piece: PieceOption) -> tuple[Span, ...]:
    """Parts of edges that a piece covers, in the order of the run."""
    spans = []
    laps = (0.0, line.length_mm) if line.run.closed else (0.0,)
    for lap in laps:
        for index, edge in enumerate(line.edges):
            begin = line.starts_mm[index] + lap
            low = max(piece.from_mm, begin) - begin
            high = min(piece.to_mm, begin + edge.length_mm) - begin
            if high - low <= 1e-6:
                continue
            back = line.backward[index]
            spans.append(
                Span(
                    edge=edge.id,
                    from_mm=edge.length_mm - high if back else low,
                    to_mm=edge.length_mm - low if back else high,
                    backward=back,
                )
            )
    return tuple(spans)


def _reason(job: Job, sheets: Sequence[Sheet], piece: PieceOption, sheet: int) -> Reason:
    """Why the next lighter metal in the stock would not do here."""
    lighter = [s for s in range(len(sheets)) if s < sheet]
    if not lighter:
        return Reason(
            rule="only stock",
            sentence=f"{sheets[sheet].metal.label} is the lightest metal in the stock",
        )
    need = EdgeNeed(
        mounting=piece.mounting,
        visible=piece.visible,
        stand_mm=piece.shape.stand_mm,
        fold_radius_mm=job.rules.bend_radius_mm if piece.folds or piece.bends_mm else None,
    )
    refusal = first_refusal(need, sheets[lighter[-1]].metal, job.rules)
    if refusal is None:
        return Reason(
            rule="price",
            sentence=f"{sheets[lighter[-1]].metal.label} would do here too; "
            "the whole plan is cheaper with this one",
        )
    return Reason.model_validate({"rule": refusal.rule, "sentence": refusal.sentence})


def stock_area_mm2(item: StockItem) -> float:
    """Area of one unit as bought, roll ends and all."""
    if item.outline_mm is not None:
        return float(shapely.Polygon(item.outline_mm).area)
    return item.length_mm * item.width_mm


def _twins(nest: SheetNest) -> dict[str, str]:
    """Ids of the shapes of a nest's mirrored pieces."""
    by_template = {
        piece.template: shape.id for shape, piece in zip(nest.shapes, nest.pieces, strict=True)
    }
    return {
        shape.id: by_template[piece.twin_template]
        for shape, piece in zip(nest.shapes, nest.pieces, strict=True)
        if piece.twin_template in by_template
    }


def _stock(
    job: Job, named: Sequence[_Named], nests: Sequence[SheetNest]
) -> tuple[tuple[Purchase, ...], tuple[NestPlan, ...]]:
    by_piece = {(one.piece.run, one.piece.from_mm, one.piece.to_mm): one.id for one in named}
    purchases: list[Purchase] = []
    plans: list[NestPlan] = []
    for nest in nests:
        gap_mm = job.rules.cutting_gap_mm
        layout = cut_sensibly(nest.bought.layout, nest.shapes, nest.stocks, gap_mm, _twins(nest))
        shape_of = {shape.id: shape for shape in nest.shapes}
        stock_of = {stock.id: stock for stock in nest.stocks}
        name = {
            shape.id: by_piece[piece.run, piece.from_mm, piece.to_mm]
            for shape, piece in zip(nest.shapes, nest.pieces, strict=True)
        }
        left = offcuts(layout, nest.shapes, nest.stocks, gap_mm)
        area_of = {piece.id: piece.piece.blank.area_mm2 for piece in named}
        for number, unit in enumerate(layout.units):
            placed = tuple(
                Placed(
                    piece=name[p.shape_id],
                    x_mm=p.x_mm,
                    y_mm=p.y_mm,
                    turn_deg=p.turn_deg,
                    flipped=p.flipped,
                )
                for p in layout.placements
                if p.unit == number
            )
            kept = tuple(
                Offcut(
                    outline_mm=one.outline_mm,
                    area_mm2=one.area_mm2,
                    holds_mm=() if one.is_rectangle else one.holds_mm,
                )
                for one in left.offcuts
                if one.unit == number
            )
            used = sum(area_of[one.piece] for one in placed) + sum(one.area_mm2 for one in kept)
            border, on_edge = borders_mm(
                [
                    placed_points(shape_of[p.shape_id], p)
                    for p in layout.placements
                    if p.unit == number
                ],
                stock_of[unit.stock_id],
            )
            plans.append(
                NestPlan(
                    id=f"nest {len(plans) + 1}",
                    stock=unit.stock_id,
                    bought=unit.bought,
                    placed=placed,
                    offcuts=kept,
                    scrap_mm2=stock_area_mm2(job.stock_of[unit.stock_id]) - used,
                    cut_mm=border - on_edge,
                    edge_mm=on_edge,
                )
            )
        for stock in nest.stocks:
            buy = sum(u.bought and u.stock_id == stock.id for u in layout.units)
            hand = sum(not u.bought and u.stock_id == stock.id for u in layout.units)
            if buy or hand:
                purchases.append(
                    Purchase(
                        stock=stock.id,
                        buy=buy,
                        from_hand=hand,
                        unit_price=stock.price,
                        price=buy * stock.price,
                    )
                )
    return tuple(purchases), tuple(plans)
