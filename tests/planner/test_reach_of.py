"""Reach: which patches are too deep to work, and the tipping that brings them near."""

from dataclasses import replace

import pytest

from solver.data.job import Edge, Job, Patch
from solver.data.line import Line, Stretch
from solver.data.plan import EdgePlan, Section
from solver.planner.reach_of import reach_cautions, ways_mm

STRAIGHT = Line((Stretch(1000.0),))


def panel(name: str, front: float, left: float, at: float = 0.0) -> Patch:
    box = ((at, 0.0, 0.0), (at + front, left, 10.0))
    return Patch(name, "hull", front * left, ((0.0, 0.0, 1.0),), box_mm=box)


def three_in_a_row(breadth: float) -> tuple[Job, tuple[EdgePlan, ...]]:
    """Panels 1500 long side by side; only the first has an open edge."""
    patches = tuple(panel(name, breadth, 1500.0, i * breadth) for i, name in enumerate("abc"))
    edges = (
        Edge("a | open", "a", "open", STRAIGHT, "M1", "M2"),
        Edge("a | b", "a", "b", STRAIGHT, "M3", "M4"),
        Edge("b | c", "b", "c", STRAIGHT, "M5", "M6"),
    )
    job = Job("row", "mm", "USD", patches, edges, ())
    return job, tuple(EdgePlan(edge=e.id, treatment="plain", joint=False) for e in edges)


def section(mass_kg: float, extent: tuple[float, float, float]) -> Section:
    return Section(
        id="A", patches=("a", "b", "c"), area_mm2=1.0, mass_kg=mass_kg, extent_mm=extent,
        centre_mm=(0.0, 0.0, 0.0), people=2, lift_basis="",
    )  # fmt: skip


def test_a_patch_without_a_border_is_reached_across_its_neighbours():
    job, edges = three_in_a_row(300.0)
    # a from its own open edge, b across a, c across a and b
    assert ways_mm(job, edges) == pytest.approx({"a": 300.0, "b": 600.0, "c": 900.0})


def test_a_joint_lets_one_in_from_both_sides():
    job, edges = three_in_a_row(300.0)
    split = (edges[0], edges[1], edges[2].model_copy(update={"joint": True}))
    # b has the joint, c too; b is now reached from the joint alone: 300 wide
    assert ways_mm(job, split) == pytest.approx({"a": 300.0, "b": 300.0, "c": 300.0})


def test_two_borders_halve_the_way():
    job, edges = three_in_a_row(300.0)
    split = tuple(e.model_copy(update={"joint": e.edge != "a | open"}) for e in edges)
    # a: open edge and joint; b: two joints; c: one joint
    assert ways_mm(job, split) == pytest.approx({"a": 150.0, "b": 150.0, "c": 300.0})


def test_without_boxes_nothing_is_said():
    job, edges = three_in_a_row(900.0)
    bare = replace(job, patches=(replace(job.patches[0], box_mm=None), *job.patches[1:]))
    assert reach_cautions(bare, (section(10.0, (900.0, 1500.0, 10.0)),), edges) == ()


def test_the_push_and_the_lean_are_those_of_the_moments():
    job, edges = three_in_a_row(300.0)
    # 54 lbf for 120 lb, 18 in base, 40 in high (moments about the edge); 54.4311 kg = 120 lb
    deep = section(54.4310844, (2 * 457.2, 3000.0, 1016.0))
    (said,) = reach_cautions(job, (deep,), edges)
    # only c, 900 deep, is past 678 mm (26.7 in): acos(678 / 900) = 41.1 degrees
    assert 'patch "c"' in said
    assert "tip section A by 41 degrees" in said
    assert "54.0 lbf" in said
    # atan(18 / 20) = 42 degrees: not yet falling
    assert "falls" not in said
    assert "local codes and licensed practice decide" in said
