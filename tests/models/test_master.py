"""The master's optimum: against listing every plan, against HiGHS, and what must not change it."""

from __future__ import annotations

import dataclasses
import itertools
import math

import pytest
from master_cases import (
    CM2,
    cheapest_by_listing,
    cheapest_by_milp,
    connected_sets,
    partitions,
    random_problem,
)

from solver.models.master import (
    Caps,
    JointEdge,
    LaneRow,
    Master,
    MasterAnswer,
    MasterProblem,
    Option,
    PieceNeed,
    StockKind,
    Template,
)

SEEDS = tuple(range(40))


def solved(problem: MasterProblem, **given: object) -> MasterAnswer:
    return Master(problem, **given).solve(work=20.0, seconds=None, seed=1)  # type: ignore[arg-type]


# --- against other ways to the optimum ------------------------------------------------------------


@pytest.mark.parametrize("seed", SEEDS)
def test_the_optimum_is_that_of_listing_every_plan(seed: int) -> None:
    problem = random_problem(seed)
    best, answer = cheapest_by_listing(problem), solved(problem)
    if best is None:
        assert answer.status == "impossible"
        assert answer.cost is None
        return
    assert answer.status == "optimal"
    assert answer.cost == pytest.approx(best.cost, abs=1e-6)
    assert answer.bound is not None
    assert answer.bound <= best.cost + 1e-6


@pytest.mark.parametrize("seed", SEEDS)
def test_an_independent_integer_solver_finds_the_same_optimum(seed: int) -> None:
    problem = random_problem(seed)
    cost, answer = cheapest_by_milp(problem), solved(problem)
    if cost is None:
        assert answer.status == "impossible"
    else:
        assert answer.cost == pytest.approx(cost, abs=1e-6)


def test_the_problems_above_are_of_every_kind() -> None:
    impossible, clamped, shared, several, joined, two_metals = 0, 0, 0, 0, 0, 0
    for seed in SEEDS:
        problem = random_problem(seed)
        best = cheapest_by_listing(problem)
        if best is None:
            impossible += 1
            continue
        options = [problem.options[i] for i in best.options]
        made = {t.name for option in options for t in option.templates}
        clamped += any(option.clamps for option in options)
        shared += any(t.twin in made for option in options for t in option.templates)
        several += len(best.columns) > 1
        joined += any(len(option.lines) > 1 for option in options)
        two_metals += len({option.sheet for option in options}) > 1
    assert min(impossible, clamped, shared, several, joined, two_metals) >= 2


@pytest.mark.parametrize("seed", range(10))
def test_what_the_master_chose_is_a_plan_and_costs_what_it_says(seed: int) -> None:
    problem = random_problem(seed)
    answer = solved(problem)
    if answer.cost is None:
        return
    fixed = dataclasses.replace(
        problem,
        columns=tuple(problem.columns[i] for i in answer.columns),
        column_costs=tuple(problem.column_costs[i] for i in answer.columns),
        options=tuple(problem.options[i] for i in answer.options),
        clashes=(),
    )
    assert all(len(set(clash) & set(answer.options)) <= 1 for clash in problem.clashes)
    best = cheapest_by_listing(fixed)
    assert best is not None
    assert best.cost == pytest.approx(answer.cost, abs=1e-6)
    for kind, bought, hand in zip(problem.stock, answer.bought, answer.from_hand, strict=True):
        assert 0 <= hand <= kind.on_hand
        assert kind.for_sale is None or bought <= kind.for_sale


@pytest.mark.parametrize("seed", range(12))
def test_rounding_never_makes_the_master_dearer_than_the_truth(seed: int) -> None:
    plain = random_problem(seed)
    uneven = dataclasses.replace(
        plain,
        column_costs=tuple(cost + math.pi * 1e-6 for cost in plain.column_costs),
        options=tuple(
            dataclasses.replace(
                option,
                cost=option.cost + math.e * 1e-6,
                needs=tuple(
                    dataclasses.replace(need, area_mm2=need.area_mm2 + 37.7)
                    for need in option.needs
                ),
            )
            for option in plain.options
        ),
        stock=tuple(
            dataclasses.replace(kind, capacity_mm2=kind.capacity_mm2 + 51.3) for kind in plain.stock
        ),
    )
    best, answer = cheapest_by_listing(uneven), solved(uneven)
    if best is None:
        return
    assert answer.cost is not None
    assert answer.bound is not None
    assert answer.bound <= answer.cost <= best.cost + 1e-9
    assert best.cost - answer.cost < 0.01


# --- what must not change the optimum, or only one way --------------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_expecting_emptier_nests_never_lowers_the_cost(seed: int) -> None:
    problem = random_problem(seed)
    costs = [solved(problem, fill={0: f, 1: f}).cost or math.inf for f in (1.0, 0.8, 0.5)]
    assert costs[0] <= costs[1] + 1e-6
    assert costs[1] <= costs[2] + 1e-6


@pytest.mark.parametrize("seed", SEEDS[:10])
def test_a_master_that_is_to_expect_something_else_is_as_one_made_anew(seed: int) -> None:
    problem = random_problem(seed)
    kept = Master(problem, {0: 0.4})
    for fill in ({}, {0: 0.5, 1: 0.8}, {1: 0.3}, {}):
        kept.expect(fill)
        answer, anew = kept.solve(work=20.0, seconds=None, seed=1), solved(problem, fill=fill)
        assert (answer.status, answer.cost) == (anew.status, pytest.approx(anew.cost))


@pytest.mark.parametrize("fill", [0.9, 0.3, 0.1])
def test_however_empty_nests_are_expected_more_can_be_bought_while_it_is_for_sale(
    fill: float,
) -> None:
    # 10 units of area; at a fill f the stock needed is 10/f, whatever f was learnt
    problem = one_line(needs=(PieceNeed(1000 * CM2, frozenset({0})),))
    answer = solved(problem, fill={0: fill})
    assert answer.status == "optimal"
    assert answer.bought == (math.ceil(10 / fill - 1e-9),)


@pytest.mark.parametrize("seed", range(12))
def test_one_more_kind_of_stock_never_raises_the_cost(seed: int) -> None:
    problem = random_problem(seed)
    new = len(problem.stock)
    more = dataclasses.replace(
        problem,
        stock=(*problem.stock, StockKind(0, 9.0, 1, None, 150 * CM2)),
        options=tuple(
            dataclasses.replace(
                option,
                needs=tuple(
                    dataclasses.replace(need, holds=need.holds | {new}) for need in option.needs
                ),
            )
            if option.sheet == 0
            else option
            for option in problem.options
        ),
    )
    before, after = solved(problem).cost, solved(more).cost
    if before is not None:
        assert after is not None
        assert after <= before + 1e-6


@pytest.mark.parametrize("seed", range(12))
def test_sections_that_block_one_another_are_chosen_no_more_than_allowed(seed: int) -> None:
    problem = random_problem(seed)
    free = cheapest_by_listing(problem)
    if free is None:
        return
    rows = [(list(free.columns), len(free.columns) - 1)]
    master = Master(problem)
    for columns, most in rows:
        master.forbid_sections(columns, most)
    answer, best = master.solve(work=20.0, seconds=None, seed=1), cheapest_by_listing(problem, rows)
    assert answer.columns != free.columns
    if best is None:
        assert answer.status == "impossible"
    else:
        assert answer.cost == pytest.approx(best.cost, abs=1e-6)
        assert best.cost >= free.cost - 1e-9


def test_a_section_listed_twice_in_a_row_counts_twice() -> None:
    problem = one_line()
    master = Master(problem)
    master.forbid_sections([0, 0], 1)
    assert master.solve(work=5.0, seconds=None, seed=1).status == "impossible"


@pytest.mark.parametrize("seed", range(12))
def test_columns_that_mirror_each_other_come_together(seed: int) -> None:
    problem = random_problem(seed)
    masks = problem.columns
    # mirror: patch 0 and patch 1 change places; a column without its image pairs with none
    swap = {1: 2, 2: 1}
    pairs = []
    for i, mask in enumerate(masks):
        image = sum(swap.get(1 << p, 1 << p) for p in range(problem.patch_count) if mask >> p & 1)
        if image != mask:
            pairs.append((i, masks.index(image) if image in masks else -1))
    symmetric = dataclasses.replace(problem, symmetric_pairs=tuple(pairs))
    best, answer = cheapest_by_listing(symmetric), solved(symmetric)
    if best is None:
        assert answer.status == "impossible"
        return
    assert answer.cost == pytest.approx(best.cost, abs=1e-6)
    assert all((a in answer.columns) == (b in answer.columns) for a, b in pairs)


@pytest.mark.parametrize("seed", range(12))
def test_sections_alike_but_for_a_patch_on_one_side_stand_for_one_another(seed: int) -> None:
    problem = random_problem(seed)
    # mirror: patch 0 and patch 1 change places, the last patch is on one side only
    last = 1 << (problem.patch_count - 1)
    swap = {1: 2, 2: 1}
    alike: dict[int, list[int]] = {}
    for i, mask in enumerate(problem.columns):
        alike.setdefault(mask & ~last, []).append(i)
    groups = []
    for key, those in alike.items():
        image = sum(swap.get(1 << p, 1 << p) for p in range(problem.patch_count) if key >> p & 1)
        if image != key and (key < image or image not in alike):
            groups.append((tuple(those), tuple(alike.get(image, ()))))
    symmetric = dataclasses.replace(problem, symmetric_groups=tuple(groups))
    best, answer = cheapest_by_listing(symmetric), solved(symmetric)
    if best is None:
        assert answer.status == "impossible"
        return
    assert answer.cost == pytest.approx(best.cost, abs=1e-6)


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_the_number_of_sections_keeps_its_limits(count: int) -> None:
    problem = chain(4)
    exact = dataclasses.replace(problem, fewest_sections=count, most_sections=count)
    answer = solved(exact)
    assert answer.status == "optimal"
    assert len(answer.columns) == count


@pytest.mark.parametrize("by", [1, 2, 3, 5])
@pytest.mark.parametrize("before", [(), (0,), (3,), (0, 1), (0, 2), (1, 2), (0, 1, 2, 3)])
def test_of_a_line_and_its_mirror_image_only_the_number_of_joints_is_different(
    before: tuple[int, ...], by: int
) -> None:
    # five patches in a row, the middle one on the mirror plane: any set of joints is a split
    plain = chain(5)
    twins = tuple(dataclasses.replace(edge, twin=3 - i) for i, edge in enumerate(plain.edges))
    problem = dataclasses.replace(plain, edges=twins)
    costs = []
    for count in range(5):
        for joints in itertools.combinations(range(4), count):
            held = [len({i, 3 - i} & set(joints)) - len({i, 3 - i} & set(before)) for i in (0, 1)]
            if sum(map(abs, held)) >= by:
                costs.append(3 * (count + 1) + 4 * count + 0.5 * max(0, 2 * count - 3))
    master = Master(problem)
    master.differ(before, by)
    answer = master.solve(work=5.0, seconds=None, seed=1)
    if costs:
        assert answer.cost == pytest.approx(min(costs))
    else:
        assert answer.status == "impossible"


def test_limits_that_no_split_keeps_are_impossible() -> None:
    problem = chain(3)
    assert solved(dataclasses.replace(problem, fewest_sections=4)).status == "impossible"
    assert solved(dataclasses.replace(problem, most_sections=0)).status == "impossible"
    bound_together = tuple(dataclasses.replace(e, split="required") for e in problem.edges)
    assert (
        solved(dataclasses.replace(problem, edges=bound_together, most_sections=2)).status
        == "impossible"
    )


@pytest.mark.parametrize(
    "broken",
    [
        {"columns": (), "column_costs": ()},
        {"options": ()},
        {"stock": (StockKind(0, 10.0, 0, 1, 100 * CM2),)},
    ],
    ids=["no section is legal", "a line has no option", "too little for sale"],
)
def test_a_problem_without_a_plan_is_called_impossible(broken: dict[str, object]) -> None:
    problem = one_line(needs=(PieceNeed(150 * CM2, frozenset({0})),))
    assert solved(problem).status == "optimal"
    answer = solved(dataclasses.replace(problem, **broken))  # type: ignore[arg-type]
    assert answer == MasterAnswer("impossible", None, None, work=answer.work)


# --- one rule at a time ---------------------------------------------------------------------------


def one_line(
    needs: tuple[PieceNeed, ...] = (PieceNeed(50 * CM2, frozenset({0})),),
    stock: tuple[StockKind, ...] = (StockKind(0, 10.0, 0, None, 100 * CM2),),
    **given: object,
) -> MasterProblem:
    """One patch with one open line, clamped."""
    fields: dict[str, object] = {
        "patch_count": 1,
        "columns": (1,),
        "column_costs": (7.0,),
        "edges": (),
        "line_count": 1,
        "options": (Option((0,), "clamped", 0, 5.0, needs, clamps=4),),
        "stock": stock,
        "sheet_count": 1,
        "setup_cost": 2.0,
    }
    return MasterProblem(**{**fields, **given})  # type: ignore[arg-type]


def chain(count: int) -> MasterProblem:
    """Patches in a row; joints cost 4, sections 3, and no line carries metal."""
    pairs = [(i, i + 1) for i in range(count - 1)]
    columns = connected_sets(count, pairs)
    return MasterProblem(
        patch_count=count,
        columns=columns,
        column_costs=(3.0,) * len(columns),
        edges=tuple(JointEdge(f"e{a}", a, b, 4.0, 0.0, 2, None, "allowed") for a, b in pairs),
        line_count=0,
        options=(),
        stock=(),
        sheet_count=0,
        setup_cost=0.0,
        bolts_on_hand=3,
        bolt_price=0.5,
    )


def test_the_cost_is_the_sum_of_what_is_made_and_bought() -> None:
    # section 7, option 5, set-up 2, two rolls of 10 for 150 cm2, four clamps of which one is had
    problem = one_line(
        needs=(PieceNeed(75 * CM2, frozenset({0})),) * 2,
        clamps_on_hand=1,
        clamp_price=6.0,
        constant_cost=100.0,
    )
    answer = solved(problem)
    assert answer.cost == pytest.approx(100 + 7 + 5 + 2 + 2 * 10 + 3 * 6)
    assert answer.bought == (2,)


def test_bolts_on_hand_are_used_before_any_are_bought() -> None:
    # three sections: 9, two joints: 8, four bolts less three on hand: 0.5
    answer = solved(dataclasses.replace(chain(3), fewest_sections=3))
    assert answer.cost == pytest.approx(9 + 8 + 0.5)


def test_what_is_on_hand_costs_nothing_and_is_used_first() -> None:
    stock = (StockKind(0, 10.0, 1, None, 100 * CM2),)
    answer = solved(one_line(needs=(PieceNeed(150 * CM2, frozenset({0})),), stock=stock))
    assert answer.from_hand == (1,)
    assert answer.bought == (1,)


def test_the_smallest_piece_still_needs_something_to_be_cut_from() -> None:
    # half a cm2 rounds to no area at all
    assert solved(one_line(needs=(PieceNeed(0.5 * CM2, frozenset({0})),))).bought == (1,)


def test_a_piece_that_one_roll_alone_can_hold_buys_that_roll() -> None:
    # 20 cm2 would fit the cheap roll by area; the wide piece lies on the dear one alone
    stock = (
        StockKind(0, 3.0, 0, None, 100 * CM2),
        StockKind(0, 30.0, 0, None, 100 * CM2),
    )
    anywhere = one_line(needs=(PieceNeed(20 * CM2, frozenset({0, 1})),), stock=stock)
    wide = one_line(needs=(PieceNeed(20 * CM2, frozenset({1})),), stock=stock)
    assert solved(anywhere).bought == (1, 0)
    assert solved(wide).bought == (0, 1)


def test_wide_pieces_count_against_wide_stock_and_all_pieces_against_all_of_it() -> None:
    # 130 cm2 of wide pieces need two wide rolls; 170 in all then fit on those 200 without another
    stock = (
        StockKind(0, 3.0, 0, None, 100 * CM2),
        StockKind(0, 30.0, 0, None, 100 * CM2),
    )
    needs = (PieceNeed(130 * CM2, frozenset({1})), PieceNeed(40 * CM2, frozenset({0, 1})))
    assert solved(one_line(needs=needs, stock=stock)).bought == (0, 2)
    more = (needs[0], PieceNeed(100 * CM2, frozenset({0, 1})))
    assert solved(one_line(needs=more, stock=stock)).bought == (1, 2)


def test_pieces_that_share_a_stock_count_together_against_all_that_may_hold_either() -> None:
    # 90 cm2 for {0, 1} and 90 for {1, 2}: each fits one roll of 100, both together need two,
    # although a fourth kind is on hand that holds neither
    stock = (
        StockKind(0, 20.0, 0, None, 100 * CM2),
        StockKind(0, 11.0, 0, None, 100 * CM2),
        StockKind(0, 20.0, 0, None, 100 * CM2),
        StockKind(0, 1.0, 1, None, 100 * CM2),
    )
    needs = (PieceNeed(90 * CM2, frozenset({0, 1})), PieceNeed(90 * CM2, frozenset({1, 2})))
    assert solved(one_line(needs=needs, stock=stock)).bought == (0, 2, 0, 0)


def test_a_template_made_for_one_piece_serves_its_mirrored_twin_once() -> None:
    def option(line: int, name: str, twin: str) -> Option:
        template = Template(name, twin, 1.5)
        needs = (PieceNeed(10 * CM2, frozenset({0})),)
        return Option((line,), "clamped", 0, 5.0, needs, templates=(template,))

    both = one_line(line_count=2, options=(option(0, "left", "right"), option(1, "right", "left")))
    apart = one_line(line_count=2, options=(option(0, "left", "x"), option(1, "right", "y")))
    own = one_line(line_count=2, options=(option(0, "left", "left"), option(1, "right", "")))
    alone = solved(apart).cost
    assert alone is not None
    assert solved(both).cost == pytest.approx(alone - 1.5)
    assert solved(own).cost == pytest.approx(alone)


def test_options_that_would_leave_a_bad_seam_between_them_are_not_made_together() -> None:
    needs = (PieceNeed(10 * CM2, frozenset({0})),)

    def option(lines: tuple[int, ...], cost: float) -> Option:
        return Option(lines, "clamped", 0, cost, needs)

    options = (option((0,), 1.0), option((1,), 1.0), option((0, 1), 9.0))
    free = one_line(line_count=2, options=options)
    assert solved(free).options == (0, 1)
    assert solved(dataclasses.replace(free, clashes=((0, 1),))).options == (2,)


def test_a_lane_row_counts_units_bought_and_units_on_hand() -> None:
    # the option takes 7 of a roll's 2: four rolls, of which one is on hand
    stock = (StockKind(0, 10.0, 1, None, 100 * CM2),)
    row = LaneRow({0: 7}, {0: 2})
    answer = solved(one_line(stock=stock, lane_rows=(row,)))
    assert answer.bought[0] + answer.from_hand[0] == 4
    master = Master(one_line(stock=stock))
    master.add_lane_row(row)
    assert master.solve(work=5.0, seconds=None, seed=1).cost == answer.cost


# --- limits, stops and repeats --------------------------------------------------------------------


def long_chain() -> MasterProblem:
    """Twelve patches in a row with twenty-odd lines: more than presolve settles at once."""
    count = 12
    pairs = [(i, i + 1) for i in range(count - 1)]
    columns = connected_sets(count, pairs)
    options = []
    for line in range(2 * count - 1):
        for number in range(1, 7):
            needs = (PieceNeed((37 + 11 * line % 29) * CM2 / number, frozenset({0, 1})),) * number
            for mounting in ("pinched", "standing") if line < count - 1 else ("clamped",):
                cost = 9.0 + 1.3 * number + 0.7 * (line % 3)
                options.append(Option((line,), mounting, 0, cost, needs))  # type: ignore[arg-type]
    return MasterProblem(
        patch_count=count,
        columns=columns,
        column_costs=tuple(5.0 + 0.11 * (mask % 7) for mask in columns),
        edges=tuple(JointEdge(f"e{a}", a, b, 2.0, 0.5, 3, a, "allowed") for a, b in pairs),
        line_count=2 * count - 1,
        options=tuple(options),
        stock=(StockKind(0, 13.0, 0, None, 210 * CM2), StockKind(0, 19.0, 0, None, 350 * CM2)),
        sheet_count=1,
        setup_cost=3.0,
        fewest_sections=3,
    )


@pytest.mark.parametrize(
    "limits", [{"work": 20.0, "seconds": 0.0}, {"work": 1e-6, "seconds": None}]
)
def test_a_limit_of_nearly_nothing_ends_without_a_false_claim(limits: dict[str, float]) -> None:
    problem = long_chain()
    optimum = cheapest_by_milp(problem)
    assert optimum is not None
    answer = Master(problem).solve(**limits, seed=1)  # type: ignore[arg-type]
    assert answer.status in ("unknown", "feasible", "optimal")
    assert (answer.cost is None) == (answer.status == "unknown")
    assert answer.bound is None or answer.bound <= optimum + 1e-6
    if answer.cost is None:
        assert answer.columns == answer.options == answer.bought == ()
    else:
        assert answer.cost >= optimum - 1e-6
    if answer.status != "optimal":
        assert answer.cut_by_clock == (limits["seconds"] is not None)


def test_a_stop_asked_for_before_the_start_is_heard() -> None:
    problem = long_chain()
    answer = Master(problem).solve(work=50.0, seconds=None, seed=1, should_stop=lambda: True)
    assert answer.status in ("unknown", "feasible", "optimal")


def test_the_same_problem_gives_the_same_answer_twice() -> None:
    for problem in (random_problem(3), long_chain()):
        assert solved(problem) == solved(problem)


def test_a_hint_changes_nothing_but_the_way() -> None:
    problem = long_chain()
    plain = solved(problem)
    master = Master(problem)
    again = master.solve(work=20.0, seconds=None, seed=1, hint=plain)
    poor = MasterAnswer("feasible", 1e9, None, columns=(0,), options=(0, 1))
    misled = master.solve(work=20.0, seconds=None, seed=1, hint=poor)
    assert plain.status == again.status == misled.status == "optimal"
    assert again.cost == pytest.approx(plain.cost)
    assert misled.cost == pytest.approx(plain.cost)


def test_every_partition_is_listed_by_the_columns_of_a_chain() -> None:
    # compositions of n: 2^(n-1) (Stanley, Enumerative Combinatorics), so the listing is complete
    assert [len(list(partitions(chain(n)))) for n in (1, 2, 3, 4)] == [1, 2, 4, 8]


# --- caps -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", SEEDS[:20])
def test_less_money_for_stock_costs_more_of_the_rest_and_the_other_way_round(seed: int) -> None:
    problem = random_problem(seed)
    free = solved(problem)
    if free.cost is None:
        return

    def stock_money(answer: MasterAnswer) -> float:
        return sum(n * kind.price for n, kind in zip(answer.bought, problem.stock, strict=True))

    def capped(caps: Caps) -> MasterAnswer:
        master = Master(problem)
        master.cap(caps)
        return master.solve(work=20.0, seconds=None, seed=1)

    stock = stock_money(free)
    rest = free.cost - stock
    # what was found keeps caps as wide as itself
    same = capped(Caps(stock=stock, rest=rest + 1e-6))
    assert same.cost == pytest.approx(free.cost, abs=1e-6)
    # caps below it are kept, and nothing gets cheaper
    for caps in (Caps(stock=stock - 0.01), Caps(rest=rest - 0.01)):
        less = capped(caps)
        if less.cost is None:
            assert less.status == "impossible"
            continue
        assert less.cost >= free.cost - 1e-6
        if caps.stock is not None:
            assert stock_money(less) <= caps.stock + 1e-4
        if caps.rest is not None:
            assert less.cost - stock_money(less) <= caps.rest + 1e-4
