"""Every choice of sections that costs little more than a linear bound, listed.

With multipliers from a linear program every section has a reduced cost of zero or more, and those
of a split add up to at most its cost less the bound.  So a split within a window of the bound has
only sections within it, and partial choices are dropped as soon as their sum passes it.  Nodes are
covered in one order: the section that covers the first node left open holds no earlier node, so
every choice is met once.  What the last section must be is looked up.  Partial choices are rows of
64-bit words, grown by hundreds at a time.

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
_SPREAD = np.uint64(0x9E3779B97F4A7C15)


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
    full = _words_of(csr_matrix(np.ones((1, nodes))), np.arange(nodes))[0]
    sections = _Sections(pool, words, full, _by_first_node(words, pool.reduced, nodes))
    start = _Partial(
        np.zeros((1, words.shape[1]), dtype=np.uint64),
        np.zeros(1),
        np.zeros(1),
        np.zeros((1, 0), dtype=np.int32),
    )
    stack, found, met = [start], [], 0
    while stack:
        batch = stack.pop()
        met += len(batch.covered)
        if met > most_partial or until.over():
            return None
        found += sections.completions(batch, k, window)
        grown = _grown(batch, sections, k, window)
        if grown is not None:
            stack += [
                grown.rows(slice(at, at + _ROWS_PER_BATCH))
                for at in range(0, len(grown.covered), _ROWS_PER_BATCH)
            ]
    return [tuple(row) for paths in found for row in paths.tolist()]


class _Sections:
    """The sections of a pool as words, by their first node and by what they hold."""

    def __init__(self, pool: Pool, words: Words, full: Words, groups: list[Index]) -> None:
        self.pool, self.words, self.full, self.groups = pool, words, full, groups
        keys = _key(words)
        self._order = np.argsort(keys, kind="stable")
        self._keys = keys[self._order]
        self.most = float(pool.counts.max(initial=0.0))

    def completions(self, batch: _Partial, k: int, window: float) -> list[NDArray[np.int32]]:
        """Paths of the choices that one more section completes."""
        rows = np.nonzero(k - batch.count <= self.most + 0.5)[0]
        open_nodes = ~batch.covered[rows] & self.full
        keys = _key(open_nodes)
        low = np.searchsorted(self._keys, keys, side="left")
        many = np.searchsorted(self._keys, keys, side="right") - low
        which = np.repeat(np.arange(len(rows)), many)
        if not len(which):
            return []
        step = np.arange(len(which)) - np.repeat(np.cumsum(many) - many, many)
        last = self._order[low[which] + step]
        row = rows[which]
        good = (self.words[last] == open_nodes[which]).all(axis=1)
        good &= batch.spent[row] + self.pool.reduced[last] <= window
        good &= np.abs(batch.count[row] + self.pool.counts[last] - k) < 0.5
        row, last = row[good], last[good]
        return [np.hstack([batch.path[row], last[:, None].astype(np.int32)])]


def _key(words: Words) -> Words:
    """One word for each row; rows that differ seldom share it."""
    key = words[:, 0].copy()
    for word in range(1, words.shape[1]):
        key ^= words[:, word] * _SPREAD
    return key


def _grown(batch: _Partial, sections: _Sections, k: int, window: float) -> _Partial | None:
    """Add to every partial choice each section that may cover its first open node, but the last."""
    pool, words, groups, full = sections.pool, sections.words, sections.groups, sections.full
    some_open = (batch.covered != full).any(axis=1)
    batch = batch.rows(np.nonzero(some_open & (k - batch.count > 1.5))[0])
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
            good &= pool.counts[few][None, :] <= k - batch.count[some][:, None] - 0.5
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
