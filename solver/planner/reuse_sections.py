"""Sections that are built stay as they are: a split has each whole, or it is no split."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from solver.data.job import Job
from solver.data.plan import Plan, Section
from solver.models.columns import Columns, legal_sections
from solver.models.split_problem import SplitProblem
from solver.planner.reuse_seams import OldLines

SAME_SHARE = 1e-6
SAME_MM = 1e-3


@dataclass(frozen=True)
class Built:
    """Built sections that stay, as sets of patches; and what the builder is told of the others."""

    sections: tuple[Section, ...]
    masks: tuple[int, ...]
    notes: tuple[str, ...]


def built_of(job: Job, plan: Plan, names: Sequence[str], old: OldLines) -> Built:
    """Return the built sections that the scenario leaves as they are.

    A section is to be built anew where a patch of it is gone or larger, or a metal line on it has
    another length.
    """
    index = {patch.id: i for i, patch in enumerate(job.patches)}
    kept, masks, notes = [], [], []
    for section in plan.sections:
        if section.id not in names:
            continue
        why = _changed(job, section, old)
        if why:
            notes.append(f"section {section.id} is to be built anew: {why}")
            continue
        kept.append(section)
        masks.append(sum(1 << index[patch] for patch in section.patches))
    return Built(tuple(kept), tuple(masks), tuple(notes))


def _changed(job: Job, section: Section, old: OldLines) -> str:
    gone = [patch for patch in section.patches if patch not in job.patch_of]
    if gone:
        return f'its patch "{gone[0]}" is gone'
    area = sum(job.patch_of[patch].area_mm2 for patch in section.patches)
    if abs(area - section.area_mm2) > SAME_SHARE * section.area_mm2:
        return "its area changes"
    mine = set(section.patches)
    for edge in job.edges:
        was = old.length_mm.get(edge.id)
        on_it = edge.first in mine or edge.second in mine
        if was is not None and on_it and abs(was - edge.length_mm) > SAME_MM:
            return f'its line "{edge.id}" changes'
    return ""


def with_built(columns: Columns, problem: SplitProblem, built: Built) -> Columns | None:
    """Return the columns of splits that have every built section; None where one is not legal."""
    if not built.masks:
        return columns
    known = set(columns.masks)
    found = columns
    for mask in built.masks:
        if mask not in known:
            more = _alone(problem, mask)
            if more is None:
                return None
            found = _joined(found, more)
    taken = 0
    for mask in built.masks:
        taken |= mask
    own = set(built.masks)
    kept = [i for i, mask in enumerate(found.masks) if mask in own or not mask & taken]
    return _some(found, kept)


def _alone(problem: SplitProblem, mask: int) -> Columns | None:
    """Return a section by itself if the rules allow it; it was perhaps not among those listed."""
    pinned = tuple(
        replace(patch, pin="the section" if mask >> i & 1 else f"other {i}")
        for i, patch in enumerate(problem.patches)
    )
    listed = legal_sections(replace(problem, patches=pinned))
    if mask not in listed.masks:
        return None
    return _some(listed, [listed.masks.index(mask)])


def _some(columns: Columns, kept: Sequence[int]) -> Columns:
    at = np.array(kept, dtype=np.intp)
    return Columns(
        columns.patch_count,
        columns.words[at],
        columns.costs[at],
        columns.masses_kg[at],
        columns.extents_mm[at],
        complete=columns.complete,
    )


def _joined(one: Columns, other: Columns) -> Columns:
    return Columns(
        one.patch_count,
        np.concatenate((one.words, other.words)),
        np.concatenate((one.costs, other.costs)),
        np.concatenate((one.masses_kg, other.masses_kg)),
        np.concatenate((one.extents_mm, other.extents_mm)),
        complete=one.complete,
    )


def built_flange_mm(job: Job, sections: Sequence[Sequence[str]]) -> float:
    """Length of mold flange that is there: of each joint of a built section, and open edge, half.

    The rates of a joint are for both its flanges; an open edge has one.
    """
    half = 0.0
    for patches in sections:
        mine = set(patches)
        for edge in job.edges:
            if (edge.first in mine) != (edge.second in mine):
                half += edge.length_mm / 2
    return half
