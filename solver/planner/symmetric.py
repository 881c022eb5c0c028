"""A symmetric split: sections are their own mirror image, or come with it."""

from __future__ import annotations

from solver.data.job import Job
from solver.models.columns import Columns


def mirror_of(job: Job) -> tuple[int, ...]:
    """Return the index of each patch's mirror image; a patch without one is its own."""
    index = {patch.id: i for i, patch in enumerate(job.patches)}
    return tuple(index.get(patch.twin or patch.id, i) for i, patch in enumerate(job.patches))


def symmetric_pairs(job: Job, columns: Columns) -> tuple[tuple[int, int], ...]:
    """Pairs of columns that must be chosen together; a column without a twin pairs with none.

    A column whose mirror image is no legal section can never be part of a symmetric split; it is
    returned paired with -1.
    """
    twin = mirror_of(job)
    place = {mask: i for i, mask in enumerate(columns.masks)}
    pairs = []
    for i, mask in enumerate(columns.masks):
        mirrored = sum(1 << twin[patch] for patch in columns.members(i))
        if mirrored == mask:
            continue
        other = place.get(mirrored, -1)
        if other == -1 or i < other:
            pairs.append((i, other))
    return tuple(pairs)
