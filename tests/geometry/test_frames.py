"""Lines in space and the twist of strips, against curves whose frames are known in closed form."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from solver.data.line import Line, Stretch
from solver.geometry.frames import NodeCurvatures, walk_frames
from solver.geometry.twist import free_edge_strain, strain_of_twist, twist_of_frames


def helix(radius, climb, angles):
    """Points on a cylinder round z and ups along its inward normals."""
    points = np.stack((radius * np.cos(angles), radius * np.sin(angles), climb * angles), axis=1)
    ups = -np.stack((np.cos(angles), np.sin(angles), 0 * angles), axis=1)
    return points, ups


def test_a_helix_has_the_curvature_and_torsion_of_the_textbook():
    # do Carmo, ex. 1-5.1: curvature r / (r^2 + h^2), torsion h / (r^2 + h^2)
    radius, climb = 100.0, 30.0
    per_angle = math.hypot(radius, climb)
    angles = np.linspace(0.0, 3.0, 121)
    points, ups = helix(radius, climb, angles)
    tangent = np.array((0.0, radius, climb)) / per_angle
    frame = np.stack((tangent, np.cross(ups[0], tangent), ups[0]), axis=1)
    nodes = per_angle * angles
    curvatures = NodeCurvatures(
        np.zeros(121), np.full(121, radius / per_angle**2), np.full(120, climb / per_angle**2)
    )
    walk = walk_frames(nodes, curvatures, points[0], frame)
    assert np.abs(walk.points - points).max() < 1e-6
    assert np.abs(walk.frames[:, :, 2] - ups).max() < 1e-9


def test_the_walk_agrees_with_a_general_solver_of_differential_equations():
    # scipy solve_ivp (DOP853) on the frame equations, curvatures linear, twist constant
    length = 300.0

    def slopes(s, y):
        easy, hard, twist = 0.004 - 2e-5 * s, -0.003 + 3e-5 * s, 0.002
        t, left, up = y[3:6], y[6:9], y[9:12]
        return np.concatenate(
            (t, easy * left + hard * up, -easy * t + twist * up, -hard * t - twist * left)
        )

    start = np.concatenate((np.zeros(3), np.eye(3).ravel()))
    end = solve_ivp(slopes, (0, length), start, method="DOP853", rtol=1e-12, atol=1e-12).y[:, -1]
    nodes = np.linspace(0.0, length, 61)
    curvatures = NodeCurvatures(0.004 - 2e-5 * nodes, -0.003 + 3e-5 * nodes, np.full(60, 0.002))
    walk = walk_frames(nodes, curvatures, np.zeros(3), np.eye(3))
    assert walk.points[-1] == pytest.approx(end[:3], abs=1e-5)
    assert walk.frames[-1].T.ravel() == pytest.approx(end[3:], abs=1e-8)


def test_twist_is_read_from_the_frames_of_a_helix():
    radius, climb = 100.0, 30.0
    points, ups = helix(radius, climb, np.linspace(0.0, 2.0, 41))
    assert twist_of_frames(points, ups) == pytest.approx(
        np.full(40, climb / (radius**2 + climb**2)), rel=2e-3
    )


def test_the_mirror_image_of_a_helix_twists_the_other_way():
    points, ups = helix(100.0, 30.0, np.linspace(0.0, 2.0, 41))
    flip = np.array((1.0, -1.0, 1.0))
    assert twist_of_frames(points * flip, ups * flip) == pytest.approx(
        -twist_of_frames(points, ups)
    )


def test_a_ring_round_a_cylinder_does_not_twist():
    points, ups = helix(100.0, 0.0, np.linspace(0.0, 2.0, 11))
    assert np.abs(twist_of_frames(points, ups)).max() < 1e-12


def test_free_edge_strain_is_half_the_square_of_twist_times_height():
    # [derived] sqrt(1 + (twist h)^2) - 1; 1 degree per inch on 2 in of stand: 0.0609 %
    twist = math.radians(1.0) / 25.4
    exact = math.sqrt(1.0 + (twist * 50.8) ** 2) - 1.0
    assert strain_of_twist(twist, 50.8) == pytest.approx(exact, rel=1e-3)
    assert strain_of_twist(twist, 50.8) == pytest.approx(6.092e-4, rel=1e-3)
    line = Line((Stretch(100, twist_per_mm=1e-4), Stretch(100, twist_per_mm=-twist)))
    assert free_edge_strain(line, 0.0, 200.0, 50.8) == strain_of_twist(twist, 50.8)
    assert free_edge_strain(line, 0.0, 100.0, 50.8) == strain_of_twist(1e-4, 50.8)


def test_frames_that_say_nothing_are_refused():
    with pytest.raises(ValueError, match="give two or more"):
        twist_of_frames(np.zeros((1, 3)), np.ones((1, 3)))
    with pytest.raises(ValueError, match="points 0 and 1 coincide"):
        twist_of_frames(np.zeros((2, 3)), np.ones((2, 3)))
