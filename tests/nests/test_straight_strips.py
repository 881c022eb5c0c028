"""Straight blanks on the shortest stretch of roll."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model

from solver.nests.lanes import Room, make_boxes
from solver.nests.shapes import Shape, Stock
from solver.nests.strip import shortest
from solver.nests.verify import verify
from solver.nests.wide_beam import Taste, blanks_of, lay_all
from tests.nests.made_blanks import lie_apart

MM = 25.4 / 16  # whole units, no gap


def blank(id_, length, width, quantity=1):
    ring = ((0.0, 0.0), (length * MM, 0.0), (length * MM, width * MM), (0.0, width * MM))
    return Shape(id_, ring, True, True, quantity)


def roll(width, length=5000):
    return Stock("roll", width * MM, length * MM, 1.0, 0, None)


def least_length(sizes, width):
    """Shortest strip for rectangles that may turn a quarter: proven by CP-SAT, from outside."""
    model = cp_model.CpModel()
    most = sum(max(size) for size in sizes)
    xs, ys = [], []
    length = model.new_int_var(0, most, "")
    for a, b in sizes:
        turned = model.new_bool_var("")
        long = model.new_int_var(min(a, b), max(a, b), "")
        high = model.new_int_var(min(a, b), max(a, b), "")
        model.add(long == a + (b - a) * turned)
        model.add(high == b + (a - b) * turned)
        x, y = model.new_int_var(0, most, ""), model.new_int_var(0, width, "")
        end_x, end_y = model.new_int_var(0, most, ""), model.new_int_var(0, width, "")
        xs.append(model.new_interval_var(x, long, end_x, ""))
        ys.append(model.new_interval_var(y, high, end_y, ""))
        model.add(end_x <= length)
    model.add_no_overlap_2d(xs, ys)
    model.minimize(length)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model) == cp_model.OPTIMAL
    return round(solver.objective_value)


@pytest.mark.parametrize("seed", range(8))
def test_few_blanks_take_the_least_length_that_an_independent_solver_proves(seed):
    rng = random.Random(seed)
    sizes = [(rng.randint(4, 30), rng.randint(3, 9)) for _ in range(6)]
    shapes = [blank(f"b{k}", *size) for k, size in enumerate(sizes)]
    layout, used = shortest(shapes, roll(20), 0.0, effort=12)
    assert layout.complete
    assert used == pytest.approx(least_length(sizes, 20) * MM)


def test_a_job_cut_from_lanes_fills_them_again():
    """Six lanes, 400 units each, cut at random: lane optimum 400 [derived]."""
    rng = random.Random(4)
    shapes = []
    for lane, width in enumerate((41, 50, 64, 73, 73, 84)):
        ends = sorted(rng.sample(range(60, 340), 3))
        for k, (a, b) in enumerate(zip([0, *ends], [*ends, 400], strict=True)):
            shapes.append(blank(f"{lane}-{k}", b - a, width))
    _, used = shortest(shapes, roll(385), 0.0, effort=20)
    assert used <= 1.02 * 400 * MM


@st.composite
def jobs(draw):
    sizes = st.tuples(st.integers(2, 40), st.integers(1, 15), st.integers(1, 4))
    made = draw(st.lists(sizes, min_size=1, max_size=7))
    rooms = draw(st.lists(st.integers(20, 90), min_size=1, max_size=3))
    return made, rooms, draw(st.integers(8, 20))


@given(jobs(), st.integers(0, 3))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_blanks_laid_by_the_wide_beam_lie_apart_within_their_rooms(job, seed):
    made, lengths, width = job
    shapes = [blank(f"b{k}", *size) for k, size in enumerate(made)]
    boxes = make_boxes(shapes, 0.0, MM)
    counts = [shape.quantity for shape in shapes]
    rooms = [Room(length, width) for length in lengths]
    taste = Taste(width=30, window=5)
    ways = blanks_of(boxes, len(counts))
    puts = lay_all(ways, counts, rooms, seed, taste)
    if puts is None:
        return
    assert sorted(boxes[b].kind for *_, b in puts) == [
        kind for kind, n in enumerate(counts) for _ in range(n)
    ]
    assert lie_apart(boxes, rooms, puts)
    assert lay_all(ways, counts, rooms, seed, taste) == puts
    again = lay_all(ways, counts, rooms, seed + 1, taste, first=puts[: len(puts) // 2])
    if again is not None:
        assert again[: len(puts) // 2] == puts[: len(puts) // 2]


@given(jobs(), st.sampled_from([0.0, MM, 3.1]))
@settings(max_examples=20, deadline=None, derandomize=True)
def test_every_strip_of_straight_blanks_is_right(job, gap):
    made, _, width = job
    shapes = [blank(f"b{k}", *size) for k, size in enumerate(made) if size[1] <= width]
    if not shapes:
        return
    layout, used = shortest(shapes, roll(width), gap, effort=2)
    assert layout.complete
    assert verify(layout, shapes, [roll(width)], gap) == ()
    area = sum(a * b * n for a, b, n in made if b <= width) * MM * MM
    assert used * width * MM >= area - 1e-6
