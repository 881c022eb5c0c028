"""A body cut into blocks that hang together by little: where few lines join its parts.

Bodies are often rows of parts: what happens in one touches the next only along the few lines that
join them.  Blocks are found by cuts of few lines that leave much on both sides, each the least
between two patches (Ford & Fulkerson, Maximal flow through a network, 1956).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import breadth_first_order, connected_components, maximum_flow

MOST_LINES = 3
"""A cut of more lines couples the blocks too much."""
LEAST_PATCHES = 12
"""On either side of a cut: smaller blocks are decided as fast together."""
MOST_BLOCKS = 60


def blocks_of(patch_count: int, lines: Iterable[tuple[int, int]]) -> tuple[int, ...]:
    """Return the block of each patch; ``lines`` join two patches, several may join the same two."""
    pairs = [(a, b) for a, b in lines if a != b]
    ends = np.array(pairs, dtype=np.int32).reshape(-1, 2)
    both = np.concatenate([ends, ends[:, ::-1]])
    graph = csr_matrix(
        (np.ones(len(both), dtype=np.int32), (both[:, 0], both[:, 1])),
        shape=(patch_count, patch_count),
    )
    graph.sum_duplicates()
    count, label = connected_components(graph, directed=False)
    blocks: list[list[int]] = []
    for component in range(count):
        blocks += _cut(graph, np.nonzero(label == component)[0].tolist())
    return _numbered(patch_count, blocks)


def _cut(graph: csr_matrix, patches: list[int]) -> list[list[int]]:
    """Cut patches that hang together, and what is cut off, until no small cut is left."""
    waiting, done = [patches], []
    while waiting:
        one = waiting.pop()
        side = _side_of_cut(graph[one][:, one]) if len(one) >= 2 * LEAST_PATCHES else None
        if side is None:
            done.append(one)
            continue
        inside = set(side)
        waiting.append([patch for i, patch in enumerate(one) if i in inside])
        waiting.append([patch for i, patch in enumerate(one) if i not in inside])
    return done


def _side_of_cut(graph: csr_matrix) -> Sequence[int] | None:
    """One side of the cut of fewest lines, the most even of them; None without a good one."""
    count = graph.shape[0]
    best: tuple[int, int, list[int]] | None = None
    for other in range(1, count):
        flow = maximum_flow(graph, 0, other)
        if flow.flow_value > MOST_LINES:
            continue
        left = csr_matrix(graph - flow.flow)
        left.data = (left.data > 0).astype(np.int32)
        left.eliminate_zeros()
        side = breadth_first_order(left, 0, return_predecessors=False).tolist()
        smaller = min(len(side), count - len(side))
        if smaller >= LEAST_PATCHES and (
            best is None or (flow.flow_value, -smaller) < (best[0], best[1])
        ):
            best = int(flow.flow_value), -smaller, side
    return None if best is None else best[2]


def _numbered(patch_count: int, blocks: list[list[int]]) -> tuple[int, ...]:
    """Number the blocks, the small ones and those beyond the most together."""
    blocks = sorted(blocks, key=lambda block: (-len(block), block[0]))
    apart = [block for block in blocks if len(block) >= LEAST_PATCHES][:MOST_BLOCKS]
    label = [len(apart)] * patch_count
    for number, block in enumerate(sorted(apart, key=lambda block: block[0])):
        for patch in block:
            label[patch] = number
    return tuple(label)
