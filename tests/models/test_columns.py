"""Legal sections: the same set as listing every subset and asking the definition."""

from __future__ import annotations

from itertools import combinations

import networkx as nx
import numpy as np
import pytest
from split_cases import Judge, edge, patch, random_problem

from solver.models.columns import legal_sections, make_nodes, price_section
from solver.models.split_problem import SplitProblem


@pytest.mark.parametrize("seed", range(14))
def test_sections_listed_are_exactly_the_legal_ones(seed: int) -> None:
    problem = random_problem(seed, 6)
    judge = Judge(problem)
    subsets = (s for size in range(1, 7) for s in combinations(range(6), size))
    legal = {s for s in subsets if judge.legal(s)}
    columns = legal_sections(problem)
    listed = [columns.members(i) for i in range(len(columns))]
    assert len(listed) == len(set(listed))
    if make_nodes(problem).impossible.any():
        assert not listed
        assert {i for s in legal for i in s} != set(range(6))
    else:
        assert set(listed) == legal


def grid(width: int, height: int, **rules: object) -> SplitProblem:
    """Flat panels side by side, all facing up."""
    patches = tuple(patch(f"p{i}", (0, 0, 1)) for i in range(width * height))
    edges = []
    for i in range(width * height):
        if (i + 1) % width:
            edges.append(edge(i, i + 1, (1, 0, 0), joint_mass_kg=0.5))
        if i + width < width * height:
            edges.append(edge(i, i + width, (0, 1, 0), joint_mass_kg=0.5))
    return SplitProblem(patches, tuple(edges), **rules)


def test_the_number_of_connected_sets_of_a_four_by_four_grid_is_the_published_one() -> None:
    # OEIS A059525 [memory]: connected induced subgraphs of the n X n grid, 1, 13, 218, 11506.
    assert [len(legal_sections(grid(n, n))) for n in (1, 2, 3, 4)] == [1, 13, 218, 11506]


def test_sections_are_connected_and_weigh_and_cost_what_the_definition_says() -> None:
    problem = grid(4, 3, lift_limit_kg=52.0, section_cost=3.0, frame_fraction=0.1)
    graph = nx.Graph([(e.a, e.b) for e in problem.edges])
    columns = legal_sections(problem)
    for i in range(len(columns)):
        members = columns.members(i)
        assert nx.is_connected(graph.subgraph(members))
        cost, mass = price_section(problem, members)
        assert columns.costs[i] == pytest.approx(cost)
        assert columns.masses_kg[i] == pytest.approx(mass)
        assert mass <= 52.0 + 1e-9
        assert columns.masks[i] == sum(1 << m for m in members)
    assert np.array_equal(
        np.asarray(columns.incidence.sum(axis=1)).ravel(),
        [len(columns.members(i)) for i in range(len(columns))],
    )


def test_bodies_of_more_than_64_patches_use_several_words() -> None:
    row = grid(70, 1, most_sections=40)
    columns = legal_sections(row)
    # A path of n patches has n (n + 1) / 2 connected sets.
    assert len(columns) == 70 * 71 // 2
    whole = next(i for i in range(len(columns)) if len(columns.members(i)) == 70)
    assert columns.masks[whole] == (1 << 70) - 1


def test_the_list_says_when_it_stopped_at_its_limit() -> None:
    columns = legal_sections(grid(4, 4), most=100)
    assert not columns.complete
    assert legal_sections(grid(3, 3), most=218).complete


def test_edges_that_may_not_split_merge_their_patches() -> None:
    problem = grid(3, 1)
    first = edge(0, 1, (1, 0, 0), split="forbidden")
    merged = SplitProblem(problem.patches, (first, problem.edges[1]))
    columns = legal_sections(merged)
    assert {columns.members(i) for i in range(len(columns))} == {(0, 1), (2,), (0, 1, 2)}


def test_a_box_may_be_turned_by_quarter_turns_to_fit_the_size_limit() -> None:
    panels = tuple(
        patch(f"p{i}", (0, 0, 1), box_mm=((0.0, 100.0 * i, 0.0), (50.0, 100.0 * i + 100.0, 10.0)))
        for i in range(3)
    )
    lines = (edge(0, 1, (0, 1, 0)), edge(1, 2, (0, 1, 0)))
    fits = legal_sections(SplitProblem(panels, lines, largest_section_mm=(200.0, 10.0, 50.0)))
    assert {fits.members(i) for i in range(len(fits))} == {(0,), (1,), (2,), (0, 1), (1, 2)}
    assert sorted(fits.extents_mm[:, 0]) == [100.0, 100.0, 100.0, 200.0, 200.0]
    # One patch without a box turns the rule off.
    boxless = (*panels[:2], patch("p2", (0, 0, 1)))
    free = legal_sections(SplitProblem(boxless, lines, largest_section_mm=(200.0, 10.0, 50.0)))
    assert len(free) == 6
