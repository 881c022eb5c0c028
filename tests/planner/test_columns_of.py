"""Sections for the master: what is dropped could not have been in a better plan."""

import itertools
import math

import pytest

from solver.models.columns import legal_sections, make_nodes
from solver.models.split_problem import SplitEdge, SplitPatch, SplitProblem
from solver.planner import columns_of

UP = (0.0, 0.0, 1.0)


def grid(rows: int, columns: int, seed: int) -> SplitProblem:
    """A flat grid of panels of 10 kg, liftable up to three at a time, with uneven joint costs."""
    names = list(itertools.product(range(rows), range(columns)))
    place = {name: i for i, name in enumerate(names)}
    edges = []
    for r, c in names:
        for other in ((r + 1, c), (r, c + 1)):
            if other in place:
                cost = 10.0 + (37 * len(edges) + 11 * seed) % 23
                edges.append(
                    SplitEdge(
                        f"{r}{c} | {other[0]}{other[1]}",
                        place[r, c],
                        place[other],
                        1000.0,
                        joint_cost=cost,
                        inside_cost=(13 * len(edges) + seed) % 7,
                    )
                )
    patches = tuple(SplitPatch(f"{r}{c}", 1e6, 10.0, (UP,)) for r, c in names)
    return SplitProblem(patches, tuple(edges), lift_limit_kg=30.0, section_cost=4.0)


def cheapest_with(masks: list[int], costs: list[float], every: int) -> dict[int, float]:
    """Cheapest split that contains each section, by filling patch after patch."""
    by_lowest: dict[int, list[int]] = {}
    for k, mask in enumerate(masks):
        by_lowest.setdefault(mask & -mask, []).append(k)
    best: dict[int, float] = {0: 0.0}

    def rest(left: int) -> float:
        if left not in best:
            best[left] = min(
                (
                    costs[k] + rest(left & ~masks[k])
                    for k in by_lowest.get(left & -left, ())
                    if masks[k] & left == masks[k]
                ),
                default=math.inf,
            )
        return best[left]

    return {k: costs[k] + rest(every & ~mask) for k, mask in enumerate(masks)}


@pytest.mark.parametrize("seed", range(4))
def test_no_score_is_above_the_cheapest_split_with_that_section(seed, monkeypatch):
    problem = grid(3, 3, seed)
    nodes = make_nodes(problem)
    columns = legal_sections(problem, nodes=nodes)
    scores = columns_of._scores(nodes, columns, math.inf)
    true = cheapest_with(list(columns.masks), columns.costs.tolist(), (1 << 9) - 1)
    for k in range(len(columns)):
        assert scores[k] <= true[k] + 1e-6
    # and they tell something: the cheapest split's own sections score best
    assert min(scores) == pytest.approx(min(true.values()), rel=0.05)


@pytest.mark.parametrize("seed", range(4))
def test_what_is_dropped_is_bounded_from_below(seed, monkeypatch):
    problem = grid(3, 3, seed)
    columns = legal_sections(problem)
    true = cheapest_with(list(columns.masks), columns.costs.tolist(), (1 << 9) - 1)
    monkeypatch.setattr(columns_of, "MOST_KEPT", 20)
    choice = columns_of.sections_to_choose(problem, 100.0, None)
    kept = set(choice.columns.masks)
    assert len(kept) == 20
    dropped = [true[k] for k, mask in enumerate(columns.masks) if mask not in kept]
    assert choice.dropped_bound <= 100.0 + min(dropped) + 1e-6
    assert not choice.complete


def test_few_sections_are_all_kept():
    choice = columns_of.sections_to_choose(grid(2, 2, 0), 0.0, None)
    assert choice.complete
    assert set(choice.columns.masks) == set(legal_sections(grid(2, 2, 0)).masks)


def test_a_body_with_too_many_sections_to_list_keeps_one_split_and_its_bound(monkeypatch):
    problem = grid(3, 3, 1)
    columns = legal_sections(problem)
    true = cheapest_with(list(columns.masks), columns.costs.tolist(), (1 << 9) - 1)
    monkeypatch.setattr(columns_of, "MOST_LISTED", 10)
    monkeypatch.setattr(columns_of, "SECONDS_TO_SPLIT", 8.0)
    choice = columns_of.sections_to_choose(problem, 0.0, None)
    covered = 0
    for mask in choice.columns.masks:
        assert not covered & mask
        covered |= mask
    assert covered == (1 << 9) - 1
    assert choice.dropped_bound <= min(true.values()) + 1e-6
