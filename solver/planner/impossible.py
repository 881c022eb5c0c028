"""Why no plan is possible: a smallest set of the scenario's own requirements that cannot hold.

Plain facts first (a line that no metal in the stock may make), then the split (release, weight,
size, order, pins, forbidden splits), then what only the whole model sees: stock that is limited, a
symmetric split, places where no seam may be.  There each requirement is left out in turn; one
without which a plan is possible is needed, the others are not named.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from solver.data.job import Edge, Job
from solver.data.plan import PERHAPS_FEWER, Requirement
from solver.data.units import as_written
from solver.intake.show import direction_words
from solver.models import split_conflict
from solver.models.master import Master, MasterProblem
from solver.planner.master_of import seam_clashes, stock_order
from solver.planner.options import Refusals
from solver.planner.rounds import Parts, problem_of
from solver.planner.seam_reasons import clash_reason, no_seams
from solver.planner.sheets import sheets_of
from solver.planner.split_of import EdgeRule, split_problem_of
from solver.planner.symmetric import mirror_of
from solver.planner.unit_words import in_unit

MOST_SENTENCES = 6
MOST_NAMED = 4
"""Edges named in one sentence."""
CONFLICT_SECONDS = 10.0
WORK = 5.0
"""Deterministic work for each question to the model."""


def why_impossible(
    job: Job, refusals: Refusals, parts: Parts | None
) -> tuple[tuple[Requirement, ...], tuple[str, ...]]:
    """Return requirements that cannot hold together, in the scenario's ids and words, and notes.

    Empty where sections were left out of the choice and no conflict was found without them: then
    nothing is shown to be impossible.
    """
    if parts is None:
        return _no_way_to_make(job, refusals), ()
    mirror = mirror_of(job) if job.rules.symmetric_split else None
    conflict = split_conflict.why_not(parts.split, symmetric=mirror, deadline_s=CONFLICT_SECONDS)
    if conflict.requirements:
        reasons = tuple(_in_words(one, job, parts.edge_rules) for one in conflict.requirements)
        return reasons, () if conflict.minimal else (PERHAPS_FEWER,)
    if parts.dropped_bound < math.inf:
        return (), ()
    return _whole_model(job, parts), ()


def plain_reasons(job: Job) -> tuple[tuple[Requirement, ...], tuple[str, ...]]:
    """Return what can be told before any search, such as a patch that cannot be released or lifted.

    One smallest set that cannot hold, empty if there is none, and the sentences of every other
    patch that is hopeless by itself, since each must be mended.
    """
    for edge in job.edges:
        across_one_part = not edge.open and not job.carries_metal(edge)
        if across_one_part and edge.split == "required" and edge.witness == "forbidden":
            shows = "it is visible" if edge.visible else "the scenario says so"
            return (
                _asked(edge, "split required", "must be a joint"),
                _asked(
                    edge,
                    "witness",
                    f"may show no witness line ({shows}), but one part crosses it and a joint "
                    'leaves one; write "witness": "allowed"',
                ),
            ), ()
    free = {edge.id: EdgeRule("allowed") for edge in job.edges if not edge.open}
    facts = split_conflict.plain_facts(split_problem_of(job, free))
    if not facts:
        return (), ()
    also = tuple(f"also: {one.sentence}" for one in split_conflict.also_hopeless(facts))
    return tuple(_in_words(one, job, free) for one in facts[0]), also


def _no_way_to_make(job: Job, refusals: Refusals) -> tuple[Requirement, ...]:
    """Explain the first line that cannot be made, whole."""
    edges = [job.edge_of[step.edge] for run in job.runs for step in run.edges]
    if not sheets_of(job):
        none = "nothing of the stock is on hand or for sale" if job.stock else "the stock is empty"
        return (
            Requirement(
                rule="stock",
                ids=(edges[0].id,),
                sentence=f'edge "{edges[0].id}" carries metal, but {none}',
            ),
        )
    edge = next(edge for edge in edges if edge.id not in refusals.made)
    reasons = []
    if edge.split == "forbidden":
        reasons.append(
            _asked(edge, "split forbidden", "must not be a joint, so nothing pinches it")
        )
    elif edge.split == "required":
        reasons.append(_asked(edge, "split required", "must be a joint, so nothing stands on it"))
    if edge.standing == "forbidden":
        reasons.append(_asked(edge, "standing", "may not carry standing metal"))
    uncut = refusals.uncut.get(edge.id, [])
    # where no seams can be, the gauge does not matter: no metal would do
    sentences = [
        one for one in refusals.by_edge.get(edge.id, []) if one.partition(":")[0] not in uncut
    ]
    if sentences:
        asks = f"stand {as_written(edge.stand_mm, job.length_unit)}"
        asks += ", visible" if edge.visible else ""
        told = "; ".join(in_unit(one, job.length_unit) for one in sentences[:MOST_SENTENCES])
        reasons.append(
            _asked(edge, "gauge", f"({asks}) cannot be made of any metal in the stock: {told}")
        )
    for mounting in uncut:
        reasons += [one for one in no_seams(job, edge.id, mounting) if one not in reasons]
    return tuple(reasons)


def _asked(edge: Edge, rule: str, sentence: str) -> Requirement:
    return Requirement(rule=rule, ids=(edge.id,), sentence=f'edge "{edge.id}" {sentence}')


def _in_words(
    one: split_conflict.Requirement, job: Job, rules: Mapping[str, EdgeRule]
) -> Requirement:
    """Say it in the scenario's words: directions, and why an edge must or must not be a joint."""
    if one.rule == split_conflict.PULLS:
        given = ", ".join(direction_words(pull) for pull in job.rules.pulls)
        return Requirement(rule=one.rule, ids=(), sentence=f"pulls only {given}")
    if one.rule == split_conflict.WALLS:
        wall = direction_words(job.rules.walls[int(one.ids[0])])
        return Requirement(rule=one.rule, ids=(), sentence=f"a wall: nothing is pulled {wall}")
    if one.rule in (split_conflict.SPLIT_REQUIRED, split_conflict.SPLIT_FORBIDDEN):
        rule = rules[one.ids[0]]
        return Requirement(rule=rule.rule, ids=one.ids, sentence=rule.sentence)
    return Requirement(rule=one.rule, ids=one.ids, sentence=one.sentence)


def _whole_model(job: Job, parts: Parts) -> tuple[Requirement, ...]:
    problem = problem_of(parts)
    asked = _requirements(job, parts, problem)
    needed = list(asked)
    if _possible(problem, [asked[name] for name in needed]):
        # by area alone there is a plan: what the model refused is side by side on limited stock,
        # or sections that do not come off, split after split
        limited = [requirement for requirement in asked if requirement.rule == "stock"]
        return _naming_edges(job, parts, problem, limited) or (_DOES_NOT_COME_OFF,)
    for requirement in asked:
        rest = [one for one in needed if one != requirement]
        if not _possible(problem, [asked[one] for one in rest]):
            needed = rest
    return _naming_edges(job, parts, problem, needed) or (
        Requirement(
            rule="pieces",
            ids=(),
            sentence="no choice of sections, mountings and pieces fits together",
        ),
    )


def _naming_edges(
    job: Job, parts: Parts, problem: MasterProblem, needed: Sequence[Requirement]
) -> tuple[Requirement, ...]:
    """Tell with limited stock which edges can be cut from nothing else."""
    order = stock_order(parts.sheets)
    short = {id_ for one in needed if one.rule == "stock" for id_ in one.ids}
    places = frozenset(k for k, item in enumerate(order) if job.stock[item].id in short)
    freed = {
        line
        for option in problem.options
        if not any(need.holds <= places for need in option.needs)
        for line in option.lines
    }
    names = [edge.id for line in parts.lines for edge in line.edges]
    tied = [name for line, name in enumerate(names) if line not in freed]
    if not tied:
        return tuple(needed)
    listed = ", ".join(f'"{name}"' for name in tied[:MOST_NAMED])
    if len(tied) > MOST_NAMED:
        listed += f" and {len(tied) - MOST_NAMED} more"
    source = "it" if len(short) == 1 else "stock that runs out"
    can = (
        "edge {} can only be cut from {}" if len(tied) == 1 else "edges {} can only be cut from {}"
    )
    return tuple(
        one
        if one.rule != "stock"
        else Requirement(
            rule=one.rule,
            ids=(*one.ids, *tied[:MOST_NAMED]),
            sentence=f"{one.sentence}, and {can.format(listed, source)}",
        )
        for one in needed
    )


_DOES_NOT_COME_OFF = Requirement(
    rule=split_conflict.ORDER,
    ids=(),
    sentence="no sections that can be made with this stock come off one after another",
)

Ask = Callable[[MasterProblem], MasterProblem]


def _requirements(job: Job, parts: Parts, problem: MasterProblem) -> dict[Requirement, Ask]:
    """Requirements that only the whole model sees, each with what it adds to a free problem."""
    asked: dict[Requirement, Ask] = {}
    order = stock_order(parts.sheets)
    for place, index in enumerate(order):
        item = job.stock[index]
        if item.for_sale is None:
            continue
        have = f"{item.on_hand} on hand, {item.for_sale} for sale"
        requirement = Requirement(
            rule="stock",
            ids=(item.id,),
            sentence=f"no more {item.id} can be had ({have})",
        )
        asked[requirement] = _limiting(place, item.for_sale)
    if problem.symmetric_pairs or problem.symmetric_groups:
        pairs, groups = problem.symmetric_pairs, problem.symmetric_groups
        requirement = Requirement(
            rule="symmetric split", ids=(), sentence="the split is to be symmetric"
        )
        asked[requirement] = lambda free: replace(
            free, symmetric_pairs=pairs, symmetric_groups=groups
        )
    for clash in seam_clashes(job, parts.lines, parts.options):
        requirement = clash_reason(job, parts.lines[clash.run], clash.mark, clash.mounting)
        asked[requirement] = _clashing(asked.get(requirement), clash.options)
    return asked


def _clashing(before: Ask | None, options: tuple[int, ...]) -> Ask:
    """Add one clash to a problem, after others of the same requirement."""

    def clash(free: MasterProblem) -> MasterProblem:
        free = free if before is None else before(free)
        return replace(free, clashes=(*free.clashes, options))

    return clash


def _limiting(place: int, for_sale: int) -> Ask:
    def limit(free: MasterProblem) -> MasterProblem:
        stock = list(free.stock)
        stock[place] = replace(stock[place], for_sale=for_sale)
        return replace(free, stock=tuple(stock))

    return limit


def _possible(problem: MasterProblem, kept: Sequence[Ask]) -> bool:
    """Whether a plan exists by area if only these are kept; unknown counts as yes."""
    free = replace(
        problem,
        stock=tuple(replace(kind, for_sale=None) for kind in problem.stock),
        symmetric_pairs=(),
        symmetric_groups=(),
        clashes=(),
    )
    for ask in kept:
        free = ask(free)
    answer = Master(free).solve(work=WORK, seconds=None, seed=0)
    return answer.status != "impossible"
