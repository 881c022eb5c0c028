"""Borders: which edges follow one another round each patch, and on which hand it lies.

Walking an edge from its start, its first patch is on the left.  So round a patch every mark is
reached by one of its edges and left by another.  An edge without turns to the left or right may be
written from either end; its neighbours settle which way it is walked.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from solver.data.job import OPEN, Edge
from solver.intake.mirror import walked_back

_MOST_BLAMED = 5
_MOST_SUSPECTS = 16
"""Bounds of the search for who is wrong, so that it ends at once on any file."""


def has_a_hand(edge: Edge) -> bool:
    """Whether the walk itself tells left from right."""
    return any(
        stretch.easy_start or stretch.easy_end or stretch.twist_per_mm
        for stretch in edge.line.stretches
    ) or any(corner.easy_deg for corner in edge.line.corners)


@dataclass(frozen=True)
class Contradiction:
    """An edge that cannot have ``patch`` on the hand that it says, as ``beside`` has it too."""

    edge: str
    beside: str
    patch: str


def walked_alike(edges: Sequence[Edge]) -> tuple[list[Edge], list[Contradiction]]:
    """Turn round edges without a hand so that borders are walked one way.

    Returns the edges, and those with a hand that contradict the others.  Where two contradict each
    other, the one whose absence settles most is taken to be wrong.
    """
    links = _links(edges)
    handed = {edge.id for edge in edges if has_a_hand(edge)}
    wrong: list[Contradiction] = []
    turned, found = _settled(edges, handed, links, frozenset())
    blamed: set[str] = set()
    while found and len(wrong) < _MOST_BLAMED:
        guess = _most_settling(edges, handed, links, blamed, found)
        beside = next(
            (one for one in found if guess in (one.edge, one.beside)), Contradiction(guess, "", "")
        )
        if beside.edge != guess:
            beside = Contradiction(guess, beside.edge, beside.patch)
        wrong.append(beside)
        blamed.add(guess)
        turned, found = _settled(edges, handed, links, frozenset(blamed))
    return [_turned(edge) if turned[edge.id] else edge for edge in edges], wrong


def _most_settling(
    edges: Sequence[Edge],
    handed: set[str],
    links: Mapping[str, list[_Link]],
    blamed: set[str],
    found: list[Contradiction],
) -> str:
    """Return the edge without which fewest contradictions are left."""
    near = dict.fromkeys(name for one in found for name in (one.edge, one.beside))
    for name in list(near):
        near |= dict.fromkeys(link.to for link in links[name])
    suspects = [name for name in near if name in handed and name not in blamed]
    return min(
        suspects[:_MOST_SUSPECTS] or [found[0].edge],
        key=lambda name: len(_settled(edges, handed, links, frozenset(blamed | {name}))[1]),
    )


def _settled(
    edges: Sequence[Edge],
    handed: set[str],
    links: Mapping[str, list[_Link]],
    without: frozenset[str],
) -> tuple[dict[str, bool], list[Contradiction]]:
    """Which edges turn round, and which links then do not hold."""
    turned = dict.fromkeys(without, False)
    order = [edge.id for edge in edges]
    for seed in [*(name for name in order if name in handed), *order]:
        if seed in turned:
            continue
        turned[seed] = False
        queue = deque([seed])
        while queue:
            here = queue.popleft()
            for link in links[here]:
                if link.to not in turned and link.to not in handed:
                    turned[link.to] = turned[here] != link.differs
                    queue.append(link.to)
    broken: list[Contradiction] = []
    for here in order:
        for link in links[here]:
            if here < link.to and here not in without and link.to not in without:
                holds = (turned[here] != turned[link.to]) == link.differs
                if not holds:
                    broken.append(Contradiction(here, link.to, link.patch))
    return turned, broken


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


@dataclass(frozen=True)
class _Link:
    """A neighbour round a patch, and whether one of the two must turn round."""

    to: str
    differs: bool
    patch: str


def _links(edges: Sequence[Edge]) -> dict[str, list[_Link]]:
    ends: dict[tuple[str, str], list[tuple[str, bool]]] = defaultdict(list)
    for edge in edges:
        if edge.start_mark is None or edge.end_mark is None or edge.start_mark == edge.end_mark:
            continue
        for patch, on_left in ((edge.first, True), (edge.second, False)):
            if patch != OPEN:
                ends[patch, edge.start_mark].append((edge.id, on_left))
                ends[patch, edge.end_mark].append((edge.id, not on_left))
    links: dict[str, list[_Link]] = {edge.id: [] for edge in edges}
    for (patch, _), meeting in ends.items():
        if len(meeting) != 2:
            continue
        (one, one_leaves), (other, other_leaves) = meeting
        if one != other:
            differs = one_leaves == other_leaves
            links[one].append(_Link(other, differs, patch))
            links[other].append(_Link(one, differs, patch))
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
