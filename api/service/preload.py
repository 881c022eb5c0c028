"""What the fork server loads once, so that each child starts with it."""

from __future__ import annotations

import os

if os.environ.get("SPLITPLAN_PRELOAD", "1") == "1":
    import solver.intake
    import solver.planner.alternatives
    import solver.planner.plan_job  # noqa: F401
