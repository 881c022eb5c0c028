"""The bound on the number of sections: never more than listing shows, and sharp where it counts."""

from __future__ import annotations

import dataclasses
import math

import pytest
from split_cases import Judge, edge, patch, random_problem

from solver.data.until import FOREVER, Until
from solver.models.section_number import needs_more_sections
from solver.models.split_problem import SplitProblem


@pytest.mark.parametrize("seed", [6, 8, 14, 26])
def test_a_number_that_some_split_has_is_never_refused(seed: int) -> None:
    problem = random_problem(seed, 6, most_sections=None)
    least = min(len(split) for split in Judge(problem).splits(ordered=False))
    for most in range(least, 7):
        assert not needs_more_sections(problem, most, FOREVER)


def row(count: int, **rules: object) -> SplitProblem:
    """Panels of 10 kg side by side, all facing up; each joint adds 1 kg to both its sections."""
    panels = tuple(patch(f"p{i}", (0, 0, 1)) for i in range(count))
    lines = tuple(edge(i, i + 1, (1, 0, 0), joint_mass_kg=1.0) for i in range(count - 1))
    return SplitProblem(panels, lines, **rules)


@pytest.mark.parametrize("most", range(1, 7))
def test_flanges_count_against_the_lift_limit(most: int) -> None:
    # [derived] at most 31 kg: two panels between joints weigh 22 and three 32, but three at an end
    # weigh 31.  So 3 + 2 + 2 + 2 + 3 panels are the fewest, though 120 kg are less than 4 x 31.
    assert math.ceil(120 / 31) == 4
    problem = row(12, lift_limit_kg=31.0)
    assert needs_more_sections(problem, most, FOREVER) == (most < 5)


def test_facings_all_round_need_three_sections() -> None:
    # [derived] twelve patches round a belt, each over 30 degrees: half of it and the draft of 2
    # must fit into 90, so a section spans at most five of them, 75 + 2, and not six, 90 + 2.
    turns = [math.radians(30 * i) for i in range(12)]
    spread = [math.radians(s) for s in (-15, 0, 15)]
    patches = tuple(
        patch(f"p{i}", *[(math.cos(t + s), math.sin(t + s), 0) for s in spread])
        for i, t in enumerate(turns)
    )
    problem = SplitProblem(patches, tuple(edge(i, (i + 1) % 12) for i in range(12)))
    assert needs_more_sections(problem, 2, FOREVER)
    assert not needs_more_sections(problem, 3, FOREVER)
    assert not needs_more_sections(dataclasses.replace(problem, draft_deg=0.0), 3, FOREVER)


def test_no_time_proves_nothing() -> None:
    stopped = Until(asked=lambda: True)
    assert not needs_more_sections(row(12, lift_limit_kg=31.0), 1, stopped)
