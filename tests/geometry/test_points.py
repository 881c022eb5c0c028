"""Lines from points on surfaces whose curvatures are known, exact and with measuring noise.

Theory is taken from dense frames of the exact surface (difference quotients of 4000 exact points),
which shares nothing with the fit.  Noise at 6 in spacing: every point moved by up to 1/16 in,
evenly in a ball, every normal by up to about 1/2 degree.  The bounds are what was measured over
eight seeds, rounded up; the length of a path is uncertain by its two end points alone (1/8 in).
"""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.special import ellipe

from solver.data.line import Line, Stretch
from solver.geometry.blanks import blank_of
from solver.geometry.lines import curvatures_at, root_points, walk_in_surface
from solver.geometry.points import MEASURING_TOLERANCE_MM, fit_points, line_from_points

INCH = 25.4
LEAN = math.radians(20.0)


def on_cylinder(climb):
    def path(u):
        n = np.stack((np.cos(u), np.sin(u), 0 * u), axis=1)
        return 600 * n + np.outer(climb * u, (0, 0, 1)), n

    return path


def on_cone(inward):
    def path(u):
        radius = 700 - inward * u
        n = np.stack((np.cos(u), np.sin(u), 0 * u), axis=1)
        points = radius[:, None] * n + np.outer((700 - radius) / math.tan(LEAN), (0, 0, 1))
        return points, math.cos(LEAN) * n + math.sin(LEAN) * np.array((0, 0, 1))

    return path


def on_sphere(u):
    v = 0.4 * np.sin(1.5 * u)
    n = np.stack((np.cos(v) * np.cos(u), np.cos(v) * np.sin(u), np.sin(v)), axis=1)
    return 900 * n, n


def on_torus(along, across):
    def path(t):
        u, v = along * t, across * t
        n = np.stack((np.cos(v) * np.cos(u), np.cos(v) * np.sin(u), np.sin(v)), axis=1)
        return 900 * np.stack((np.cos(u), np.sin(u), 0 * u), axis=1) + 500 * n, n

    return path


CONSTANT = {
    # the textbook values (do Carmo): easy, hard, twist in 1/mm; metal stands inward, left is down
    "ring round a cylinder": (on_cylinder(0.0), 1.8, (0.0, 1 / 600, 0.0)),
    "helix on a cylinder": (
        on_cylinder(350.0), 2.0, (0.0, 600 / (600**2 + 350**2), 350 / (600**2 + 350**2))
    ),
    "ring round a cone": (on_cone(0.0), 1.8, (-math.sin(LEAN) / 700, math.cos(LEAN) / 700, 0.0)),
    "meridian of a torus": (on_torus(0.0, 1.0), 1.8, (0.0, 1 / 500, 0.0)),
    "outer ring of a torus": (on_torus(1.0, 0.0), 1.2, (0.0, 1 / 1400, 0.0)),
}  # fmt: skip
VARYING = {
    "spiral on a cone": (on_cone(120.0), 1.8),
    "wave on a sphere": (on_sphere, 1.8),
    "diagonal on a torus": (on_torus(1.0, 1.2), 1.4),
}


def theory(path, end):
    """Stations and easy, hard, twist (k, 3) of a path, from a dense walk on the exact surface."""
    u = np.linspace(0.0, end, 4001)
    points, normals = path(u)
    ups = -normals
    s = np.concatenate(((0.0,), np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))))
    tangents = np.gradient(points, s, axis=0, edge_order=2)
    lefts = np.cross(ups, tangents)
    bends = np.gradient(tangents, s, axis=0, edge_order=2)
    turns = np.gradient(ups, s, axis=0, edge_order=2)
    kinds = [np.sum(bends * lefts, 1), np.sum(bends * ups, 1), -np.sum(turns * lefts, 1)]
    return u, s, np.stack(kinds, axis=1)


def taped(path, end):
    """Points and normals of a path every 6 in or so."""
    u, s, _ = theory(path, end)
    count = round(s[-1] / (6 * INCH)) + 1
    return path(np.interp(np.linspace(0.0, s[-1], count), s, u))


def measured(points, normals, seed):
    rng = np.random.default_rng(seed)
    step = rng.normal(size=points.shape)
    step *= (MEASURING_TOLERANCE_MM * rng.random(len(points)) ** (1 / 3))[:, None] / (
        np.linalg.norm(step, axis=1)[:, None]
    )
    return points + step, normals + math.radians(0.5) * rng.uniform(-1, 1, size=points.shape)


def misfit(line, path, end):
    """Largest errors of easy, hard, twist (1/mm), of the flat root line and the length (mm)."""
    _, s, kinds = theory(path, end)
    share = np.linspace(0.0, 1.0, 201)
    true = np.stack([np.interp(share * s[-1], s, k) for k in kinds.T], axis=1)
    got = curvatures_at(line, share * line.length_mm)
    errors = np.abs(np.stack((got.easy, got.hard, got.twist), axis=1) - true).max(axis=0)
    step = s[-1] / 200
    exact = Line(tuple(Stretch(step, 0, 0, *pair) for pair in pairwise(true[:, 1])))
    flat, _, _ = root_points(line, share * line.length_mm)
    want, _, _ = root_points(exact, share * exact.length_mm)
    flat, want = flat - flat.mean(axis=0), want - want.mean(axis=0)
    # best turn of one onto the other (Kabsch)
    u, _, v = np.linalg.svd(flat.T @ want)
    off = float(np.hypot(*(flat @ (u @ v) - want).T).max())
    return errors, off, abs(line.length_mm - float(s[-1]))


@pytest.mark.parametrize("name", CONSTANT)
def test_constant_curvatures_are_found_without_bias(name):
    path, end, values = CONSTANT[name]
    line = line_from_points(*taped(path, end))
    (stretch,) = line.stretches
    assert (stretch.easy_start, stretch.hard_start, stretch.twist_per_mm) == pytest.approx(
        values, abs=1e-9
    )
    assert (stretch.easy_end, stretch.hard_end) == (stretch.easy_start, stretch.hard_start)
    assert line.length_mm == pytest.approx(theory(path, end)[1][-1], rel=1e-5)


@pytest.mark.parametrize("name", CONSTANT)
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_constant_curvatures_survive_measuring_noise(name, seed):
    path, end, _ = CONSTANT[name]
    line = line_from_points(*measured(*taped(path, end), seed))
    errors, off, short = misfit(line, path, end)
    # 1e-5 / mm is 1 % of a radius of 1 m
    assert errors == pytest.approx(0.0, abs=1.5e-5)
    assert off < 1.25
    assert short < 2 * MEASURING_TOLERANCE_MM


@pytest.mark.parametrize("name", VARYING)
@pytest.mark.parametrize("seed", [None, 0, 1])
def test_changing_curvatures_are_found_well_enough_to_cut_from(name, seed):
    path, end = VARYING[name]
    data = taped(path, end)
    line = line_from_points(*(data if seed is None else measured(*data, seed)))
    errors, off, short = misfit(line, path, end)
    # curvature is loose at the ends of a path, where only one side holds it
    assert errors == pytest.approx(0.0, abs=3e-4)
    assert off < 2.0
    assert short < 2 * MEASURING_TOLERANCE_MM


def test_a_finer_tolerance_finds_changing_curvatures_finer():
    # points as exact as from a drawing
    path, end = VARYING["wave on a sphere"]
    errors, off, _ = misfit(
        line_from_points(*taped(path, end), tolerance_mm=0.05, normal_tolerance_deg=0.05),
        path, end,
    )  # fmt: skip
    assert errors == pytest.approx(0.0, abs=6e-5)
    assert off < 0.1


def test_second_differences_would_have_seen_a_curve_where_there_is_none():
    # three points 1/16 in off this way and that at 6 in spacing: R = 6^2 / (4/16) = 144 in
    x = np.arange(9) * 6 * INCH
    z = np.array((0, 0, 0, 1, -1, 1, 0, 0, 0)) * MEASURING_TOLERANCE_MM
    apparent = np.abs(np.diff(z, 2)).max() / (6 * INCH) ** 2
    assert 1 / apparent / INCH == pytest.approx(144.0)
    points = np.stack((x, 0 * x, z), axis=1)
    line = line_from_points(points, np.tile((0.0, 0.0, 1.0), (9, 1)))
    assert line.length_mm == pytest.approx(48 * INCH, abs=0.1)
    assert line.stretches == (Stretch(line.length_mm),)
    assert blank_of(line, 0.0, line.length_mm, 16.0, 32.0).straight


def test_up_is_against_the_normal_and_left_is_up_across_the_path():
    # a floor seen from below: normals down, metal stands up; a path that turns left from above
    t = np.linspace(0.0, 1.0, 8)
    points = 900 * np.stack((np.sin(t), 1 - np.cos(t), 0 * t), axis=1)
    line = line_from_points(points, np.tile((0.0, 0.0, -1.0), (8, 1)))
    assert line.stretches[0].easy_start == pytest.approx(1 / 900, rel=1e-6)
    # a path that climbs away from the floor turns up
    line = line_from_points(points[:, [0, 2, 1]], np.stack((np.sin(t), 0 * t, -np.cos(t)), axis=1))
    assert line.stretches[0].hard_start == pytest.approx(1 / 900, rel=1e-6)


def test_the_length_of_a_normal_does_not_matter():
    path, end, _ = CONSTANT["ring round a cone"]
    points, normals = taped(path, end)
    (plain,) = line_from_points(points, normals).stretches
    (long,) = line_from_points(points, 3.0 * normals).stretches
    assert long.hard_start == pytest.approx(plain.hard_start, rel=1e-9)
    assert long.easy_start == pytest.approx(plain.easy_start, rel=1e-9)


@pytest.mark.parametrize("seed", [None, 5])
def test_a_closed_line_closes(seed):
    u = np.linspace(0.0, 2 * math.pi, 20, endpoint=False)
    points = np.stack((500 * np.cos(u), 400 * np.sin(u), 0 * u), axis=1)
    normals = np.tile((0.0, 0.0, -1.0), (20, 1))
    if seed is not None:
        points, normals = measured(points, normals, seed)
    line = line_from_points(points, normals, closed=True)
    assert line.closed
    x, y, heading = walk_in_surface(line)
    assert math.hypot(x, y) < 2 * MEASURING_TOLERANCE_MM
    assert heading == pytest.approx(360.0, abs=0.5)
    # circumference of an ellipse: complete elliptic integral (scipy)
    around = 4 * 500 * ellipe(1 - (400 / 500) ** 2)
    assert line.length_mm == pytest.approx(around, rel=0.003)
    ends = curvatures_at(line, [0.0, line.length_mm]).easy
    assert ends[1] == pytest.approx(ends[0], abs=5e-5)


def test_the_fit_tells_how_near_it_passes():
    path, end, _ = CONSTANT["ring round a cylinder"]
    points, normals = taped(path, end)
    fit = fit_points(points, normals)
    assert len(fit.stations_mm) == len(fit.miss_mm) == len(fit.lean_deg) == len(points)
    assert max(fit.miss_mm) < 1e-3
    bent = points.copy()
    bent[3] *= 1 + 2.0 / 600
    # one point of eight 2 mm out: the ring still passes within 1 1/2 tolerances, and says so
    assert 1.0 < max(fit_points(bent, normals).miss_mm) < 2.0


FLAT = np.stack((100.0 * np.arange(6), np.zeros(6), np.zeros(6)), axis=1)
UP = np.tile((0.0, 0.0, 1.0), (6, 1))


def changed(array, at, value):
    copy = array.copy()
    copy[at] = value
    return copy


@pytest.mark.parametrize(
    ("points", "normals", "more", "words"),
    [
        (FLAT[:2], UP[:2], {}, "2 points say nothing.*at least 3"),
        (FLAT[:3], UP[:3], {"closed": True}, "at least 4"),
        (FLAT, UP[:5], {}, "as many normals as points"),
        (FLAT[:, :2], UP[:, :2], {}, "each with x, y and z"),
        (changed(FLAT, 3, FLAT[2]), UP, {}, "points 2 and 3 coincide"),
        (changed(FLAT, 5, FLAT[0]), UP, {"closed": True}, "points 5 and 0 coincide"),
        (FLAT, changed(UP, 4, 0.0), {}, "normal 4 has no length"),
        (FLAT, changed(UP, 1, math.nan), {}, "normal 1 is"),
        (changed(FLAT, 2, math.inf), UP, {}, "point 2 is"),
        (FLAT, changed(UP, 2, (1.0, 0.0, 1.0)), {}, "normal 2 leans 45 degrees"),
        (changed(FLAT, 5, (400.0, 100.0, 0.0)), UP, {}, "turns 90 degrees at point 4"),
        (FLAT, UP, {"tolerance_mm": 0.0}, "tolerance_mm is 0.0"),
        (FLAT, UP, {"normal_tolerance_deg": math.nan}, "normal_tolerance_deg"),
    ],
)
def test_measurements_that_say_nothing_are_refused(points, normals, more, words):
    with pytest.raises(ValueError, match=words):
        line_from_points(points, normals, **more)


def test_a_normal_that_is_turned_right_over_is_refused():
    with pytest.raises(ValueError, match="no smooth line passes point"):
        line_from_points(FLAT, changed(UP, 3, (0.0, 0.0, -1.0)))
