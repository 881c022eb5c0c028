"""Seams against listing every choice on the same grid, and the places they keep off."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solver.planner.seams import (
    AVOIDED_COST,
    CURVE_COST,
    GRID_MM,
    MOST_GRID_POINTS,
    UNEVEN_COST,
    Floats,
    SeamRules,
    Seams,
    place_seams,
    place_seams_round,
)

Zone = tuple[float, float]

PLAIN = SeamRules(
    longest_mm=2438.4,
    shortest_mm=101.6,
    banned=(),
    avoided=(),
    curved=(),
    visible=(),
    visible_cost=10.0,
)
modest = settings(max_examples=60, deadline=None, derandomize=True)


def inside(at: float, zones: tuple[Zone, ...]) -> bool:
    """Strictly inside: the border of a zone is free."""
    return any(low + 1e-6 <= at <= high - 1e-6 for low, high in zones)


def shows(at: float, zones: tuple[Zone, ...]) -> bool:
    """The end of a line that shows, shows too."""
    return any(low - 1e-6 <= at <= high + 1e-6 for low, high in zones)


def price(at: float, rules: SeamRules) -> float:
    return (
        AVOIDED_COST * inside(at, rules.avoided)
        + CURVE_COST * inside(at, rules.curved)
        + rules.visible_cost * shows(at, rules.visible)
    )


def keeps_lengths(stations: tuple[float, ...], rules: SeamRules) -> bool:
    shortest = min(rules.shortest_mm, stations[-1] - stations[0])
    for low, high in itertools.pairwise(stations):
        if not shortest - 1e-6 <= high - low <= rules.longest_mm + 1e-6:
            return False
        if rules.reach is not None and high > float(rules.reach(np.array([low]))[0]) + 1e-6:
            return False
    return True


def cheapest_by_listing(
    start: float, end: float, pieces: int, rules: SeamRules
) -> tuple[float, int] | None:
    """Least cost of any seams at the places on offer, and how many of them are avoided ones.

    On offer are the grid, even spacing, marks and the borders of zones.
    """
    length = end - start
    step = max(GRID_MM, length / MOST_GRID_POINTS)
    places = {start + step * n for n in range(1, math.ceil((length - step / 2) / step))}
    even = [start + length * n / pieces for n in range(1, pieces)]
    zones = rules.banned + rules.avoided + rules.curved + rules.visible
    special = {*rules.marks, *(border for zone in zones for border in zone)}
    places |= {*even, *(at for at in special if start + 1 < at < end - 1)}
    free = sorted(at for at in places if not inside(at, rules.banned))
    best: tuple[float, int] | None = None
    for chosen in itertools.combinations(free, pieces - 1):
        if not keeps_lengths((start, *chosen, end), rules):
            continue
        uneven = sum(
            UNEVEN_COST * ((at - wish) / (length / pieces)) ** 2
            for at, wish in zip(chosen, even, strict=True)
        )
        cost = uneven + sum(price(at, rules) for at in chosen)
        used = sum(inside(at, rules.avoided) for at in chosen)
        if best is None or cost < best[0] - 1e-9:
            best = (cost, used)
    return best


# Sixteenths of an inch: zones and lengths as they are measured, and never a hair beside the grid.
sixteenths = st.integers(0, 80).map(lambda n: n * 25.4 / 16)


@st.composite
def zones(draw: st.DrawFn, most: int = 2) -> tuple[Zone, ...]:
    pairs = draw(st.lists(st.tuples(sixteenths, sixteenths), max_size=most))
    return tuple((min(pair), max(pair)) for pair in pairs)


@st.composite
def seam_rules(draw: st.DrawFn) -> SeamRules:
    reach = None
    if draw(st.booleans()):
        near, slope = draw(st.floats(15.0, 90.0)), draw(st.sampled_from([0.8, 1.0, 1.4]))

        def reach(at: Floats) -> Floats:
            return at * slope + near

    return SeamRules(
        longest_mm=draw(st.sampled_from([30.0, 45.0, 60.0, 200.0])),
        shortest_mm=draw(st.sampled_from([5.0, 12.0, 25.0])),
        banned=draw(zones()),
        avoided=draw(zones()),
        curved=draw(zones()),
        visible=draw(zones(1)),
        visible_cost=draw(st.sampled_from([0.0, 10.0])),
        marks=tuple(draw(st.lists(sixteenths, max_size=2))),
        reach=reach,
    )


# --- the best on the grid -------------------------------------------------------------------------


@modest
@given(seam_rules(), st.integers(16, 76), st.integers(1, 4), sixteenths)
def test_no_other_choice_on_the_grid_is_cheaper(
    rules: SeamRules, length: int, pieces: int, start: float
) -> None:
    end = start + length * 25.4 / 16
    found = place_seams(start, end, pieces, rules)
    best = cheapest_by_listing(start, end, pieces, rules)
    if best is None:
        assert found is None
        return
    assert found is not None
    assert found.cost == pytest.approx(best[0], abs=1e-6)
    assert found.forced == (best[1] > 0)


@modest
@given(seam_rules(), st.integers(16, 300), st.integers(1, 6))
def test_seams_keep_every_rule_that_knows_no_exception(
    rules: SeamRules, length: int, pieces: int
) -> None:
    end = length * 25.4 / 16
    found = place_seams(0.0, end, pieces, rules)
    if found is None:
        return
    assert len(found.stations_mm) == pieces + 1
    assert (found.stations_mm[0], found.stations_mm[-1]) == (0.0, end)
    assert keeps_lengths(found.stations_mm, rules)
    inner = found.stations_mm[1:-1]
    assert not any(inside(at, rules.banned) for at in inner)
    assert found.forced == any(inside(at, rules.avoided) for at in inner)


@modest
@given(seam_rules(), st.integers(16, 60), st.integers(2, 4), zones())
def test_one_more_zone_never_makes_seams_cheaper(
    rules: SeamRules, length: int, pieces: int, more: tuple[Zone, ...]
) -> None:
    end = length * 25.4 / 16
    # places are offered where zones begin and end: the same with and without the new one
    rules = replace(rules, marks=(*rules.marks, *(border for zone in more for border in zone)))
    before = place_seams(0.0, end, pieces, rules)
    for field in ("banned", "avoided", "curved", "visible"):
        tighter = replace(rules, **{field: getattr(rules, field) + more})
        after = place_seams(0.0, end, pieces, tighter)
        if before is None:
            assert after is None
        elif after is not None:
            assert after.cost >= before.cost - 1e-9


# --- lengths --------------------------------------------------------------------------------------


def test_where_nothing_speaks_against_it_pieces_are_equally_long() -> None:
    assert place_seams(100.0, 1300.0, 4, PLAIN) == Seams((100, 400, 700, 1000, 1300), 0.0, False)


def test_no_piece_is_longer_than_can_be_handled() -> None:
    assert place_seams(0.0, 2 * 2438.4 + 1, 2, PLAIN) is None
    assert place_seams(0.0, 2 * 2438.4, 2, PLAIN) is not None


def test_no_piece_is_shorter_than_is_worth_fitting_unless_the_line_is() -> None:
    assert place_seams(0.0, 203.0, 2, PLAIN) is None
    assert place_seams(0.0, 203.2, 2, PLAIN) is not None
    assert place_seams(0.0, 50.0, 1, PLAIN) == Seams((0.0, 50.0), 0.0, False)


def test_two_seams_never_fall_on_one_place_even_where_any_length_will_do() -> None:
    free_only_in_the_middle = replace(
        PLAIN, shortest_mm=0.0, avoided=((0.0, 100.0), (103.0, 200.0))
    )
    found = place_seams(0.0, 200.0, 3, free_only_in_the_middle)
    assert found is not None
    assert min(np.diff(found.stations_mm)) > 0.9


# --- zones ----------------------------------------------------------------------------------------


def test_a_seam_leaves_a_banned_place_by_as_little_as_it_can() -> None:
    # even would be 500; the nearest free place is where the banned zone begins
    found = place_seams(0.0, 1000.0, 2, replace(PLAIN, banned=((485.0, 550.0),)))
    assert found is not None
    assert found.stations_mm == pytest.approx((0.0, 485.0, 1000.0))
    assert not found.forced


def test_where_every_place_is_banned_there_are_no_seams() -> None:
    assert place_seams(0.0, 1000.0, 2, replace(PLAIN, banned=((0.0, 1000.0),))) is None
    assert place_seams(0.0, 1000.0, 1, replace(PLAIN, banned=((0.0, 1000.0),))) is not None


def test_a_seam_near_a_corner_is_taken_only_where_nothing_else_is_left_and_said_so() -> None:
    near_corner = replace(PLAIN, avoided=((450.0, 560.0),))
    elsewhere = place_seams(0.0, 1000.0, 2, near_corner)
    assert elsewhere is not None
    assert not elsewhere.forced
    assert not inside(elsewhere.stations_mm[1], near_corner.avoided)
    nowhere = place_seams(0.0, 1000.0, 2, replace(near_corner, longest_mm=520.0))
    assert nowhere is not None
    assert nowhere.forced
    assert nowhere.stations_mm[1] == 500.0


def test_a_seam_moves_off_a_curve_and_off_a_line_that_shows() -> None:
    curved = place_seams(0.0, 1000.0, 2, replace(PLAIN, curved=((400.0, 600.0),)))
    visible = place_seams(0.0, 1000.0, 2, replace(PLAIN, visible=((400.0, 600.0),)))
    assert curved is not None
    assert visible is not None
    assert not 400 < curved.stations_mm[1] < 600
    assert not 400 <= visible.stations_mm[1] <= 600


def test_a_seam_at_the_end_of_a_line_that_shows_shows() -> None:
    # a mark at 400 lies on the border of the visible edge: not there, though a curve may end there
    marked = replace(PLAIN, marks=(400.0,), visible=((400.0, 1000.0),), longest_mm=620.0)
    found = place_seams(0.0, 1000.0, 2, marked)
    assert found is not None
    assert found.stations_mm[1] < 400.0 - 1e-6
    border = replace(marked, visible=(), curved=((400.0, 1000.0),))
    found = place_seams(0.0, 1000.0, 2, border)
    assert found is not None
    assert found.stations_mm[1] == 400.0


def test_where_showing_costs_nothing_a_visible_line_is_cut_evenly() -> None:
    shown = replace(PLAIN, visible=((0.0, 1000.0),), visible_cost=0.0)
    assert place_seams(0.0, 1000.0, 2, shown) == Seams((0.0, 500.0, 1000.0), 0.0, False)


@modest
@given(seam_rules(), st.integers(16, 60), st.integers(1, 4))
def test_the_ends_of_a_stretch_are_given_and_never_judged(
    rules: SeamRules, length: int, pieces: int
) -> None:
    end = length * 25.4 / 16
    hair = 0.01
    at_ends = ((-50.0, hair), (end - hair, end + 50.0))
    bare = place_seams(0.0, end, pieces, rules)
    for field in ("banned", "avoided", "curved", "visible"):
        zoned = replace(rules, **{field: getattr(rules, field) + at_ends})
        assert place_seams(0.0, end, pieces, zoned) == bare


# --- folds ----------------------------------------------------------------------------------------


def test_a_fold_that_reaches_no_further_makes_another_seam() -> None:
    def reach(at: Floats) -> Floats:
        return at + 300.0

    folded = replace(PLAIN, reach=reach)
    assert place_seams(0.0, 1000.0, 3, folded) is None
    found = place_seams(0.0, 1000.0, 4, folded)
    assert found is not None
    assert max(np.diff(found.stations_mm)) <= 300.0 + 1e-6


def test_a_fold_that_reaches_less_far_at_one_end_makes_the_pieces_there_shorter() -> None:
    # 200 from the first half, 600 from the second: 0 200 400 and on to the end
    def reach(at: Floats) -> Floats:
        return np.where(at < 390.0, at + 200.0, at + 650.0)

    found = place_seams(0.0, 1000.0, 3, replace(PLAIN, reach=reach))
    assert found is not None
    assert np.diff(found.stations_mm)[:2] == pytest.approx([200.0, 200.0], abs=12.0)


# --- closed runs ----------------------------------------------------------------------------------


def test_a_loop_in_one_piece_has_its_butt_at_the_best_start_on_offer() -> None:
    shown = replace(PLAIN, visible=((0.0, 400.0),), avoided=((390.0, 700.0),))
    found = place_seams_round(1000.0, 1, shown, [0.0, 350.0, 500.0, 800.0])
    assert found == Seams((800.0, 1800.0), 0.0, False)


def test_a_loop_whose_starts_are_all_banned_has_no_seams() -> None:
    assert place_seams_round(1000.0, 1, replace(PLAIN, banned=((0, 600),)), [100.0, 500.0]) is None


def test_a_zone_over_the_start_of_a_loop_is_one_zone() -> None:
    # 50 mm on both sides of the start, given on one side only each
    for over in (((-50.0, 50.0),), ((950.0, 1050.0),)):
        found = place_seams_round(1000.0, 2, replace(PLAIN, banned=over), [460.0, 500.0, 560.0])
        assert found is not None
        assert all(50 - 1e-6 <= at % 1000.0 <= 950 + 1e-6 for at in found.stations_mm)


@modest
@given(
    seam_rules(),
    st.integers(20, 60),
    st.integers(1, 3),
    st.lists(st.integers(0, 19), min_size=1, max_size=3, unique=True),
)
def test_no_start_and_no_choice_on_the_grid_is_cheaper_round_a_loop(
    rules: SeamRules, sixteenths_round: int, pieces: int, starts: list[int]
) -> None:
    length = sixteenths_round * 25.4 / 16
    offered = [n * 25.4 / 16 for n in starts]
    laps = (-length, 0.0, length)
    # as the loop is rolled out: every zone and mark once for each lap
    twice = replace(
        rules,
        **{
            field: tuple((a + lap, b + lap) for lap in laps for a, b in getattr(rules, field))
            for field in ("banned", "avoided", "curved", "visible")
        },
        marks=tuple(mark + lap for lap in (0.0, length) for mark in rules.marks),
    )
    costs = []
    for start in offered:
        if inside(start, twice.banned):
            continue
        rest = cheapest_by_listing(start, start + length, pieces, twice)
        if rest is not None:
            costs.append(rest[0] + price(start, twice))
    found = place_seams_round(length, pieces, rules, offered)
    if not costs:
        assert found is None
        return
    assert found is not None
    assert found.cost == pytest.approx(min(costs), abs=1e-6)
    assert found.stations_mm[-1] - found.stations_mm[0] == pytest.approx(length)
    assert found.forced == any(inside(at, twice.avoided) for at in found.stations_mm[:-1])
