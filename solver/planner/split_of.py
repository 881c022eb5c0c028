"""The split problem of a job: masses, facings and the edges that must or must not be joints."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from solver.data.job import Edge, Job
from solver.models.split_problem import SplitEdge, SplitPatch, SplitProblem

SplitWord = Literal["allowed", "required", "forbidden"]


@dataclass(frozen=True)
class EdgeRule:
    """Whether an edge may be a joint, and the requirement that says so."""

    split: SplitWord
    rule: str = ""
    sentence: str = ""


def edge_rules(job: Job, mountings: Mapping[str, set[str]]) -> dict[str, EdgeRule]:
    """Return what each inner edge may be.

    ``mountings`` are the mountings for which a metal edge has any option.
    """
    return {
        edge.id: _edge_rule(job, edge, mountings.get(edge.id, set()))
        for edge in job.edges
        if not edge.open
    }


def _edge_rule(job: Job, edge: Edge, mountings: set[str]) -> EdgeRule:
    if not job.carries_metal(edge):
        if edge.witness == "forbidden":
            shows = "it shows" if edge.visible else "a witness line is forbidden"
            return EdgeRule("forbidden", "witness", f'edge "{edge.id}" stays whole: {shows}')
        return _as_asked(edge)
    if edge.split != "allowed":
        return _as_asked(edge)
    if "standing" not in mountings:
        why = (
            "standing metal is forbidden there"
            if edge.standing == "forbidden"
            else "no metal in the stock may stand there"
        )
        return EdgeRule("required", "standing", f'edge "{edge.id}" must be a joint: {why}')
    if "pinched" not in mountings:
        return EdgeRule(
            "forbidden",
            "gauge",
            f'edge "{edge.id}" cannot be a joint: no metal in the stock may be pinched there',
        )
    return EdgeRule("allowed")


def _as_asked(edge: Edge) -> EdgeRule:
    if edge.split == "allowed":
        return EdgeRule("allowed")
    return EdgeRule(
        edge.split, f"split {edge.split}", f'edge "{edge.id}" has "split": "{edge.split}"'
    )


def flashing_kg(job: Job, edge: Edge) -> float:
    """Mass of the metal on an edge if it were of the heaviest sheet in the stock."""
    if not job.carries_metal(edge) or not job.stock:
        return 0.0
    heaviest = max(item.mass_kg_m2 for item in job.stock)
    width = edge.stand_mm + edge.grip_mm + edge.return_mm
    return width * edge.length_mm * heaviest * 1e-6


def flange_kg(job: Job, edge: Edge) -> float:
    """Mass of one mold flange along an edge."""
    return job.rules.flange_width_mm * edge.length_mm * job.rules.mold_kg_m2 * 1e-6


def split_problem_of(
    job: Job,
    rules: Mapping[str, EdgeRule],
    costs: Mapping[str, tuple[float, float]] | None = None,
    section_cost: float = 0.0,
) -> SplitProblem:
    """Return the split problem; ``costs`` are (inside, joint) money by edge, if wanted.

    A section carries the flanges of its open edges and half the metal of its other metal edges
    whether they are joints or not: metal lies on either side while the mold is assembled.
    """
    index = {patch.id: i for i, patch in enumerate(job.patches)}
    extra = [0.0] * len(job.patches)
    edges = []
    for edge in job.edges:
        metal = flashing_kg(job, edge)
        first = index[edge.first]
        if edge.open:
            extra[first] += flange_kg(job, edge) + metal
            continue
        second = index[edge.second]
        extra[first] += metal / 2
        extra[second] += metal / 2
        inside, joint = (
            cost if math.isfinite(cost) else 0.0 for cost in (costs or {}).get(edge.id, (0.0, 0.0))
        )
        edges.append(
            SplitEdge(
                id=edge.id,
                a=first,
                b=second,
                length_mm=edge.length_mm,
                split=rules[edge.id].split,
                facings=edge.facings,
                inside_cost=inside,
                joint_cost=joint,
                joint_mass_kg=flange_kg(job, edge),
                hooked=job.carries_metal(edge) and edge.return_mm > 0,
            )
        )
    limits = job.rules
    return SplitProblem(
        patches=tuple(
            SplitPatch(
                id=patch.id,
                area_mm2=patch.area_mm2,
                mass_kg=patch.area_mm2 * limits.mold_kg_m2 * 1e-6,
                facings=patch.facings,
                spread_deg=patch.spread_deg,
                box_mm=patch.box_mm,
                pin=patch.pin,
            )
            for patch in job.patches
        ),
        edges=tuple(edges),
        draft_deg=limits.draft_deg,
        blocking_deg=limits.blocking_deg,
        lift_limit_kg=job.shop.lift_limit_kg,
        largest_section_mm=job.shop.largest_section_mm,
        most_sections=limits.most_sections,
        fewest_sections=limits.fewest_sections,
        pulls=limits.pulls or None,
        pull_walls=limits.walls,
        section_cost=section_cost,
        frame_fraction=limits.frame_fraction,
        open_mass_kg=tuple(extra),
    )
