"""Why a run cannot be cut where it must be: the scenario's own rules, by id, with figures."""

from __future__ import annotations

from solver.data.job import Edge, Job
from solver.data.plan import Mounting, Requirement
from solver.data.units import as_written
from solver.planner.options import SEAM_RULES, can_be_cut
from solver.planner.run_lines import RunLine, run_lines

_SLACK_MM = 1e-6


def no_seams(job: Job, edge_id: str, mounting: Mounting) -> tuple[Requirement, ...]:
    """Return a smallest set of rules under which an edge cannot be cut into pieces.

    Leaving out any one of them allows seams.
    """
    line = next(one for one in run_lines(job) if any(e.id == edge_id for e in one.edges))
    place = next(i for i, edge in enumerate(line.edges) if edge.id == edge_id)
    needed = list(SEAM_RULES)
    for rule in SEAM_RULES:
        rest = [one for one in needed if one != rule]
        if not can_be_cut(job, line, place, mounting, rest):
            needed = rest
    return tuple(_seam_rule(job, line.edges[place], rule) for rule in needed) or (
        Requirement(
            rule="pieces",
            ids=(edge_id,),
            sentence=f'edge "{edge_id}", {_long(job, line.edges[place])} long, cannot be cut into '
            "pieces that can be made",
        ),
    )


def _seam_rule(job: Job, edge: Edge, rule: str) -> Requirement:
    rules, unit = job.rules, job.length_unit
    length = _long(job, edge)
    sentences = {
        "no_seam": f'edge "{edge.id}" has "no_seam" {_stretches(job, edge)}',
        "seams_on_visible": f'edge "{edge.id}" is visible, and "seams_on_visible" is "forbidden"',
        "longest_piece": f"no piece is longer than {as_written(rules.longest_piece_mm, unit)} "
        f'("longest_piece"), and edge "{edge.id}" is {length} long',
        "shortest_piece": f"no piece is shorter than {as_written(rules.shortest_piece_mm, unit)} "
        f'("shortest_piece"), and edge "{edge.id}" is {length} long',
        "fold_chord_tolerance": f'edge "{edge.id}" is folded where it is curved the hard way, and '
        "a straight fold keeps within "
        f'{as_written(rules.fold_chord_tolerance_mm, unit)} of it ("fold_chord_tolerance")',
    }
    return Requirement(rule=rule, ids=(edge.id,), sentence=sentences[rule])


def _long(job: Job, edge: Edge) -> str:
    return as_written(edge.length_mm, job.length_unit)


def _stretches(job: Job, edge: Edge) -> str:
    unit = job.length_unit
    return ", ".join(
        f"from {as_written(low, unit)} to {as_written(high, unit)}" for low, high in edge.no_seam_mm
    )


def clash_reason(job: Job, line: RunLine, mark: int, mounting: Mounting) -> Requirement:
    """Say why no seam may lie at the mark where an edge of a run begins."""
    before, after = line.edges[mark - 1], line.edges[mark]
    unit, rules = job.length_unit, job.rules
    at = line.starts_mm[mark]
    laps = (0.0, line.length_mm, -line.length_mm) if line.run.closed else (0.0,)

    def within(zones: tuple[tuple[float, float], ...]) -> bool:
        return any(
            low + _SLACK_MM < at + lap < high - _SLACK_MM for low, high in zones for lap in laps
        )

    where = f'no seam where edge "{before.id}" meets edge "{after.id}"'
    if within(line.no_seam):
        stated = [
            f'edge "{edge.id}" has "no_seam" {_stretches(job, edge)}'
            for edge in (before, after)
            if edge.no_seam_mm
        ]
        rule, why = "no_seam", " and ".join(stated)
    elif rules.seams_on_visible == "forbidden" and within(line.visible):
        rule, why = "seams_on_visible", 'they are visible, and "seams_on_visible" is "forbidden"'
    elif within(line.corners):
        keep = as_written(rules.seam_from_corner_mm, unit)
        rule, why = "seam_from_corner", f'a sharp corner is nearer than {keep} ("seam_from_corner")'
    else:
        keep = as_written(rules.seam_from_notch_mm, unit)
        rule, why = "seam_from_notch", f'a notch is nearer than {keep} ("seam_from_notch")'
    return Requirement(rule=rule, ids=(before.id, after.id), sentence=f"{where}: {why}")
