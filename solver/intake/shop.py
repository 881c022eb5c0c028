"""Shop, rules and goal: what the scenario leaves out keeps the defaults of the job."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from pydantic import BaseModel

from solver.data import scenario as form
from solver.data.errors import Key, Problems
from solver.data.job import Goal, Minutes, Prices, Rules, Shop
from solver.data.units import MASS_KG, Measure
from solver.intake.patches import read_directions

GOALS: dict[str, Goal] = {
    "cheapest": Goal("cheapest"),
    "least metal": Goal("least metal", metal=1.0, joints=0.05, labor=0.05),
    "least hours": Goal("least hours", metal=0.05, joints=0.05, labor=1.0),
    "least waste": Goal("least waste", metal=0.05, joints=0.05, labor=0.05, waste_per_kg=25.0),
}
"""Weights of the named goals [practice].  None leaves labor or money out altogether: without the
labor of seams a plan for metal alone would chop the runs into scraps, and of two plans that are
equal in what the goal is about the cheaper one is wanted."""

_SUFFIXES = ("_kg_m2", "_mm", "_deg", "_n")


def rule_key(field_name: str) -> str:
    """Return the name of a rule in the scenario: that of the job without its unit."""
    for suffix in _SUFFIXES:
        if field_name.endswith(suffix):
            return field_name.removesuffix(suffix)
    return field_name


def shop_of(scenario: form.Scenario) -> Shop:
    """Return the shop."""
    written, unit = scenario.shop, scenario.length_unit
    size = written.largest_section
    given: dict[str, Any] = {
        "labor_rate_per_hour": written.labor_rate,
        "crew": written.crew,
        "lift_limit_kg": written.lift_limit,
    }
    return Shop(
        **{key: value for key, value in given.items() if value is not None},
        largest_section_mm=None
        if size is None
        else (size[0].mm(unit), size[1].mm(unit), size[2].mm(unit)),
        bolts_on_hand=written.on_hand.bolts,
        clamps_on_hand=written.on_hand.clamps,
        minutes=Minutes(**_given(written.minutes)),
        prices=Prices(**_given(written.prices)),
    )


def _given(written: BaseModel) -> dict[str, Any]:
    return {name: value for name, value in written if value is not None and name != "note"}


def rules_of(scenario: form.Scenario, problems: Problems) -> Rules:
    """Return the rules."""
    given = _given(scenario.rules)
    values: dict[str, Any] = {}
    for field in fields(Rules):
        key = rule_key(field.name)
        if key not in given:
            continue
        value = given[key]
        if isinstance(value, Measure):
            values[field.name] = value.mm(scenario.length_unit)
        elif key in ("pulls", "walls"):
            values[field.name] = read_directions(value, ("rules", key), problems)
        else:
            values[field.name] = value
    rules = Rules(**values)
    _check_order(rules, problems)
    return rules


def _check_order(rules: Rules, problems: Problems) -> None:
    if rules.most_sections is not None and rules.fewest_sections > rules.most_sections:
        keys: tuple[Key, ...] = ("rules", "fewest_sections")
        remedy = f'at most "most_sections", which is {rules.most_sections}'
        problems.add(keys, rules.fewest_sections, remedy)
    if rules.shortest_piece_mm >= rules.longest_piece_mm:
        keys = ("rules", "shortest_piece")
        problems.add(keys, "not below the longest piece", 'make "longest_piece" longer')


def goal_of(scenario: form.Scenario, problems: Problems) -> Goal:
    """Return the goal: a named one, or the weights given."""
    written = scenario.goal
    if isinstance(written, str):
        return GOALS[written]
    waste_per_kg = 0.0
    if written.waste is not None and written.waste.amount:
        mass_kg = MASS_KG.get(written.waste.unit or "")
        if mass_kg is None:
            problems.add(("goal", "waste"), "is not by mass", 'write it as "0.5 /kg"')
        else:
            waste_per_kg = float(written.waste.amount / mass_kg)
    goal = Goal("weights", written.metal, written.joints, written.labor, waste_per_kg)
    if not (goal.metal or goal.joints or goal.labor or goal.waste_per_kg):
        problems.add(("goal",), "all weights are 0", "give one of them a weight")
    return goal
