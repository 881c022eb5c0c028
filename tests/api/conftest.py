import json
from pathlib import Path

import pytest
from hand_made_plan import SCENARIO, lid_job, lid_plan, whole_plan

from api.engine import Engine, Fault
from solver.data.errors import Problem, ScenarioErrors
from solver.data.plan import Plan
from solver.intake.read import read_tree
from solver.planner.what_if import asked

TINY_SCHEMA = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "type": "object",
    "required": ["patches"],
    "properties": {"patches": {"$ref": "#/$defs/Patches"}},
    "$defs": {"Patches": {"type": "object"}},
}


def _read(tree):
    if "patches" not in tree:
        raise ScenarioErrors([Problem("the file", "no patches", 'add "patches"', "/patches")])
    if tree.get("goal") == "dearest":
        raise ScenarioErrors([Problem("goal", "dearest", 'write "cheapest"', "/goal")])
    return lid_job()


@pytest.fixture(scope="session")
def make_engine():
    """An engine without a solver: it answers with a plan made by hand."""

    def make(plan=None, faults=(), **others):
        def hand_out(scenario, **how) -> Plan:
            return lid_plan()

        def hand_out_options(scenario, **how) -> tuple[Plan, ...]:
            return (lid_plan(), whole_plan())

        return Engine(
            **{
                "parse": read_tree,
                "read": _read,
                "with_goal": lambda tree, name: {**tree, "goal": name},
                "describe": lambda job: f"{job.title}: {len(job.edges)} edges",
                "resolved": lambda job: {"form": job.form, "title": job.title},
                "scenario_schema": lambda: TINY_SCHEMA,
                "resolved_schema": lambda: TINY_SCHEMA,
                "faults": lambda job, checked: tuple(Fault(*fault) for fault in faults),
                "plan": plan or hand_out,
                "options": hand_out_options,
                "what_if": asked,
                **others,
            }
        )

    return make


@pytest.fixture
def scenario_file(tmp_path: Path) -> Path:
    path = tmp_path / "lid.json"
    path.write_text(json.dumps(SCENARIO))
    return path
