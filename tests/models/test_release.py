"""Release: both answers are held to certificates that need no solver of ours.

Yes: the pull itself satisfies every row.  No: non-negative weights w on the conflict's rows with
|G' w| < h . w, since then w . G p <= |G' w| < w . h for every unit p (Farkas); the weights come
from scipy's SLSQP, which the model does not use.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from split_cases import edge, patch, random_problem, unit

from solver.models.release import (
    Conflict,
    Release,
    cap_crossings,
    direction_table,
    release,
    release_patches,
)
from solver.models.split_problem import SplitPatch, SplitProblem, SplitProblemError

SIN_LEAN = math.sin(math.radians(0.5))


def hull_distance(g: np.ndarray, h: np.ndarray | None = None) -> float:
    """Least |G' w| over w >= 0 with h . w = 1 (h all ones: distance of the hull from zero)."""
    h = np.ones(len(g)) if h is None else h
    start = np.full(len(g), 1.0 / h.sum())
    answer = minimize(
        lambda w: float(np.sum((g.T @ w) ** 2)),
        start,
        jac=lambda w: 2.0 * g @ (g.T @ w),
        bounds=[(0.0, None)] * len(g),
        constraints=[{"type": "eq", "fun": lambda w: h @ w - 1.0, "jac": lambda w: h}],
        method="SLSQP",
        options={"maxiter": 300, "ftol": 1e-15},
    )
    return math.sqrt(max(answer.fun, 0.0))


def normals(random: np.random.Generator, count: int, spread: float) -> np.ndarray:
    n = unit(*random.normal(size=3)) + spread * random.normal(size=(count, 3))
    return n / np.linalg.norm(n, axis=1, keepdims=True)


def test_every_answer_on_random_sets_carries_its_own_proof() -> None:
    random = np.random.default_rng(7)
    yes = no = 0
    for _ in range(1200):
        axes = normals(random, int(random.integers(1, 25)), random.uniform(0.2, 1.2))
        half = np.where(random.random(len(axes)) < 0.3, random.uniform(0, 20, len(axes)), 0.0)
        joints = normals(random, int(random.integers(0, 4)), 1.0)
        walls = normals(random, int(random.integers(0, 2)), 1.0)
        answer = release(axes, half, 2.0, joints=joints, walls=walls)
        g = np.vstack([axes, -joints, -walls])
        h = np.concatenate([
            np.sin(np.radians(2.0 + half)), np.full(len(joints), -SIN_LEAN), np.zeros(len(walls)),
        ])  # fmt: skip
        if isinstance(answer, Release):
            yes += 1
            assert np.linalg.norm(answer.pull) == pytest.approx(1.0, abs=1e-12)
            assert (g @ answer.pull - h).min() >= -1e-9
        else:
            no += 1
            rows = list(answer.rows)
            assert len(rows) <= 4
            if h[rows].max() <= 0.0:
                continue
            if (h[rows] > 0).all():
                assert hull_distance(g[rows], h[rows]) < 1.0
            else:
                # Leaning rows have negative h: weigh them in units that keep h . w = 1.
                scale = minimize(
                    lambda w, g=g, h=h, rows=rows: float(
                        np.linalg.norm(g[rows].T @ w) - h[rows] @ w
                    ),
                    np.full(len(rows), 0.5),
                    bounds=[(0.0, 1.0)] * len(rows),
                    method="SLSQP",
                )
                assert scale.fun < 0.0
    assert yes > 200
    assert no > 200


def test_the_pull_has_the_widest_least_draft() -> None:
    # [derived] max over p of min n.p is the distance of the hull of the normals from zero.
    random = np.random.default_rng(3)
    for _ in range(150):
        axes = normals(random, int(random.integers(2, 12)), 0.5)
        answer = release(axes, np.zeros(len(axes)), 2.0)
        if isinstance(answer, Release):
            assert math.sin(math.radians(answer.draft_deg)) == pytest.approx(
                hull_distance(axes), abs=1e-6
            )


def test_four_normals_of_a_tetrahedron_conflict_and_any_three_release() -> None:
    four = np.array([unit(1, 1, 1), unit(1, -1, -1), unit(-1, 1, -1), unit(-1, -1, 1)])
    assert release(four, np.zeros(4), 2.0) == Conflict((0, 1, 2, 3))
    for left_out in range(4):
        three = np.delete(four, left_out, axis=0)
        answer = release(three, np.zeros(3), 2.0)
        assert isinstance(answer, Release)
        # The pull is opposite the fourth corner; cos of the angle to each face normal is 1/3.
        assert math.sin(math.radians(answer.draft_deg)) == pytest.approx(1 / 3)


def test_a_box_needs_draft_on_its_walls() -> None:
    def box(wall_deg: float) -> np.ndarray:
        c, s = math.cos(math.radians(wall_deg)), math.sin(math.radians(wall_deg))
        return np.array([(c, 0, s), (-c, 0, s), (0, c, s), (0, -c, s), (0, 0, 1)])

    straight = release(box(0.0), np.zeros(5), 2.0)
    assert isinstance(straight, Conflict)
    assert len(straight.rows) == 2
    exact = release(box(2.0), np.zeros(5), 2.0)
    assert isinstance(exact, Release)
    assert exact.pull == pytest.approx((0, 0, 1), abs=1e-7)
    assert exact.draft_deg == pytest.approx(2.0)
    assert exact.binding == (0, 1, 2, 3)
    # With no draft asked for, straight walls slide off.
    assert isinstance(release(box(0.0), np.zeros(5), 0.0), Release)
    assert isinstance(release(box(-1.0), np.zeros(5), 0.0), Conflict)


@pytest.mark.parametrize(("half_deg", "releases"), [(88.0, True), (88.1, False), (90.0, False)])
def test_a_cylinder_releases_in_two_parts_only_short_of_the_halves(
    half_deg: float, releases: bool
) -> None:
    turns = np.radians(np.linspace(-half_deg, half_deg, 41))
    axes = np.column_stack([np.cos(turns), np.sin(turns), np.zeros(41)])
    assert isinstance(release(axes, np.zeros(41), 2.0), Release) is releases


@pytest.mark.parametrize(("half_deg", "releases"), [(87.9, True), (88.0, True), (88.1, False)])
def test_a_cone_of_normals_releases_up_to_a_right_angle_less_draft(
    half_deg: float, releases: bool
) -> None:
    answer = release(np.array([unit(1, 2, 3)]), np.array([half_deg]), 2.0)
    assert isinstance(answer, Release) is releases
    if isinstance(answer, Release):
        assert answer.draft_deg == pytest.approx(90.0 - half_deg, abs=1e-6)


def test_cones_of_different_spread_share_their_draft() -> None:
    # [derived] Two cones 100 degrees apart, half-angles 10 and 20: the pull divides
    # 100 = (90 - d - 10) + (90 - d - 20) at draft d = 25, 55 degrees from the first axis.
    axes = np.array(
        [(1.0, 0.0, 0.0), (math.cos(math.radians(100)), math.sin(math.radians(100)), 0)]
    )
    answer = release(axes, np.array([10.0, 20.0]), 2.0)
    assert isinstance(answer, Release)
    assert answer.draft_deg == pytest.approx(25.0, abs=1e-6)
    assert math.degrees(math.acos(answer.pull[0])) == pytest.approx(55.0, abs=1e-6)


@pytest.mark.parametrize(("lean_deg", "goes"), [(0.4, True), (0.6, False)])
def test_a_pull_may_lean_into_a_neighbour_by_half_a_degree(lean_deg: float, goes: bool) -> None:
    # Walls at the draft angle leave the pull no choice but straight up.
    c, s = math.cos(math.radians(2)), math.sin(math.radians(2))
    axes = np.array([(c, 0, s), (-c, 0, s), (0, c, s), (0, -c, s)])
    lean = math.radians(lean_deg)
    answer = release(axes, np.zeros(4), 2.0, joints=np.array([[math.cos(lean), 0, math.sin(lean)]]))
    assert isinstance(answer, Release) is goes


def test_a_wall_in_the_way_and_a_list_of_pulls_are_obeyed() -> None:
    axes, half = np.array([unit(0, 0, 1)]), np.zeros(1)
    turned = release(axes, half, 2.0, walls=np.array([[0.0, 0.0, 1.0]]))
    assert isinstance(turned, Conflict)
    aside = release(axes, half, 2.0, walls=np.array([unit(1, 0, 1)]))
    assert isinstance(aside, Release)
    assert np.dot(aside.pull, unit(1, 0, 1)) <= 1e-9
    listed = release(axes, half, 2.0, pulls=[(1.0, 0.0, 0.0), unit(1, 0, 1)])
    assert isinstance(listed, Release)
    assert listed.pull == pytest.approx(unit(1, 0, 1))
    assert release(axes, half, 2.0, pulls=[(1.0, 0.0, 0.0)]) == Conflict((0,))


@settings(max_examples=40, derandomize=True, deadline=None)
@given(st.integers(0, 10_000))
def test_the_table_of_pulls_gives_the_same_answer_as_the_exact_test(seed: int) -> None:
    random = np.random.default_rng(seed)
    problem = random_problem(seed, 12)
    table = direction_table(problem)
    for _ in range(25):
        members = sorted(random.choice(12, int(random.integers(1, 6)), replace=False).tolist())
        exact = release_patches(problem, members)
        assert table.releases(members) is isinstance(exact, Release)
        if isinstance(exact, Conflict):
            assert set(exact.rows) <= set(members)
            assert not table.releases(exact.rows)


def test_caps_that_only_touch_meet_in_their_point_of_tangency() -> None:
    s = math.sin(math.radians(2))
    c = math.cos(math.radians(2))
    points = cap_crossings(np.array([(c, 0, s), (-c, 0, s)]), np.array([s, s]))
    assert any(np.allclose(p, (0, 0, 1), atol=1e-9) for p in points)


@pytest.mark.parametrize(
    ("given_patch", "word"),
    [
        (patch("a", (0, 0, 1), spread_deg=-1.0), "spread_deg"),
        (SplitPatch("a", 1.0, 1.0, ((0.0, 0.0, 2.0),)), "facings"),
        (patch("a", (0, 0, 1), mass_kg=-2.0), "mass_kg"),
        (patch("a", (0, 0, 1), box_mm=((1.0, 0.0, 0.0), (0.0, 1.0, 1.0))), "box_mm"),
    ],
)
def test_a_patch_that_makes_no_sense_is_refused_by_name(given_patch: object, word: str) -> None:
    with pytest.raises(SplitProblemError, match=f"'a'.*{word}"):
        SplitProblem((given_patch,), ())


def test_an_edge_that_makes_no_sense_is_refused_by_name() -> None:
    two = (patch("a", (0, 0, 1)), patch("b", (0, 0, 1)))
    for wrong, word in (
        (edge(0, 2, (1, 0, 0)), "not in the list"),
        (edge(0, 0, (1, 0, 0)), "itself"),
        (edge(0, 1, (1, 0, 0), split="maybe"), "maybe"),
    ):
        with pytest.raises(SplitProblemError, match=word):
            SplitProblem(two, (wrong,))
