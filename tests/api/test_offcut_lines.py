"""Offcuts of a plan go into the next scenario as they are printed."""

import io
import json
from pathlib import Path

import pytest
import shapely

from api.command_line import main
from api.offcut_lines import offcut_entries
from solver.data.errors import Problems
from solver.data.plan import Offcut
from solver.intake.job_of import read_job
from solver.intake.stock import stock_of
from solver.intake.written import scenario_of
from solver.planner.plan_job import plan_job

SCENARIO = json.loads((Path(__file__).parents[2] / "scenarios/seam-or-roll.json").read_text())
TRIANGLE = ((10.0, 10.0), (1010.0, 10.0), (1010.0, 810.0))
HELD = ((510.0, 10.0), (1010.0, 10.0), (1010.0, 410.0), (510.0, 410.0))


@pytest.fixture(scope="module")
def plan():
    """A plan whose first nest leaves a rectangle and a triangle."""
    plan = plan_job(read_job(SCENARIO))
    kept = (
        Offcut(outline_mm=((0.0, 0.0), (0.0, 60.0), (400.0, 60.0), (400.0, 0.0)), area_mm2=24e3),
        Offcut(outline_mm=TRIANGLE, area_mm2=4e5, holds_mm=HELD),
    )
    nest = plan.nests[0].model_copy(update={"offcuts": kept})
    return plan.model_copy(update={"nests": (nest,)})


@pytest.mark.parametrize("unit", ["in", "ft", "mm", "cm", "m"])
def test_offcuts_read_back_are_the_same_metal(plan, unit):
    entries = offcut_entries(plan.model_copy(update={"length_unit": unit}))
    tree = {**SCENARIO, "length_unit": unit, "stock": {"offcuts": entries}}
    problems = Problems()
    items = stock_of(scenario_of(tree), problems)
    assert not problems.found
    piece = plan.pieces[0]
    assert {(item.metal, item.thickness_mm) for item in items} == {
        (piece.metal, piece.thickness_mm)
    }
    assert all(item.on_hand == 1 and item.for_sale == 0 for item in items)
    rectangle, triangle = items
    assert (rectangle.width_mm, rectangle.length_mm) == pytest.approx((60.0, 400.0), abs=0.02)
    assert rectangle.width_mm <= 60.0
    assert rectangle.length_mm <= 400.0
    there = shapely.Polygon([(x - 10.0, y - 10.0) for x, y in TRIANGLE])
    assert shapely.hausdorff_distance(shapely.Polygon(triangle.outline_mm), there) < 0.02


def test_the_command_prints_them_as_stock(plan, tmp_path):
    file = tmp_path / "plan.json"
    file.write_text(plan.model_dump_json())
    out, err = io.StringIO(), io.StringIO()
    assert main(["offcuts", str(file)], out=out, err=err) == 0
    printed = json.loads(out.getvalue())
    assert printed == {"stock": {"offcuts": offcut_entries(plan)}}
    job = read_job({**SCENARIO, **printed})
    assert [item.form for item in job.stock] == ["offcut", "offcut"]
