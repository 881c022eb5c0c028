"""The master problem of a job: money of joints, areas, stock and indices, worked by hand."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from small_jobs import (
    ALUMINIUM,
    FOOT,
    GALVANISED,
    LIGHT_ALUMINIUM,
    Prepared,
    edge,
    hatch,
    job,
    one_run,
    ring,
    run,
    straight,
)

from solver.data.job import Edge, Goal, Job, Patch, Rules, StockItem
from solver.data.line import Corner, Line, Stretch
from solver.models.master import Master, MasterProblem
from solver.planner.master_of import (
    costs_of,
    fillet_litres,
    grown_areas_mm2,
    joint_money,
    master_problem_of,
    stock_order,
)
from solver.planner.options import option_cost
from solver.planner.split_of import edge_rules

GAP = 25.4 / 16


def problem_of(made: Prepared, columns: Sequence[int] = ()) -> MasterProblem:
    mountings: dict[str, set[str]] = {}
    for option in made.options:
        edges = made.lines[option.run].edges
        for i in range(option.count):
            mountings.setdefault(edges[(option.first + i) % len(edges)].id, set()).add(
                option.mounting
            )
    rules = edge_rules(made.job, mountings)
    every = columns or range(1, 1 << len(made.job.patches))
    return master_problem_of(
        made.job,
        made.lines,
        made.sheets,
        made.options,
        rules,
        costs_of(made.job),
        grown_areas_mm2(made.job, made.options),
        tuple(every),
    )


def money_of(minutes: float) -> float:
    """Minutes at 55 an hour with an allowance of 15 %."""
    return minutes * 1.15 / 60 * 55


# --- money of what is no piece --------------------------------------------------------------------


def three_kinds(**given: object) -> Job:
    """Metal of 4 ft, a witness line of 2 ft, an open rim of 3 ft, one taped corner; 0.9 m2."""
    patches = [
        Patch("lid", "lid", 3e5, ((0, 0, 1),)),
        Patch("lid rear", "lid", 3e5, ((0, 0, 1),)),
        Patch("frame", "frame", 3e5, ((0, 0, 1),)),
    ]
    edges = [
        edge("metal", straight(4 * FOOT)),
        Edge("witness", "lid", "lid rear", straight(2 * FOOT), None, None),
        edge("rim", straight(3 * FOOT), second="open"),
    ]
    runs = [run("R1", "metal"), run("R2", "rim")]
    corners = (("T", ("R1", "R2")),)
    return job(edges, runs, (GALVANISED,), patches, corners=corners, **given)


def test_a_joint_costs_its_bolting_flanges_witness_line_laminate_and_packer() -> None:
    costs = costs_of(three_kinds())
    # bolts 2 in from the ends, 6 in apart at most: 4 ft has 8 spaces, 9 bolts; 2 ft 4 and 5.
    # metal: 9·0.75 + 4·12 = 54.75 min, laminate 4·2.5; its packer goes with the metal chosen.
    # witness: 5·0.75 + 2·12 + 2·6 = 39.75 min, laminate 2·2.5, packer of the whole gap 2·0.35
    assert costs.bolts == {"metal": 9, "witness": 5}
    assert costs.joint == pytest.approx(
        {"metal": money_of(54.75) + 10.0, "witness": money_of(39.75) + 5.7}
    )
    assert costs.section == pytest.approx(money_of(20.0))


def test_what_every_plan_costs_is_counted_once() -> None:
    # rim: half flange 1.5·12, one fillet 3, wax 3; metal: two fillets 8, wax 4; a corner 3: 39 min.
    # half laminate 1.5·2.5; fillets of r 3/64 in, r2·(1 - pi/4)·1.25; tape 0.1; wax on 0.9 m2.
    r = 3 / 64 * 25.4
    litres = r**2 * (1 - math.pi / 4) * 1.25 * (2 * 4 + 3) * FOOT / 1e6
    money = 3.75 + 18 * litres + 0.1 + 1.2 * 0.9
    of = three_kinds()
    assert costs_of(of).constant == pytest.approx(money_of(39.0) + money)
    assert sum(fillet_litres(of, of.edge_of[e]) for e in ("metal", "rim")) == pytest.approx(litres)


def test_the_goal_weighs_labor_and_joints_apart() -> None:
    costs = costs_of(three_kinds(goal=Goal(labor=0.0, joints=2.0)))
    assert costs.joint == pytest.approx({"metal": 20.0, "witness": 11.4})
    assert costs.section == 0.0


def test_a_joint_without_a_gap_needs_no_packer() -> None:
    of = three_kinds(rules=Rules(joint_gap_mm=0.0))
    assert joint_money(of, of.edge_of["witness"]) == pytest.approx(5.0)


# --- areas and stock ------------------------------------------------------------------------------


def test_a_straight_blank_takes_its_own_area_and_half_a_gap_all_round() -> None:
    # (l + g)·(w + g) less the corners: an octagon's quarter of radius g/2 in each
    made = Prepared(one_run(edge("a", straight(1000))))
    option = made.one("pinched", 1)
    (piece,) = option.pieces
    long, wide, half = 1012.7, 38.1, GAP / 2
    octagon = 2 * math.sqrt(2) * half**2
    area = grown_areas_mm2(made.job, made.options)[option.sheet, piece.key]
    assert area == pytest.approx(long * wide + (long + wide) * GAP + octagon)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.floats(150.0, 900.0), st.floats(20.0, 60.0))
def test_curved_blanks_that_keep_the_gap_never_take_more_than_they_are_counted_for(
    radius: float, stand: float
) -> None:
    # two alike, stacked as near as the gap allows: their grown areas do not overlap
    made = Prepared(
        one_run(edge("a", ring(radius), stand_mm=stand), closed=True, stock=(GALVANISED,))
    )
    options = made.some("standing")
    if not options:
        return
    piece = options[-1].pieces[0]
    blank = shapely.Polygon(piece.blank.outline_mm)
    low, high = 0.0, 1000.0
    while high - low > 1e-9:
        middle = (low + high) / 2
        near = blank.distance(shapely.affinity.translate(blank, 0.0, middle)) < GAP
        low, high = (middle, high) if near else (low, middle)
    moved = shapely.affinity.translate(blank, 0.0, high)
    assert blank.distance(moved) == pytest.approx(GAP)
    grown = [p.buffer(GAP / 2, quad_segs=2) for p in (blank, moved)]
    assert grown[0].intersection(grown[1]).area <= 1e-6
    area = grown_areas_mm2(made.job, made.options)[options[-1].sheet, piece.key]
    assert area == pytest.approx(grown[0].area)
    assert blank.area < area <= blank.buffer(GAP / 2, quad_segs=64).area


def test_stock_is_counted_without_the_ends_of_rolls_and_with_half_a_gap_all_round() -> None:
    three = (
        (0.0, 0.0),
        (600.0, 0.0),
        (0.0, 300.0),
    )
    offcut = dataclasses.replace(
        LIGHT_ALUMINIUM,
        id="offcut",
        form="offcut",
        length_mm=600.0,
        width_mm=300.0,
        on_hand=1,
        for_sale=0,
        outline_mm=three,
    )
    made = Prepared(one_run(edge("a", straight(200)), stock=(LIGHT_ALUMINIUM, GALVANISED, offcut)))
    problem = problem_of(made)
    roll, sheet, corner = problem.stock
    assert roll.capacity_mm2 == pytest.approx((3048.0 - 50.8 + GAP) * (203.2 + GAP))
    assert sheet.capacity_mm2 == pytest.approx((1219.2 + GAP) * (914.4 + GAP))
    # a triangle grown by d: A + P·d + d2·P2/4A, similar about its incentre [derived]
    area, border, d = 90_000.0, 900.0 + math.hypot(600.0, 300.0), GAP / 2
    assert corner.capacity_mm2 == pytest.approx(
        area + border * d + d**2 * border**2 / (4 * area), rel=1e-9
    )
    assert (corner.on_hand, corner.for_sale) == (1, 0)
    assert [kind.price for kind in problem.stock] == [14.0, 38.0, 14.0]


def test_what_cannot_be_had_is_no_stock() -> None:
    gone = dataclasses.replace(ALUMINIUM, on_hand=0, for_sale=0)
    made = Prepared(one_run(edge("a", straight(200)), stock=(gone, LIGHT_ALUMINIUM)))
    assert stock_order(made.sheets) == [1]
    problem = problem_of(made)
    assert len(problem.stock) == problem.sheet_count == 1
    assert all(need.holds == {0} for option in problem.options for need in option.needs)


def test_pieces_too_long_for_a_sheet_are_held_by_the_roll_alone() -> None:
    # stock 0 and 2 are one metal: a sheet of 48 in and a roll of 118 in without its ends
    sheet = dataclasses.replace(
        LIGHT_ALUMINIUM, id="sheet", form="sheet", length_mm=1219.2, width_mm=914.4
    )
    stock: tuple[StockItem, ...] = (sheet, GALVANISED, LIGHT_ALUMINIUM)
    made = Prepared(one_run(edge("a", straight(1400)), stock=stock))
    problem = problem_of(made)
    light = next(s for s, sheet in enumerate(made.sheets) if sheet.items == (0, 2))
    assert [kind.sheet for kind in problem.stock] == [light, 1 - light, light]
    holds = {
        len(option.needs): {need.holds for need in option.needs}
        for option in problem.options
        if option.sheet == light and option.mounting == "standing"
    }
    # 1412.7 diagonal across 1219 x 914 would fit, but straight strips lie square
    assert holds[1] == {frozenset({2})}
    assert holds[2] == {frozenset({0, 2})}


# --- indices --------------------------------------------------------------------------------------


def test_options_name_the_lines_that_they_make_across_marks_and_over_the_start_of_a_loop() -> None:
    of = job(
        [
            edge("a", straight(300), "lid", "left"),
            edge("b", straight(300), "lid", "right"),
            edge("c", straight(300), "lid", "right"),
        ],
        [run("R1", "a"), run("R2", "c", "b", closed=True)],
    )
    made = Prepared(of)
    problem = problem_of(made)
    # lines in the order of the runs: a, c, b
    assert {e.id: e.line for e in problem.edges} == {"a": 0, "c": 1, "b": 2}
    assert problem.line_count == 3
    for option, chosen in zip(problem.options, made.options, strict=True):
        wanted = (
            {(0, 1): (0,)}
            if chosen.run == 0
            else {(0, 1): (1,), (1, 1): (2,), (0, 2): (1, 2), (1, 2): (2, 1)}
        )
        assert option.lines == wanted[chosen.first, chosen.count]
        assert option.cost == pytest.approx(option_cost(of, chosen))
        assert [t.name for t in option.templates] == [p.template for p in chosen.pieces]


def test_edges_that_may_not_be_joints_are_fixed_and_open_ones_are_no_edges_of_the_master() -> None:
    of = three_kinds()
    of = dataclasses.replace(
        of, edges=(of.edges[0], dataclasses.replace(of.edges[1], witness="forbidden"), of.edges[2])
    )
    problem = problem_of(Prepared(of))
    assert [(e.id, e.split, e.bolts) for e in problem.edges] == [
        ("metal", "allowed", 9),
        ("witness", "forbidden", 5),
    ]
    assert problem.edges[1].line is None


def test_marks_near_a_corner_are_crossed_by_one_piece_unless_something_changes_there() -> None:
    def clashing(second: Edge) -> set[tuple[int, int, str]]:
        # a corner 30 mm before the mark, seams keep two inches off it
        cornered = edge("a", Line((Stretch(500.0),), (Corner(470.0, easy_deg=50.0),)))
        made = Prepared(one_run(cornered, second))
        problem = problem_of(made)
        found = {i for clash in problem.clashes for i in clash}
        return {
            (made.options[i].first, made.options[i].count, made.options[i].mounting) for i in found
        }

    assert clashing(edge("b", straight(400))) == {
        (first, 1, mounting) for first in (0, 1) for mounting in ("pinched", "standing")
    }
    assert clashing(edge("b", straight(400), stand_mm=30.0)) == set()
    # a grip parts pinched pieces, which is reason enough; standing ones have none
    assert clashing(edge("b", straight(400), grip_mm=15.0)) == {
        (0, 1, "standing"),
        (1, 1, "standing"),
    }


def test_a_corner_behind_the_start_of_a_loop_is_near_the_mark_there() -> None:
    cornered = edge("a", Line((Stretch(500.0),), (Corner(30.0, easy_deg=50.0),)))
    made = Prepared(one_run(cornered, edge("b", straight(400)), closed=True))
    (clash, *more) = problem_of(made).clashes
    assert {(made.options[i].first, made.options[i].count) for i in clash} == {(0, 1), (1, 1)}
    assert len(more) == 1  # pinched and standing
    middle = edge("a", Line((Stretch(500.0),), (Corner(250.0, easy_deg=50.0),)))
    made = Prepared(one_run(middle, edge("b", straight(400)), closed=True))
    assert problem_of(made).clashes == ()


def test_a_mark_in_a_free_place_parts_whatever_one_likes() -> None:
    made = Prepared(one_run(edge("a", straight(500)), edge("b", straight(400))))
    assert problem_of(made).clashes == ()


# --- the whole, by hand ---------------------------------------------------------------------------


def test_a_hatch_in_one_section_costs_what_its_pieces_sections_and_roll_cost() -> None:
    made = Prepared(one_run(edge("a", hatch(300.0)), closed=True))
    answer = Master(problem_of(made)).solve(work=5.0, seconds=None, seed=1)
    # one section of both patches; the cheapest way of standing is one piece; 10 min of set-up
    option = made.one("standing", 1)
    costs = costs_of(made.job)
    by_hand = costs.constant + money_of(20.0) + money_of(10.0) + option_cost(made.job, option) + 14
    assert answer.status == "optimal"
    assert answer.cost == pytest.approx(by_hand, abs=1e-3)
    assert [made.options[i] for i in answer.options] == [option]
    assert answer.bought == (1,)


def test_a_second_metal_is_set_up_for_only_where_it_saves_more_than_that() -> None:
    # the rim needs galvanised; the hatch beside it would be a little cheaper to cut of aluminium
    def metals(setup: float) -> int:
        edges = [
            edge("a", straight(900)),
            edge("rim", straight(900), second="open"),
        ]
        stock = (
            dataclasses.replace(LIGHT_ALUMINIUM, price=0.0),
            dataclasses.replace(GALVANISED, price=0.0),
        )
        of = job(edges, [run("R1", "a"), run("R2", "rim")], stock)
        minutes = dataclasses.replace(of.shop.minutes, setup_per_gauge=setup)
        of = dataclasses.replace(of, shop=dataclasses.replace(of.shop, minutes=minutes))
        made = Prepared(of)
        answer = Master(problem_of(made)).solve(work=5.0, seconds=None, seed=1)
        return len({made.options[i].sheet for i in answer.options})

    assert metals(0.0) == 2
    assert metals(10.0) == 1
