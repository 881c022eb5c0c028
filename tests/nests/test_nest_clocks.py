"""Without a time limit no clock has a say: a machine under load gives what an idle one gives."""

import itertools
import math
import time
from pathlib import Path

import pytest
from ortools.linear_solver import pywraplp

from solver.intake.job_of import read_job
from solver.nests.purchase import purchase
from solver.nests.shapes import Shape, Stock
from solver.planner.plan_job import plan_job

INCH = 25.4
SCENARIOS = Path(__file__).parents[2] / "scenarios"


def slow_clock():
    """A clock by which hours go by between any two looks at it."""
    hours = itertools.count()
    return lambda: 3600.0 * next(hours)


@pytest.fixture(autouse=True)
def no_clock_in_libraries(monkeypatch):
    """Refuse limits in seconds: a library's own clock cannot be slowed from here."""

    def refuse(solver, milliseconds):
        raise AssertionError(f"limited to {milliseconds} ms although no time limit was given")

    monkeypatch.setattr(pywraplp.Solver, "SetTimeLimit", refuse)


def strip(name, length_in, width_in):
    length, width = length_in * INCH, width_in * INCH
    return Shape(name, ((0, 0), (length, 0), (length, width), (0, width)), True, True)


def arc(name, radius_in, degrees, width_in):
    angles = [math.radians(degrees) * k / 12 for k in range(13)]
    rings = [(radius_in * INCH, angles), ((radius_in + width_in) * INCH, angles[::-1])]
    ring = tuple((r * math.cos(a), r * math.sin(a)) for r, turn in rings for a in turn)
    return Shape(name, ring, False, True)


def test_a_purchase_is_the_same_though_hours_go_by(monkeypatch):
    shapes = [strip(f"s{k}", 20 + 3 * k, 2.5 + k % 3 / 2) for k in range(3)]
    shapes.append(arc("a", 30, 40, 3))
    stocks = [
        Stock(f"{width} x {length}", width * INCH, length * INCH, width * length / 100, 0, None)
        for width in (8, 12)
        for length in (60, 120)
    ]
    quiet = purchase(shapes, stocks, INCH / 16, effort=3)
    monkeypatch.setattr(time, "monotonic", slow_clock())
    loaded = purchase(shapes, stocks, INCH / 16, effort=3)
    assert loaded == quiet
    assert not loaded.cut_short


def test_a_plan_is_the_same_though_hours_go_by(monkeypatch):
    job = read_job(SCENARIOS / "seam-or-roll.json")
    quiet = plan_job(job)
    monkeypatch.setattr(time, "monotonic", slow_clock())
    loaded = plan_job(job)
    assert loaded == quiet
    assert not loaded.made.time_cut


def test_a_plan_says_when_its_time_limit_was_over(monkeypatch):
    monkeypatch.setattr(pywraplp.Solver, "SetTimeLimit", lambda solver, milliseconds: None)
    job = read_job(SCENARIOS / "seam-or-roll.json")
    monkeypatch.setattr(time, "monotonic", slow_clock())
    assert plan_job(job, seconds=20.0).made.time_cut
