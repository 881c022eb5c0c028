"""From a scenario file to a job, with everything that is wrong with it said at once."""

from solver.data.errors import Problem, ScenarioErrors
from solver.data.scenario import json_schema as scenario_schema
from solver.intake.job_of import job_from_scenario, read_job
from solver.intake.resolved import resolved_of, resolved_schema
from solver.intake.show import describe

__all__ = [
    "Problem",
    "ScenarioErrors",
    "describe",
    "job_from_scenario",
    "read_job",
    "resolved_of",
    "resolved_schema",
    "scenario_schema",
]
