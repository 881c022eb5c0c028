"""A symmetric split: sections are their own mirror image, or come with it."""

from __future__ import annotations

from collections.abc import Sequence

from solver.data.job import Job
from solver.models.columns import Columns


def mirror_of(job: Job) -> tuple[int, ...]:
    """Return the index of each patch's mirror image, -1 where it is on one side only."""
    index = {patch.id: i for i, patch in enumerate(job.patches)}
    return tuple(-1 if patch.twin is None else index[patch.twin] for patch in job.patches)


def symmetric_groups(
    job: Job, columns: Sequence[int]
) -> tuple[tuple[tuple[int, ...], tuple[int, ...]], ...]:
    """Groups of columns (bit masks), as many to be chosen of the first as of the second.

    Patches on one side only are left out: a group holds all columns that are alike but for them.
    The second group is empty where no legal section is the mirror image; none of the first can be
    part of a symmetric split then.
    """
    mirror = mirror_of(job)
    both = sum(1 << patch for patch, twin in enumerate(mirror) if twin >= 0)
    alike: dict[int, list[int]] = {}
    for i, mask in enumerate(columns):
        alike.setdefault(mask & both, []).append(i)
    groups = []
    for key, those in alike.items():
        image = sum(1 << twin for patch, twin in enumerate(mirror) if key >> patch & 1)
        if image != key and (key < image or image not in alike):
            groups.append((tuple(those), tuple(alike.get(image, ()))))
    return tuple(groups)


def symmetric_pairs(job: Job, columns: Columns) -> tuple[tuple[int, int], ...]:
    """Pairs of columns that must be chosen together, of the groups that hold one column each.

    A column whose mirror image is no legal section is paired with -1.
    """
    pairs = []
    for one, other in symmetric_groups(job, columns.masks):
        if not other:
            pairs += [(i, -1) for i in one]
        elif len(one) == len(other) == 1:
            pairs.append((one[0], other[0]))
    return tuple(pairs)
