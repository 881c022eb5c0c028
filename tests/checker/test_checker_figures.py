"""The checker's own arithmetic against published and derived figures."""

import math
from dataclasses import replace

import pytest
from hand_plans import GALVANISED, LEAN, box_in_two_sections, doors_and_a_hatch, lid_in_a_frame

from solver.checker import check_plan
from solver.checker.folds import deduction_mm
from solver.checker.gauge import lean_mm, least_radius_mm, widest_pitch_mm
from solver.data.job import Rules, StockItem
from solver.data.plan import Proof, Requirement

INCH = 25.4


def sheet(metal, thickness_in, core_in):
    return replace(
        GALVANISED, metal=metal, thickness_mm=thickness_in * INCH, core_mm=core_in * INCH
    )


@pytest.mark.parametrize(
    ("metal", "core_in", "visible", "pitch_in"),
    [
        # Clamp pitch by the beam formula, P 5 lbf, 1/32 in hidden and 1/64 visible [derived];
        # cores by the Manufacturers' Standard gauge.
        ("aluminium", 0.0159, False, 1.7),
        ("aluminium", 0.0201, False, 2.2),
        ("galvanised", 0.0239, False, 3.69),
        ("galvanised", 0.0299, False, 4.62),
        ("galvanised", 0.0359, False, 5.55),
        ("galvanised", 0.0299, True, 3.67),
        ("galvanised", 0.0359, True, 4.40),
    ],
)
def test_clamp_pitch(metal, core_in, visible, pitch_in):
    pitch = widest_pitch_mm(sheet(metal, core_in, core_in), Rules(), visible=visible)
    assert pitch / INCH == pytest.approx(pitch_in, abs=0.06 if metal == "aluminium" else 0.006)


@pytest.mark.parametrize(
    ("metal", "core_in", "hidden_in", "visible_in"),
    [
        # Largest stand, from Timoshenko & Woinowsky-Krieger's cantilever plate [memory, derived].
        ("aluminium", 0.0159, 1.18, 0.42),
        ("aluminium", 0.0201, 1.67, 0.59),
        ("galvanised", 0.0179, 2.4, 0.85),
        ("galvanised", 0.0239, None, 1.31),
        ("galvanised", 0.0359, None, 2.42),
    ],
)
def test_a_stand_at_its_limit_leans_just_what_is_allowed(metal, core_in, hidden_in, visible_in):
    metal_sheet = sheet(metal, core_in, core_in)
    rules = Rules()
    if hidden_in is not None:
        lean = lean_mm(metal_sheet, hidden_in * INCH, rules)
        assert lean == pytest.approx(rules.lean_hidden_mm, rel=0.03)
    lean = lean_mm(metal_sheet, visible_in * INCH, rules)
    assert lean == pytest.approx(rules.lean_visible_mm, rel=0.03)


def test_bend_deduction_with_the_neutral_axis_of_machinerys_handbook():
    # 0.64·T + 1.57·R is K 0.407: T 0.0396, R 1/32 lose 0.0673; R 1/16 loses 0.0807 [derived].
    for radius, lost in ((1 / 32, 0.0673), (1 / 16, 0.0807)):
        rules = Rules(bend_radius_mm=radius * INCH, bend_k=0.407)
        assert deduction_mm(rules, 0.0396 * INCH) / INCH == pytest.approx(lost, abs=1e-4)


def test_aluminium_folds_sharp_up_to_a_sixteenth_and_zinc_over_its_thickness():
    # Aluminum Design Manual 2005, Part VII Table 3-1; galvanised 1t to keep the zinc [practice].
    assert least_radius_mm(sheet("aluminium", 1 / 16, 1 / 16)) == 0.0
    assert least_radius_mm(sheet("galvanised", 0.0396, 0.0359)) == pytest.approx(0.0396 * INCH)


def test_a_wall_at_exactly_the_draft_releases():
    good = box_in_two_sections()
    job = replace(good.job, rules=replace(good.job.rules, draft_deg=5.0))
    assert LEAN[2] == pytest.approx(math.sin(math.radians(5)))
    assert check_plan(job, good.plan).ok


def test_a_pull_may_lean_into_a_neighbour_by_the_blocking_angle():
    # m of S1 toward S2 made flat to the pull but for 0.4 degrees; 0.5 are allowed.
    good = box_in_two_sections()
    lean = math.radians(0.4)
    edges = list(good.job.edges)
    edges[1] = replace(edges[1], facings=((math.cos(lean), 0.0, math.sin(lean)),))
    job = replace(good.job, edges=tuple(edges))
    steps = (good.plan.removal[1].model_copy(update={"after": ()}), good.plan.removal[0])
    assert check_plan(job, good.plan.model_copy(update={"removal": steps})).ok


def test_a_folded_blank_that_is_the_same_from_its_other_end_may_be_turned_over():
    # The hatch with a straight line: no slits, its blank a plain rectangle.
    from solver.data.line import Line, Stretch

    good = doors_and_a_hatch()
    edges = list(good.job.edges)
    edges[2] = replace(edges[2], line=Line((Stretch(edges[2].length_mm),)))
    blank = good.plan.pieces[2].blank.model_copy(update={"slits_mm": (), "v_notches_mm": ()})
    pieces = (*good.plan.pieces[:2], good.plan.pieces[2].model_copy(update={"blank": blank}))
    nest = good.plan.nests[0]
    turned = nest.placed[0].model_copy(update={"flipped": True, "y_mm": blank.above_mm})
    nest = nest.model_copy(update={"placed": (turned, *nest.placed[1:])})
    plan = good.plan.model_copy(update={"pieces": pieces, "nests": (nest,)})
    faults = check_plan(replace(good.job, edges=tuple(edges)), plan).faults
    # Only the minutes of the cuts that are no longer made differ.
    assert {fault.rule for fault in faults} == {"minutes", "total minutes", "cost"}


def test_seams_beside_a_corner_are_forgiven_where_corners_leave_no_other_place():
    # Corners every 60 mm all round, too slight to be bent, each keeping seams 50.8 mm away.
    from solver.data.line import Corner

    good = lid_in_a_frame(halves=2)
    edge = good.job.edges[0]
    corners = tuple(Corner(float(at), easy_deg=0.4) for at in range(0, 2046, 60))
    job = replace(good.job, edges=(replace(edge, line=replace(edge.line, corners=corners)),))
    assert check_plan(job, good.plan).ok


def test_impossible_is_an_answer_without_cost():
    good = lid_in_a_frame()
    proof = Proof(
        bound=None,
        gap=None,
        covers="",
        purchase_bound=None,
        purchase_gap=None,
        purchase_covers="",
    )
    bare = good.plan.model_copy(
        update={
            "status": "impossible", "cost": None, "proof": proof, "sections": (), "removal": (),
            "edges": (), "pieces": (), "purchases": (), "nests": (), "amounts": (), "hours": (),
            "impossible": (Requirement(rule="release", ids=("lid",), sentence="no pull frees it"),),
        }
    )  # fmt: skip
    report = check_plan(good.job, bare)
    assert report.ok
    assert report.cost is None
    unexplained = bare.model_copy(update={"impossible": ()})
    assert [fault.rule for fault in check_plan(good.job, unexplained).faults] == ["status"]


def test_renaming_everything_changes_no_verdict():
    # Relabelled patches, edges and sections: same cost, no fault.
    good = box_in_two_sections()
    words = {"a": "alpha", "b.near": "beta", "b.far": "gamma", "open": "open"}

    def renamed(edge):
        return f"{words[edge.first]} | {words[edge.second]}"

    edge_names = {edge.id: renamed(edge) for edge in good.job.edges}
    job = replace(
        good.job,
        patches=tuple(replace(p, id=words[p.id]) for p in good.job.patches),
        edges=tuple(
            replace(e, id=edge_names[e.id], first=words[e.first], second=words[e.second])
            for e in good.job.edges
        ),
        runs=tuple(
            replace(r, edges=tuple(replace(s, edge=edge_names[s.edge]) for s in r.edges))
            for r in good.job.runs
        ),
    )
    text = good.plan.model_dump()
    for section in text["sections"]:
        section["patches"] = [words[patch] for patch in section["patches"]]
    for step in text["removal"]:
        step["draft_set_by"] = [words[patch] for patch in step["draft_set_by"]]
        step["drawn_first"] = [edge_names[edge] for edge in step["drawn_first"]]
    for planned in text["edges"]:
        planned["edge"] = edge_names[planned["edge"]]
    for piece in text["pieces"]:
        for span in piece["spans"]:
            span["edge"] = edge_names[span["edge"]]
    report = check_plan(job, type(good.plan).model_validate(text))
    assert report.faults == ()
    assert report.cost.objective == pytest.approx(good.plan.cost.objective)


def test_an_offcut_on_hand_is_cut_within_its_own_outline():
    # A triangle with legs of 100 in for the lid's strip: it fits along a leg, not into its tip.
    good = lid_in_a_frame()
    leg = 100 * INCH
    offcut = StockItem(
        id="left over", form="offcut", metal="aluminium", gauge=24, thickness_mm=0.51, core_mm=0.51,
        mass_kg_m2=1.4, width_mm=leg, length_mm=leg, on_hand=1, for_sale=0,
        outline_mm=((0.0, 0.0), (leg, 0.0), (0.0, leg)),
    )  # fmt: skip
    job = replace(good.job, stock=(*good.job.stock, offcut))
    nest = good.plan.nests[0]
    rules = {}
    for x in (0.0, 500.0):
        placed = (nest.placed[0].model_copy(update={"x_mm": x, "y_mm": 0.0}),)
        moved = nest.model_copy(
            update={"stock": "left over", "bought": False, "placed": placed, "offcuts": ()}
        )
        plan = good.plan.model_copy(update={"nests": (moved,)})
        rules[x] = {fault.rule for fault in check_plan(job, plan).faults}
    assert "inside" not in rules[0.0]
    assert "inside" in rules[500.0]
