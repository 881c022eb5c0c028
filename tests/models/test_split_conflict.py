"""Why no split exists: every answer is held to listing every split without and with its members."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from split_cases import Judge, edge, patch, random_problem, unit

from solver.models.columns import make_nodes
from solver.models.split import cheapest_split
from solver.models.split_conflict import plain_facts, relaxed, requirements_of, why_not
from solver.models.split_problem import SplitProblem


def exists(problem: SplitProblem, kept: list) -> bool:
    eased, ordered = relaxed(problem, kept)
    return bool(Judge(eased).splits(ordered=ordered))


IMPOSSIBLE_SEEDS = [
    seed
    for seed in range(60)
    if not plain_facts(random_problem(seed, 5))
    and cheapest_split(random_problem(seed, 5)).status == "impossible"
][:8]


@pytest.mark.parametrize("seed", IMPOSSIBLE_SEEDS)
def test_the_conflict_cannot_hold_and_needs_each_of_its_members(seed: int) -> None:
    problem = random_problem(seed, 5)
    answer = why_not(problem)
    assert answer.status == "explained"
    assert answer.minimal
    kept = list(answer.requirements)
    assert set(kept) <= set(requirements_of(problem))
    assert not exists(problem, kept)
    for one in kept:
        assert exists(problem, [r for r in kept if r is not one])


@pytest.mark.parametrize("seed", [1002, 1008, 1014, 1027, 1037])
def test_what_locks_under_some_pulls_is_not_held_against_others(seed: int) -> None:
    # Order of removal together with pulls, walls and returns, each of which may be given up.
    random = np.random.default_rng(seed)
    pulls = tuple(unit(*v) for v in random.normal(size=(6, 3)))
    problem = random_problem(
        seed,
        5,
        lift_limit_kg=45.0,
        pulls=pulls if random.random() < 0.5 else None,
        pull_walls=tuple(unit(*v) for v in random.normal(size=(random.integers(0, 3), 3))),
    )
    answer = why_not(problem)
    kept = list(answer.requirements)
    assert answer.minimal
    assert "order of removal" in {r.rule for r in kept}
    assert not exists(problem, kept)
    for one in kept:
        assert exists(problem, [r for r in kept if r is not one])


def test_there_are_problems_to_explain() -> None:
    assert len(IMPOSSIBLE_SEEDS) == 8


def panels(count: int, **rules: object) -> SplitProblem:
    row = tuple(patch(f"p{i}", (0, 0, 1)) for i in range(count))
    return SplitProblem(row, tuple(edge(i, i + 1, (1, 0, 0)) for i in range(count - 1)), **rules)


def rules_of(problem: SplitProblem) -> list[tuple[str, tuple[str, ...]]]:
    answer = why_not(problem)
    assert answer.minimal
    return [(r.rule, r.ids) for r in answer.requirements]


def test_a_problem_that_has_a_split_is_said_to_be_possible() -> None:
    assert why_not(panels(4)).status == "possible"


def test_a_patch_too_heavy_is_named_with_its_weight() -> None:
    heavy = dataclasses.replace(panels(2).patches[0], id="roof", mass_kg=52.0)
    problem = SplitProblem((heavy, panels(2).patches[1]), panels(2).edges, lift_limit_kg=40.0)
    answer = why_not(problem)
    assert [(r.rule, r.ids) for r in answer.requirements] == [("lift limit", ("roof",))]
    assert 'section limit 88.2 lb (40 kg), but "roof" alone weighs 114.6 lb (52 kg)' in (
        answer.requirements[0].sentence
    )


def test_an_undercut_patch_is_named_with_its_angle_and_the_remedy_before_any_search() -> None:
    # Four walls of one patch lean inward by 3 degrees: the best pull, straight up, leaves -3.
    c, s = math.cos(math.radians(3)), math.sin(math.radians(3))
    bad = patch("lip", (c, 0, -s), (-c, 0, -s), (0, c, -s), (0, -c, -s), (0, 0, 1))
    problem = SplitProblem((bad, patch("b", (0, 0, 1))), (edge(0, 1, (1, 0, 0)),))
    answer = why_not(problem, deadline_s=0.0)
    assert answer.status == "explained"
    assert [(r.rule, r.ids) for r in answer.requirements] == [("release", ("lip",))]
    assert "undercut by 3.0 degrees" in answer.requirements[0].sentence
    assert "divide the patch here" in answer.requirements[0].sentence


def test_all_patches_that_fail_alone_are_told_at_once() -> None:
    problem = dataclasses.replace(panels(3), lift_limit_kg=5.0)
    answer = why_not(problem)
    assert [r.ids for r in (*answer.requirements, *answer.also)] == [("p0",), ("p1",), ("p2",)]


def test_a_patch_too_large_is_named_with_its_size() -> None:
    long = patch("keel", (0, 0, 1), box_mm=((0.0, 0.0, 0.0), (3000.0, 200.0, 100.0)))
    answer = why_not(SplitProblem((long,), (), largest_section_mm=(2000.0, 1000.0, 1000.0)))
    assert [(r.rule, r.ids) for r in answer.requirements] == [("largest section", ("keel",))]
    assert "118.1 x 7.874 x 3.937 in (3000 x 200 x 100 mm)" in answer.requirements[0].sentence


def test_weight_against_the_number_of_sections_is_told_with_the_number_needed() -> None:
    answer = why_not(panels(6, lift_limit_kg=20.0, most_sections=2))
    assert [r.rule for r in answer.requirements] == ["lift limit", "most sections"]
    assert "at least 3 sections" in answer.requirements[0].sentence


def test_two_pins_along_edges_that_may_not_split() -> None:
    row = [dataclasses.replace(p) for p in panels(4).patches]
    row[0] = dataclasses.replace(row[0], pin="front")
    row[2] = dataclasses.replace(row[2], pin="aft")
    lines = [dataclasses.replace(e, split="forbidden") for e in panels(4).edges]
    assert rules_of(SplitProblem(tuple(row), tuple(lines))) == [
        ("pin", ("p0",)),
        ("pin", ("p2",)),
        ("split forbidden", ("0 | 1",)),
        ("split forbidden", ("1 | 2",)),
    ]


def test_patches_pinned_together_that_no_section_can_hold_are_all_that_is_named() -> None:
    # The ends of a body 3 m long are pinned to one section, and none longer than 2.5 m fits the
    # door; the lift limit, tight as it is, has no part in that.
    row = panels(30, lift_limit_kg=60.0, largest_section_mm=(2500.0, 1100.0, 500.0))
    boxes = [((100.0 * i, 0.0, 0.0), (100.0 * (i + 1), 1000.0, 10.0)) for i in range(30)]
    patches = [
        dataclasses.replace(one, box_mm=box) for one, box in zip(row.patches, boxes, strict=True)
    ]
    for end in (0, -1):
        patches[end] = dataclasses.replace(patches[end], pin="x")
    problem = dataclasses.replace(row, patches=tuple(patches))
    assert rules_of(problem) == [
        ("largest section", ()),
        ("pin", ("p0",)),
        ("pin", ("p29",)),
    ]
    assert make_nodes(problem).impossible.any()


def test_patches_pinned_together_across_a_joint_that_must_be() -> None:
    row = [dataclasses.replace(p, pin="one" if i in (0, 2) else None)
           for i, p in enumerate(panels(3).patches)]  # fmt: skip
    lines = (panels(3).edges[0], dataclasses.replace(panels(3).edges[1], split="required"))
    assert rules_of(SplitProblem(tuple(row), lines)) == [
        ("pin", ("p0",)),
        ("pin", ("p2",)),
        ("split required", ("1 | 2",)),
        ("connected", ()),
    ]


def test_facets_all_round_need_more_sections_than_allowed() -> None:
    ring = []
    for i in range(6):
        turns = [math.radians(60 * i + t) for t in (-30, 0, 30)]
        ring.append(patch(f"p{i}", *[(math.cos(t), math.sin(t), 0) for t in turns]))
    lines = tuple(edge(i, (i + 1) % 6) for i in range(6))
    found = rules_of(SplitProblem(tuple(ring), lines, most_sections=2))
    assert ("most sections", ()) in found
    assert {rule for rule, _ in found} <= {"most sections", "release", "connected"}


def test_sections_that_lock_one_another_are_told_by_the_order_of_removal() -> None:
    # Each may only come straight up, and each hooks over the other at one of their two lines.
    both = (patch("a", (0, 0, 1)), patch("b", (0, 0, 1)))
    lines = (
        edge(0, 1, (0, 0, 1), split="required"),
        dataclasses.replace(edge(1, 0, (0, 0, 1)), id="back"),
    )
    problem = SplitProblem(both, lines, pulls=((0.0, 0.0, 1.0),))
    assert rules_of(problem) == [
        ("split required", ("0 | 1",)),
        ("pulls", ()),
        ("order of removal", ()),
    ]


def test_a_wall_in_the_way_of_a_patch_is_named_and_other_walls_are_not() -> None:
    # The side can only be pulled to the left (y): the wall there is to blame, the one below is not.
    side = patch("side", (0, 1, 0))
    problem = SplitProblem((side,), (), pull_walls=((0.0, 0.0, -1.0), (0.0, 1.0, 0.0)))
    assert rules_of(problem) == [("release", ("side",)), ("walls", ("1",))]
    assert why_not(dataclasses.replace(problem, pull_walls=((0, 0, -1.0),))).status == "possible"


def test_pulls_that_the_scenario_gives_are_named_where_they_are_to_blame() -> None:
    # Straight up takes off neither side; every such patch is told, with the list of pulls once.
    sides = (patch("left", (0, 1, 0)), patch("top", (0, 0, 1)), patch("right", (0, -1, 0)))
    lines = (edge(0, 1, (0, 0, 1)), edge(1, 2, (0, -1, 0)))
    answer = why_not(SplitProblem(sides, lines, pulls=((0.0, 0.0, 1.0),)))
    assert [(r.rule, r.ids) for r in answer.requirements] == [
        ("release", ("left",)),
        ("pulls", ()),
    ]
    assert [(r.rule, r.ids) for r in answer.also] == [("release", ("right",))]


def test_a_wall_is_to_blame_for_two_patches_that_need_one_pull() -> None:
    # Pinned together, top and side come off aslant to the left, where a wall stands.
    both = (patch("top", (0, 0, 1), pin="x"), patch("side", (0, 1, 0), pin="x"))
    problem = SplitProblem(both, (edge(0, 1, (0, 1, 0)),), pull_walls=(unit(0, 1, 1),))
    problem = dataclasses.replace(problem, draft_deg=20.0)
    answer = why_not(problem)
    assert answer.minimal
    named = {(r.rule, r.ids) for r in answer.requirements}
    assert ("walls", ("0",)) in named
    kept = list(answer.requirements)
    assert not exists(problem, kept)
    for one in kept:
        assert exists(problem, [r for r in kept if r is not one])


def test_a_return_that_holds_a_section_is_named() -> None:
    # A plug that tapers into its frame: the frame leans into their joint when it is pulled up.  It
    # comes off once the plug is gone, but not over metal that hooks under the laminate.
    both = (patch("frame", (0, 0, 1)), patch("plug", (0, 0, 1)))
    sides = [(math.cos(t), math.sin(t), 0.3) for t in (0.0, 2.0, 4.0)]
    line = dataclasses.replace(edge(0, 1, *sides, split="required"), hooked=True)
    problem = SplitProblem(both, (line,), pulls=((0.0, 0.0, 1.0),))
    assert rules_of(problem) == [
        ("split required", ("0 | 1",)),
        ("return", ("0 | 1",)),
        ("pulls", ()),
        ("order of removal", ()),
    ]
    plain = dataclasses.replace(problem, edges=(dataclasses.replace(line, hooked=False),))
    assert why_not(plain).status == "possible"


def symmetric_splits(problem: SplitProblem, mirror: tuple[int, ...], *, ordered: bool) -> list:
    """Every legal split that is its own image."""
    return [
        split
        for split in Judge(problem).splits(ordered=ordered)
        if {frozenset(mirror[i] for i in s) for s in split} == {frozenset(s) for s in split}
    ]


def test_a_symmetric_split_that_other_rules_forbid_is_told_with_those_rules() -> None:
    # Left, middle and right in a row, all facing up.  The left joint must be, so the right one is
    # too where both sides are split alike: that makes three sections, as left and right do not
    # touch, and only two are allowed.
    problem = panels(3, most_sections=2)
    lines = (dataclasses.replace(problem.edges[0], split="required"), problem.edges[1])
    problem = dataclasses.replace(problem, edges=lines)
    mirror = (2, 1, 0)
    answer = why_not(problem, symmetric=mirror)
    assert answer.minimal
    assert [r.rule for r in answer.requirements] == [
        "most sections",
        "split required",
        "connected",
        "symmetric split",
    ]
    assert not symmetric_splits(problem, mirror, ordered=True)
    for one in answer.requirements:
        kept = [r for r in answer.requirements if r is not one]
        eased, ordered = relaxed(problem, kept)
        alone = list(Judge(eased).splits(ordered=ordered))
        assert (
            alone
            if one.rule == "symmetric split"
            else symmetric_splits(eased, mirror, ordered=ordered)
        )
    assert why_not(problem).status == "possible"


def test_masses_and_sizes_are_told_in_both_units() -> None:
    # 150 lb, as a scenario may say, is 68.04 kg; 110 in are 2794 mm.
    wide = tuple(
        dataclasses.replace(one, mass_kg=60.0, box_mm=((0.0, 0, 0), (1000.0, 500, 200)))
        for one in panels(2).patches
    )
    problem = SplitProblem(
        wide,
        panels(2).edges,
        lift_limit_kg=150 * 0.45359237,
        largest_section_mm=(110 * 25.4, 62 * 25.4, 58 * 25.4),
        most_sections=1,
    )
    (lift, _) = why_not(problem).requirements
    assert lift.sentence.startswith("section limit 150 lb (68 kg), but the body weighs 264.6 lb")
    said = [r.sentence for r in requirements_of(problem)]
    assert "no section larger than 110 x 62 x 58 in (2794 x 1575 x 1473 mm)" in said


def test_no_time_is_unknown_and_never_an_explanation() -> None:
    seed = IMPOSSIBLE_SEEDS[0]
    answer = why_not(random_problem(seed, 5), deadline_s=0.0)
    assert answer.status == "unknown"
    assert not answer.minimal
