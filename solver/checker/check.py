"""The list of rules that a plan must keep, and the check that goes through it."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from solver.checker import (
    blanks,
    folds,
    gauge,
    minutes,
    money,
    nests,
    offcuts,
    pieces,
    purchases,
    quantities,
    release,
    reuse,
    runs,
    seams,
    sections,
    status,
    templates,
    treatments,
)
from solver.checker.names import unreadable
from solver.checker.reading import Reading, read
from solver.checker.report import CheckReport, Fault
from solver.data.job import Job
from solver.data.plan import Cost, Plan

Rule = Callable[[Reading], Iterable[Fault]]

RULES: tuple[Rule, ...] = (
    # the split
    sections.connected,
    sections.joints,
    sections.split_rules,
    sections.pins,
    sections.number_of_sections,
    sections.lift_limit,
    sections.size_limit,
    sections.symmetric_split,
    sections.section_figures,
    # coming off
    release.removal,
    release.pulls,
    release.releases,
    release.blocked,
    release.drawn_first,
    release.trapped,
    release.draft_figures,
    # edges
    treatments.treatments,
    treatments.standing_allowed,
    treatments.witness_allowed,
    treatments.bolts,
    treatments.packers,
    # pieces along their runs
    runs.coverage,
    runs.spans,
    runs.mountings,
    runs.crossings,
    runs.piece_lengths,
    runs.trims,
    seams.seams_in_place,
    # each piece
    pieces.widths,
    pieces.visibility,
    pieces.metals,
    pieces.masses,
    pieces.preforms,
    pieces.bends,
    pieces.cautions,
    gauge.gauges,
    gauge.clamp_pitches,
    gauge.clamp_counts,
    gauge.reasons,
    templates.templates,
    # its blank
    blanks.root_lengths,
    blanks.widths,
    blanks.straightness,
    blanks.hard_way,
    blanks.outlines,
    blanks.areas,
    blanks.notches,
    folds.folds,
    folds.fold_chords,
    folds.slits,
    # cutting and buying
    nests.placed_once,
    nests.own_metal,
    nests.inside,
    nests.cutting_gap,
    nests.turns,
    nests.flips,
    nests.areas,
    nests.cut_lengths,
    offcuts.offcuts,
    purchases.counts,
    purchases.on_hand,
    purchases.prices,
    # what was there before
    reuse.served_once,
    reuse.fits,
    reuse.changes,
    reuse.built_sections,
    reuse.rests,
    # counting
    quantities.amounts,
    quantities.packers,
    quantities.bolt_sizes,
    minutes.hours,
    minutes.total_minutes,
    money.costs,
)
"""Every rule of a plan with sections, in the order of the work."""


def check_plan(job: Job, plan: Plan) -> CheckReport:
    """Judge a plan by its job alone and count its cost again.

    Never raises on a plan that its model accepts: what cannot be read is a fault too.
    """
    faults = [*status.headings(job, plan), *status.statuses(job, plan)]
    if plan.status in status.WITHOUT_PLAN:
        faults.extend(status.proofs(plan, None))
        return CheckReport(tuple(faults), None)
    job = reuse.job_at_hand(job, plan)
    broken = unreadable(job, plan)
    if broken:
        return CheckReport((*faults, *broken), None)
    reading = read(job, plan)
    for rule in RULES:
        faults.extend(rule(reading))
    cost: Cost = money.cost_of(reading)
    # By the stated cost: where that is wrong it is a fault already, told above.
    faults.extend(status.proofs(plan, plan.cost or cost))
    faults.extend(status.left_out(job, plan))
    return CheckReport(tuple(faults), cost)
