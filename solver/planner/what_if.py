"""What a builder asks of a job before deciding: pins, splits, crew, limits, stock left out.

Each function takes a job and returns the job that it would be; nothing else in it changes.  What
cannot be asked raises ScenarioErrors with the place (the name of the question), the value and the
remedy.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

from solver.data.errors import Problems, ScenarioErrors
from solver.data.job import Edge, Job, StockItem
from solver.data.units import MeasureError, parse_length, parse_mass_kg, shown
from solver.intake.names import read_edge_name

LARGEST_CREW = 50
MOST_SECTIONS = 1000
SAME_WIDTH_MM = 0.01
"""Widths this near are one: a file may say 203.2 mm and a builder 8 in."""
_MOST_LISTED = 4


@dataclass(frozen=True)
class WhatIf:
    """Questions to ask of a job, all at once, in the builder's words."""

    pins: tuple[tuple[str, str], ...] = ()
    """(patch, label): patches with one label stay together, with different labels apart."""
    splits: tuple[str, ...] = ()
    """Edges that are to be joints."""
    joins: tuple[str, ...] = ()
    """Edges that are not to be joints."""
    crew: int | None = None
    lift_limit: str | None = None
    """The heaviest section, with its unit: "120 lb"."""
    most_sections: int | None = None
    without: tuple[str, ...] = ()
    """A metal and gauge, a stock item, a metal, a form or a width to leave out."""
    symmetric: bool = False

    @property
    def asks(self) -> bool:
        """Whether anything is asked."""
        return self != WhatIf()


def asked(job: Job, what_if: WhatIf) -> Job:
    """Return the job with everything that is asked.

    Raises ScenarioErrors with all that cannot be asked.
    """
    problems = Problems()
    _check_contradictions(job, what_if, problems)
    for change in _changes(what_if):
        try:
            job = change(job)
        except ScenarioErrors as errors:
            problems.found += [one for one in errors.problems if one not in problems.found]
    problems.raise_any()
    return job


def _changes(what_if: WhatIf) -> Iterator[Callable[[Job], Job]]:
    for patch, label in what_if.pins:
        yield partial(pinned, patch=patch, label=label)
    for edge in what_if.splits:
        yield partial(split_at, edge=edge)
    for edge in what_if.joins:
        yield partial(joined_at, edge=edge)
    if what_if.crew is not None:
        yield partial(with_crew, people=what_if.crew)
    if what_if.lift_limit is not None:
        yield partial(with_lift_limit, limit=what_if.lift_limit)
    if what_if.most_sections is not None:
        yield partial(with_most_sections, most=what_if.most_sections)
    if what_if.without:
        yield partial(without_stock, named=what_if.without)
    if what_if.symmetric:
        yield symmetric


def pinned(job: Job, patch: str, label: str) -> Job:
    """Return the job with a patch pinned to a label, which replaces one that it had."""
    if patch not in job.patch_of:
        raise _refused("pin", shown(patch), _nearest(patch, job.patch_of, "patches"))
    if not label.strip():
        raise _refused("pin", shown(f"{patch}={label}"), "give a label after the =")
    return replace(
        job,
        patches=tuple(replace(one, pin=label) if one.id == patch else one for one in job.patches),
    )


def split_at(job: Job, edge: str) -> Job:
    """Return the job with an edge that must be a joint."""
    found = _inner_edge(job, edge, "split")
    if not job.carries_metal(found) and found.witness == "forbidden":
        raise _refused(
            "split",
            shown(found.id),
            "a witness line is forbidden there; allow it in the scenario to ask for this",
        )
    return _with_edge(job, replace(found, split="required"))


def joined_at(job: Job, edge: str) -> Job:
    """Return the job with an edge that must not be a joint."""
    found = _inner_edge(job, edge, "join")
    if job.carries_metal(found) and found.standing == "forbidden":
        raise _refused(
            "join",
            shown(found.id),
            "standing metal is forbidden there; allow it in the scenario to ask for this",
        )
    return _with_edge(job, replace(found, split="forbidden"))


def with_crew(job: Job, people: int) -> Job:
    """Return the job with another number of people, who lift what no hoist does."""
    if not 1 <= people <= LARGEST_CREW:
        raise _refused("crew", str(people), f"from 1 to {LARGEST_CREW} people")
    return replace(job, shop=replace(job.shop, crew=people))


def with_lift_limit(job: Job, limit: str) -> Job:
    """Return the job with another heaviest section, written with its unit: "120 lb"."""
    try:
        mass_kg = parse_mass_kg(limit)
    except MeasureError as fault:
        raise _refused("lift-limit", fault.finding, fault.remedy) from None
    if mass_kg <= 0:
        raise _refused("lift-limit", shown(limit), "more than 0")
    return replace(job, shop=replace(job.shop, lift_limit_kg=mass_kg))


def with_most_sections(job: Job, most: int) -> Job:
    """Return the job with another largest number of sections."""
    if not 1 <= most <= MOST_SECTIONS:
        raise _refused("most-sections", str(most), f"from 1 to {MOST_SECTIONS}")
    if most < job.rules.fewest_sections:
        fewest = f'at least {job.rules.fewest_sections}, the scenario\'s "fewest_sections"'
        raise _refused("most-sections", str(most), fewest)
    return replace(job, rules=replace(job.rules, most_sections=most))


def without_stock(job: Job, named: Sequence[str]) -> Job:
    """Return the job without some of its stock.

    Each of ``named`` is an item, a metal with its gauge ("24 ga aluminium"), a metal, a form
    ("roll") or a width of rolls and sheets ("8 in").
    """
    problems = Problems()
    left_out: set[str] = set()
    for words in named:
        try:
            left_out |= {item.id for item in _named_stock(job, words)}
        except ScenarioErrors as errors:
            problems.found += errors.problems
    problems.raise_any()
    rest = tuple(item for item in job.stock if item.id not in left_out)
    if not rest:
        listed = ", ".join(shown(words) for words in named)
        raise _refused("without", listed, "nothing to cut would be left; leave out less")
    return replace(job, stock=rest)


def symmetric(job: Job) -> Job:
    """Return the job with a split whose sections are their own mirror images or come in pairs."""
    if all(patch.twin in (None, patch.id) for patch in job.patches):
        remedy = 'no patch has a mirrored twin; a scenario with "mirror" has'
        raise _refused("symmetric", "no two sides alike", remedy)
    return replace(job, rules=replace(job.rules, symmetric_split=True))


def _check_contradictions(job: Job, what_if: WhatIf, problems: Problems) -> None:
    """Report an edge that is to be split and joined, and a patch pinned to two labels."""
    split = {one for name in what_if.splits for one in _edge_ids(job, name)}
    joined = {one for name in what_if.joins for one in _edge_ids(job, name)}
    for name in sorted(split & joined):
        problems.add(("join",), shown(name), "is asked to be split too; ask for one")
    labels: dict[str, str] = {}
    for patch, label in what_if.pins:
        if labels.setdefault(patch, label) != label:
            finding = f'"{patch}" is pinned to "{labels[patch]}" and "{label}"'
            problems.add(("pin",), finding, "one label for one patch")


def _inner_edge(job: Job, name: str, question: str) -> Edge:
    """Return the edge between two patches that a name means, either side named first."""
    found = _edge_ids(job, name)
    if not found:
        raise _refused(question, shown(name), _nearest(name, job.edge_of, "edges"))
    if len(found) > 1:
        listed = " or ".join(f'"{one}"' for one in found[:_MOST_LISTED])
        raise _refused(question, f"{shown(name)} is {len(found)} edges", f"say which: {listed}")
    edge = job.edge_of[found[0]]
    if edge.open:
        raise _refused(question, shown(edge.id), "an open edge; only an edge of two patches")
    return edge


def _edge_ids(job: Job, name: str) -> list[str]:
    """Return the edges that a name may mean: without a label all between the two sides."""
    if name in job.edge_of:
        return [name]
    asked_for = read_edge_name(name)
    if asked_for is None:
        return []
    keys = {edge.id: read_edge_name(edge.id) for edge in job.edges}
    exact = [one for one, key in keys.items() if key is not None and key.key == asked_for.key]
    if exact or asked_for.label:
        return exact
    sides = asked_for.key[:2]
    return [one for one, key in keys.items() if key is not None and key.key[:2] == sides]


def _with_edge(job: Job, changed: Edge) -> Job:
    edges = tuple(changed if edge.id == changed.id else edge for edge in job.edges)
    return replace(job, edges=edges)


def _named_stock(job: Job, named: str) -> Sequence[StockItem]:
    word = " ".join(named.split()).casefold()
    for says in (
        lambda item: item.id.casefold() == word,
        lambda item: item.metal_label.casefold() == word,
        lambda item: item.metal.casefold() == word,
        lambda item: word in (item.form, f"{item.form}s"),
    ):
        found = [item for item in job.stock if says(item)]
        if found:
            return found
    try:
        width = parse_length(named)
    except MeasureError:
        known = dict.fromkeys(item.metal_label for item in job.stock)
        remedy = _nearest(named, [*known, *job.stock_of], "stock", list(known))
        raise _refused("without", shown(named), remedy) from None
    if width.unit is None:
        remedy = (
            f'write "{named} {job.length_unit}" for a width, "{named} ga aluminium" for a gauge'
        )
        raise _refused("without", shown(named), remedy)
    width_mm = width.mm(job.length_unit)
    found = [
        item
        for item in job.stock
        if item.form != "offcut" and abs(item.width_mm - width_mm) <= SAME_WIDTH_MM
    ]
    if not found:
        raise _refused("without", shown(named), "no roll or sheet has this width")
    return found


def _nearest(word: str, known: Iterable[str], kind: str, listed: Sequence[str] = ()) -> str:
    """Return the nearest known name as the remedy, or some that are known."""
    names = list(known)
    hint = Problems().hint(word, names)
    if hint:
        return hint
    some = list(listed or names)
    more = " …" if len(some) > _MOST_LISTED else ""
    return f"{kind} here: " + ", ".join(f'"{one}"' for one in some[:_MOST_LISTED]) + more


def _refused(question: str, value: str, remedy: str) -> ScenarioErrors:
    problems = Problems()
    problems.add((question,), value, remedy)
    return ScenarioErrors(problems.found)
