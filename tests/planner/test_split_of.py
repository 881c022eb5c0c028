"""What the split is told of a job: masses by hand, and what each edge may be."""

from __future__ import annotations

import dataclasses
import math

import pytest
from small_jobs import GALVANISED, LIGHT_ALUMINIUM, edge, job, run, straight

from solver.data.job import Edge, Job, Patch, Rules, Shop
from solver.planner.split_of import edge_rules, flange_kg, flashing_kg, split_problem_of

EVERY = {"pinched", "standing"}


def body(**given: object) -> Job:
    """A lid of two patches in a frame with an open rim."""
    box = ((0.0, 0.0, 0.0), (1000.0, 500.0, 100.0))
    patches = [
        Patch("front", "lid", 500_000.0, ((0, 0, 1),), box_mm=box, pin="x"),
        Patch("rear", "lid", 300_000.0, ((0, 0, 1),), spread_deg=5.0, box_mm=box),
        Patch("frame", "frame", 200_000.0, ((1, 0, 0),), box_mm=box),
    ]
    edges = [
        Edge("middle", "front", "rear", straight(800), None, None, facings=((1.0, 0.0, 0.0),)),
        edge("side", straight(1000), "front", "frame", stand_mm=25.0, grip_mm=15.0, return_mm=10.0),
        edge("rim", straight(2000), "rear", "open", stand_mm=25.0, grip_mm=15.0),
    ]
    stock = (LIGHT_ALUMINIUM, GALVANISED)
    return job(edges, [run("R1", "side"), run("R2", "rim")], stock, patches=patches, **given)


# --- masses ---------------------------------------------------------------------------------------


def test_metal_is_weighed_as_if_it_were_the_heaviest_in_stock() -> None:
    of = body()
    # (25 + 15 + 10) mm · 1 m at 6.9 kg/m2
    assert flashing_kg(of, of.edge_of["side"]) == pytest.approx(0.345)
    assert flashing_kg(of, of.edge_of["rim"]) == pytest.approx(0.04 * 2 * 6.9)
    assert flashing_kg(of, of.edge_of["middle"]) == 0.0
    assert flashing_kg(dataclasses.replace(of, stock=()), of.edge_of["side"]) == 0.0


def test_a_mold_flange_weighs_what_its_width_of_mold_does() -> None:
    # 50 mm · 0.8 m at 18 kg/m2
    of = body()
    assert flange_kg(of, of.edge_of["middle"]) == pytest.approx(0.72)


def test_sections_carry_open_flanges_and_half_of_the_metal_between_them() -> None:
    of = body(rules=Rules(frame_fraction=0.15))
    problem = split_problem_of(of, edge_rules(of, {"side": EVERY}))
    assert [patch.mass_kg for patch in problem.patches] == pytest.approx([9.0, 5.4, 3.6])
    # front: half the metal of its side; rear: the flange 50 mm · 2 m · 18 and metal of its rim;
    # frame: the other half of the side
    assert problem.open_mass_kg == pytest.approx((0.1725, 1.8 + 0.552, 0.1725))
    assert [e.joint_mass_kg for e in problem.edges] == pytest.approx([0.72, 0.9])
    assert problem.frame_fraction == 0.15


def test_the_whole_body_weighs_the_same_however_it_is_shared_out() -> None:
    of = body()
    problem = split_problem_of(of, edge_rules(of, {"side": EVERY}))
    whole = sum(p.mass_kg for p in problem.patches) + sum(problem.open_mass_kg)
    assert whole == pytest.approx(1.0 * 18 + flange_kg(of, of.edge_of["rim"]) + sum(
        flashing_kg(of, e) for e in of.edges
    ))  # fmt: skip


# --- what is passed on ----------------------------------------------------------------------------


def test_patches_edges_and_limits_reach_the_split_as_they_are() -> None:
    of = body(
        rules=Rules(
            draft_deg=3.0,
            blocking_deg=0.7,
            most_sections=2,
            fewest_sections=2,
            pulls=((0.0, 0.0, 1.0),),
            walls=((1.0, 0.0, 0.0),),
        ),
        shop=Shop(lift_limit_kg=40.0, largest_section_mm=(900.0, 800.0, 700.0)),
    )
    problem = split_problem_of(of, edge_rules(of, {"side": EVERY}), section_cost=7.0)
    assert (problem.draft_deg, problem.blocking_deg) == (3.0, 0.7)
    assert (problem.fewest_sections, problem.most_sections) == (2, 2)
    assert (problem.lift_limit_kg, problem.largest_section_mm) == (40.0, (900.0, 800.0, 700.0))
    assert (problem.pulls, problem.pull_walls) == (((0.0, 0.0, 1.0),), ((1.0, 0.0, 0.0),))
    assert problem.section_cost == 7.0
    for mine, theirs in zip(of.patches, problem.patches, strict=True):
        assert (mine.id, mine.area_mm2, mine.facings, mine.spread_deg, mine.box_mm, mine.pin) == (
            theirs.id, theirs.area_mm2, theirs.facings, theirs.spread_deg, theirs.box_mm,
            theirs.pin,
        )  # fmt: skip
    # open edges are no lines of the split
    assert [(e.id, e.a, e.b, e.length_mm) for e in problem.edges] == [
        ("middle", 0, 1, 800.0),
        ("side", 0, 2, 1000.0),
    ]
    assert problem.edges[0].facings == ((1.0, 0.0, 0.0),)


def test_no_pulls_given_means_any_pull() -> None:
    of = body()
    assert split_problem_of(of, edge_rules(of, {"side": EVERY})).pulls is None


def test_costs_are_given_by_edge_and_what_cannot_be_is_not_priced() -> None:
    of = body()
    rules = edge_rules(of, {"side": EVERY})
    problem = split_problem_of(of, rules, {"side": (2.5, math.inf)})
    assert [(e.inside_cost, e.joint_cost) for e in problem.edges] == [(0.0, 0.0), (2.5, 0.0)]


# --- what an edge may be --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "mountings", "split", "rule"),
    [
        ({}, EVERY, "allowed", ""),
        ({"split": "required"}, {"pinched"}, "required", "split required"),
        ({"split": "forbidden"}, {"standing"}, "forbidden", "split forbidden"),
        ({"standing": "forbidden"}, {"pinched"}, "required", "standing"),
        ({}, {"pinched"}, "required", "standing"),
        ({}, {"standing"}, "forbidden", "gauge"),
    ],
)
def test_an_edge_with_metal_is_a_joint_where_it_cannot_stand_and_whole_where_it_cannot_be_pinched(
    asked: dict[str, object], mountings: set[str], split: str, rule: str
) -> None:
    of = job([edge("a", straight(500), **asked)], [run("R1", "a")])
    found = edge_rules(of, {"a": mountings})["a"]
    assert (found.split, found.rule) == (split, rule)
    assert ('"a"' in found.sentence) == bool(rule)


def test_the_reason_says_whether_the_builder_or_the_stock_forbids_standing() -> None:
    forbidden = job([edge("a", straight(500), standing="forbidden")], [run("R1", "a")])
    too_thin = job([edge("a", straight(500))], [run("R1", "a")])
    assert "forbidden there" in edge_rules(forbidden, {"a": {"pinched"}})["a"].sentence
    assert "no metal in the stock" in edge_rules(too_thin, {"a": {"pinched"}})["a"].sentence


@pytest.mark.parametrize(
    ("asked", "split", "rule"),
    [
        ({}, "allowed", ""),
        ({"witness": "forbidden"}, "forbidden", "witness"),
        ({"witness": "forbidden", "visible": True}, "forbidden", "witness"),
        ({"split": "required"}, "required", "split required"),
        ({"split": "forbidden"}, "forbidden", "split forbidden"),
    ],
)
def test_a_line_within_a_part_may_be_a_joint_where_a_witness_line_may_be(
    asked: dict[str, object], split: str, rule: str
) -> None:
    patches = [Patch(n, "lid", 1e5, ((0, 0, 1),)) for n in ("lid", "frame")]
    of = job([edge("a", straight(500), **asked)], [], patches=patches)
    found = edge_rules(of, {})["a"]
    assert (found.split, found.rule) == (split, rule)


def test_open_edges_have_no_rule_of_splitting() -> None:
    assert set(edge_rules(body(), {"side": EVERY, "rim": {"clamped"}})) == {"middle", "side"}
