"""In what order the sections come off, or which of them lock each other.

A section can go when it has a legal pull that does not lean into a neighbour still in place
(p . m <= sin(blocking) for all facings m of their joints).  Taking a section off only removes
rows from this test, so taking off whatever can go is exact: if it gets stuck, every order does.

Each stuck section has a certificate: a few patches whose normals, with a few joints, leave no
pull.  A split that contains, for each certificate, a section with those patches on the near side
of those joints is stuck as well; that is one linear row over sections, and it is returned for the
smallest group of certificates that is closed (every joint leads to a section of the group).

Metal: at a flashed joint the metal stays in the part.  Where a pull leans past the joint's facing
by more than the blocking angle the section would drag the metal, so the metal is drawn first.
Metal with a return hooks under the laminate and cannot be drawn: such a joint holds its sections
back for ever, so both must be pulled clear of it, and the metal leaves with the part.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from solver.models.columns import Columns, members_of, to_words
from solver.models.release import RELEASE_SLACK, Array, Release, patch_rows, release
from solver.models.split_problem import SplitProblem, Vector


@dataclass(frozen=True)
class RemovalStep:
    """One section taken off.

    ``section`` is its index in the list given; ``after``: sections that had to go first for this
    pull; ``metal_first``: indices of edges along which metal is drawn before it moves.
    """

    section: int
    pull: Vector
    draft_deg: float
    after: tuple[int, ...]
    metal_first: tuple[int, ...]


@dataclass(frozen=True)
class RemovalOrder:
    """All sections come off, in this order."""

    steps: tuple[RemovalStep, ...]


@dataclass(frozen=True)
class Certificate:
    """A section that holds ``contains`` and none of ``excludes`` (patch indices) is locked.

    ``patches``: those whose normals take part; ``edges``: the joints that block.
    """

    contains: tuple[int, ...]
    excludes: tuple[int, ...]
    patches: tuple[int, ...]
    edges: tuple[int, ...]

    def matches(self, members: Iterable[int]) -> bool:
        """Tell whether a section is locked by this certificate."""
        inside = set(members)
        return inside.issuperset(self.contains) and inside.isdisjoint(self.excludes)


@dataclass(frozen=True)
class RemovalCut:
    """These certificates together are forbidden; ``sections`` are those that were stuck.

    Over section variables q: the sum, over certificates, of q of the matching sections is at most
    ``len(certificates) - 1`` (a section that matches two counts twice).
    """

    certificates: tuple[Certificate, ...]
    sections: tuple[int, ...]

    def broken_by(self, sections: Iterable[Sequence[int]]) -> bool:
        """Tell whether a split contains a section for every certificate."""
        made = [tuple(section) for section in sections]
        return all(any(c.matches(s) for s in made) for c in self.certificates)


def removal_or_cut(
    problem: SplitProblem, sections: Sequence[Sequence[int]]
) -> RemovalOrder | RemovalCut:
    """Order of removal of a split (tuples of patch indices that cover all patches), or a cut."""
    section_of = np.full(len(problem.patches), -1)
    for k, section in enumerate(sections):
        section_of[list(section)] = k
    if (section_of < 0).any() or sum(len(s) for s in sections) != len(problem.patches):
        raise ValueError("sections: every patch must be in exactly one section")
    joints: list[list[tuple[int, int, Array]]] = [[] for _ in sections]
    for e, edge in enumerate(problem.edges):
        a, b = int(section_of[edge.a]), int(section_of[edge.b])
        if a != b and edge.facings:
            toward = np.array(edge.facings, dtype=float)
            joints[a].append((e, b, toward))
            joints[b].append((e, a, -toward))
    ordered = [tuple(sorted(section)) for section in sections]
    left = set(range(len(sections)))
    free: dict[int, Release] = {}
    stuck: dict[int, tuple[tuple[int, ...], tuple[int, ...]]] = {}
    fresh = set(left)
    steps: list[RemovalStep] = []
    lean = math.sin(math.radians(problem.blocking_deg)) + RELEASE_SLACK
    while left:
        for k in sorted(fresh):
            holding = [j for j in joints[k] if j[1] in left or problem.edges[j[0]].hooked]
            answer = _may_go(problem, ordered[k], holding)
            if isinstance(answer, Release):
                free[k] = answer
            else:
                stuck[k] = answer
        if not free:
            return _smallest_cut(problem, section_of, left, stuck)
        k = max(sorted(free), key=lambda i: round(free[i].draft_deg, 6))
        chosen = free.pop(k)
        left.remove(k)
        pull = np.array(chosen.pull)
        leaning = [(e, b) for e, b, toward in joints[k] if float((toward @ pull).max()) > lean]
        steps.append(
            RemovalStep(
                k,
                chosen.pull,
                chosen.draft_deg,
                tuple(sorted({b for _, b in leaning})),
                tuple(sorted({e for e, _ in leaning})),
            )
        )
        # Only neighbours of what has gone can have become free, or freer.
        fresh = {b for _, b, _ in joints[k] if b in left}
        for b in fresh:
            free.pop(b, None)
            stuck.pop(b, None)
    return RemovalOrder(tuple(steps))


def _may_go(
    problem: SplitProblem, section: Sequence[int], joints: Sequence[tuple[int, int, Array]]
) -> Release | tuple[tuple[int, ...], tuple[int, ...]]:
    """Pull of a section against its joints, or (patches, edges) that leave it none."""
    axes, half, owner = patch_rows([problem.patches[i] for i in section])
    facing = np.vstack([j[2] for j in joints]) if joints else np.zeros((0, 3))
    edge_of = [j[0] for j in joints for _ in range(len(j[2]))]
    answer = release(
        axes,
        half,
        problem.draft_deg,
        joints=facing,
        walls=np.array(problem.pull_walls, dtype=float).reshape(-1, 3),
        pulls=problem.pulls,
        blocking_deg=problem.blocking_deg,
    )
    if isinstance(answer, Release):
        return answer
    n = len(axes)
    patches = {section[int(owner[i])] for i in answer.rows if i < n}
    edges = {edge_of[i - n] for i in answer.rows if n <= i < n + len(edge_of)}
    return tuple(sorted(patches)), tuple(sorted(edges))


def _smallest_cut(
    problem: SplitProblem,
    section_of: NDArray[np.intp],
    left: set[int],
    stuck: dict[int, tuple[tuple[int, ...], tuple[int, ...]]],
) -> RemovalCut:
    """Certificates of the smallest closed group of stuck sections."""

    def far(k: int, e: int) -> int:
        edge = problem.edges[e]
        return edge.b if int(section_of[edge.a]) == k else edge.a

    leads = {
        k: {int(section_of[far(k, e)]) for e in stuck[k][1] if not problem.edges[e].hooked}
        for k in left
    }
    best: set[int] | None = None
    for k in sorted(left):
        group, todo = {k}, [k]
        while todo:
            for b in leads[todo.pop()] - group:
                group.add(b)
                todo.append(b)
        if best is None or len(group) < len(best):
            best = group
    assert best is not None
    contains = {k: set(stuck[k][0]) for k in best}
    excludes: dict[int, set[int]] = {k: set() for k in best}
    for k in best:
        for e in stuck[k][1]:
            edge, there = problem.edges[e], far(k, e)
            contains[k].add(edge.a + edge.b - there)
            excludes[k].add(there)
            if not edge.hooked:
                contains[int(section_of[there])].add(there)
    return RemovalCut(
        tuple(
            Certificate(tuple(sorted(contains[k])), tuple(sorted(excludes[k])), *stuck[k])
            for k in sorted(best)
        ),
        tuple(sorted(best)),
    )


def columns_matching(cut: RemovalCut, columns: Columns) -> list[list[int]]:
    """Column indices that match each certificate.

    The valid row is: the sum of q over all the lists together <= number of lists - 1.
    """
    out: list[list[int]] = []
    for certificate in cut.certificates:
        need = to_words([certificate.contains], columns.patch_count)[0]
        shun = to_words([certificate.excludes], columns.patch_count)[0]
        good = ((columns.words & need) == need).all(axis=1)
        good &= ~(columns.words & shun).any(axis=1)
        out.append([int(i) for i in np.nonzero(good)[0]])
    return out


def cut_coefficients(cut: RemovalCut, columns: Columns) -> Array:
    """(m,) coefficient of each section in the cut's row (how many certificates it matches)."""
    coefficients = np.zeros(len(columns))
    for matched in columns_matching(cut, columns):
        coefficients[matched] += 1.0
    return coefficients


def sections_of_columns(columns: Columns, chosen: Iterable[int]) -> tuple[tuple[int, ...], ...]:
    """Patch tuples of chosen columns, ordered by lowest patch."""
    return tuple(sorted(members_of(columns.words[i]) for i in chosen))
