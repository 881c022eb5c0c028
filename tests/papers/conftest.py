from __future__ import annotations

from collections.abc import Mapping

import paper_plans
import pytest

from api.papers.all_papers import Choices, paper_files
from api.papers.facts import Facts
from solver.data.plan import Plan


@pytest.fixture(scope="session")
def plan() -> Plan:
    return paper_plans.small_plan()


@pytest.fixture(scope="session")
def facts(plan: Plan) -> Facts:
    return Facts(plan)


@pytest.fixture(scope="session")
def files(plan: Plan) -> Mapping[str, bytes]:
    return paper_files(plan, None, Choices())
