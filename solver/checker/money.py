"""Money: the cost of a plan counted again, and compared with what it states."""

from __future__ import annotations

from collections.abc import Iterator

from solver.checker.minutes import labor_cost
from solver.checker.purchases import metal_cost
from solver.checker.quantities import joints_cost
from solver.checker.reading import Reading
from solver.checker.report import Fault
from solver.checker.reuse import price_of_changes
from solver.checker.tolerances import near
from solver.data.plan import Cost


def waste_kg(reading: Reading) -> float:
    """Mass of the scrap of all nests."""
    mass_of = {item.id: item.mass_kg_m2 for item in reading.job.stock}
    return sum(nest.scrap_mm2 * mass_of[nest.stock] for nest in reading.plan.nests) / 1e6


def cost_of(reading: Reading) -> Cost:
    """Cost of a plan from its decisions and the job alone."""
    goal = reading.job.goal
    metal, joints, labor = metal_cost(reading), joints_cost(reading), labor_cost(reading)
    waste = waste_kg(reading)
    return Cost(
        metal=metal,
        joints=joints,
        labor=labor,
        total=metal + joints + labor,
        waste_kg=waste,
        objective=goal.metal * metal
        + goal.joints * joints
        + goal.labor * labor
        + goal.waste_per_kg * waste
        + price_of_changes(reading.plan),
    )


def costs(reading: Reading) -> Iterator[Fault]:
    """Each figure of the stated cost is the one counted again."""
    stated, counted = reading.plan.cost, cost_of(reading)
    if stated is None:
        return
    for name in ("metal", "joints", "labor", "total", "waste_kg", "objective"):
        said, right = getattr(stated, name), getattr(counted, name)
        if not near(said, right):
            yield Fault("cost", f"cost.{name}", f"is stated as {said:.6f}; it is {right:.6f}")
