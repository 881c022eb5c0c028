"""The sections that the master chooses from: all legal ones, or those that could be in a good plan.

Beyond a few thousand sections the master would be slow.  Then each section is scored by the least
that any plan containing it can cost (linear bound for each number of sections plus the section's
reduced cost, on least edge costs); the best scores are kept, and the first score dropped is a bound
for every plan that uses a dropped section.  Bodies with too many sections to list are split by
least costs first, and the master then keeps that split's sections; the bound is the split's.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass

import numpy as np

from solver.models.columns import Columns, Nodes, legal_sections, make_nodes, to_words
from solver.models.release import Array
from solver.models.split import cheapest_split, most_any_split_costs, section_counts
from solver.models.split_master import Master, relax
from solver.models.split_problem import SplitProblem

MOST_KEPT = 4000
MOST_LISTED = 400_000
SECONDS_TO_SCORE = 20.0
SECONDS_TO_SPLIT = 60.0
WIDE = 0.25
"""Counts of sections whose bound is this share above the best are not looked at closely."""


@dataclass(frozen=True)
class Choice:
    """Sections to choose from, and the least cost of a plan that uses any other (inf: none)."""

    columns: Columns
    dropped_bound: float

    @property
    def complete(self) -> bool:
        """Whether every section of any plan is among them."""
        return self.dropped_bound == math.inf


def sections_to_choose(problem: SplitProblem, constant: float, deadline: float | None) -> Choice:
    """Return the sections for the master.

    ``problem`` carries the least costs of edges and sections, ``constant`` all the rest.
    """
    nodes = make_nodes(problem)
    columns = legal_sections(problem, nodes=nodes, most=MOST_LISTED)
    if not columns.complete:
        return _of_one_split(problem, constant, deadline)
    if len(columns) <= MOST_KEPT:
        return Choice(columns, math.inf)
    scores = _scores(nodes, columns, _moment(deadline, SECONDS_TO_SCORE))
    order = np.argsort(scores, kind="stable")
    kept = np.sort(order[:MOST_KEPT])
    return Choice(_subset(columns, kept), constant + float(scores[order[MOST_KEPT]]))


def _scores(nodes: Nodes, columns: Columns, deadline: float) -> Array:
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
        if master.linear[k] > best * (1 + WIDE) or time.monotonic() > deadline:
            # no section is let off by this count alone
            scores = np.minimum(scores, np.maximum(master.linear[k], 0.0))
            continue
        linear = relax(master, k, every, penalty, deadline)
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


def _of_one_split(problem: SplitProblem, constant: float, deadline: float | None) -> Choice:
    """Return the sections of the split that is cheapest by least costs, with its proven bound."""
    seconds = _moment(deadline, SECONDS_TO_SPLIT) - time.monotonic()
    found = cheapest_split(problem, deadline_s=max(1.0, 0.5 * seconds), most_columns=MOST_LISTED)
    none = np.zeros(0)
    words = to_words(found.sections, len(problem.patches))
    count = len(found.sections)
    columns = Columns(
        len(problem.patches),
        words,
        np.zeros(count) if count else none,
        np.zeros(count) if count else none,
        np.zeros((count, 3)),
        complete=False,
    )
    return Choice(columns, constant + (found.bound if found.bound is not None else 0.0))


def _moment(deadline: float | None, seconds: float) -> float:
    moment = time.monotonic() + seconds
    return moment if deadline is None else min(moment, deadline)
