"""Rectangles that share several rooms, against trying every place and against one model for all."""

import random

from hypothesis import given, settings
from hypothesis import strategies as st
from test_rooms import fits_somehow

from solver.models.rooms import Lies, fit_rooms
from solver.models.shared_rooms import Known, fit_shared


def lie_apart(sizes, rooms, places):
    """Whether all lie in their rooms on cells of their own."""
    taken = set()
    for (a, b), at in zip(sizes, places, strict=True):
        along, across = (b, a) if at.turned else (a, b)
        length, width = rooms[at.room]
        if not (0 <= at.x <= length - along and 0 <= at.y <= width - across):
            return False
        mine = {(at.room, at.x + i, at.y + j) for i in range(along) for j in range(across)}
        if mine & taken:
            return False
        taken |= mine
    return True


@st.composite
def jobs(draw):
    side = st.integers(1, 6)
    sizes = draw(st.lists(st.tuples(side, st.integers(1, 4)), min_size=1, max_size=6))
    room = st.tuples(st.integers(3, 7), st.integers(2, 4))
    rooms = draw(st.lists(room, min_size=1, max_size=2))
    rooms += rooms[:1] * draw(st.integers(0, 1))
    return sizes, sorted(rooms)


@given(jobs())
@settings(max_examples=60, deadline=None, derandomize=True)
def test_what_is_decided_is_what_trying_every_place_finds(job):
    sizes, rooms = job
    decided = fit_shared(sizes, rooms, work=20.0, known=Known())
    area = sum(a * b for a, b in sizes)
    assert decided.fits is (area <= sum(a * b for a, b in rooms) and fits_somehow(sizes, rooms))
    assert not decided.fits or lie_apart(sizes, rooms, decided.places)


def tight_job(rng):
    """Eight to twelve rectangles and three to five rooms, some alike, that hold little more."""
    rooms = [(rng.randint(9, 16), rng.randint(4, 8))] * rng.randint(1, 3)
    rooms += [(rng.randint(9, 16), rng.randint(4, 8)) for _ in range(rng.randint(1, 2))]
    room = sum(a * b for a, b in rooms)
    sizes = []
    while sum(a * b for a, b in sizes) < 0.85 * room and len(sizes) < 12:
        sizes.append((rng.randint(3, 13), rng.randint(2, 4)))
    return sorted(sizes, key=lambda size: -size[0] * size[1]), sorted(rooms)


def test_shares_of_many_rooms_are_decided_as_one_model_decides_them_all():
    """Some of both; what is known of one job's rooms serves the next with the same rectangles."""
    answers = []
    for seed in range(12):
        rng = random.Random(seed)
        sizes, rooms = tight_job(rng)
        known = Known()
        for fewer in (rooms[1:], rooms[:-1], rooms):
            decided = fit_shared(sizes, fewer, work=20.0, known=known)
            assert decided.fits is fit_rooms(sizes, fewer, work=20.0).fits, (seed, fewer)
            assert not decided.fits or lie_apart(sizes, fewer, decided.places)
            answers.append(decided.fits)
    assert set(answers) == {True, False}


def test_a_crowd_is_found_where_lines_across_leave_room():
    """Two 3 x 2 and two 2 x 3 lie around a hole of one cell in 5 x 5; a third 3 x 2 has no place.

    Turned or not, each row and column of the room has cells to spare for it [derived].
    """
    known = Known()
    around = [(3, 2)] * 4
    assert fit_shared(around, [(5, 5)], work=5.0, known=known).fits
    assert fit_shared([*around, (1, 1)], [(5, 5)], work=5.0, known=known).fits
    assert fit_shared([*around, (2, 1)], [(5, 5)], work=5.0, known=known).fits is False
    again = fit_shared([*around, (2, 1)], [(5, 5), (2, 1)], work=5.0, known=known)
    assert again.fits
    assert again.places[4] == Lies(1, 0, 0, False)


def test_a_quick_try_in_vain_decides_nothing():
    """Where a quick try finds no layout the share is decided anyhow."""
    sizes = [(4, 2), (2, 2), (3, 1)]
    found = fit_shared(sizes, [(5, 4)], work=5.0, known=Known(), lay_one=lambda share, room: None)
    assert found.fits
    assert lie_apart(sizes, [(5, 4)], found.places)


def test_what_the_work_does_not_suffice_for_is_left_open():
    sizes = [(7 + k % 5, 3 + k % 4) for k in range(30)]
    room = (sum(a * b for a, b in sizes) // 46 + 1, 23)
    assert fit_shared(sizes, [room, room], work=1e-6, known=Known()).fits is None
