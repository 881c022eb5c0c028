"""Everything that is made once for a job before deciding: runs, options, split, sections."""

from __future__ import annotations

from collections.abc import Callable

from solver.data.job import Job
from solver.data.until import Until
from solver.planner.columns_of import sections_to_choose
from solver.planner.master_of import costs_of, grown_areas_mm2
from solver.planner.options import MoreSeams, Refusals, stretch_options
from solver.planner.rounds import Parts
from solver.planner.run_lines import run_lines
from solver.planner.sheets import sheets_of
from solver.planner.split_of import edge_rules, split_problem_of
from solver.planner.surrogate import least_costs
from solver.planner.symmetric import mirror_of, symmetric_pairs


def prepare(
    job: Job,
    on_phase: Callable[[str], None],
    until: Until,
    more: MoreSeams | None = None,
) -> tuple[Parts | None, Refusals]:
    """Return the parts, or None and the reasons where some line cannot be made at all.

    ``more`` names seams to offer besides the best ones.
    """
    lines = run_lines(job)
    sheets = sheets_of(job)
    on_phase("cutting runs into pieces")
    options, refusals = stretch_options(job, lines, sheets, more)
    mountings: dict[str, set[str]] = {}
    for option in options:
        run = lines[option.run].edges
        for i in range(option.count):
            edge = run[(option.first + i) % len(run)].id
            mountings.setdefault(edge, set()).add(option.mounting)
    if any(edge.id not in mountings for line in lines for edge in line.edges):
        return None, refusals
    rules = edge_rules(job, mountings)
    costs = costs_of(job)
    areas = grown_areas_mm2(job, options)
    least = least_costs(job, lines, sheets, options, costs, areas)
    split = split_problem_of(job, rules, least.edges, costs.section)
    on_phase("listing sections")
    mirror = mirror_of(job) if job.rules.symmetric_split else None
    choice = sections_to_choose(split, least.constant, until, mirror)
    return (
        Parts(
            job=job,
            lines=lines,
            sheets=sheets,
            options=options,
            edge_rules=rules,
            costs=costs,
            areas=areas,
            split=split,
            columns=choice.columns,
            dropped_bound=choice.dropped_bound,
            cut_by_clock=choice.cut_by_clock,
            symmetric_pairs=symmetric_pairs(job, choice.columns)
            if job.rules.symmetric_split
            else (),
        ),
        refusals,
    )
