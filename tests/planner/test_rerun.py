"""A plan made again with what is there: five small changes worked by hand, and what stays.

Two lines of metal between a lid and its frame, 60 in and 30 in, stand in one section: strips of
24 ga aluminium (the only stock, a roll 8 in x 10 ft at 14), 1 in high and with no foot.  Minutes
are the shop's defaults: template 3 + 0.5/ft, snips 0.25/ft, deburr 0.2/ft, fit 4 + 0.5/ft, standing
1.5/ft, setting up 10; the allowance is 15 % and an hour 55.
"""

from dataclasses import replace
from functools import cache

import pytest
from small_jobs import GALVANISED, INCH, LIGHT_ALUMINIUM, edge, job, run, straight

from solver.checker import check_plan
from solver.data.line import Line, Stretch
from solver.data.work import WorkRecord
from solver.planner.plan_job import plan_job
from solver.planner.rerun_job import rerun_job

MONEY_PER_MINUTE = 1.15 * 55 / 60
ALL = WorkRecord(cut="all", bought="all")


def lines(a=60.0, b=30.0, *, stock=(LIGHT_ALUMINIUM,), line_a=None, **given):
    """The job with its two lines, in inches; None leaves a line out."""
    edges = []
    if a is not None:
        edges.append(edge("a", line_a or straight(a * INCH), split="forbidden"))
    if b is not None:
        edges.append(edge("b", straight(b * INCH), split="forbidden"))
    return job(edges, [run(e.id, e) for e in edges], stock, **given)


@cache
def before():
    return plan_job(lines())


def hours(plan):
    return {line.operation: line.minutes for line in plan.hours}


def rerun(new, record=ALL, old=None):
    plan = rerun_job(old or before(), new, record)
    assert plan.status in ("proven", "within gap")
    assert check_plan(new, plan).ok
    return plan


def how(plan):
    return {source.old: source.how for source in plan.rerun.sources}


def scrap(plan):
    return {one.old: one.reason for one in plan.rerun.scrapped}


def test_the_plan_that_is_begun_is_two_strips_from_one_roll():
    plan = before()
    assert [(p.id, p.mounting, len(p.blank.outline_mm)) for p in plan.pieces] == [
        ("a #1", "standing", 4),
        ("b #1", "standing", 4),
    ]
    assert [(p.buy, p.price) for p in plan.purchases] == [(1, 14.0)]


@pytest.mark.parametrize(
    "record",
    [
        WorkRecord(),
        WorkRecord(bought="all"),
        WorkRecord(cut=("a #1",)),
        ALL,
        WorkRecord(cut="all", fitted=("b #1",), built="all"),
        WorkRecord(fitted="all", built="all", bolts_bought=3),
    ],
)
def test_nothing_changed_nothing_changes(record):
    old = before()
    plan = rerun(lines(), record)
    assert [p.model_dump(exclude={"template_of"}) for p in plan.pieces] == [
        p.model_dump(exclude={"template_of"}) for p in old.pieces
    ]
    assert plan.sections == old.sections
    assert plan.edges == old.edges
    begun = record.bought == "all" or record.cut or record.fitted
    assert sum(p.buy for p in plan.purchases) == (0 if begun else 1)
    # what is left of the old plan is just this plan
    assert plan.rerun.before.total == pytest.approx(plan.cost.total)
    assert plan.rerun.before.minutes == pytest.approx(plan.minutes)
    assert plan.rerun.scrapped == ()
    assert plan.rerun.changes == 0


def test_what_is_done_is_not_to_be_done_again():
    plan = rerun(lines(), WorkRecord(fitted="all", built="all"))
    left = hours(plan)
    assert not {"template", "snips", "deburr", "fit", "hold standing", "set up a metal"} & set(left)
    whole = hours(before())
    for operation in ("fillet", "release wax", "sections"):
        assert left[operation] == whole[operation]
    assert plan.cost.metal == 0


def test_a_section_lengthened_by_2_in_takes_one_new_strip_from_what_is_left_of_the_roll():
    plan = rerun(lines(a=62))
    assert how(plan) == {"b #1": "kept"}
    assert scrap(plan) == {"a #1": "2 in too short for its place"}
    assert [p.id for p in plan.pieces] == ["a #2", "b #1"]
    assert plan.purchases == ()
    (nest,) = plan.nests
    assert nest.rest_of == "nest 1"
    assert len(nest.gone_mm) == 2
    left = hours(plan)
    # the strip is 62.5 in with the half inch to trim, its border 127 in
    assert left["template"] == pytest.approx(3 + 0.5 * 62.5 / 12)
    assert left["snips"] == pytest.approx(0.25 * 127 / 12)
    assert left["deburr"] == pytest.approx(0.2 * 127 / 12)
    assert left["set up a metal"] == 10
    # cut anew, and 2 in more to fit, hold, fillet on both sides and wax
    bench = 3 + 0.5 * 62.5 / 12 + 0.45 * 127 / 12 + 10
    more = 2 / 12 * (0.5 + 1.5 + 2 * 1.0 + 1.0)
    labor = plan.cost.labor - plan.rerun.before.labor
    assert labor == pytest.approx((bench + more) * MONEY_PER_MINUTE)


def test_a_section_shortened_by_10_in_trims_its_strip_with_one_straight_cut():
    plan = rerun(lines(a=50))
    (source,) = [s for s in plan.rerun.sources if s.how == "trimmed"]
    assert (source.old, source.piece, source.template) == ("a #1", "a #2", False)
    assert source.cut_mm == pytest.approx(1 * INCH)  # across the strip
    assert source.reason == "cut 10 in shorter"
    left = hours(plan)
    assert left["snips"] == pytest.approx(0.25 / 12)
    assert left["deburr"] == pytest.approx(0.2 / 12)
    assert "template" not in left
    assert "set up a metal" not in left
    assert plan.nests == ()


HARD = 1 / (40 * INCH)
TIGHTER = 1 / (30 * INCH)


def arc(per_mm, *, hard):
    length = 60 * INCH
    return Line((Stretch(length, 0, 0, per_mm, per_mm),)) if hard else Line(
        (Stretch(length, per_mm, per_mm),)
    )  # fmt: skip


def test_a_curve_made_tighter_in_the_plane_of_the_sheet_takes_a_new_blank():
    old_job = lines(line_a=arc(HARD, hard=True))
    old = plan_job(old_job)
    plan = rerun(lines(line_a=arc(TIGHTER, hard=True)), old=old)
    assert how(plan)["b #1"] == "kept"
    gone = [name for name in scrap(plan) if name.startswith("a ")]
    assert gone
    assert all("curves differently" in scrap(plan)[name] for name in gone)
    assert all(p.id not in {q.id for q in old.pieces} for p in plan.pieces if p.run == "a")


def test_a_curve_made_tighter_the_easy_way_leaves_the_blank_as_it_is():
    # the metal springs: 24 ga aluminium to 14 in and tighter, so nothing is pre-formed
    old = plan_job(lines(line_a=arc(HARD, hard=False)))
    plan = rerun(lines(line_a=arc(TIGHTER, hard=False)), old=old)
    assert set(how(plan).values()) == {"kept"}
    assert {p.id for p in plan.pieces} == {p.id for p in old.pieces}
    assert plan.nests == ()


def test_an_edge_removed_leaves_its_strip_to_a_line_that_needs_one():
    # b grows to 40 in while a is gone: the strip of a is cut for b, that of b is scrap
    plan = rerun(lines(a=None, b=40))
    assert how(plan) == {"a #1": "trimmed"}
    assert scrap(plan) == {"b #1": "10 in too short for its place"}
    assert [p.id for p in plan.pieces] == ["b #2"]
    assert plan.nests == ()


def test_an_edge_removed_that_nothing_needs_is_scrap():
    plan = rerun(lines(a=None))
    assert how(plan) == {"b #1": "kept"}
    assert scrap(plan) == {"a #1": 'its line "a" is gone, and its blank serves nowhere else'}


def test_a_gauge_sold_out_goes_on_from_what_is_left_of_it():
    sold_out = replace(LIGHT_ALUMINIUM, for_sale=0)
    new = lines(b=33, stock=(sold_out, GALVANISED))
    plan = rerun(new, WorkRecord(cut=("a #1",)))
    assert how(plan) == {"a #1": "kept"}
    assert {(p.id, p.metal) for p in plan.pieces} == {("a #1", "aluminium"), ("b #2", "aluminium")}
    assert plan.purchases == ()
    assert [nest.rest_of for nest in plan.nests] == ["nest 1"]


def test_leftovers_that_are_gone_are_bought_again():
    plan = rerun(lines(a=62), WorkRecord(cut="all", gone=("nest 1",)))
    assert [(p.stock, p.buy) for p in plan.purchases] == [("light al", 1)]
    assert all(nest.rest_of is None for nest in plan.nests)


def test_rolls_bought_and_not_begun_are_cut_before_any_is_bought():
    plan = rerun(lines(a=62), WorkRecord(cut="all", gone=("nest 1",), bought={"light al": 3}))
    assert [(p.buy, p.from_hand) for p in plan.purchases] == [(0, 1)]
    assert plan.rerun.on_hand == {"light al": 2}


def test_a_gauge_that_is_listed_no_more_keeps_what_is_cut_of_it():
    new = lines(b=33, stock=(GALVANISED,))
    plan = rerun(new, WorkRecord(cut=("a #1",)))
    assert how(plan) == {"a #1": "kept"}
    assert {(p.id, p.metal) for p in plan.pieces} == {("a #1", "aluminium"), ("b #2", "galvanised")}
    assert [p.stock for p in plan.purchases] == ["zn sheet"]
    assert any('what is left of "nest 1" is not used' in note for note in plan.notes)


def test_a_spoiled_strip_is_cut_again_under_its_own_name():
    plan = rerun(lines(), WorkRecord(cut="all", spoiled=("b #1",)))
    assert how(plan) == {"a #1": "kept"}
    assert [p.id for p in plan.pieces] == ["a #1", "b #1"]
    (nest,) = plan.nests
    assert [one.piece for one in nest.placed] == ["b #1"]
    assert len(nest.gone_mm) == 2
    bench = 3 + 0.5 * 30.5 / 12 + 0.45 * 63 / 12 + 10
    assert plan.cost.labor - plan.rerun.before.labor == pytest.approx(bench * MONEY_PER_MINUTE)


def test_a_spoiled_twin_is_marked_out_from_the_one_that_is_there():
    def twins():
        a = edge("a", straight(60 * INCH), split="forbidden", twin="b")
        b = edge("b", straight(60 * INCH), split="forbidden", twin="a")
        return job([a, b], [run("a", a), run("b", b)])

    old = plan_job(twins())
    owner = next(p.id for p in old.pieces if p.template_of is None)
    plan = rerun(twins(), WorkRecord(cut="all", spoiled=(owner,)), old)
    other = next(p.id for p in old.pieces if p.id != owner)
    assert how(plan) == {other: "kept"}
    assert next(p for p in plan.pieces if p.id == owner).template_of == other
    assert "template" not in hours(plan)


def test_a_piece_not_cut_yet_stays_where_it_is_marked_out():
    old = before()
    plan = rerun(lines(a=62), WorkRecord(bought="all"))
    (nest,) = plan.nests
    was = next(one for one in old.nests[0].placed if one.piece == "b #1")
    assert was in nest.placed
    assert (nest.id, nest.bought, nest.rest_of) == ("nest 1", False, None)
    assert [(p.buy, p.from_hand) for p in plan.purchases] == [(0, 1)]


def test_fitted_strips_that_come_off_have_a_price_in_the_objective_alone():
    record = WorkRecord(fitted="all", change_price=7.0)
    plan = rerun(lines(a=50), record)
    assert how(plan) == {"a #1": "trimmed", "b #1": "kept"}
    assert plan.rerun.changes == 1
    assert plan.cost.objective == pytest.approx(plan.cost.total + 7)
    (trimmed,) = [s for s in plan.rerun.sources if s.how == "trimmed"]
    assert "comes off its place first" in trimmed.reason


def test_the_half_inch_trimmed_off_at_fitting_is_no_metal_any_more():
    # fitted, the strip of a is 60 in long and no more: with its half inch to trim b asks for 60.5
    cut = rerun(lines(a=None, b=60), WorkRecord(cut=("a #1",)))
    assert how(cut) == {"a #1": "moved"}
    fitted = rerun(lines(a=None, b=60), WorkRecord(fitted=("a #1",)))
    assert how(fitted) == {}


def test_a_change_is_a_quarter_of_an_hour_where_nobody_says():
    plan = rerun(lines(a=50), WorkRecord(fitted="all"))
    assert plan.rerun.change_price == pytest.approx(15 * MONEY_PER_MINUTE)


def test_a_longer_line_keeps_its_strips_before_and_behind_where_it_grew():
    # 170 in are two strips; 8 in more are a third, between them or at an end
    old = plan_job(lines(a=170))
    assert len([p for p in old.pieces if p.run == "a"]) == 2
    plan = rerun(lines(a=178), old=old)
    kept = [name for name, word in how(plan).items() if word == "kept" and name.startswith("a")]
    assert len(kept) >= 1


def test_rerunning_twice_changes_nothing():
    new = lines(a=62)
    once = rerun(new)
    again = rerun_job(before(), new, ALL)
    assert again == once
    record = WorkRecord(cut=("b #1",))
    twice = rerun(new, record, once)
    assert twice.pieces == once.pieces
    assert twice.cost.total == pytest.approx(once.cost.total)
    assert [n.placed for n in twice.nests] == [n.placed for n in once.nests]
    assert twice.rerun.before.total == pytest.approx(twice.cost.total)


def test_a_built_section_stays_and_its_flange_is_not_built_again():
    # a body of two lids that may part along a line between them, in two sections
    def two(length=60.0):
        middle = edge("m", straight(length * INCH), split="required")
        return job([middle], [run("m", middle)])

    old = plan_job(two())
    assert len(old.sections) == 2
    plan = rerun(two(), WorkRecord(built="all"), old)
    assert [s.patches for s in plan.sections] == [s.patches for s in old.sections]
    assert "mold flanges" not in hours(plan)
    assert not any(a.item == "mold flange laminate" for a in plan.amounts)
    # the line itself changes: both sections are to be built anew
    longer = rerun(two(62), WorkRecord(built="all"), old)
    assert longer.rerun.built == ()
    assert hours(longer)["mold flanges"] == pytest.approx(12 * 62 / 12)
    assert sum("to be built anew" in note for note in longer.notes) == 2
