"""The checker: what a good plan is, re-derived from job and plan alone."""

from solver.checker.check import check_plan
from solver.checker.report import CheckReport, Fault

__all__ = ["CheckReport", "Fault", "check_plan"]
