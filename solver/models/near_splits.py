"""Every choice of sections that costs little more than a linear bound, listed.

With multipliers from a linear program every section has a reduced cost of zero or more, and those
of a split add up to at most its cost less the bound.  So a split within a window of the bound has
only sections within it, and partial choices are dropped as soon as their sum passes it.  Nodes are
covered in one order: the section that covers the first node left open holds no earlier node, so
every choice is met once.  Partial choices are rows of 64-bit words, grown by hundreds at a time.

Inside a window of some parts in a thousand this takes milliseconds where an integer program takes
seconds, and it tells the runners-up as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from solver.data.until import Until
from solver.models.release import Array

Index = NDArray[np.intp]
Words = NDArray[np.uint64]

_ROWS_PER_BATCH = 4_000
_PAIRS_PER_BATCH = 1_000_000
_ONE = np.uint64(1)


@dataclass(frozen=True)
class Pool:
    """Sections to choose from: ``cover`` (m, nodes) 0/1, what each adds (m,) to cost and count."""

    cover: csr_matrix
    reduced: Array
    counts: Array


@dataclass(frozen=True)
class _Partial:
    """Choices not complete yet, a row each: nodes covered, sum, count, sections so far."""

    covered: Words
    spent: Array
    count: Array
    path: NDArray[np.int32]

    def rows(self, index: Index | slice) -> _Partial:
        return _Partial(self.covered[index], self.spent[index], self.count[index], self.path[index])


def choices_within(
    pool: Pool, k: int, window: float, order: Index, *, most_partial: int, until: Until
) -> list[tuple[int, ...]] | None:
    """Return all choices of ``k`` sections, every node in one, that add at most ``window``.

    ``order``: the nodes as they are covered; one that sweeps over the body leaves few holes.
    Members are indices into the pool, in no order.  None where more than ``most_partial`` partial
    choices were met, or time was up.
    """
    nodes = len(order)
    words = _words_of(pool.cover, order)
    groups = _by_first_node(words, pool.reduced, nodes)
    full = _words_of(csr_matrix(np.ones((1, nodes))), np.arange(nodes))[0]
    start = _Partial(
        np.zeros((1, words.shape[1]), dtype=np.uint64),
        np.zeros(1),
        np.zeros(1),
        np.zeros((1, 0), dtype=np.int32),
    )
    stack, found, met = [start], [np.zeros((0, 0), dtype=np.int32)], 0
    while stack:
        batch = stack.pop()
        met += len(batch.covered)
        if met > most_partial or until.over():
            return None
        grown = _grown(batch, pool, words, groups, full, k, window)
        if grown is None:
            continue
        done = (grown.covered == full).all(axis=1)
        found.append(grown.path[done & (np.abs(grown.count - k) < 0.5)])
        left = grown.rows(np.nonzero(~done & (grown.count < k - 0.5))[0])
        stack += [
            left.rows(slice(at, at + _ROWS_PER_BATCH))
            for at in range(0, len(left.covered), _ROWS_PER_BATCH)
        ]
    return [tuple(row) for paths in found for row in paths.tolist()]


def _grown(
    batch: _Partial,
    pool: Pool,
    words: Words,
    groups: list[Index],
    full: Words,
    k: int,
    window: float,
) -> _Partial | None:
    """Add to every partial choice each section that may cover its first open node."""
    first = _first_node(~batch.covered & full)
    children: list[_Partial] = []
    for node in np.unique(first).tolist():
        group = groups[node]
        if not len(group):
            continue
        rows = np.nonzero(first == node)[0]
        step = max(1, _PAIRS_PER_BATCH // len(group))
        for at in range(0, len(rows), step):
            some = rows[at : at + step]
            room = window - batch.spent[some]
            few = group[: int(np.searchsorted(pool.reduced[group], room.max(), side="right"))]
            good = pool.reduced[few][None, :] <= room[:, None]
            good &= pool.counts[few][None, :] <= k - batch.count[some][:, None] + 0.5
            for word in range(words.shape[1]):
                good &= (batch.covered[some, word][:, None] & words[few, word][None, :]) == 0
            parent, child = np.nonzero(good)
            parent, child = some[parent], few[child]
            children.append(
                _Partial(
                    batch.covered[parent] | words[child],
                    batch.spent[parent] + pool.reduced[child],
                    batch.count[parent] + pool.counts[child],
                    np.hstack([batch.path[parent], child[:, None].astype(np.int32)]),
                )
            )
    if not children:
        return None
    return _Partial(
        np.concatenate([one.covered for one in children]),
        np.concatenate([one.spent for one in children]),
        np.concatenate([one.count for one in children]),
        np.concatenate([one.path for one in children]),
    )


def _words_of(cover: csr_matrix, order: Index) -> Words:
    """Rows of 64-bit words; bit i of word i // 64 is the node ``order[i]``."""
    width = -(-len(order) // 64)
    flags = np.zeros((cover.shape[0], 64 * width), dtype=np.uint8)
    flags[:, : len(order)] = np.asarray(cover[:, order].todense()) > 0.5
    packed = np.packbits(flags, axis=1, bitorder="little")
    words: Words = np.ascontiguousarray(packed).view("<u8").astype(np.uint64)
    return words


def _first_node(words: Words) -> Index:
    """Lowest set bit of each row (64 times the words where a row is empty)."""
    first = np.full(len(words), 64 * words.shape[1], dtype=np.intp)
    for word in range(words.shape[1] - 1, -1, -1):
        value = words[:, word]
        some = value != 0
        lowest = (value & (~value + _ONE))[some]
        # powers of two have exact logarithms
        first[some] = 64 * word + np.log2(lowest.astype(float)).astype(np.intp)
    return first


def _by_first_node(words: Words, reduced: Array, nodes: int) -> list[Index]:
    """For each node the sections of which it is the first, the least reduced cost first."""
    first = _first_node(words)
    order = np.lexsort((reduced, first))
    ends = np.searchsorted(first[order], np.arange(nodes + 1))
    return [order[ends[node] : ends[node + 1]] for node in range(nodes)]
