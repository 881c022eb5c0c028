"""What a plan needs besides metal, and its hours, counted from the chosen pieces and joints."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from solver.data.job import FOOT_MM, INCH_MM, Edge, Job
from solver.data.plan import Amount, EdgePlan, HoursLine
from solver.data.units import format_length
from solver.planner.labor import UNITS, Work, added, edge_work, joint_work
from solver.planner.master_of import fillet_litres
from solver.planner.options import StretchOption
from solver.planner.piece_options import PieceOption
from solver.rules.bolts import bolt_length_mm


def hours_of(
    job: Job,
    options: Sequence[StretchOption],
    shared_templates: Sequence[float],
    edges: Sequence[EdgePlan],
    section_count: int,
    metal_count: int,
) -> tuple[HoursLine, ...]:
    """Minutes by operation; ``shared_templates`` are the minutes of each template not made."""
    rate = job.shop.minutes
    works: list[Work] = [option.work for option in options]
    for plan in edges:
        edge = job.edge_of[plan.edge]
        works.append(edge_work(job, edge))
        if plan.joint:
            works.append(joint_work(job, edge, plan.bolts))
    corners = len(job.corners)
    works += [
        {"set up a metal": (metal_count, metal_count * rate.setup_per_gauge)},
        {"taped corners": (corners, corners * rate.taped_corner)},
        {"sections": (section_count, section_count * rate.per_section)},
        {"template": (-len(shared_templates), -sum(shared_templates))},
    ]
    return tuple(
        HoursLine(operation=name, count=count, unit=UNITS[name], minutes=minutes)
        for name, (count, minutes) in added(works).items()
    )


def amounts_of(
    job: Job, pieces: Sequence[PieceOption], edges: Sequence[EdgePlan]
) -> tuple[Amount, ...]:
    """Bolts, clamps, packers, laminate, tape, fillet and wax, with what is to be bought."""
    prices = job.shop.prices
    joints = [job.edge_of[plan.edge] for plan in edges if plan.joint]
    amounts = [*_bolts(job, edges), *_clamps(job, pieces), *_packers(job, edges)]
    feet = sum(edge.length_mm for edge in joints) / FOOT_MM
    feet += sum(edge.length_mm for edge in job.edges if edge.open) / FOOT_MM / 2
    seams = sum(piece.seam_at_start for piece in pieces) + len(job.corners)
    litres = sum(fillet_litres(job, edge) for edge in job.edges if job.carries_metal(edge))
    wax = sum(patch.area_mm2 for patch in job.patches) * 1e-6
    wax += sum(2 * piece.blank.area_mm2 for piece in pieces) * 1e-6
    for item, amount, unit, price, note in (
        ("mold flange laminate", feet, "ft", prices.mold_flange_per_foot, "both flanges of joints"),
        ("seam tape", seams, "seams", prices.seam_tape_per_seam, "seams and taped corners"),
        ("fillet wax or clay", litres, "litres", prices.fillet_per_litre, "with waste"),
        ("release wax", wax, "m2", prices.release_wax_per_m2, "mold and both faces of the metal"),
    ):
        if amount:
            amounts.append(
                Amount(
                    item=item,
                    amount=amount,
                    unit=unit,
                    buy=amount,
                    price=amount * price,
                    note=note,
                )
            )
    return tuple(amounts)


def _bolts(job: Job, edges: Sequence[EdgePlan]) -> list[Amount]:
    counts: dict[str, int] = defaultdict(int)
    for plan in edges:
        if plan.bolts:
            counts[_bolt_name(job, job.edge_of[plan.edge])] += plan.bolts
    on_hand = job.shop.bolts_on_hand
    amounts = []
    for name, count in counts.items():
        taken = min(on_hand, count)
        on_hand -= taken
        amounts.append(
            Amount(
                item=name,
                amount=count,
                unit="bolts",
                buy=count - taken,
                price=(count - taken) * job.shop.prices.bolt,
                note="with nut and two washers" + (f"; {taken} on hand" if taken else ""),
            )
        )
    return amounts


def _bolt_name(job: Job, edge: Edge) -> str:
    rules = job.rules
    length = bolt_length_mm(edge.bolts.size, rules.mold_thickness_mm, rules.joint_gap_mm)
    if edge.bolts.size.startswith("M"):
        return f"bolts {edge.bolts.size} x {length:g} mm"
    return f"bolts {edge.bolts.size} x {format_length(length, 'in')}"


def _clamps(job: Job, pieces: Sequence[PieceOption]) -> list[Amount]:
    count = sum(piece.clamps for piece in pieces)
    if not count:
        return []
    buy = max(0, count - job.shop.clamps_on_hand)
    return [
        Amount(
            item="clamps",
            amount=count,
            unit="clamps",
            buy=buy,
            price=buy * job.shop.prices.clamp,
            note=f"{count - buy} on hand" if count > buy else "",
        )
    ]


def _packers(job: Job, edges: Sequence[EdgePlan]) -> list[Amount]:
    feet: dict[float, float] = defaultdict(float)
    for plan in edges:
        if plan.joint and plan.packer_mm > 1e-9:
            feet[round(plan.packer_mm, 4)] += job.edge_of[plan.edge].length_mm / FOOT_MM
    return [
        Amount(
            item=f"packer {thickness / INCH_MM:.3f} in thick",
            amount=length,
            unit="ft",
            buy=length,
            price=length * job.shop.prices.packer_per_foot,
            note="fills the bolted gap",
        )
        for thickness, length in sorted(feet.items())
    ]


def total_minutes(job: Job, hours: Sequence[HoursLine]) -> float:
    """All minutes with the allowance."""
    return sum(line.minutes for line in hours) * (1 + job.shop.minutes.allowance)
