"""What a split costs at least: pieces, metal and joints shared out over edges.

The master decides everything together; with very many legal sections it is given only those that
could be in a good plan.  To tell which, each edge gets the least that it can cost as a joint and
inside a section.  Every option's cost is shared over its edges by length, so for any plan the
shares add up to no more than the plan: a bound by these costs is a bound for the whole.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from solver.data.job import Job
from solver.planner.master_of import Costs, GrownAreas, capacity_mm2
from solver.planner.options import StretchOption, option_cost, template_saving
from solver.planner.run_lines import RunLine
from solver.planner.sheets import Sheet


@dataclass(frozen=True)
class LeastCosts:
    """Least weighted money by inner edge, (inside a section, as a joint), and of every plan."""

    edges: Mapping[str, tuple[float, float]]
    constant: float


def least_costs(
    job: Job,
    lines: Sequence[RunLine],
    sheets: Sequence[Sheet],
    options: Sequence[StretchOption],
    costs: Costs,
    areas: GrownAreas,
) -> LeastCosts:
    """Return the least costs; an edge that cannot be a joint, or inside, costs infinitely much."""
    rates = [_metal_rate(job, sheet) for sheet in sheets]
    least: dict[tuple[str, str], float] = {}
    for option in options:
        edges = [
            lines[option.run].edges[(option.first + i) % len(lines[option.run].edges)]
            for i in range(option.count)
        ]
        cost = option_cost(job, option)
        for piece in option.pieces:
            cost += rates[option.sheet] * areas[option.sheet, piece.key]
            if piece.twin_template and piece.twin_template != piece.template:
                # a shared template is saved once for two pieces
                cost -= template_saving(job, piece) / 2
        length = sum(edge.length_mm for edge in edges)
        for edge in edges:
            share = cost * edge.length_mm / length
            key_of = (edge.id, option.mounting)
            least[key_of] = min(least.get(key_of, math.inf), share)
    constant = costs.constant - sum(
        _on_hand_value(job, sheet, rate) for sheet, rate in zip(sheets, rates, strict=True)
    )
    inner: dict[str, tuple[float, float]] = {}
    for edge in job.edges:
        if edge.open:
            constant += least.get((edge.id, "clamped"), 0.0)
        elif job.carries_metal(edge):
            inner[edge.id] = (
                least.get((edge.id, "standing"), math.inf),
                costs.joint[edge.id] + least.get((edge.id, "pinched"), math.inf),
            )
        else:
            inner[edge.id] = (0.0, costs.joint[edge.id])
    return LeastCosts(inner, constant)


def _metal_rate(job: Job, sheet: Sheet) -> float:
    """Least weighted money for a mm² of this sheet metal, on any stock for sale."""
    rates = [
        job.goal.metal * job.stock[item].price / capacity_mm2(job, item)
        for item in sheet.items
        if job.stock[item].for_sale is None or job.stock[item].for_sale
    ]
    return min(rates, default=0.0)


def _on_hand_value(job: Job, sheet: Sheet, rate: float) -> float:
    """Money that metal on hand can save at most."""
    return rate * sum(job.stock[i].on_hand * capacity_mm2(job, i) for i in sheet.items)
