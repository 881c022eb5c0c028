"""Blanks that overlap are eased apart: depths, strain and its slope, mending, and blanks that hop.

Depths are held against shapely's distances, the slope against differences of the strain, layouts
against `verify`, which measures the outlines themselves.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import shapely

from solver.data.until import Until
from solver.nests import bed as beds
from solver.nests import easing_in, fill, hopping
from solver.nests.compaction import Frame, mend
from solver.nests.depths import Blanks, blanks_of, bodies_of, depth_at
from solver.nests.easing import ease
from solver.nests.easing_in import ease_in
from solver.nests.hopping import AT_A_TIME, ENOUGH_MM, hop, ways_of
from solver.nests.nest_into import settle
from solver.nests.orders import lay_in_order, order_by
from solver.nests.poses import Grid
from solver.nests.shapes import Placement, Shape, Stock, placed_points
from solver.nests.strain import WALL_COUNTS, Rooms, Spots
from solver.nests.strip import shortest
from solver.nests.verify import verify

GAP_MM = 2.0


def arc(name: str, radius_mm: float, chord_mm: float, width_mm: float, quantity: int = 1) -> Shape:
    half = math.asin(chord_mm / 2 / radius_mm)
    turns = np.linspace(-half, half, 24)
    rows = [
        [(r * math.sin(a), r * math.cos(a)) for a in order]
        for r, order in ((radius_mm, turns), (radius_mm + width_mm, turns[::-1]))
    ]
    ring = tuple(map(tuple, rows[0] + rows[1]))
    return Shape(name, ring, square=False, may_flip=True, quantity=quantity)


def box(name: str, long_mm: float, wide_mm: float) -> Shape:
    ring = ((0.0, 0.0), (long_mm, 0.0), (long_mm, wide_mm), (0.0, wide_mm))
    return Shape(name, ring, square=True, may_flip=True)


def some_blanks() -> list[Shape]:
    return [
        arc("wide", 900.0, 700.0, 90.0),
        arc("tight", 350.0, 500.0, 80.0),
        box("straight", 400.0, 70.0),
        arc("small", 300.0, 200.0, 60.0),
    ]


def some_in_a_row(shapes: Sequence[Shape]) -> Blanks:
    free = np.array([not shape.square for shape in shapes])
    return blanks_of(bodies_of(shapes, GAP_MM), free, GAP_MM)


def at_random(bed: beds.Bed, seed: int, room: Sequence[float]) -> Spots:
    rng = np.random.default_rng(seed)
    turn = np.where(bed.blanks.free, rng.uniform(0, 2 * math.pi, bed.count), 0.0)
    return Spots(
        rng.uniform(room[0], room[2], bed.count),
        rng.uniform(room[1], room[3], bed.count),
        turn,
        rng.choice((-1.0, 1.0), bed.count),
        np.zeros(bed.count, dtype=np.int64),
    )


class TestDepths:
    def test_depths_are_the_distances_to_the_outline_positive_inside(self) -> None:
        shapes = some_blanks()
        bodies = bodies_of(shapes, GAP_MM)
        blanks = some_in_a_row(shapes)
        rng = np.random.default_rng(1)
        for k, shape in enumerate(shapes):
            ring = np.asarray(shape.outline_mm) - bodies[k].middle_mm
            polygon = shapely.Polygon(ring)
            x, y = rng.uniform(ring.min(axis=0) - 20, ring.max(axis=0) + 20, (800, 2)).T
            true = shapely.distance(polygon.exterior, shapely.points(x, y))
            true = np.where(shapely.contains_xy(polygon, x, y), true, -true)
            read = np.array([depth_at(blanks, k, *at)[0] for at in zip(x, y, strict=True)])
            near = true > -GAP_MM - 20
            wrong = np.abs(read - true)[near]
            assert np.median(wrong) < 0.1
            assert wrong.max() < 6.0  # across a corner, within a cell of 10 mm

    def test_far_away_is_never_inside(self) -> None:
        blanks = some_in_a_row(some_blanks())
        for x, y in ((1e5, 3000.0), (-1e5, 0.0), (0.0, -1e5), (3000.0, 1e5)):
            assert depth_at(blanks, 0, x, y)[0] < -GAP_MM

    def test_what_is_no_number_is_read_at_the_edge_of_the_grid(self) -> None:
        """Compiled code does not check its indexes."""
        blanks = some_in_a_row(some_blanks())
        assert depth_at(blanks, 0, math.nan, math.nan)[0] < -GAP_MM

    def test_the_bulge_of_an_arc_is_on_its_outer_side(self) -> None:
        """An arc as drawn here has its middle above its chord; turned over it lies below."""
        shape = arc("a", 900.0, 700.0, 90.0)
        upside_down = replace(shape, outline_mm=tuple((x, -y) for x, y in shape.outline_mm))
        one, other = bodies_of([shape, upside_down], GAP_MM)
        way = [math.sin(-body.axis_rad + math.pi / 2) * body.bulge for body in (one, other)]
        # the box of an arc is filled more on the side away from its hollow
        assert way[0] > 0 > way[1] or way[0] < 0 < way[1]


class TestStrain:
    @pytest.mark.parametrize("seed", range(6))
    def test_the_slope_is_that_of_the_strain(self, seed: int) -> None:
        """Central differences over a micrometre; a few points change cells and may differ."""
        bed = beds.make_bed(some_blanks(), GAP_MM)
        rooms = np.array(((0.0, 0.0, 900.0, 400.0),))
        spots = at_random(bed, seed, rooms[0])

        def strain(name: str, k: int, step: float) -> float:
            moved = getattr(spots, name).copy()
            moved[k] += step
            return beds.strain_of(bed, spots._replace(**{name: moved}), rooms).total

        beds.strain_of(bed, spots, rooms)
        slope = 2.0 * bed.desk.slope
        compared = 0
        for part, name in enumerate(("x_mm", "y_mm", "turn_rad")):
            for k in range(bed.count):
                step = 1e-3 / (bed.blanks.radius_mm[k] if name == "turn_rad" else 1.0)
                rise = (strain(name, k, step) - strain(name, k, -step)) / (2 * step)
                compared += abs(slope[k, part] - rise) <= 1e-3 * max(100.0, abs(rise))
        assert compared >= 11  # of 12

    def test_apart_and_inside_there_is_no_strain(self) -> None:
        bed = beds.make_bed(some_blanks(), GAP_MM)
        rooms = np.array(((-500.0, -500.0, 9000.0, 500.0),))
        spots = at_random(bed, 0, rooms[0])
        spots = spots._replace(x_mm=np.arange(4) * 1500.0 + 500.0, y_mm=np.zeros(4))
        assert beds.strain_of(bed, spots, rooms).total == 0.0

    def test_strain_is_told_pair_by_pair_and_against_the_walls(self) -> None:
        """Two boxes 400 x 70, one shifted by 30 across, the second 10 out of its room."""
        bed = beds.make_bed([box("a", 400.0, 70.0), box("b", 400.0, 70.0)], GAP_MM)
        rooms = np.array(((0.0, 0.0, 400.0, 90.0),))
        zero = np.zeros(2)
        spots = Spots(
            np.full(2, 200.0), np.array((35.0, 65.0)), zero, np.ones(2), np.zeros(2, dtype=np.int64)
        )
        strain = beds.strain_of(bed, spots, rooms)
        # the lower edge of the second, at 30, lies 30 deep in the first, from 0 to 70
        assert strain.worst_mm == pytest.approx(30.0 + GAP_MM + beds.SPARE_MM, abs=6.0)
        assert strain.between[0, 0] == pytest.approx(0.0, abs=1e-9)
        assert strain.between[1, 1] >= WALL_COUNTS * 2 * 10.0**2  # two corners 10 out
        assert strain.between[0, 1] == strain.between[1, 0] > 0.0
        each_pair_once = float(np.triu(strain.between).sum())
        assert strain.total == pytest.approx(each_pair_once, rel=1e-9)

    def test_placements_and_spots_are_two_ways_to_say_the_same(self) -> None:
        shapes = some_blanks()
        bed = beds.make_bed(shapes, GAP_MM)
        rooms, shift = beds.rooms_of([(25.0, 0.0, 1000.0, 400.0), (0.0, 10.0, 500.0, 600.0)])
        assert rooms[1, 0] >= rooms[0, 2] + 100.0  # rooms lie apart
        placements = [
            Placement(s.id, k % 2, 100.0 + k, 50.0 - k, 90.0 * k if s.square else 33.0 * k, k > 1)
            for k, s in enumerate(shapes)
        ]
        again = beds.placements_of(bed, beds.spots_of(bed, placements, shift), shift)
        for shape, one, other in zip(shapes, placements, again, strict=True):
            assert (one.unit, one.flipped) == (other.unit, other.flipped)
            assert np.allclose(placed_points(shape, one), placed_points(shape, other), atol=1e-7)

    def test_overlapping_blanks_come_to_lie_apart_and_straight_ones_stay_square(self) -> None:
        shapes = [box("a", 300.0, 60.0), box("b", 300.0, 60.0), arc("c", 500.0, 300.0, 60.0)]
        bed = beds.make_bed(shapes, GAP_MM)
        rooms, shift = beds.rooms_of([(0.0, 0.0, 400.0, 260.0)])
        zero = np.zeros(3)
        spots = Spots(
            np.array((180.0, 200.0, 210.0)),
            np.array((60.0, 100.0, 150.0)),
            zero,
            np.ones(3),
            np.zeros(3, dtype=np.int64),
        )
        eased, strain = beds.settle(bed, spots, rooms, 200)
        assert strain < 0.1
        placements = beds.placements_of(bed, eased, shift)
        assert [p.turn_deg for p in placements[:2]] == [0.0, 0.0]
        mended = mend(placements, shapes, Frame(0.0, 0.0, 400.0, 260.0), GAP_MM)
        assert mended is not None
        stock = Stock("sheet", 260.0, 400.0, 1.0, 0, None)
        layout = settle(mended, [stock], complete=True, cut=False)
        assert verify(layout, shapes, [stock], GAP_MM) == ()

    def test_blanks_that_do_not_move_stay(self) -> None:
        bed = beds.make_bed(some_blanks(), GAP_MM)
        rooms = np.array(((0.0, 0.0, 900.0, 400.0),))
        spots = at_random(bed, 3, rooms[0])
        moving = np.array((True, False, False, True))
        eased, alike = beds.own(spots), np.ones((4, 4))
        ease(bed.blanks, eased, rooms, moving, 30, math.inf, alike, bed.desk)
        assert (eased.x_mm != spots.x_mm).any()
        for name in ("x_mm", "y_mm", "turn_rad"):
            assert (getattr(eased, name)[1:3] == getattr(spots, name)[1:3]).all()


class TestMending:
    def test_corners_that_lie_in_another_blank_come_out(self) -> None:
        shapes = [box("a", 300.0, 60.0), arc("b", 500.0, 300.0, 60.0)]
        top = max(y for _, y in shapes[1].outline_mm)
        below = [
            Placement("a", 0, 0.0, 0.0, 0.0, False),
            Placement("b", 0, 190.0, 60.0 - 1.5 + top, 0.0, True),
        ]
        frame = Frame(0.0, 0.0, 400.0, 300.0)
        rings = [shapely.Polygon(placed_points(s, p)) for s, p in zip(shapes, below, strict=True)]
        assert rings[0].intersection(rings[1]).area > 1.0
        mended = mend(below, shapes, frame, GAP_MM)
        assert mended is not None
        stock = Stock("sheet", 300.0, 400.0, 1.0, 0, None)
        layout = settle(mended, [stock], complete=True, cut=False)
        assert verify(layout, shapes, [stock], GAP_MM) == ()

    def test_what_cannot_be_right_is_not_said_to_be(self) -> None:
        """Two boxes 60 wide do not lie abreast on 110."""
        shapes = [box("a", 300.0, 60.0), box("b", 300.0, 60.0)]
        laid = [Placement("a", 0, 0.0, 0.0, 0.0, False), Placement("b", 0, 0.0, 50.0, 0.0, False)]
        assert mend(laid, shapes, Frame(0.0, 0.0, 310.0, 110.0), GAP_MM) is None

    def test_a_right_layout_stays_as_it_is(self) -> None:
        shapes = [box("a", 300.0, 60.0), box("b", 300.0, 60.0)]
        laid = [Placement("a", 0, 0.0, 0.0, 0.0, False), Placement("b", 0, 0.0, 70.0, 0.0, False)]
        assert mend(laid, shapes, Frame(0.0, 0.0, 310.0, 140.0), GAP_MM) == laid


def filling_of(shapes: Sequence[Shape], units: Sequence[Stock]) -> fill.Filling:
    return fill.make_filling(shapes, units, GAP_MM, Grid(4.0, 2.0))


def ways_in(filling: fill.Filling, bed: beds.Bed) -> hopping.Ways:
    return ways_of([piece.poses for piece in filling.pieces], bed)


def three_where_two_fit() -> tuple[beds.Bed, Spots, Rooms, hopping.Ways]:
    shapes = [box("a", 300.0, 60.0), box("b", 300.0, 60.0), box("c", 300.0, 60.0)]
    filling = filling_of(shapes, [Stock("one", 130.0, 320.0, 1.0, 1, None)])
    bed = beds.make_bed(shapes, GAP_MM)
    rooms, shift = beds.rooms_of([(0.0, 0.0, 320.0, 130.0)])
    laid = [Placement(s.id, 0, 0.0, 30.0 * k, 0.0, False) for k, s in enumerate(shapes)]
    return bed, beds.spots_of(bed, laid, shift), rooms, ways_in(filling, bed)


class TestHopping:
    def test_a_long_and_a_short_blank_trade_places(self) -> None:
        """Each lies in the room of the other: 500 in one of 320, 300 in one of 520."""
        shapes = [box("long", 500.0, 60.0), box("short", 300.0, 60.0)]
        units = [Stock("near", 64.0, 320.0, 1.0, 1, None), Stock("far", 64.0, 520.0, 1.0, 1, None)]
        filling = filling_of(shapes, units)
        bed = beds.make_bed(shapes, GAP_MM)
        rooms, shift = beds.rooms_of([(0.0, 0.0, 320.0, 64.0), (0.0, 0.0, 520.0, 64.0)])
        wrong = [
            Placement("long", 0, 0.0, 2.0, 0.0, False),
            Placement("short", 1, 0.0, 2.0, 0.0, False),
        ]
        found = hop(
            bed,
            beds.spots_of(bed, wrong, shift),
            rooms,
            ways_in(filling, bed),
            60,
            np.random.default_rng(0),
        )
        assert found.clear
        assert found.spots.room.tolist() == [1, 0]

    def test_blanks_trade_with_those_about_as_large_and_with_equal_ones_last(self) -> None:
        shapes = [box("a", 300.0, 60.0), box("a too", 300.0, 60.0)]
        shapes += [box("longer", 330.0, 60.0), box("short", 100.0, 60.0)]
        bed = beds.make_bed(shapes, GAP_MM)
        alike = ways_of([()] * 4, bed).alike
        assert alike[0].tolist() == [2, 3, 1]
        assert alike[1].tolist() == [2, 3, 0]
        assert alike[3].tolist()[-1] == 2

    def test_where_there_is_no_room_it_is_never_clear(self) -> None:
        found = hop(*three_where_two_fit(), 30, np.random.default_rng(0))
        assert found.steps == 30
        assert found.strain.worst_mm > ENOUGH_MM

    def test_hopping_ends_when_asked(self) -> None:
        """Some steps are made between two looks at the clock, none once it is over."""
        bed, spots, rooms, ways = three_where_two_fit()
        asked: list[int] = []

        def stop() -> bool:
            asked.append(1)
            return len(asked) > 2

        rng = np.random.default_rng(0)
        assert hop(bed, spots, rooms, ways, 10**6, rng, Until(None, stop)).steps == 2 * AT_A_TIME

    def test_hopping_ends_where_it_is_not_hopeful(self) -> None:
        bed, spots, rooms, ways = three_where_two_fit()
        seen: list[float] = []

        def hopeful(strains: Sequence[float]) -> bool:
            seen[:] = strains
            return len(strains) < 4

        rng = np.random.default_rng(0)
        found = hop(bed, spots, rooms, ways, 10**6, rng, hopeful=hopeful)
        assert found.steps == 3 * AT_A_TIME
        assert min(seen) > 0.0
        assert seen[-1] == pytest.approx(found.strain.total, rel=1e-9)

    def test_what_overlaps_weighs_more_with_every_step_and_what_does_not_stays(self) -> None:
        """The pair that overlaps most gains HEAVIER, one with half its strain half of that."""
        between = np.array(
            ((9.0, 40.0, 0.0), (40.0, 0.0, 80.0), (0.0, 80.0, 0.0)),
        )
        weights = np.ones((3, 3))
        hopping._weigh.py_func(between, weights)
        heavier = hopping.HEAVIER
        assert weights[2, 1] == weights[1, 2] == pytest.approx(1.0 + heavier)
        assert weights[1, 0] == weights[0, 1] == pytest.approx(1.0 + heavier / 2)
        assert weights[2, 0] == 1.0
        assert (np.diag(weights) == 1.0).all()  # walls
        assert hopping._weighed.py_func(between, weights, np.zeros(3, bool)) == pytest.approx(
            9.0 + 40.0 * (1.0 + heavier / 2) + 80.0 * (1.0 + heavier)
        )

    def test_a_blank_drawn_by_its_strain_overlaps(self) -> None:
        """Of four blanks two overlap: the others come up only among the few drawn at random."""
        between = np.zeros((4, 4))
        between[1, 3] = between[3, 1] = 5.0
        rng = np.random.default_rng(3)
        drawn = [hopping._draw.py_func(rng, between, np.ones((4, 4))) for _ in range(2000)]
        share = sum(k in (1, 3) for k in drawn) / 2000
        expected = 1.0 - hopping.ANYWHERE / 2
        assert share == pytest.approx(expected, abs=0.03)
        assert set(drawn) == {0, 1, 2, 3}

    def test_blanks_that_may_not_be_turned_over_are_not(self) -> None:
        shapes = [
            replace(arc(f"a{k}", 400.0 + 40 * k, 420.0, 70.0), may_flip=False) for k in range(5)
        ]
        filling = filling_of(shapes, [Stock("one", 300.0, 700.0, 1.0, 1, None)])
        bed = beds.make_bed(shapes, GAP_MM)
        rooms, _ = beds.rooms_of([(0.0, 0.0, 700.0, 300.0)])
        spots = at_random(bed, 2, rooms[0])._replace(side=np.ones(5))
        found = hop(bed, spots, rooms, ways_in(filling, bed), 40, np.random.default_rng(2))
        assert (found.spots.side == 1.0).all()

    def test_equal_draws_give_equal_layouts(self) -> None:
        shapes = some_blanks()
        filling = filling_of(shapes, [Stock("one", 420.0, 900.0, 1.0, 1, None)])
        bed = beds.make_bed(shapes, GAP_MM)
        rooms, _ = beds.rooms_of([(0.0, 0.0, 900.0, 420.0)])
        ends = [
            hop(
                bed,
                at_random(bed, 5, rooms[0]),
                rooms,
                ways_in(filling, bed),
                20,
                np.random.default_rng(5),
            ).spots
            for _ in range(2)
        ]
        assert (ends[0].x_mm == ends[1].x_mm).all()
        assert (ends[0].turn_rad == ends[1].turn_rad).all()


class TestEasingIn:
    def test_a_blank_left_out_finds_room_when_the_others_move(self) -> None:
        """Four bowls stack on a sheet once they are pushed together; three lie spread over it."""
        shapes = [arc("bowl", 500.0, 600.0, 70.0, quantity=4)]
        sheet = Stock("sheet", 480.0, 700.0, 1.0, 1, None)
        filling = filling_of(shapes, [sheet])
        board = filling.boards[0]
        pose = next(
            p for p in filling.pieces[0].poses if p.columns <= board.columns and p.rows < 100
        )
        rows = [0, (board.rows - pose.rows) // 2, board.rows - pose.rows]
        filling.laid = [fill.Laid(0, pose, 0, row) for row in rows] + [None]
        eased = ease_in(filling, GAP_MM, random.Random(0), 200)
        assert eased is not None
        layout = settle(eased, [sheet], complete=True, cut=False)
        assert verify(layout, shapes, [replace(sheet, on_hand=1)], GAP_MM) == ()

    def test_the_search_goes_on_while_strain_is_little_or_falls(self) -> None:
        back, little = easing_in.LOOKS_BACK, easing_in.HOPEFUL_MM2
        assert easing_in._hopeful([50 * little])
        assert easing_in._hopeful([50 * little] * back)  # too soon to tell
        assert not easing_in._hopeful([50 * little] * (back + 1))
        assert easing_in._hopeful([50 * little] + [30 * little] * back)
        assert not easing_in._hopeful([50 * little] + [45 * little] * back)
        assert easing_in._hopeful([0.9 * little] + [50 * little] * 3 * back)

    def test_what_cannot_be_mended_is_eased_farther_apart(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """The first layout is refused: the next one keeps more than the gap."""
        shapes = [arc("bowl", 500.0, 600.0, 70.0, quantity=3)]
        sheet = Stock("sheet", 480.0, 700.0, 1.0, 1, None)
        filling = filling_of(shapes, [sheet])
        lay_in_order(filling, order_by(filling, 0), random.Random(0))
        gaps: list[float] = []
        mends = easing_in._mended
        monkeypatch.setattr(
            easing_in, "_mended", lambda *args: mends(*args) if len(gaps) > 1 else None
        )
        hops = easing_in.hop

        def counted(bed: beds.Bed, *args: object) -> hopping.Hopped:
            gaps.append(bed.blanks.gap_mm)
            return hops(bed, *args)  # type: ignore[arg-type]

        monkeypatch.setattr(easing_in, "hop", counted)
        eased = ease_in(filling, GAP_MM, random.Random(0), 200)
        assert eased is not None
        assert gaps == pytest.approx([gaps[0], gaps[0] + easing_in.FARTHER_MM])
        layout = settle(eased, [sheet], complete=True, cut=False)
        assert verify(layout, shapes, [replace(sheet, on_hand=1)], GAP_MM) == ()

    def test_none_where_blanks_have_more_area_than_the_unit(self) -> None:
        shapes = [arc("bowl", 500.0, 600.0, 70.0, quantity=9)]
        filling = filling_of(shapes, [Stock("sheet", 400.0, 700.0, 1.0, 1, None)])
        lay_in_order(filling, order_by(filling, 0), random.Random(0))
        assert not filling.complete()
        assert ease_in(filling, GAP_MM, random.Random(0), 100) is None


class TestStrips:
    def test_like_bowls_stack_across_the_roll(self) -> None:
        """Shifted along their axis, bowls of 400 inside and 80 wide, chord 560, keep the gap where
        they are steepest, 44.4 degrees: 82/cos 44.4 = 114.8 apart; no more than 5 x 114.8 + 194."""
        shape = arc("bowl", 400.0, 560.0, 80.0, quantity=6)
        rise = max(y for _, y in shape.outline_mm) - min(y for _, y in shape.outline_mm)
        roll = Stock("roll", 690.0, 9000.0, 1.0, 0, None)
        layout, used = shortest([shape], roll, GAP_MM, 0, effort=2)
        assert layout.complete
        assert verify(layout, [shape], [roll], GAP_MM) == ()
        apart = (80.0 + GAP_MM) / math.cos(math.asin(280.0 / 400.0))
        assert used <= 5 * apart + rise

    def test_more_steps_are_never_longer(self) -> None:
        shapes = [arc(f"a{k}", 300.0 + 70 * k, 300.0 + 20 * k, 75.0) for k in range(5)]
        roll = Stock("roll", 355.0, 9000.0, 1.0, 0, None)
        some = shortest(shapes, roll, GAP_MM, 0, effort=0)[1]
        more = shortest(shapes, roll, GAP_MM, 0, effort=15)[1]
        assert more <= some + 1e-6
