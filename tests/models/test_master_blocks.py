"""Large masters decided block by block: the bound holds, the choice is one, and how near both are.

Small random problems of every kind of rule are cut into blocks wherever a line or two join them,
so sections and pieces lie across the cuts; the true optimum comes from HiGHS on a model of its own.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from master_cases import cheapest_by_milp, random_problem

from solver.models import ahead, small_cuts
from solver.models import master as master_module
from solver.models.linear_program import RowReader, relax
from solver.models.master import Master, MasterAnswer, MasterProblem
from solver.models.small_cuts import blocks_of


@pytest.fixture
def cut_everywhere(monkeypatch):
    monkeypatch.setattr(master_module, "MANY_DECISIONS", 0)
    monkeypatch.setattr(small_cuts, "LEAST_PATCHES", 1)


def joined(seeds: list[int]) -> MasterProblem:
    """Some random bodies as one: they share stock, bolts, clamps and setting up, and no line."""
    bodies = [random_problem(seed) for seed in seeds]
    first = bodies[0]
    columns, costs, edges, options = [], [], [], []
    patches = lines = 0
    for number, body in enumerate(bodies):
        before = len(edges)
        columns += [mask << patches for mask in body.columns]
        costs += body.column_costs
        edges += [
            dataclasses.replace(
                edge,
                id=f"{edge.id} {number}",
                first=edge.first + patches,
                second=edge.second + patches,
                line=None if edge.line is None else edge.line + lines,
                twin=None if edge.twin is None else edge.twin + before,
            )
            for edge in body.edges
        ]
        for option in body.options:
            kinds = range(len(first.stock))
            options.append(
                dataclasses.replace(
                    option,
                    lines=tuple(line + lines for line in option.lines),
                    sheet=option.sheet % first.sheet_count,
                    needs=tuple(
                        dataclasses.replace(
                            need,
                            holds=frozenset(
                                k
                                for k in kinds
                                if first.stock[k].sheet == option.sheet % first.sheet_count
                            ),
                        )
                        for need in option.needs
                    ),
                    templates=tuple(
                        dataclasses.replace(
                            one,
                            name=f"{one.name} {number}",
                            twin=f"{one.twin} {number}" if one.twin else "",
                        )
                        for one in option.templates
                    ),
                )
            )
        patches += body.patch_count
        lines += body.line_count
    return dataclasses.replace(
        first,
        patch_count=patches,
        columns=tuple(columns),
        column_costs=tuple(costs),
        edges=tuple(edges),
        options=tuple(options),
        line_count=lines,
        fewest_sections=1,
        most_sections=None,
        lane_rows=(),
        clashes=(),
        symmetric_pairs=(),
    )


def decided(problem: MasterProblem) -> MasterAnswer | None:
    """What is decided of a problem, no better than the optimum; None where there is no choice."""
    best = cheapest_by_milp(problem)
    answer = Master(problem).solve(work=20.0, seconds=None, seed=1)
    if best is None:
        assert answer.cost is None
        return None
    assert answer.bound is not None
    assert answer.cost is not None
    assert answer.bound <= best + 1e-6
    assert answer.cost >= best - 1e-3
    return answer


@pytest.mark.parametrize("seed", range(40))
def test_wherever_a_body_is_cut_the_bound_holds_and_the_choice_is_one(seed, cut_everywhere):
    problem = random_problem(seed)
    answer = decided(problem)
    if answer is None:
        return
    held = [p for i in answer.columns for p in range(4) if problem.columns[i] >> p & 1]
    assert sorted(held) == list(range(problem.patch_count))
    made = [line for i in answer.options for line in problem.options[i].lines]
    assert sorted(made) == list(range(problem.line_count))


@pytest.mark.parametrize("seeds", [[1, 2, 3], [4, 5, 6], [7, 8, 10], [11, 12, 13], [20, 21, 22]])
def test_bodies_side_by_side_are_decided_one_by_one(seeds, cut_everywhere):
    decided(joined(seeds))


def test_blocks_are_decided_alike_on_any_number_of_processors(cut_everywhere, monkeypatch):
    found = []
    for number in (1, 2, 4):
        monkeypatch.setattr(ahead, "processors", lambda number=number: number)
        found.append(decided(joined([4, 5, 6])))
    assert found[0] is not None
    assert found[1] == found[2] == found[0]


def test_the_relaxation_and_its_multipliers_agree_by_duality():
    # [derived] strong duality: the value is what the rows' sides and the bounds are worth
    problem = random_problem(3)
    rows = RowReader(Master(problem).model).read()
    linear = relax(rows)
    assert linear is not None
    value = linear.multipliers
    side = np.where(value > 0, rows.least, rows.most)
    reduced = rows.price - rows.matrix.T @ value
    told = value[value != 0] @ side[value != 0]
    told += np.minimum(reduced * rows.low, reduced * rows.high).sum()
    assert told + rows.constant == pytest.approx(linear.value, rel=1e-9)


def test_two_grids_joined_by_one_line_are_two_blocks():
    grid = [(a, b) for y in range(4) for x in range(4) for a, b in around(x, y)]
    lines = [*grid, *((a + 16, b + 16) for a, b in grid), (3, 16)]
    assert blocks_of(32, lines) == (0,) * 16 + (1,) * 16


def test_a_grid_is_one_block():
    grid = [(a, b) for y in range(4) for x in range(4) for a, b in around(x, y)]
    assert set(blocks_of(16, grid)) == {0}


def test_four_lines_between_two_parts_are_no_small_cut():
    grid = [(a, b) for y in range(4) for x in range(4) for a, b in around(x, y)]
    lines = [*grid, *((a + 16, b + 16) for a, b in grid)]
    lines += [(4 * y + 3, 16 + 4 * y) for y in range(4)]
    assert set(blocks_of(32, lines)) == {0}


def around(x: int, y: int) -> list[tuple[int, int]]:
    """Lines of a place in a grid of 4 by 4 to its right and upper neighbours."""
    here = 4 * y + x
    right = [(here, here + 1)] if x < 3 else []
    return right + ([(here, here + 4)] if y < 3 else [])
