"""Rectangles in rooms, against trying every place."""

from hypothesis import given, settings
from hypothesis import strategies as st

from solver.models.rooms import fit_rooms


def fits_somehow(sizes, rooms):
    """Every place of every rectangle either way round, on whole cells, one after the other.

    Rectangles of whole sizes that fit at all fit on whole cells: push all left and down [derived].
    """

    def cells(room, x, y, a, b):
        return frozenset((room, x + i, y + j) for i in range(a) for j in range(b))

    def lay(k, taken):
        if k == len(sizes):
            return True
        a, b = sizes[k]
        for room, (length, width) in enumerate(rooms):
            for along, across in {(a, b), (b, a)}:
                for x in range(length - along + 1):
                    for y in range(width - across + 1):
                        mine = cells(room, x, y, along, across)
                        if not mine & taken and lay(k + 1, taken | mine):
                            return True
        return False

    return lay(0, frozenset())


@st.composite
def jobs(draw):
    side = st.integers(1, 6)
    sizes = draw(st.lists(st.tuples(side, st.integers(1, 4)), min_size=1, max_size=5))
    room = st.tuples(st.integers(3, 8), st.integers(2, 5))
    rooms = draw(st.lists(room, min_size=1, max_size=2))
    if draw(st.booleans()):
        rooms = [rooms[0]] * len(rooms)
    return sorted(sizes, key=lambda size: -size[0] * size[1]), rooms


@given(jobs())
@settings(max_examples=50, deadline=None, derandomize=True)
def test_what_is_decided_is_what_trying_every_place_finds(job):
    sizes, rooms = job
    decided = fit_rooms(sizes, rooms, work=20.0)
    area = sum(a * b for a, b in sizes)
    assert decided.fits is (area <= sum(a * b for a, b in rooms) and fits_somehow(sizes, rooms))
    taken = set()
    for (a, b), at in zip(sizes, decided.places, strict=False):
        along, across = (b, a) if at.turned else (a, b)
        length, width = rooms[at.room]
        assert 0 <= at.x <= length - along
        assert 0 <= at.y <= width - across
        mine = {(at.room, at.x + i, at.y + j) for i in range(along) for j in range(across)}
        assert not mine & taken
        taken |= mine


def test_turned_rectangles_are_not_forgotten():
    """Five 10 x 3 fill a room 15 x 10: two across at the end, three along before [derived]."""
    assert fit_rooms([(10, 3)] * 5, [(16, 10)], work=5.0).fits
    assert fit_rooms([(10, 3)] * 3, [(9, 10)], work=5.0).fits
    assert fit_rooms([(10, 3)] * 3, [(9, 9)], work=5.0).fits is False


def test_what_the_work_does_not_suffice_for_is_left_open():
    sizes = [(7 + k % 5, 3 + k % 4) for k in range(30)]
    room = (sum(a * b for a, b in sizes) // 23 + 1, 23)
    assert fit_rooms(sizes, [room], work=1e-6).fits is None
