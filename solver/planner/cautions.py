"""What a plan warns of: the usual dangers of the work, and what this plan in particular leaves."""

from __future__ import annotations

from collections.abc import Sequence

from solver.data.job import Job
from solver.data.plan import EdgePlan, Section
from solver.data.units import format_length
from solver.planner.reach_of import reach_cautions
from solver.planner.sheets import Sheet
from solver.planner.stands import stands_along
from solver.rules.access import too_low
from solver.rules.customary import thickness_words
from solver.rules.exposure import HEALTH_CAUTIONS
from solver.rules.fillets import too_tight_for_cloth
from solver.rules.gauge_choice import root_caution
from solver.rules.lifting import DECIDES

CLOTH_FILLET_MM = 25.4 / 8
"""Structural cloth wants a fillet of 1/8 in or more [practice]."""


def cautions_of(
    job: Job,
    sections: Sequence[Section],
    edges: Sequence[EdgePlan],
    used: Sequence[Sheet],
    forced_runs: Sequence[str],
) -> tuple[str, ...]:
    """Return cautions, the plan's own first and the usual ones of the work last."""
    unit = job.length_unit
    said: list[str] = []
    for capped, stands in stands_along(job).items():
        asked = job.edge_of[capped].stand_mm
        for one in stands:
            if one.stand_mm < asked - 1e-9:
                small = too_low(one.stand_mm, job.rules.smallest_stand_mm)
                low, high = (format_length(at, unit) for at in (one.from_mm, one.to_mm))
                said.append(
                    f'"{capped}": a flashing runs near, so the metal stands '
                    f"{format_length(one.stand_mm, unit)} instead of {format_length(asked, unit)}"
                    + (f" from {low} to {high}" if len(stands) > 1 else "")
                    + (" and is lower than a useful flange" if small else "")
                )
    said += [
        f'"{edge.id}": the line twists; its free edge would stretch {edge.strain:.1%} and a flat '
        "strip will not fit"
        for edge in job.edges
        if job.carries_metal(edge) and edge.strain > job.rules.largest_strain
    ]
    for run in forced_runs:
        said.append(f'"{run}": a seam lies near a corner or a notch; there was no other place')
    said += reach_cautions(job, sections, edges)
    for sheet in used:
        warning = root_caution(sheet.metal, job.rules)
        if warning is not None:
            said.append(warning)
    if too_tight_for_cloth(job.rules.fillet_radius_mm, CLOTH_FILLET_MM):
        said.append(
            f"fillets of {thickness_words(job.rules.fillet_radius_mm)} keep detail; structural "
            f"cloth wants {thickness_words(CLOTH_FILLET_MM)} or more"
        )
    heavy = [section for section in sections if section.people is None]
    for section in heavy:
        said.append(f"section {section.id}: {section.lift_basis}")
    said.append(
        "Lifting and tipping molds: keep clear of the fall line, agree on who calls, block "
        f"sections before working under or beside them; {DECIDES}."
    )
    said.append(
        "Each section has a pull that frees its own surface; overhangs of other sections are not "
        "seen by this rule: look before you pull."
    )
    said += [caution.sentence for caution in HEALTH_CAUTIONS]
    return tuple(said)


def notes_of(job: Job) -> tuple[str, ...]:
    """Return what was assumed, and which rules are off for want of measures."""
    notes = list(job.notes)
    hooked = [e.id for e in job.edges if job.carries_metal(e) and e.return_mm > 0]
    if hooked:
        named = ", ".join(f'"{edge}"' for edge in hooked)
        notes.append(f"metal with a return hooks under the laminate and leaves with it: {named}")
    if job.shop.largest_section_mm is not None and any(p.box_mm is None for p in job.patches):
        missing = next(p.id for p in job.patches if p.box_mm is None)
        notes.append(
            f'the size limit is off: patch "{missing}" has no box; give every patch one to use it'
        )
    return tuple(notes)
