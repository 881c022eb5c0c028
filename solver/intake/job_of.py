"""From a file to a job: everything that the intake does, in order."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from solver.data import scenario as form
from solver.data.errors import Problem, Problems, ScenarioErrors
from solver.data.job import Job, Patch
from solver.data.units import shown
from solver.intake import plausibility
from solver.intake.edges import EdgeSet, edges_of, unused_kinds
from solver.intake.facings import with_facings
from solver.intake.kinds import AUTOMATIC, EVERY
from solver.intake.limits import Names, check_limits
from solver.intake.names import is_word, swapping
from solver.intake.patches import Sides, patches_of
from solver.intake.read import LARGEST_BYTES, checked_tree, read_tree
from solver.intake.resolved import is_resolved, job_from_resolved
from solver.intake.runs import runs_of
from solver.intake.shop import goal_of, rules_of, shop_of
from solver.intake.stock import stock_of
from solver.intake.walks import walked_alike
from solver.intake.written import scenario_of


def read_job(source: str | os.PathLike[str] | bytes | Mapping[str, Any]) -> Job:
    """Read a scenario, in the builder's form or the resolved one.

    The source is a path, the bytes of a file, or the plain values that a file holds.
    Raises ScenarioErrors with everything that is wrong with it.
    """
    if isinstance(source, Mapping):
        return job_from_scenario(source)
    raw = source if isinstance(source, bytes) else _contents(Path(source))
    return _job(read_tree(raw))


def job_from_scenario(data: Mapping[str, Any]) -> Job:
    """Return the job of a scenario given as plain values, in either form.

    Raises ScenarioErrors with everything that is wrong with it.
    """
    return _job(checked_tree(data))


def _job(tree: dict[str, Any]) -> Job:
    return job_from_resolved(tree) if is_resolved(tree) else _job_of(scenario_of(tree))


def _contents(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(LARGEST_BYTES + 1)
    except OSError as fault:
        remedy = "give the path of a scenario file"
        raise ScenarioErrors(
            (Problem(str(path), fault.strerror or "cannot be read", remedy),)
        ) from None


def _job_of(scenario: form.Scenario) -> Job:
    problems = Problems()
    rename = None if scenario.mirror is None else swapping(scenario.mirror)
    sides = Sides(rename, frozenset(scenario.one_sided))
    rules = rules_of(scenario, problems)
    patches = patches_of(scenario, sides, problems)
    patch_of = {patch.id: patch for patch in patches}
    _check_mirror(scenario.mirror or {}, problems)
    _check_one_sided(scenario, patch_of, problems)
    for kind in unused_kinds(scenario):
        meant = problems.hint(kind, [EVERY, *AUTOMATIC])
        if meant:
            problems.add(("kinds", kind), "no edge has this kind", meant)
    made = edges_of(scenario, patch_of, rules, sides, problems)
    made.edges[:], contradictions = walked_alike(made.edges)
    plausibility.check_hands(contradictions, made, problems)
    made.edges[:] = [
        with_facings(edge, patch_of, made.stands_on.get(edge.id)) for edge in made.edges
    ]
    runs, corners = runs_of(made.edges, patches)
    job = Job(
        title=scenario.title,
        length_unit=scenario.length_unit,
        currency=scenario.stock.currency if scenario.stock is not None else "USD",
        patches=patches,
        edges=tuple(made.edges),
        runs=runs,
        corners=corners,
        stock=stock_of(scenario, problems),
        shop=shop_of(scenario),
        rules=rules,
        goal=goal_of(scenario, problems),
    )
    plausibility.check(job, plausibility.places_of(made, scenario), problems)
    edge_keys = {name: source.keys for name, source in made.source.items()}
    check_limits(job, Names(edge_keys, with_units=False), problems)
    problems.raise_any()
    return replace(job, notes=_notes(scenario, job, made))


def _check_mirror(pairs: Mapping[str, str], problems: Problems) -> None:
    words = Counter([*pairs, *pairs.values()])
    for word, other in pairs.items():
        for one in dict.fromkeys((word, other)):
            if not is_word(one):
                remedy = "letters only: whole words of names and marks swap sides"
                problems.add(("mirror", word), shown(one), remedy)
            elif words[one] > 1:
                remedy = 'each word stands for one side, once: {"left": "right", "L": "R"}'
                problems.add(("mirror", word), f"{shown(one)} is there twice", remedy)


def _check_one_sided(
    scenario: form.Scenario, patches: Mapping[str, Patch], problems: Problems
) -> None:
    for index, name in enumerate(scenario.one_sided):
        if name not in patches and name not in scenario.edges:
            known = [*patches, *scenario.edges]
            remedy = problems.hint(name, known) or "name a patch or an edge"
            problems.add(("one_sided", index), f'"{name}" is not here', remedy)


def _notes(scenario: form.Scenario, job: Job, made: EdgeSet) -> tuple[str, ...]:
    """Say what was assumed, so that a mistake is seen before a plan is made."""
    notes = list(plausibility.cautions(job))
    if scenario.stock is None:
        notes.append(
            "No stock is listed: the usual rolls and sheets are offered at usual prices [practice]."
        )
    notes += [f'Kind "{kind}" is not used by any edge.' for kind in unused_kinds(scenario)]
    return tuple(notes)
