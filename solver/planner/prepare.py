"""Everything that is made once for a job before deciding: runs, options, split, sections."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from solver.data.job import Job
from solver.data.until import Until
from solver.models.columns import legal_sections
from solver.models.split_problem import SplitProblem
from solver.planner.columns_of import MOST_KEPT_APART, Choice, few_enough, sections_to_choose
from solver.planner.filling_seams import filling_seams
from solver.planner.master_of import costs_of, grown_areas_mm2
from solver.planner.options import (
    GivenSeams,
    MadeElsewhere,
    MoreSeams,
    Refusals,
    StretchOption,
    stretch_options,
)
from solver.planner.piece_options import PieceMaker
from solver.planner.rounds import Parts
from solver.planner.run_lines import RunLine
from solver.planner.sheets import Sheet
from solver.planner.split_of import edge_rules, split_problem_of
from solver.planner.surrogate import least_costs
from solver.planner.symmetric import mirror_of, symmetric_pairs


def prepare(
    job: Job,
    on_phase: Callable[[str], None],
    until: Until,
    more: MoreSeams | None = None,
    pieces: PieceMaker | None = None,
    elsewhere: MadeElsewhere | None = None,
) -> tuple[Parts | None, Refusals]:
    """Return the parts, or None and the reasons where some line cannot be made at all.

    ``more`` names seams to offer besides the best ones; ``pieces`` remembers what was made before,
    ``elsewhere`` is asked for what another process has made.
    """
    on_phase("cutting runs into pieces")
    maker = PieceMaker(job) if pieces is None else pieces

    def besides(lines: tuple[RunLine, ...], sheets: tuple[Sheet, ...]) -> Iterator[GivenSeams]:
        yield from more(lines, sheets) if more is not None else ()
        yield from filling_seams(job, lines, sheets)

    options, refusals = stretch_options(maker, besides, until=until, elsewhere=elsewhere)

    def choose(split: SplitProblem, constant: float) -> Choice:
        on_phase("listing sections")
        mirror = mirror_of(job) if job.rules.symmetric_split else None
        return sections_to_choose(split, constant, until, mirror)

    return _parts(maker, options, choose), refusals


def prepare_few(
    pieces: PieceMaker, until: Until, elsewhere: MadeElsewhere | None = None
) -> Parts | None:
    """Return parts for a first plan soon: each stretch in as few pieces as may be.

    None where some line has no such option, or where the legal sections are too many to list soon.
    """
    options, _ = stretch_options(pieces, few=True, until=until, elsewhere=elsewhere)

    def choose(split: SplitProblem, constant: float) -> Choice | None:
        columns = legal_sections(split, most=MOST_KEPT_APART, until=until)
        soon = columns.complete and few_enough(split, columns)
        return Choice(columns, math.inf) if soon else None

    return _parts(pieces, options, choose)


def _parts(
    pieces: PieceMaker,
    options: tuple[StretchOption, ...],
    choose: Callable[[SplitProblem, float], Choice | None],
) -> Parts | None:
    """Return the parts, None where a line cannot be made or there are no sections to choose."""
    job, lines, sheets = pieces.job, pieces.lines, pieces.sheets
    mountings: dict[str, set[str]] = {}
    for option in options:
        run = lines[option.run].edges
        for i in range(option.count):
            edge = run[(option.first + i) % len(run)].id
            mountings.setdefault(edge, set()).add(option.mounting)
    if any(edge.id not in mountings for line in lines for edge in line.edges):
        return None
    rules = edge_rules(job, mountings)
    costs = costs_of(job)
    areas = grown_areas_mm2(job, options)
    least = least_costs(job, lines, sheets, options, costs, areas)
    split = split_problem_of(job, rules, least.edges, costs.section)
    choice = choose(split, least.constant)
    if choice is None:
        return None
    return Parts(
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
        symmetric_pairs=symmetric_pairs(job, choice.columns) if job.rules.symmetric_split else (),
    )
