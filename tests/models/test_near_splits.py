"""Choices near a linear bound: the same as trying every set of sections."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from scipy.sparse import csr_matrix

from solver.data.until import FOREVER, Until
from solver.models.near_splits import Pool, choices_within


def random_pool(seed: int, nodes: int, sections: int) -> Pool:
    random = np.random.default_rng(seed)
    cover = random.random((sections, nodes)) < 0.4
    cover[np.arange(sections), random.integers(0, nodes, sections)] = True
    counts = random.choice([1.0, 1.0, 2.0], sections)
    return Pool(csr_matrix(cover.astype(float)), random.random(sections), counts)


@pytest.mark.parametrize("seed", range(6))
def test_all_choices_within_the_window_and_no_others_are_listed_once(seed: int) -> None:
    pool = random_pool(seed, 6, 26)
    window, k = 1.3, 3
    held = np.asarray(pool.cover.todense())
    expected = set()
    for size in (1, 2, 3):
        for chosen in map(list, combinations(range(26), size)):
            covers = (held[chosen].sum(axis=0) == 1).all() and pool.counts[chosen].sum() == k
            if covers and pool.reduced[chosen].sum() <= window:
                expected.add(tuple(chosen))
    order = np.random.default_rng(seed).permutation(6)
    found = choices_within(pool, k, window, order, most_partial=10**6, until=FOREVER)
    assert found is not None
    assert len(found) == len(set(found))
    assert {tuple(sorted(one)) for one in found} == expected


def test_there_are_choices_to_list_above() -> None:
    found = [
        choices_within(
            random_pool(seed, 6, 26), 3, 1.3, np.arange(6), most_partial=10**6, until=FOREVER
        )
        for seed in range(6)
    ]
    assert sum(len(one or []) for one in found) >= 6


def test_bodies_of_more_than_64_nodes_use_several_words() -> None:
    # a row of 70 nodes cut into blocks of one or two
    held = np.zeros((139, 70))
    held[np.arange(70), np.arange(70)] = 1.0
    for i in range(69):
        held[70 + i, [i, i + 1]] = 1.0
    pool = Pool(csr_matrix(held), np.r_[np.zeros(70), np.ones(69)], np.ones(139))
    # sixty-nine blocks: one of two nodes, at any of 69 places
    found = choices_within(pool, 69, 1.0, np.arange(70), most_partial=10**6, until=FOREVER)
    assert found is not None
    assert len(found) == 69


def test_too_many_partial_choices_or_no_time_gives_no_list_rather_than_a_short_one() -> None:
    pool = random_pool(1, 6, 16)
    order = np.arange(6)
    assert choices_within(pool, 3, 9.0, order, most_partial=3, until=FOREVER) is None
    stopped = Until(asked=lambda: True)
    assert choices_within(pool, 3, 9.0, order, most_partial=10**6, until=stopped) is None
