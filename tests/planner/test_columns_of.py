"""Sections for the master: what is dropped could not have been in a better plan."""

import itertools
import math

import pytest

from solver.data.until import FOREVER
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
    scores = columns_of._scores(nodes, columns, FOREVER)
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
    choice = columns_of.sections_to_choose(problem, 100.0)
    kept = set(choice.columns.masks)
    assert len(kept) == 20
    dropped = [true[k] for k, mask in enumerate(columns.masks) if mask not in kept]
    assert choice.dropped_bound <= 100.0 + min(dropped) + 1e-6
    assert not choice.complete


def test_few_sections_are_all_kept():
    choice = columns_of.sections_to_choose(grid(2, 2, 0), 0.0)
    assert choice.complete
    assert set(choice.columns.masks) == set(legal_sections(grid(2, 2, 0)).masks)


MIRROR = tuple(3 * (i // 3) + 2 - i % 3 for i in range(9))
"""Of a grid of three by three: the first column and the last change places."""


@pytest.mark.parametrize("most", [20, 21, 22])
def test_a_section_and_its_mirror_image_are_kept_together(most, monkeypatch):
    problem = grid(3, 3, 2)
    masks = list(legal_sections(problem).masks)
    image = {m: sum(1 << MIRROR[i] for i in range(9) if m >> i & 1) for m in masks}
    assert set(image.values()) == set(masks)
    true = cheapest_with(masks, legal_sections(problem).costs.tolist(), (1 << 9) - 1)
    least = dict(zip(masks, true.values(), strict=True))
    monkeypatch.setattr(columns_of, "MOST_KEPT", most)
    choice = columns_of.sections_to_choose(problem, 0.0, FOREVER, MIRROR)
    kept = set(choice.columns.masks)
    assert most - 1 <= len(kept) <= most
    assert {image[m] for m in kept} == kept
    dropped = min(max(least[m], least[image[m]]) for m in masks if m not in kept)
    assert choice.dropped_bound <= dropped + 1e-6


def splits_of(masks: tuple[int, ...], left: int) -> list[frozenset[int]]:
    """Every way to fill the patches left with disjoint sections."""
    if not left:
        return [frozenset()]
    lowest = left & -left
    return [
        rest | {m}
        for m in masks
        if m & lowest and m & left == m
        for rest in splits_of(masks, left & ~m)
    ]


def test_a_body_with_too_many_sections_to_list_offers_several_splits(monkeypatch):
    problem = grid(3, 3, 1)
    monkeypatch.setattr(columns_of, "MOST_LISTED", 10)
    monkeypatch.setattr(columns_of, "SECONDS_TO_SPLIT", 8.0)
    choice = columns_of.sections_to_choose(problem, 0.0)

    def joints(split: frozenset[int]) -> set[str]:
        return {
            e.id for e in problem.edges if not any(m >> e.a & 1 and m >> e.b & 1 for m in split)
        }

    found = [joints(split) for split in splits_of(choice.columns.masks, (1 << 9) - 1)]
    apart: list[set[str]] = []
    for split in found:
        if all(len(split ^ other) >= columns_of.WAYS_DIFFER_BY for other in apart):
            apart.append(split)
    assert len(apart) >= 4


def test_a_symmetric_split_of_many_sections_is_offered(monkeypatch):
    monkeypatch.setattr(columns_of, "MOST_LISTED", 10)
    monkeypatch.setattr(columns_of, "SECONDS_TO_SPLIT", 8.0)
    choice = columns_of.sections_to_choose(grid(3, 3, 1), 0.0, FOREVER, MIRROR)
    splits = splits_of(choice.columns.masks, (1 << 9) - 1)
    assert splits
    assert any(
        {sum(1 << MIRROR[i] for i in range(9) if m >> i & 1) for m in split} == split
        for split in splits
    )


def test_a_body_with_too_many_sections_to_list_keeps_its_best_split_and_its_bound(monkeypatch):
    problem = grid(3, 3, 1)
    columns = legal_sections(problem)
    true = cheapest_with(list(columns.masks), columns.costs.tolist(), (1 << 9) - 1)
    monkeypatch.setattr(columns_of, "MOST_LISTED", 10)
    monkeypatch.setattr(columns_of, "SECONDS_TO_SPLIT", 8.0)
    choice = columns_of.sections_to_choose(problem, 0.0)
    cost = dict(zip(columns.masks, columns.costs.tolist(), strict=True))
    best = min(sum(cost[m] for m in s) for s in splits_of(choice.columns.masks, (1 << 9) - 1))
    assert best == pytest.approx(min(true.values()))
    assert choice.dropped_bound <= min(true.values()) + 1e-6
