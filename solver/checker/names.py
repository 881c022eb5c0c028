"""Names: what a plan speaks of exists in its job, once; without this nothing is judged."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

import numpy as np
import shapely

from solver.checker.report import Fault
from solver.checker.tolerances import station_slack_mm
from solver.data.job import Job
from solver.data.plan import Plan

NAMES = "names"
ONE_SECTION = "one section"
COVERAGE = "coverage"
OUTLINE = "outline"


def unreadable(job: Job, plan: Plan) -> tuple[Fault, ...]:
    """Faults that leave the rest of the plan without meaning."""
    return (
        *_unknown_names(job, plan),
        *_patches_in_one_section(job, plan),
        *_stations(job, plan),
        *_broken_outlines(plan),
        *_broken_notches(plan),
    )


def _unknown_names(job: Job, plan: Plan) -> Iterator[Fault]:
    sections = [section.id for section in plan.sections]
    pieces = [piece.id for piece in plan.pieces]
    runs = {run.id for run in job.runs}
    metals = {item.metal for item in job.stock}
    yield from _twice("section", sections)
    yield from _twice("piece", pieces)
    yield from _twice("nest", [nest.id for nest in plan.nests])
    yield from _twice("purchase", [purchase.stock for purchase in plan.purchases])
    yield from _unknown("stock", job.stock_of, [purchase.stock for purchase in plan.purchases])
    yield from _unknown("stock", job.stock_of, [nest.stock for nest in plan.nests])
    yield from _unknown("section", sections, [step.section for step in plan.removal])
    yield from _unknown("run", runs, [piece.run for piece in plan.pieces])
    yield from _unknown("metal", metals, [piece.metal for piece in plan.pieces])
    placed = [one.piece for nest in plan.nests for one in nest.placed]
    yield from _unknown("piece", pieces, placed)
    templates = [piece.template_of for piece in plan.pieces if piece.template_of is not None]
    yield from _unknown("piece", pieces, templates)
    planned = [edge.edge for edge in plan.edges]
    yield from _twice("edge", planned)
    yield from _unknown("edge", job.edge_of, planned)
    for edge in job.edges:
        if edge.id not in planned:
            yield Fault(NAMES, f'edge "{edge.id}"', "the plan does not say what becomes of it")


def _twice(kind: str, names: list[str]) -> Iterator[Fault]:
    for name, count in Counter(names).items():
        if count > 1:
            yield Fault(NAMES, f'{kind} "{name}"', f"is given {count} times; once is right")


def _unknown(kind: str, known: Iterable[str], named: list[str]) -> Iterator[Fault]:
    there = set(known)
    for name in dict.fromkeys(named):
        if name not in there:
            yield Fault(NAMES, f'{kind} "{name}"', f"there is no such {kind}")


def _patches_in_one_section(job: Job, plan: Plan) -> Iterator[Fault]:
    counts = Counter(patch for section in plan.sections for patch in section.patches)
    for patch in counts:
        if patch not in job.patch_of:
            yield Fault(NAMES, f'patch "{patch}"', "there is no such patch")
    for patch in job.patch_of:
        if counts[patch] != 1:
            yield Fault(ONE_SECTION, f'patch "{patch}"', f"lies in {counts[patch]} sections, not 1")
    for section in plan.sections:
        if not section.patches:
            yield Fault(ONE_SECTION, f'section "{section.id}"', "has no patch")


def _stations(job: Job, plan: Plan) -> Iterator[Fault]:
    lengths = {r.id: sum(job.edge_of[e.edge].length_mm for e in r.edges) for r in job.runs}
    closed = {run.id: run.closed for run in job.runs}
    for piece in plan.pieces:
        if piece.run not in lengths:
            continue
        length = lengths[piece.run]
        slack = station_slack_mm(length)
        last = 2 * length if closed[piece.run] else length
        covered = piece.to_mm - piece.from_mm
        if not (
            -slack <= piece.from_mm
            and piece.to_mm <= last + slack
            and slack < covered <= length + slack
        ):
            yield Fault(
                COVERAGE,
                f'piece "{piece.id}"',
                f"runs from {piece.from_mm:.3f} to {piece.to_mm:.3f} mm; "
                f"its run is {length:.3f} mm long",
            )


def _broken_outlines(plan: Plan) -> Iterator[Fault]:
    rings = [(f'piece "{piece.id}"', piece.blank.outline_mm) for piece in plan.pieces]
    rings += [
        (f'nest "{nest.id}", offcut {number}', offcut.outline_mm)
        for nest in plan.nests
        for number, offcut in enumerate(nest.offcuts, start=1)
    ]
    rings += [
        (f'nest "{nest.id}", cut before {number}', gone)
        for nest in plan.nests
        for number, gone in enumerate(nest.gone_mm, start=1)
    ]
    if plan.rerun is not None:
        rings += [
            (f'piece "{one.piece.id}" that is there', one.piece.blank.outline_mm)
            for one in plan.rerun.existing
        ]
    for place, ring in rings:
        if len(ring) < 3:
            yield Fault(OUTLINE, place, f"its outline has {len(ring)} points")
            continue
        polygon = shapely.Polygon(np.array(ring, dtype=np.float64))
        if not polygon.is_valid or polygon.area <= 0:
            yield Fault(
                OUTLINE, place, f"its outline is no area: {shapely.is_valid_reason(polygon)}"
            )


def _broken_notches(plan: Plan) -> Iterator[Fault]:
    for piece in plan.pieces:
        for number, notch in enumerate(piece.blank.v_notches_mm, start=1):
            if len(notch) != 3:
                yield Fault(
                    "V-notches",
                    f'piece "{piece.id}"',
                    f"V-notch {number} has {len(notch)} points; mouth, apex and mouth are three",
                )
