"""Borders: which edges follow one another round each patch, and on which hand it lies.

Walking an edge from its start, its first patch is on the left.  So round a patch every mark is
reached by one of its edges and left by another.  An edge without turns to the left or right may be
written from either end; its neighbours settle which way it is walked.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Sequence
from dataclasses import replace

from solver.data.job import OPEN, Edge
from solver.intake.mirror import walked_back


def has_a_hand(edge: Edge) -> bool:
    """Whether the walk itself tells left from right."""
    return any(
        stretch.easy_start or stretch.easy_end or stretch.twist_per_mm
        for stretch in edge.line.stretches
    ) or any(corner.easy_deg for corner in edge.line.corners)


def walked_alike(edges: Sequence[Edge]) -> tuple[list[Edge], list[tuple[str, str, str]]]:
    """Turn round edges without a hand so that borders are walked one way.

    Returns the edges and the contradictions among those with a hand: (edge, other, patch), where
    the two cannot both have ``patch`` on the side they say.
    """
    links = _links(edges)
    turned: dict[str, bool] = {}
    contradictions: list[tuple[str, str, str]] = []
    edge_of = {edge.id: edge for edge in edges}
    fixed = [edge.id for edge in edges if has_a_hand(edge)]
    for seed in [*fixed, *edge_of]:
        if seed in turned:
            continue
        turned[seed] = False
        queue = deque([seed])
        while queue:
            here = queue.popleft()
            for there, differs, patch in links[here]:
                wanted = turned[here] != differs
                if there not in turned:
                    if wanted and has_a_hand(edge_of[there]):
                        contradictions.append((there, here, patch))
                        turned[there] = False
                    else:
                        turned[there] = wanted
                    queue.append(there)
                elif turned[there] != wanted and not _known(contradictions, here, there):
                    contradictions.append((there, here, patch))
    return [_turned(edge) if turned[edge.id] else edge for edge in edges], contradictions


def _known(contradictions: list[tuple[str, str, str]], one: str, other: str) -> bool:
    return any({one, other} & {a, b} for a, b, _ in contradictions)


def _turned(edge: Edge) -> Edge:
    """Walk an edge without a hand from its other end and keep its first patch on the left."""
    back = walked_back(edge)
    return replace(
        back,
        first=edge.first,
        second=edge.second,
        return_to=edge.return_to,
        facings=edge.facings,
    )


def _links(edges: Sequence[Edge]) -> dict[str, list[tuple[str, bool, str]]]:
    """For each edge, its neighbours round a patch and whether one of the two must turn round."""
    ends: dict[tuple[str, str], list[tuple[str, bool]]] = defaultdict(list)
    for edge in edges:
        if edge.start_mark is None or edge.end_mark is None or edge.start_mark == edge.end_mark:
            continue
        for patch, on_left in ((edge.first, True), (edge.second, False)):
            if patch != OPEN:
                ends[patch, edge.start_mark].append((edge.id, on_left))
                ends[patch, edge.end_mark].append((edge.id, not on_left))
    links: dict[str, list[tuple[str, bool, str]]] = {edge.id: [] for edge in edges}
    for (patch, _), meeting in ends.items():
        if len(meeting) != 2:
            continue
        (one, one_leaves), (other, other_leaves) = meeting
        if one != other:
            differs = one_leaves == other_leaves
            links[one].append((other, differs, patch))
            links[other].append((one, differs, patch))
    return links


def border_gaps(edges: Sequence[Edge]) -> dict[str, tuple[str, ...]]:
    """For each patch, the marks where its border ends instead of going on."""
    count: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for edge in edges:
        if edge.start_mark is None or edge.end_mark is None:
            continue
        for patch in (edge.first, edge.second):
            if patch != OPEN:
                count[patch][edge.start_mark] += 1
                count[patch][edge.end_mark] += 1
    return {
        patch: gaps
        for patch, marks in count.items()
        if (gaps := tuple(mark for mark, ends in marks.items() if ends % 2))
    }
