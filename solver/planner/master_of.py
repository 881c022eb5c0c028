"""The master problem of a job: options, joints, sections and stock as plain numbers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from solver.data.job import FOOT_MM, Edge, Job
from solver.data.plan import Mounting
from solver.models.master import (
    JointEdge,
    MasterProblem,
    Option,
    PieceNeed,
    StockKind,
    Template,
)
from solver.planner.labor import edge_work, fillet_sides, joint_work, labor_cost, minutes_of
from solver.planner.options import (
    StretchOption,
    option_cost,
    seam_unwelcome,
    shapes_alike,
    template_saving,
)
from solver.planner.piece_options import PieceKey
from solver.planner.run_lines import RunLine, edge_bolt_stations_mm
from solver.planner.sheets import Sheet, room_mm
from solver.planner.split_of import EdgeRule
from solver.planner.symmetric import symmetric_groups
from solver.rules.fillets import fillet_volume_mm3

GrownAreas = Mapping[tuple[int, PieceKey], float]
"""By sheet metal and piece: see `grown_areas_mm2`."""


@dataclass(frozen=True)
class Costs:
    """Weighted money of what is no piece and no metal."""

    joint: Mapping[str, float]
    """By inner edge, if it becomes a joint; bolts to buy apart."""
    section: float
    constant: float
    bolts: Mapping[str, int]


def costs_of(job: Job) -> Costs:
    """Return what joints, sections and every plan cost."""
    joint: dict[str, float] = {}
    bolts: dict[str, int] = {}
    constant_minutes = 0.0
    constant_money = 0.0
    for edge in job.edges:
        constant_minutes += minutes_of(edge_work(job, edge))
        constant_money += _edge_money(job, edge)
        if not edge.open:
            bolts[edge.id] = len(edge_bolt_stations_mm(job, edge))
            joint[edge.id] = _weighted(
                job, minutes_of(joint_work(job, edge, bolts[edge.id])), joint_money(job, edge)
            )
    corners = len(job.corners)
    rate, prices = job.shop.minutes, job.shop.prices
    constant_minutes += corners * rate.taped_corner
    constant_money += corners * prices.seam_tape_per_seam
    area_m2 = sum(patch.area_mm2 for patch in job.patches) * 1e-6
    constant_money += area_m2 * prices.release_wax_per_m2
    return Costs(
        joint=joint,
        section=_weighted(job, rate.per_section, 0.0),
        constant=_weighted(job, constant_minutes, constant_money),
        bolts=bolts,
    )


def _weighted(job: Job, minutes: float, money: float) -> float:
    return job.goal.labor * labor_cost(job, minutes) + job.goal.joints * money


def joint_money(job: Job, edge: Edge) -> float:
    """Money of a joint: flange laminate, and the packer of a gap without metal."""
    feet, prices = edge.length_mm / FOOT_MM, job.shop.prices
    money = feet * prices.mold_flange_per_foot
    if not job.carries_metal(edge) and job.rules.joint_gap_mm > 1e-9:
        money += feet * prices.packer_per_foot
    return money


def _edge_money(job: Job, edge: Edge) -> float:
    """Money that an edge takes in every plan: half a flange on an open edge, and the fillet."""
    prices = job.shop.prices
    money = edge.length_mm / FOOT_MM / 2 * prices.mold_flange_per_foot if edge.open else 0.0
    if job.carries_metal(edge):
        money += fillet_litres(job, edge) * prices.fillet_per_litre
    return money


def fillet_litres(job: Job, edge: Edge) -> float:
    """Wax or clay for the fillets of a metal edge, with waste."""
    sides = fillet_sides(job, edge)
    if not sides:
        return 0.0
    volume = fillet_volume_mm3(
        edge.length_mm, job.rules.fillet_radius_mm, sides, job.rules.fillet_waste
    )
    return volume * 1e-6


def master_problem_of(
    job: Job,
    lines: Sequence[RunLine],
    sheets: Sequence[Sheet],
    options: Sequence[StretchOption],
    rules: Mapping[str, EdgeRule],
    costs: Costs,
    areas: GrownAreas,
    columns: Sequence[int],
    symmetric_pairs: Sequence[tuple[int, int]] = (),
) -> MasterProblem:
    """Return the master problem for these possible sections (bit masks over the patches).

    ``areas`` are those of ``grown_areas_mm2``.
    """
    patch = {p.id: i for i, p in enumerate(job.patches)}
    metal_edges = [edge.id for line in lines for edge in line.edges]
    line_of = {edge: i for i, edge in enumerate(metal_edges)}
    sheet_of_item = {item: s for s, sheet in enumerate(sheets) for item in sheet.items}
    items = sorted(sheet_of_item)
    place = {item: i for i, item in enumerate(items)}
    prices, limits, goal = job.shop.prices, job.rules, job.goal
    inner = {edge.id: i for i, edge in enumerate(edge for edge in job.edges if not edge.open)}
    return MasterProblem(
        patch_count=len(job.patches),
        columns=tuple(columns),
        column_costs=(costs.section,) * len(columns),
        edges=tuple(
            JointEdge(
                id=edge.id,
                first=patch[edge.first],
                second=patch[edge.second],
                joint_cost=costs.joint[edge.id],
                inside_cost=0.0,
                bolts=costs.bolts[edge.id],
                line=line_of.get(edge.id),
                split=rules[edge.id].split,
                twin=inner.get(edge.twin) if edge.twin not in (None, edge.id) else None,
            )
            for edge in job.edges
            if not edge.open
        ),
        line_count=len(metal_edges),
        options=tuple(
            Option(
                lines=tuple(
                    line_of[lines[o.run].edges[(o.first + i) % len(lines[o.run].edges)].id]
                    for i in range(o.count)
                ),
                mounting=o.mounting,
                sheet=o.sheet,
                cost=option_cost(job, o),
                needs=tuple(
                    PieceNeed(
                        areas[o.sheet, piece.key], frozenset(place[i] for i in piece.might_fit)
                    )
                    for piece in o.pieces
                ),
                clamps=sum(piece.clamps for piece in o.pieces),
                templates=tuple(
                    Template(piece.template, piece.twin_template, template_saving(job, piece))
                    for piece in o.pieces
                ),
            )
            for o in options
        ),
        stock=tuple(
            StockKind(
                sheet=sheet_of_item[item],
                price=goal.metal * job.stock[item].price,
                on_hand=job.stock[item].on_hand,
                for_sale=job.stock[item].for_sale,
                capacity_mm2=capacity_mm2(job, item),
            )
            for item in items
        ),
        sheet_count=len(sheets),
        setup_cost=_weighted(job, job.shop.minutes.setup_per_gauge, 0.0),
        fewest_sections=limits.fewest_sections,
        most_sections=limits.most_sections,
        bolts_on_hand=job.shop.bolts_on_hand,
        bolt_price=goal.joints * prices.bolt,
        clamps_on_hand=job.shop.clamps_on_hand,
        clamp_price=goal.joints * prices.clamp,
        constant_cost=costs.constant,
        clashes=tuple(clash.options for clash in seam_clashes(job, lines, options)),
        symmetric_pairs=tuple(symmetric_pairs),
        # pairs are told one by one; only groups of several columns need sums
        symmetric_groups=tuple(
            (one, other)
            for one, other in symmetric_groups(job, columns)
            if other and len(one) + len(other) > 2
        )
        if job.rules.symmetric_split
        else (),
    )


@dataclass(frozen=True)
class SeamClash:
    """Options that would meet at a mark of a run where no seam may be although nothing changes."""

    run: int
    mark: int
    """Index of the edge that begins there."""
    mounting: Mounting
    options: tuple[int, ...]


def seam_clashes(
    job: Job, lines: Sequence[RunLine], options: Sequence[StretchOption]
) -> tuple[SeamClash, ...]:
    """Return the options of which at most one may be made, mark by mark."""
    meeting: dict[tuple[int, int, Mounting], list[int]] = defaultdict(list)
    for index, option in enumerate(options):
        line = lines[option.run]
        total = len(line.edges)
        if option.count == total:
            continue
        for mark in {option.first % total, (option.first + option.count) % total}:
            if mark or line.run.closed:
                meeting[option.run, mark, option.mounting].append(index)
    clashes = []
    for (run, mark, mounting), met in meeting.items():
        line = lines[run]
        same = shapes_alike(line.shapes[mark - 1], line.shapes[mark], mounting)
        if same and seam_unwelcome(job, line, line.starts_mm[mark], mounting):
            clashes.append(SeamClash(run, mark, mounting, tuple(met)))
    return tuple(clashes)


def stock_order(sheets: Sequence[Sheet]) -> list[int]:
    """Return the indices into the job's stock in the order of the master's stock."""
    return sorted(item for sheet in sheets for item in sheet.items)


def grown_areas_mm2(job: Job, options: Sequence[StretchOption]) -> GrownAreas:
    """Area that each blank takes for itself, by sheet metal and piece: grown by half the gap.

    Blanks that keep the gap have disjoint grown outlines, inside the stock grown likewise.  Round
    corners are cut short (few segments), which only makes the area smaller and the bound safe.
    """
    blanks = {id(p.blank): p.blank for option in options for p in option.pieces}
    outlines = np.array([shapely.Polygon(blank.outline_mm) for blank in blanks.values()])
    grown = shapely.buffer(outlines, job.rules.cutting_gap_mm / 2, quad_segs=2)
    area_of = dict(zip(blanks, shapely.area(grown).tolist(), strict=True))
    return {(o.sheet, piece.key): area_of[id(piece.blank)] for o in options for piece in o.pieces}


def capacity_mm2(job: Job, item: int) -> float:
    """Area of a stock item that grown blanks share: its usable area grown by half the gap."""
    stock, gap = job.stock[item], job.rules.cutting_gap_mm
    length, width = room_mm(job, stock)
    if stock.outline_mm is not None:
        outline = shapely.Polygon(stock.outline_mm).buffer(gap / 2, join_style="mitre")
        return float(outline.area)
    return (length + gap) * (width + gap)
