"""Metal beside other metal stands lower there, and only there: planned, checked and cautioned."""

import copy
import json
from pathlib import Path

import pytest
import shapely

from solver.checker import check_plan
from solver.data.job import INCH_MM
from solver.intake.job_of import read_job
from solver.planner.plan_job import plan_job

SCENARIOS = Path(__file__).parents[2] / "scenarios"

DECK = {
    "length_unit": "in",
    "patches": {
        "fore": {"area": "8 ft2", "faces": "up"},
        "mid": {"area": "2 ft2", "faces": "up"},
        "aft": {"area": "8 ft2", "faces": "up"},
    },
    "edges": {
        "fore | mid": {
            "path": ["B", 36, "A"],
            "toward": "rear",
            "near": {"mid | aft": {"gap": "5/8 in", "from": 10, "to": 22}},
        },
        "mid | aft": {
            "path": ["D", 36, "C"],
            "toward": "rear",
            "near": {"fore | mid": {"gap": "5/8 in", "from": 20, "to": 36}},
        },
        "fore | open": ["A", 32, {"left": 90, "radius": 4}, 28, {"left": 90, "radius": 4}, 32, "B"],
        "mid | open (left)": ["B", 8, "D"],
        "mid | open (right)": ["C", 8, "A"],
        "aft | open": ["D", 32, {"left": 90, "radius": 4}, 28, {"left": 90, "radius": 4}, 32, "C"],
    },
    "kinds": {"open": {"grip": 1.25}},
    "stock": {
        "sheets": [{"metal": "galvanised", "gauge": 22, "size": [48, 96], "price": 85}],
        "rolls": [{"metal": "aluminium", "gauge": 24, "width": 8, "length": "25 ft", "price": 29}],
    },
}


def deck(**more):
    scenario = copy.deepcopy(DECK)
    for edge, keys in more.items():
        scenario["edges"][edge.replace("_", " | ")].update(keys)
    return read_job(scenario)


def piece_on(plan, edge):
    (piece,) = [one for one in plan.pieces if one.spans[0].edge == edge]
    return piece


def stands(plan, edge, station_in):
    """Height of metal above the root line of a straight piece of one edge, walked forward."""
    piece = piece_on(plan, edge)
    (span,) = piece.spans
    at = station_in * INCH_MM - span.from_mm
    if span.backward:
        at = span.to_mm - span.from_mm - at
    outline = shapely.Polygon(piece.blank.outline_mm)
    cut = outline.intersection(shapely.LineString([(at, -500.0), (at, 500.0)]))
    return cut.bounds[3] / INCH_MM


def test_only_the_stretch_beside_other_metal_is_cut_lower():
    job = deck()
    plan = plan_job(job)
    assert check_plan(job, plan).ok
    # at 45 degrees a brush needs a gap as wide as the metal is high [practice]: 5/8 in stand
    for at, high in ((5, 1), (9.9, 1), (10.1, 5 / 8), (21.9, 5 / 8), (22.1, 1), (30, 1)):
        assert stands(plan, "fore | mid", at) == pytest.approx(high)
    for at, high in ((19.9, 1), (20.1, 5 / 8), (35.9, 5 / 8)):
        assert stands(plan, "mid | aft", at) == pytest.approx(high)
    assert piece_on(plan, "fore | mid").stand_mm == pytest.approx(INCH_MM)
    assert piece_on(plan, "fore | mid").blank.notch_count == 1
    (caution,) = [one for one in plan.cautions if one.startswith('"fore | mid"')]
    assert "stands 5/8 in instead of 1 in from 10 in to 22 in" in caution


def test_a_hinge_notch_in_the_low_stretch_is_as_deep_as_it_was_asked_for():
    notch = {"notches": {"at": [16], "wide": 2, "deep": "1/4 in"}}
    job = deck(fore_mid=notch)
    plan = plan_job(job)
    assert check_plan(job, plan).ok
    assert stands(plan, "fore | mid", 16) == pytest.approx(5 / 8 - 1 / 4)


def test_a_plan_that_leaves_the_stretch_high_is_refused():
    # The gap is measured after the plan was made: its metal stands too high for a brush.
    wide = {"near": {"mid | aft": {"gap": 2, "from": 10, "to": 22}}}
    free = deck(fore_mid=wide, mid_aft={"near": {"fore | mid": {"gap": 2, "to": 36}}})
    plan = plan_job(free)
    assert check_plan(free, plan).ok
    faults = check_plan(deck(), plan).faults
    assert {"outline", "notches"} <= {one.rule for one in faults}


def test_left_and_right_are_low_alike_and_share_a_template():
    scenario = json.loads((SCENARIOS / "mirrored-hatches.json").read_text(encoding="utf-8"))
    name = "hatch-left | deck.left"
    written = scenario["edges"][name]
    written = written if isinstance(written, dict) and "path" in written else dict(written)
    other = next(e for e in scenario["edges"] if "open" in e)
    scenario["edges"][name] = written | {"near": {other: {"gap": "5/8 in", "from": 2, "to": 9}}}
    job = read_job(scenario)
    plan = plan_job(job)
    assert check_plan(job, plan).ok
    left, right = (
        [p for p in plan.pieces if p.spans[0].edge.startswith(f"hatch-{side}")]
        for side in ("left", "right")
    )
    assert sum(p.blank.notch_count for p in left) == sum(p.blank.notch_count for p in right) > 0
    assert any(p.template_of is not None for p in (*left, *right))


@pytest.mark.parametrize(
    "written", [{"stand": 0.75}, {"notches": {"at": [10], "wide": 2, "deep": "1/4 in"}}]
)
def test_a_twin_that_is_written_otherwise_is_cut_from_a_template_of_its_own(written):
    scenario = json.loads((SCENARIOS / "mirrored-hatches.json").read_text(encoding="utf-8"))
    scenario["edges"]["hatch-right | deck.right"] = {"circle": 16} | written
    job = read_job(scenario)
    plan = plan_job(job)
    assert check_plan(job, plan).ok
    for piece in plan.pieces:
        if piece.template_of is not None:
            (other,) = [one for one in plan.pieces if one.id == piece.template_of]
            assert piece.stand_mm == other.stand_mm
            assert piece.blank.notch_count == other.blank.notch_count
