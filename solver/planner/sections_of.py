"""Sections of a plan: letters in order of removal, masses, extents, who lifts them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from solver.data.job import Job, Patch, Vector
from solver.data.plan import PullStep, Section
from solver.models.release import patch_rows
from solver.models.removal import RemovalOrder
from solver.models.split_problem import SplitProblem
from solver.rules.lifting import crew_needed

DRAFT_TIE_DEG = 1e-4
MOST_NAMED = 4


@dataclass(frozen=True)
class PlannedSections:
    """Sections with the steps that take them off, and the section of each patch."""

    sections: tuple[Section, ...]
    removal: tuple[PullStep, ...]
    of_patch: Mapping[str, str]


def letters(number: int) -> str:
    """Return A, B … Z, AA, AB … for 0, 1 …: what is chalked on a section."""
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def planned_sections(
    job: Job, problem: SplitProblem, groups: Sequence[Sequence[int]], order: RemovalOrder
) -> PlannedSections:
    """Name the sections by their place in the order of removal and describe each."""
    name = {step.section: letters(i) for i, step in enumerate(order.steps)}
    section_of = {patch: k for k, group in enumerate(groups) for patch in group}
    mass = [
        sum(
            problem.patches[i].mass_kg * (1 + problem.frame_fraction) + problem.open_mass_kg[i]
            for i in group
        )
        for group in groups
    ]
    for edge in problem.edges:
        if section_of[edge.a] != section_of[edge.b]:
            mass[section_of[edge.a]] += edge.joint_mass_kg
            mass[section_of[edge.b]] += edge.joint_mass_kg
    sections, removal = [], []
    for step in order.steps:
        patches = [job.patches[i] for i in groups[step.section]]
        extent, centre = _where(patches)
        lift = crew_needed(mass[step.section], extent, job.shop.crew)
        sections.append(
            Section(
                id=name[step.section],
                patches=tuple(p.id for p in patches),
                area_mm2=sum(p.area_mm2 for p in patches),
                mass_kg=mass[step.section],
                extent_mm=extent,
                centre_mm=centre,
                people=lift.people,
                lift_basis=lift.basis,
            )
        )
        draft, tight = _draft(problem, groups[step.section], step.pull)
        removal.append(
            PullStep(
                section=name[step.section],
                pull=step.pull,
                draft_deg=draft,
                draft_set_by=tuple(job.patches[i].id for i in tight),
                after=tuple(sorted(name[k] for k in step.after)),
                drawn_first=tuple(
                    problem.edges[e].id
                    for e in step.metal_first
                    if job.carries_metal(job.edge_of[problem.edges[e].id])
                ),
            )
        )
    of_patch = {job.patches[i].id: name[k] for i, k in section_of.items()}
    return PlannedSections(tuple(sections), tuple(removal), of_patch)


def _where(patches: Sequence[Patch]) -> tuple[Vector | None, Vector | None]:
    """Extent along front, left and up, and the middle weighted by area, where boxes are known."""
    boxes = [patch.box_mm for patch in patches]
    if any(box is None for box in boxes):
        return None, None
    corners = np.array([box for box in boxes if box is not None])
    size = corners[:, 1].max(axis=0) - corners[:, 0].min(axis=0)
    weights = np.array([patch.area_mm2 for patch in patches])
    middle = (corners.mean(axis=1) * weights[:, None]).sum(axis=0) / weights.sum()
    return _vector(size), _vector(middle)


def _vector(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Vector:
    return float(values[0]), float(values[1]), float(values[2])


def _draft(
    problem: SplitProblem, group: Sequence[int], pull: Vector
) -> tuple[float, tuple[int, ...]]:
    """Least draft along a pull, and at most four patches that have it."""
    axes, half, owner = patch_rows([problem.patches[i] for i in group])
    drafts = np.degrees(np.arcsin(np.clip(axes @ np.array(pull), -1.0, 1.0))) - half
    least = float(drafts.min())
    tight = np.unique(owner[drafts <= least + DRAFT_TIE_DEG])[:MOST_NAMED]
    return least, tuple(group[int(i)] for i in tight)
