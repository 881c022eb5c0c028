"""Seams on long straight runs move where pieces then fill the stock to its ends."""

import itertools
from dataclasses import replace

import pytest
from small_jobs import FOOT, INCH, LIGHT_ALUMINIUM, edge, job, run, straight

from solver.data.job import Rules
from solver.planner.filling_seams import filling_seams
from solver.planner.plan_job import plan_job
from solver.planner.run_lines import run_lines
from solver.planner.sheets import sheets_of

NARROW = replace(LIGHT_ALUMINIUM, width_mm=1.75 * INCH, length_mm=10 * FOOT, price=20.0)
"""One piece wide and 118 in long within its ends."""


def body(*lengths_in, stock=(NARROW,), **given):
    """Straight standing lines of these lengths, each a run of its own."""
    edges = [
        edge(f"e{k}", straight(length * INCH), f"a{k}", f"b{k}", split="forbidden", stand_mm=INCH)
        for k, length in enumerate(lengths_in)
    ]
    return job(edges, [run(f"R{k}", one) for k, one in enumerate(edges)], stock, **given)


def fewest_rolls(pieces_in, roll_in=118.0, gap_in=1 / 16):
    """Fewest rolls one piece wide: every way to share them out."""
    for count in range(1, len(pieces_in) + 1):
        for where in itertools.product(range(count), repeat=len(pieces_in)):
            loads = [-gap_in] * count
            for roll, piece in zip(where, pieces_in, strict=True):
                loads[roll] += piece + gap_in
            if max(loads) <= roll_in:
                return count
    raise AssertionError


def best_of_all_seams(lengths_in, step_in=1.0):
    """Fewest rolls over all seams on a grid, each run in as few pieces as may be (8 ft at most)."""
    ways = []
    for length in lengths_in:
        count = -(-length // 96)
        grid = [k * step_in for k in range(4, int(length / step_in))]
        ways.append(
            {
                tuple(sorted((a, length - a + 0.5)))
                for a in (grid if count == 2 else [length])
                if count == 1 or (a <= 96 and 4 <= length - a <= 96)
            }
            if count == 2
            else {(length + 0.5,)}
        )
    return min(fewest_rolls([p for way in one for p in way]) for one in itertools.product(*ways))


@pytest.mark.parametrize(
    ("lengths_in", "rolls"), [((150, 150), 3), ((150, 126, 40), 3), ((101, 130), 2), ((90, 150), 3)]
)
def test_as_few_rolls_are_bought_as_any_seams_allow(lengths_in, rolls):
    assert best_of_all_seams(lengths_in) == rolls
    plan = plan_job(body(*lengths_in))
    assert plan.cost.metal == pytest.approx(20.0 * rolls)
    seams = sum(-(-length // 96) - 1 for length in lengths_in)
    assert sum(line.count for line in plan.hours if line.operation == "seams") == seams


def test_even_pieces_of_75_in_would_have_taken_a_roll_each():
    assert fewest_rolls([75.0, 75.5, 75.0, 75.5]) == 4


def test_pieces_that_share_a_roll_are_offered_and_the_rest_is_cut_evenly():
    one = body(150, 150)
    lines, sheets = run_lines(one), sheets_of(one)
    cuts = {given.stations_mm for given in filling_seams(one, lines, sheets) if given.run == 0}
    firsts = {round(stations[1] / INCH, 2) for stations in cuts if len(stations) == 3}
    half = (118 - 1 / 16) / 2 - 0.5  # half of 118 in, less the gap and the metal to trim
    assert round(half, 2) in {round(first, 2) for first in firsts}
    assert round(150 - half, 2) in firsts
    longest = Rules().longest_piece_mm
    for stations in cuts:
        lengths = [b - a for a, b in itertools.pairwise(stations)]
        assert sum(lengths) == pytest.approx(150 * INCH)
        assert max(lengths) <= longest + 1e-6


def test_short_and_curved_runs_are_left_as_they_are():
    short = body(60, 40)
    assert list(filling_seams(short, run_lines(short), sheets_of(short))) == []
