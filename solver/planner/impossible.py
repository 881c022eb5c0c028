"""Why no plan is possible: a smallest set of the scenario's own requirements that cannot hold.

Plain facts first (a line that no metal in the stock may make), then the split (release, weight,
size, order, pins, forbidden splits), then the stock (what is for sale is too little).
"""

from __future__ import annotations

from collections.abc import Sequence

from solver.data.job import INCH_MM, Job
from solver.data.plan import Requirement
from solver.planner.options import Refusals
from solver.planner.rounds import Parts

MOST_SENTENCES = 6


def why_impossible(
    job: Job, refusals: Refusals, parts: Parts | None, short_of_stock: Sequence[str] = ()
) -> tuple[Requirement, ...]:
    """Return requirements that cannot hold together, in the scenario's ids and words."""
    if parts is None:
        return _no_way_to_make(job, refusals)
    return _stock(job, parts, short_of_stock)


def _stock(job: Job, parts: Parts, short: Sequence[str]) -> tuple[Requirement, ...]:
    """What is for sale and on hand is too little for the pieces, whatever the split."""
    named = set(short) or {sheet.metal.label for sheet in parts.sheets}
    reasons = []
    for sheet in parts.sheets:
        if sheet.metal.label not in named:
            continue
        items = [job.stock[i] for i in sheet.items]
        if all(item.for_sale is None for item in items):
            continue
        units = ", ".join(
            f"{item.id}: {item.on_hand} on hand, {item.for_sale} for sale" for item in items
        )
        reasons.append(
            Requirement(
                rule="stock",
                ids=tuple(item.id for item in items),
                sentence=f"all {sheet.metal.label} that can be had is too little ({units})",
            )
        )
    return tuple(reasons) or (
        Requirement(rule="stock", ids=(), sentence="the blanks do not nest on the stock listed"),
    )


def _no_way_to_make(job: Job, refusals: Refusals) -> tuple[Requirement, ...]:
    """One line that cannot be made is enough; the first one is explained whole."""
    for run in job.runs:
        for step in run.edges:
            sentences = refusals.by_edge.get(step.edge, [])
            edge = job.edge_of[step.edge]
            if not job.stock:
                return (
                    Requirement(
                        rule="stock",
                        ids=(edge.id,),
                        sentence=f'edge "{edge.id}" carries metal, but the stock is empty',
                    ),
                )
            if sentences:
                asks = f"stand {edge.stand_mm / INCH_MM:.2f} in" + (
                    ", visible" if edge.visible else ""
                )
                return (
                    Requirement(
                        rule="gauge",
                        ids=(edge.id,),
                        sentence=f'edge "{edge.id}" ({asks}): no metal in the stock may make it: '
                        + "; ".join(sentences[:MOST_SENTENCES]),
                    ),
                )
    return (
        Requirement(
            rule="gauge", ids=(), sentence="some line cannot be made of any metal in stock"
        ),
    )
