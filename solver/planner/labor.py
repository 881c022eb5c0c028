"""Minutes by operation, from what a piece or a joint asks for and the shop's own rates.

The rates are the shop's [practice]; here they are only multiplied.  The checker counts the same
operations again from the finished plan, in code of its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from solver.data.job import FOOT_MM, Edge, Job
from solver.rules.minutes import snip_minutes_per_mm

Work = dict[str, tuple[float, float]]
"""Operation -> (count, minutes)."""

UNITS = {
    "set up a metal": "metals",
    "template": "templates",
    "snips": "ft",
    "deburr": "ft",
    "fold": "folds",
    "slits": "slits",
    "V-notches": "V-notches",
    "notches": "notches",
    "pre-form": "ft",
    "fit": "pieces",
    "seams": "seams",
    "taped corners": "corners",
    "bolts": "bolts",
    "clamps": "clamps",
    "hold standing": "ft",
    "fillet": "ft",
    "release wax": "ft",
    "mold flanges": "ft",
    "witness lines": "ft",
    "sections": "sections",
}
"""Every operation in the order of the work, with the unit of its count."""


@dataclass(frozen=True)
class PieceWork:
    """What one piece asks of the bench."""

    metal: str
    thickness_mm: float
    length_mm: float
    root_length_mm: float
    """With the metal to trim."""
    perimeter_mm: float
    own_template: bool
    folds: int
    bends: int
    """Sharp corners of the line that it is bent round."""
    width_mm: float
    """Flat width: the length of each bend."""
    slits: int
    v_notches: int
    notches: int
    preform_mm: float
    standing: bool
    clamps: int


def piece_work(job: Job, piece: PieceWork) -> Work:
    """Minutes of one piece by operation; seams apart."""
    rate = job.shop.minutes
    root_ft = piece.root_length_mm / FOOT_MM
    perimeter_ft = piece.perimeter_mm / FOOT_MM
    preform_ft = piece.preform_mm / FOOT_MM
    folded_ft = piece.folds * root_ft + piece.bends * piece.width_mm / FOOT_MM
    folds = piece.folds + piece.bends
    length_ft = piece.length_mm / FOOT_MM
    snips = piece.perimeter_mm * snip_minutes_per_mm(
        piece.metal,
        piece.thickness_mm,
        rate.snips_aluminium_per_foot,
        rate.snips_galvanised_per_foot,
    )
    work: Work = {
        "snips": (perimeter_ft, snips),
        "deburr": (perimeter_ft, perimeter_ft * rate.deburr_per_foot),
        "slits": (piece.slits, piece.slits * rate.slit),
        "V-notches": (piece.v_notches, piece.v_notches * rate.v_notch),
        "notches": (piece.notches, piece.notches * rate.notch),
        "pre-form": (preform_ft, preform_ft * rate.preform_per_foot),
        "fit": (1, rate.fit_per_piece + rate.fit_per_foot * length_ft),
        "fold": (folds, folds * rate.fold_per_piece + folded_ft * rate.fold_per_foot),
        "clamps": (piece.clamps, piece.clamps * rate.clamp),
    }
    if piece.own_template:
        work["template"] = (1, template_minutes(job, piece.root_length_mm))
    if piece.standing:
        work["hold standing"] = (length_ft, length_ft * rate.standing_per_foot)
    return work


def template_minutes(job: Job, root_length_mm: float) -> float:
    """Minutes to make one template; a mirrored twin needs none."""
    rate = job.shop.minutes
    return rate.template_per_piece + rate.template_per_foot * root_length_mm / FOOT_MM


def seam_work(job: Job, *, visible: bool) -> Work:
    """Minutes of one seam."""
    rate = job.shop.minutes
    extra = job.rules.seam_visible_minutes if visible else 0.0
    return {"seams": (1, rate.seam + extra)}


def joint_work(job: Job, edge: Edge, bolts: int) -> Work:
    """Minutes of making an edge a joint."""
    rate, feet = job.shop.minutes, edge.length_mm / FOOT_MM
    work: Work = {
        "bolts": (bolts, bolts * rate.bolt),
        "mold flanges": (feet, feet * rate.mold_flange_per_foot),
    }
    if not job.carries_metal(edge):
        work["witness lines"] = (feet, feet * rate.witness_per_foot)
    return work


def edge_work(job: Job, edge: Edge) -> Work:
    """Minutes that an edge takes in every plan."""
    rate, feet = job.shop.minutes, edge.length_mm / FOOT_MM
    work: Work = {}
    if edge.open:
        work["mold flanges"] = (feet / 2, feet / 2 * rate.mold_flange_per_foot)
    if job.carries_metal(edge):
        filleted = feet * fillet_sides(job, edge)
        work["fillet"] = (filleted, filleted * rate.fillet_per_foot_side)
        work["release wax"] = (feet, feet * rate.release_wax_per_foot)
    return work


def fillet_sides(job: Job, edge: Edge) -> int:
    """On how many sides of the metal something is laminated."""
    if edge.open:
        return 1
    return sum(side is not None for side in job.sides(edge))


def added(works: Iterable[Work]) -> Work:
    """Sum of works, in the order of the work, without empty lines."""
    total: Work = {}
    for work in works:
        for operation, (count, minutes) in work.items():
            old = total.get(operation, (0.0, 0.0))
            total[operation] = (old[0] + count, old[1] + minutes)
    return {name: total[name] for name in UNITS if name in total and total[name] != (0, 0)}


def minutes_of(work: Work) -> float:
    """All minutes of a work, without the allowance."""
    return sum(minutes for _, minutes in work.values())


def labor_cost(job: Job, minutes: float) -> float:
    """Money for minutes, with the allowance."""
    return minutes * (1 + job.shop.minutes.allowance) / 60 * job.shop.labor_rate_per_hour
