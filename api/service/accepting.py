"""From a body to a job that may be kept: everything wrong with it is told at once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from api.engine import Engine
from api.service.kinds import Finished, Kind
from api.service.records import NewJob
from solver.data.errors import Key, Problem, Problems, ScenarioErrors, clip

_LONGEST_TITLE = 200
_WORDS = {
    "missing": "add it",
    "extra_forbidden": "take it out: no such key is known",
    "int_type": "write a whole number",
    "int_from_float": "write a whole number",
    "float_type": "write a number",
    "string_type": "write a text",
    "bool_type": "write true or false",
    "dict_type": "write an object",
    "tuple_type": "write a list",
    "model_type": "write an object",
}


def accepted(
    tree: Mapping[str, Any],
    kinds: Mapping[str, Kind],
    engine: Engine,
    finished: Finished,
    key: str | None = None,
) -> NewJob:
    """Return the job that a body asks for; raises ScenarioErrors with places in the body."""
    kind = _kind(tree, kinds)
    try:
        # strict numbers, but lists as JSON has them
        body = kind.body.model_validate_json(json.dumps(dict(tree)))
    except ValidationError as error:
        raise _told(error) from None
    try:
        ready = kind.prepare(body, engine, finished)
    except ScenarioErrors as errors:
        raise _inside(errors) from None
    request = json.dumps(dict(tree), sort_keys=True, separators=(",", ":"))
    return NewJob(
        kind=kind.name,
        title=clip(ready.title, _LONGEST_TITLE),
        group=body.group,
        seconds=ready.seconds,
        request=request,
        inputs=json.dumps(dict(ready.inputs), separators=(",", ":")),
        digest=hashlib.sha256(request.encode("ascii")).hexdigest(),
        key=key,
    )


def _kind(tree: Mapping[str, Any], kinds: Mapping[str, Kind]) -> Kind:
    name = tree.get("kind")
    found = kinds.get(name) if isinstance(name, str) else None
    if found is None:
        problems = Problems()
        value = "nothing" if name is None else json.dumps(name)
        listed = ", ".join(f'"{one}"' for one in kinds)
        problems.add(("kind",), value, f"write one of {listed}")
        problems.raise_any()
    assert found is not None
    return found


def _told(error: ValidationError) -> ScenarioErrors:
    """Return pydantic's errors as ours: place, what kind of value stands there, remedy."""
    problems = Problems()
    for fault in error.errors(include_url=False, include_context=True):
        keys: list[Key] = [key for key in fault["loc"] if key != "[key]"]
        value = "nothing" if fault["type"] == "missing" else _value_kind(fault["input"])
        message = fault["msg"][0].lower() + fault["msg"][1:]
        problems.add(keys, value, _WORDS.get(fault["type"], message))
    return ScenarioErrors(problems.found, problems.left_out)


def _value_kind(value: object) -> str:
    """Say what stands there without repeating much of it."""
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list | tuple):
        return "a list"
    return clip(json.dumps(value), 60)


_OWN_PARTS = ("/job", "/option", "/old_plan", "/record", "/plans", "/scenario")
"""Where problems of parts that are read apart already point into the body."""


def _inside(errors: ScenarioErrors) -> ScenarioErrors:
    """Give problems of the scenario their place in the body."""
    return ScenarioErrors([_placed(one) for one in errors.problems], errors.left_out)


def _placed(problem: Problem) -> Problem:
    if problem.pointer.startswith(_OWN_PARTS):
        return problem
    place = "scenario" if problem.place == "the file" else problem.place
    return replace(problem, pointer=_below(problem.pointer), place=place)


_WHAT_IFS = {
    "pin": "pins",
    "split": "splits",
    "join": "joins",
    "lift-limit": "lift_limit",
    "most-sections": "most_sections",
    "crew": "crew",
    "without": "without",
    "symmetric": "symmetric",
}


def _below(pointer: str) -> str:
    head = pointer.removeprefix("/").partition("/")[0]
    return f"/what_if/{_WHAT_IFS[head]}" if head in _WHAT_IFS else f"/scenario{pointer}"
