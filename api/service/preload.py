"""What the fork server loads once, so that each child starts with it."""

from __future__ import annotations

import importlib
import os

MODULES = (
    "api.service.runs",
    "api.papers.all_papers",
    "solver.intake",
    "solver.planner.alternatives",
    "solver.planner.plan_job",
)

importlib.import_module("api.service.child")
if os.environ.get("SPLITPLAN_PRELOAD", "1") == "1":  # a test without solver needs none of them
    for name in MODULES:
        importlib.import_module(name)
