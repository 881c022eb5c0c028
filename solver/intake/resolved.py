"""The resolved form: a job with everything spelled out in SI shop units, for other programs.

It is checked like a scenario: types and unknown keys first, then references and signs, then whether
it can be true.
"""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, fields, is_dataclass
from functools import cache
from typing import Any

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from solver.data import scenario as form
from solver.data.errors import Key, Problems
from solver.data.job import OPEN, Edge, Job
from solver.data.units import shown
from solver.intake import plausibility
from solver.intake.limits import Names, check_limits
from solver.intake.shop import GOALS

_SIGNED = frozenset(
    {
        "box_mm", "facings", "pulls", "walls", "outline_mm", "easy_start", "easy_end",
        "hard_start", "hard_end", "twist_per_mm", "easy_deg", "hard_deg",
    }
)  # fmt: skip
_MORE_THAN_NOTHING = frozenset(
    {
        "area_mm2", "stand_mm", "pitch_mm", "diameter_mm", "thickness_mm", "core_mm", "width_mm",
        "mass_kg_m2", "crew", "longest_piece_mm", "joint_gap_mm", "lean_hidden_mm",
        "lean_visible_mm", "clamp_load_n", "clamp_lift_hidden_mm", "clamp_lift_visible_mm",
        "clamp_width_mm", "smallest_clamp_pitch_mm", "slit_tolerance_mm", "bend_k", "reach_mm",
        "fold_chord_tolerance_mm", "measuring_tolerance_mm", "access_angle_deg", "gap_mm",
        "mold_thickness_mm", "fewest_sections",
    }
)  # fmt: skip


class _Holder(BaseModel):
    """Lends its strictness to the job inside."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)

    job: Job


def is_resolved(tree: Mapping[str, Any]) -> bool:
    """Whether a tree says that it is in the resolved form."""
    return tree.get("form") == "resolved"


@cache
def _adapter() -> TypeAdapter[Job]:
    return TypeAdapter(Job)


def resolved_of(job: Job) -> dict[str, Any]:
    """Return the job as plain values that can be written as JSON."""
    plain: dict[str, Any] = _adapter().dump_python(job, mode="json")
    return plain


@cache
def resolved_schema() -> dict[str, Any]:
    """Return the JSON Schema of the resolved form."""
    schema = _Holder.model_json_schema()
    definitions = dict(schema["$defs"])
    job: dict[str, Any] = definitions.pop("Job")
    job["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    # an editor's own key, and the mark by which the form is told from the builder's
    job["properties"]["$schema"] = {"type": "string"}
    job["required"] = [*job["required"], "form"]
    return {**job, "$defs": definitions}


def job_from_resolved(tree: Mapping[str, Any]) -> Job:
    """Return the job that a tree in resolved form holds.  Raises ScenarioErrors."""
    problems = Problems()
    job = _read(tree, problems)
    _check_sizes(job, problems)
    _check_signs(job, (), problems)
    problems.raise_any()
    _check_references(job, problems)
    problems.raise_any()
    _check_edges(job, problems)
    plausibility.check(job, plausibility.places_in_resolved(job), problems)
    edge_keys: dict[str, tuple[Key, ...]] = {
        edge.id: ("edges", index) for index, edge in enumerate(job.edges)
    }
    check_limits(job, Names(edge_keys, with_units=True), problems)
    problems.raise_any()
    return job


def _read(tree: Mapping[str, Any], problems: Problems) -> Job:
    plain = {key: value for key, value in tree.items() if key != "$schema"}
    goal = plain.get("goal")
    if isinstance(goal, str):
        if goal not in GOALS:
            remedy = problems.hint(goal, GOALS) or f"one of {', '.join(GOALS)}"
            problems.add(("goal",), shown(goal), remedy)
            problems.raise_any()
        plain["goal"] = asdict(GOALS[goal])
    try:
        return _Holder.model_validate_json(json.dumps({"job": plain})).job
    except ValidationError as fault:
        for detail in fault.errors(include_url=False):
            if problems.full:
                problems.left_out += 1
                continue
            keys = detail["loc"][1:]
            if detail["type"] == "unexpected_keyword_argument":
                remedy = problems.hint(str(keys[-1]), _known_keys())
                problems.add(keys, "no such key", remedy or "take it out")
            elif detail["type"] == "missing":
                problems.add(keys[:-1], f'"{keys[-1]}" is missing', f'add "{keys[-1]}"')
            else:
                remedy = detail["msg"].removeprefix("Value error, ").removeprefix("Input ")
                problems.add(keys, shown(detail["input"]), remedy)
        problems.raise_any()
        raise


@cache
def _known_keys() -> tuple[str, ...]:
    schema = resolved_schema()
    names: dict[str, None] = dict.fromkeys(schema["properties"])
    for part in schema["$defs"].values():
        names |= dict.fromkeys(part.get("properties", ()))
    return tuple(names)


def _check_sizes(job: Job, problems: Problems) -> None:
    for key, count, most in (
        ("patches", len(job.patches), 2 * form.MOST_PATCHES),
        ("edges", len(job.edges), 2 * form.MOST_EDGES),
    ):
        if not 1 <= count <= most:
            problems.add((key,), f"{count} of them", f"from 1 to {most}")


def _check_signs(part: object, keys: tuple[Key, ...], problems: Problems) -> None:
    """Report numbers below 0, and 0 where something must be there."""
    if isinstance(part, tuple):
        for index, item in enumerate(part):
            _check_signs(item, (*keys, index), problems)
        return
    if is_dataclass(part):
        for field in fields(part):
            if field.name not in _SIGNED:
                _check_signs(getattr(part, field.name), (*keys, field.name), problems)
        return
    if isinstance(part, bool) or not isinstance(part, int | float):
        return
    if part < 0:
        problems.add(keys, f"{part:g}", "never negative")
    elif part == 0 and keys and keys[-1] in _MORE_THAN_NOTHING:
        problems.add(keys, "0", "more than 0")


def _check_references(job: Job, problems: Problems) -> None:
    patches = _unique("patches", (patch.id for patch in job.patches), problems)
    edges = _unique("edges", (edge.id for edge in job.edges), problems)
    runs = _unique("runs", (run.id for run in job.runs), problems)
    _unique("stock", (item.id for item in job.stock), problems)
    for index, patch in enumerate(job.patches):
        if patch.id == OPEN:
            problems.add(("patches", index, "id"), f'"{OPEN}"', "is the outside of the mold")
        _known(patch.twin, patches, ("patches", index, "twin"), problems)
    for index, edge in enumerate(job.edges):
        _known(edge.first, patches, ("edges", index, "first"), problems)
        if edge.second != OPEN:
            _known(edge.second, patches, ("edges", index, "second"), problems)
        _known(edge.twin, edges, ("edges", index, "twin"), problems)
        for number, near in enumerate(edge.near):
            _known(near.edge, edges, ("edges", index, "near", number, "edge"), problems)
    for index, run in enumerate(job.runs):
        _known(run.twin, runs, ("runs", index, "twin"), problems)
        for number, step in enumerate(run.edges):
            _known(step.edge, edges, ("runs", index, "edges", number, "edge"), problems)
    for index, (_, ending) in enumerate(job.corners):
        for number, name in enumerate(ending):
            _known(name, runs, ("corners", index, 1, number), problems)


def _unique(key: str, ids: Iterable[str], problems: Problems) -> Counter[str]:
    count = Counter(ids)
    for name, times in count.items():
        if times > 1:
            problems.add((key,), f'"{name}" stands there {times} times', "names are told apart")
    return count


def _known(
    name: str | None, known: Mapping[str, int], keys: tuple[Key, ...], problems: Problems
) -> None:
    if name is not None and name not in known:
        problems.add(keys, shown(name), problems.hint(name, known) or "nothing has this name")


def _check_edges(job: Job, problems: Problems) -> None:
    for index, patch in enumerate(job.patches):
        if not patch.facings:
            problems.add(("patches", index, "facings"), "none", "give at least one")
        for number, facing in enumerate(patch.facings):
            _check_unit(facing, ("patches", index, "facings", number), problems)
        if patch.box_mm is not None and any(a > b for a, b in zip(*patch.box_mm, strict=True)):
            problems.add(("patches", index, "box_mm"), "upside down", "the lowest corner first")
        if patch.spread_deg and len(patch.facings) > 1:
            problems.add(
                ("patches", index, "spread_deg"), "beside facings", "it goes round a single one"
            )
    for index, edge in enumerate(job.edges):
        if edge.first == edge.second:
            problems.add(("edges", index, "second"), shown(edge.second), "two sides differ")
        for number, facing in enumerate(edge.facings):
            _check_unit(facing, ("edges", index, "facings", number), problems)
        for keys, at_mm in _stations(edge):
            if at_mm > edge.length_mm * (1 + 1e-6) + 1e-6:
                end = f"{edge.length_mm:.2f}"
                problems.add(
                    ("edges", index, *keys), f"{at_mm:g} lies past the end ({end})", f"0 to {end}"
                )
    used = Counter(step.edge for run in job.runs for step in run.edges)
    for index, edge in enumerate(job.edges):
        wanted = 1 if job.carries_metal(edge) else 0
        if used[edge.id] != wanted:
            problems.add(
                ("edges", index),
                f'"{edge.id}" is in {used[edge.id]} runs',
                "an edge where a part ends is in one run, any other in none",
            )
    for index, run in enumerate(job.runs):
        if not run.edges:
            problems.add(("runs", index, "edges"), "none", "give at least one")
    if not job.stock:
        problems.add(("stock",), "holds nothing to cut", "list rolls, sheets or offcuts")
    for index, item in enumerate(job.stock):
        if not item.length_mm:
            problems.add(("stock", index, "length_mm"), "0", "more than 0")


def _stations(edge: Edge) -> Iterator[tuple[tuple[Key, ...], float]]:
    for number, notch in enumerate(edge.notches):
        yield ("notches", number, "at_mm"), notch.at_mm
    for number, (_, end) in enumerate(edge.no_seam_mm):
        yield ("no_seam_mm", number), end
    for number, near in enumerate(edge.near):
        yield ("near", number, "to_mm"), near.to_mm


def _check_unit(
    vector: tuple[float, float, float], keys: tuple[Key, ...], problems: Problems
) -> None:
    length = math.sqrt(sum(part * part for part in vector))
    if abs(length - 1) > 1e-6:
        problems.add(keys, f"length {length:g}", "directions have the length 1")
