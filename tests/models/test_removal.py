"""Order of removal: against trying every order, and against networkx for circles."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import permutations

import networkx as nx
import numpy as np
import pytest
from split_cases import Judge, edge, partitions, patch, random_problem, unit

from solver.models.columns import legal_sections
from solver.models.removal import (
    RemovalCut,
    RemovalOrder,
    columns_matching,
    cut_coefficients,
    removal_or_cut,
)
from solver.models.split_problem import SplitProblem

LEAN = math.sin(math.radians(0.5))


def walled(name: str, *, x: float = 0.0, y: float = 0.0) -> object:
    """A panel with walls at the draft angle all round: it only comes off along (x, y, 1)."""
    up = np.array(unit(x, y, 1))
    side = np.cross(up, unit(0.3, 0.5, -0.8))
    side /= np.linalg.norm(side)
    other = np.cross(up, side)
    c, s = math.cos(math.radians(2)), math.sin(math.radians(2))
    return patch(name, *(c * t + s * up for t in (side, -side, other, -other)))


def pinwheel(lean: float) -> SplitProblem:
    """Panels in a ring, each of which may only move toward the next one round."""
    panels, lines = [], []
    for i in range(4):
        along = (math.cos(math.pi / 2 * (i + 1)), math.sin(math.pi / 2 * (i + 1)))
        panels.append(walled(f"p{i}", x=lean * along[0], y=lean * along[1]))
        lines.append(edge(i, (i + 1) % 4, (*along, 0.0)))
    return SplitProblem(tuple(panels), tuple(lines))


def test_a_ring_where_each_section_leans_on_the_next_is_locked() -> None:
    problem = pinwheel(0.3)
    cut = removal_or_cut(problem, [(0,), (1,), (2,), (3,)])
    assert isinstance(cut, RemovalCut)
    assert cut.sections == (0, 1, 2, 3)
    for k, certificate in enumerate(cut.certificates):
        assert certificate.contains == (k,)
        assert certificate.excludes == ((k + 1) % 4,)
        assert certificate.edges == (k,)


def test_a_ring_comes_apart_once_one_line_is_out_of_the_way() -> None:
    problem = pinwheel(0.3)
    lines = list(problem.edges)
    lines[2] = edge(2, 3)
    order = removal_or_cut(SplitProblem(problem.patches, tuple(lines)), [(0,), (1,), (2,), (3,)])
    assert isinstance(order, RemovalOrder)
    assert [step.section for step in order.steps] == [2, 1, 0, 3]
    assert [step.after for step in order.steps] == [(), (2,), (1,), (0,)]
    # The metal of the line that the pull leans over is drawn before the section moves.
    assert [step.metal_first for step in order.steps] == [(), (1,), (0,), (3,)]


@pytest.mark.parametrize(("lean_deg", "locked"), [(0.4, False), (0.6, True)])
def test_half_a_degree_of_leaning_does_not_lock(lean_deg: float, locked: bool) -> None:
    cut = removal_or_cut(pinwheel(math.tan(math.radians(lean_deg))), [(0,), (1,), (2,), (3,)])
    assert isinstance(cut, RemovalCut) is locked


def test_a_plug_comes_off_before_the_frame_that_it_locks() -> None:
    # The joint between them leans outward going up: only the plug can go first.
    frame = patch("frame", (0, 0, 1))
    plug = patch("plug", (0, 0, 1))
    round_ = [(math.cos(t), math.sin(t), 0.3) for t in np.arange(6) * math.pi / 3]
    line = edge(0, 1, *[(x, y, z) for x, y, z in round_])
    order = removal_or_cut(SplitProblem((frame, plug), (line,), pulls=((0, 0, 1),)), [(0,), (1,)])
    assert isinstance(order, RemovalOrder)
    assert [step.section for step in order.steps] == [1, 0]
    assert order.steps[1].after == (1,)
    assert order.steps[1].metal_first == (0,)


def test_metal_with_a_return_holds_a_section_back_even_when_its_neighbour_is_gone() -> None:
    # The same frame and plug, but the metal between them hooks under the laminate.
    frame = patch("frame", (0, 0, 1))
    plug = patch("plug", (0, 0, 1))
    round_ = [(math.cos(t), math.sin(t), 0.3) for t in np.arange(6) * math.pi / 3]
    line = replace(edge(0, 1, *[(x, y, z) for x, y, z in round_]), hooked=True)
    problem = SplitProblem((frame, plug), (line,), pulls=((0, 0, 1),))
    cut = removal_or_cut(problem, [(0,), (1,)])
    assert isinstance(cut, RemovalCut)
    # the frame alone is to blame: no section may hold it without the plug
    assert [c.contains for c in cut.certificates] == [(0,)]
    assert [c.excludes for c in cut.certificates] == [(1,)]
    assert isinstance(removal_or_cut(problem, [(0, 1)]), RemovalOrder)


@pytest.mark.parametrize("seed", [2, 5, 8, 11, 14, 17])
def test_every_split_is_judged_as_by_trying_every_order(seed: int) -> None:
    problem = random_problem(seed, 5, lift_limit_kg=None, largest_section_mm=None)
    judge = Judge(problem)
    columns = legal_sections(problem)
    cuts: list[RemovalCut] = []
    good: list[tuple[tuple[int, ...], ...]] = []
    for split in partitions(list(range(5))):
        sections = tuple(sorted(tuple(sorted(s)) for s in split))
        if not all(judge.legal(s) for s in sections):
            continue
        answer = removal_or_cut(problem, sections)
        assert isinstance(answer, RemovalOrder) is judge.can_be_removed(sections)
        if isinstance(answer, RemovalCut):
            assert answer.broken_by(sections)
            cuts.append(answer)
        else:
            good.append(sections)
            check_order(problem, sections, answer)
    index = {columns.members(i): i for i in range(len(columns))}
    for cut in cuts:
        row = cut_coefficients(cut, columns)
        assert row.sum() == sum(len(group) for group in columns_matching(cut, columns))
        for sections in good:
            assert not cut.broken_by(sections)
            assert row[[index[s] for s in sections]].sum() <= len(cut.certificates) - 1


def check_order(
    problem: SplitProblem, sections: tuple[tuple[int, ...], ...], order: RemovalOrder
) -> None:
    """Pulls are legal, and what blocks at those pulls forms no circle (networkx)."""
    owner = {i: k for k, section in enumerate(sections) for i in section}
    pull = {step.section: np.array(step.pull) for step in order.steps}
    assert sorted(pull) == list(range(len(sections)))
    graph = nx.DiGraph()
    graph.add_nodes_from(pull)
    for k, section in enumerate(sections):
        for i in section:
            for facing in problem.patches[i].facings:
                least = math.sin(math.radians(problem.draft_deg + problem.patches[i].spread_deg))
                assert pull[k] @ facing >= least - 1e-9
    for line in problem.edges:
        a, b = owner[line.a], owner[line.b]
        if a == b or not line.facings:
            continue
        for k, other, sign in ((a, b, 1.0), (b, a, -1.0)):
            if (sign * np.array(line.facings) @ pull[k]).max() > LEAN + 1e-9:
                graph.add_edge(other, k)
    assert nx.is_directed_acyclic_graph(graph)
    place = {step.section: at for at, step in enumerate(order.steps)}
    assert all(place[first] < place[later] for first, later in graph.edges)
    for step in order.steps:
        assert set(step.after) == set(graph.predecessors(step.section))


def test_the_answer_does_not_depend_on_how_sections_are_listed() -> None:
    problem = random_problem(5, 5, lift_limit_kg=None, largest_section_mm=None)
    sections = [(i,) for i in range(5)]
    kinds = {type(removal_or_cut(problem, list(p))) for p in permutations(sections)}
    assert len(kinds) == 1


def test_sections_that_miss_or_repeat_a_patch_are_refused() -> None:
    problem = random_problem(5, 5)
    for wrong in ([(0, 1)], [(0, 1, 2), (2, 3, 4)]):
        with pytest.raises(ValueError, match="exactly one section"):
            removal_or_cut(problem, wrong)
