"""The sections that the master chooses from: all legal ones, or those that could be in a good plan.

Beyond a few thousand sections the master would be slow, unless they belong to blocks that it
decides one by one.  Then each section is scored by the least that any plan containing it can cost
(linear bound for each number of sections plus the section's reduced cost, on least edge costs); the
best scores are kept, and the first score dropped is a bound for every plan that uses a dropped
section.  Bodies with too many sections to list are split by
least costs first, several ways, and the master chooses among the sections of those splits; the
bound is that of the cheapest.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from solver.data.until import FOREVER, Until
from solver.models.columns import Columns, Nodes, legal_sections, make_nodes, to_words
from solver.models.release import Array
from solver.models.small_cuts import blocks_of
from solver.models.split import best_splits, most_any_split_costs, section_counts
from solver.models.split_master import Master, relax
from solver.models.split_problem import SplitProblem

Index = NDArray[np.intp]

MOST_KEPT = 4000
MOST_KEPT_APART = 40_000
"""Of a body of blocks joined by few lines, none of which touches more than ``MOST_KEPT``."""
MOST_LISTED = 400_000
SECONDS_TO_SCORE = 20.0
SECONDS_TO_SPLIT = 60.0
WAYS_TO_SPLIT = 8
"""Of a body with too many sections to list: the splits whose sections are offered."""
WAYS_DIFFER_BY = 4
WIDE = 0.25
"""Counts of sections whose bound is this share above the best are not looked at closely."""


@dataclass(frozen=True)
class Choice:
    """Sections to choose from, and the least cost of a plan that uses any other (inf: none)."""

    columns: Columns
    dropped_bound: float
    cut_by_clock: bool = False
    """Whether a clock ended the scoring, or the splitting, that chose them."""

    @property
    def complete(self) -> bool:
        """Whether every section of any plan is among them."""
        return self.dropped_bound == math.inf


def sections_to_choose(
    problem: SplitProblem,
    constant: float,
    until: Until = FOREVER,
    symmetric: Sequence[int] | None = None,
) -> Choice:
    """Return the sections for the master; when it is to end, those met so far.

    ``problem`` carries the least costs of edges and sections, ``constant`` all the rest;
    ``symmetric``: the patches' mirror images, where only symmetric splits are wanted.
    """
    nodes = make_nodes(problem)
    columns = legal_sections(problem, nodes=nodes, most=MOST_LISTED, until=until)
    if not columns.complete:
        return _of_some_splits(problem, constant, until, symmetric)
    if few_enough(problem, columns):
        return Choice(columns, math.inf)
    scoring = until.at_most(SECONDS_TO_SCORE)
    scores = _scores(nodes, columns, scoring)
    late = scoring.over()
    pair = np.arange(len(columns))
    if symmetric is not None:
        image = _images(columns, symmetric)
        # a section and its image come together: both bounds hold, and without an image none does
        twins = image[image] == pair
        scores = np.where(twins, np.maximum(scores, scores[image]), scores)
        scores[image < 0] = math.inf
        pair = np.where(twins & (image >= 0), np.minimum(pair, image), pair)
    order = np.lexsort((pair, scores))
    most = MOST_KEPT
    while most > 1 and pair[order[most - 1]] == pair[order[most]]:
        most -= 1
    kept = np.sort(order[:most])
    return Choice(_subset(columns, kept), constant + float(scores[order[most]]), late)


def few_enough(problem: SplitProblem, columns: Columns) -> bool:
    """Whether the master can weigh all these sections: few in all, or few in each block."""
    if len(columns) <= MOST_KEPT:
        return True
    if len(columns) > MOST_KEPT_APART:
        return False
    pairs = {(edge.a, edge.b) for edge in problem.edges}
    joined = [(a, b) for a, b in pairs if (columns.holds(a) & columns.holds(b)).any()]
    block = np.array(blocks_of(columns.patch_count, joined))
    touched = (columns.incidence[:, block == number].sum(axis=1) for number in np.unique(block))
    return all(np.count_nonzero(held) <= MOST_KEPT for held in touched)


def _images(columns: Columns, symmetric: Sequence[int]) -> Index:
    """Index of a mirror image of each section, -1 where none is a legal section.

    Patches on one side only (-1) are left out; of several images it is the one that has none.
    """
    both = sum(1 << patch for patch, twin in enumerate(symmetric) if twin >= 0)
    place: dict[int, int] = {}
    for i in sorted(range(len(columns)), key=lambda i: columns.masks[i].bit_count()):
        place.setdefault(columns.masks[i] & both, i)
    return np.array(
        [
            place.get(sum(1 << symmetric[p] for p in columns.members(i) if symmetric[p] >= 0), -1)
            for i in range(len(columns))
        ],
        dtype=np.intp,
    )


def _scores(nodes: Nodes, columns: Columns, until: Until) -> Array:
    """Least cost of any split that contains each section."""
    heads = [group[0] for group in nodes.groups]
    counts = section_counts(nodes)
    master = Master(columns.incidence[:, heads], columns.costs, np.ones(len(columns)))
    master.bounds = dict.fromkeys(counts, -math.inf)
    master.linear = dict(master.bounds)
    every = np.arange(len(columns))
    penalty = most_any_split_costs(nodes.problem)
    scores = np.full(len(columns), math.inf)
    best = math.inf
    waiting = list(counts)
    while waiting:
        # the multipliers of one count bound the others too: take the most promising first
        k = min(waiting, key=lambda count: (master.linear[count], count))
        waiting.remove(k)
        if master.linear[k] > best * (1 + WIDE) or until.over():
            # no section is let off by this count alone
            scores = np.minimum(scores, np.maximum(master.linear[k], 0.0))
            continue
        linear = relax(master, k, every, penalty, until)
        if linear.solved and linear.lacking < 1e-6:
            best = min(best, linear.bound)
        scores = np.minimum(scores, linear.bound + linear.reduced)
    return scores


def _subset(columns: Columns, kept: np.ndarray[tuple[int], np.dtype[np.intp]]) -> Columns:
    return Columns(
        columns.patch_count,
        columns.words[kept],
        columns.costs[kept],
        columns.masses_kg[kept],
        columns.extents_mm[kept],
        complete=False,
    )


def _of_some_splits(
    problem: SplitProblem,
    constant: float,
    until: Until,
    symmetric: Sequence[int] | None,
) -> Choice:
    """Return the sections of the splits that are cheapest by least costs, with their bound."""
    share = max(1.0, 0.5 * (until.at_most(SECONDS_TO_SPLIT).left() or 0.0))
    began = time.monotonic()
    found = best_splits(
        problem,
        WAYS_TO_SPLIT,
        differ_by=WAYS_DIFFER_BY,
        deadline_s=share,
        most_columns=MOST_LISTED,
        symmetric=symmetric,
        asked=until.asked,
    )
    sections = sorted({section for split in found for section in split.sections})
    count = len(sections)
    columns = Columns(
        len(problem.patches),
        to_words(sections, len(problem.patches)),
        np.zeros(count),
        np.zeros(count),
        np.zeros((count, 3)),
        complete=False,
    )
    bound = found[0].bound
    # the listing alone gets a third of the share; before that no clock can have ended anything
    late = time.monotonic() > began + max(1.0, share / 3)
    return Choice(columns, constant + (bound if bound is not None else 0.0), late)
