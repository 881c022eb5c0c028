"""From plain values to a `Scenario`, with every fault of form put into the builder's words."""

from __future__ import annotations

import json
import typing
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from solver.data import scenario as form
from solver.data.errors import Key, Problems
from solver.data.units import shown


def scenario_of(tree: Mapping[str, Any]) -> form.Scenario:
    """Return the scenario that a tree of plain values holds.  Raises ScenarioErrors."""
    try:
        return form.Scenario.model_validate(tree)
    except ValidationError as fault:
        problems = Problems()
        for detail in fault.errors(include_url=False):
            if problems.full:
                problems.left_out += 1
                continue
            _add(detail, tree, problems)
        problems.raise_any()
        raise


def _add(detail: ErrorDetails, tree: Mapping[str, Any], problems: Problems) -> None:
    keys = _keys(detail, tree)
    kind = detail["type"]
    value = shown(detail["input"])
    if isinstance(detail["input"], dict | list):
        value = json.dumps(detail["input"], ensure_ascii=False)
    context = detail.get("ctx", {})
    if kind == "mend":
        problems.add(keys, context.get("finding") or value, str(context["remedy"]))
    elif kind == "extra_forbidden":
        known = list(_known_keys(detail["loc"][:-1]))
        remedy = problems.hint(str(keys[-1]), known) or f"known here: {', '.join(known)}"
        problems.add(keys, "no such key", remedy)
    elif kind == "missing":
        problems.add(keys[:-1], f'"{keys[-1]}" is missing', f'add "{keys[-1]}"')
    else:
        problems.add(keys, value, _remedy(kind, context, detail, problems))


def _remedy(kind: str, context: Mapping[str, Any], detail: ErrorDetails, problems: Problems) -> str:
    if kind in ("literal_error", "enum"):
        words = [
            word.strip("'") for word in str(context["expected"]).replace(" or ", ", ").split(", ")
        ]
        given = detail["input"]
        hint = problems.hint(given, words) if isinstance(given, str) else ""
        listed = ", ".join(f'"{word}"' for word in words)
        return hint or f"one of {listed}"
    if kind == "too_long":
        return f"at most {context['max_length']} of these"
    if kind == "too_short" and detail["loc"][-1] == "path":
        return 'a path goes from mark to mark: ["A", 24, "B"]'
    if kind == "too_short":
        return f"at least {context['min_length']} of these"
    plain = {
        "string_type": "write text in quotes",
        "string_too_long": f"at most {context.get('max_length')} characters",
        "string_too_short": f"at least {context.get('min_length')} characters",
        "list_type": "write a list: [ … ]",
        "dict_type": "write an object: { … }",
        "model_type": "write an object: { … }",
        "model_attributes_type": "write an object: { … }",
        "bool_type": "write true or false",
        "none_required": "leave it out",
    }
    return plain.get(kind, detail["msg"])


def _keys(detail: ErrorDetails, tree: Mapping[str, Any]) -> tuple[Key, ...]:
    """Return the path of a fault as it stands in the file.

    pydantic's path has tags of unions in it, and steps for what the models filled in: a bare path
    is an edge with a "path", one thing is a list of one, [w, l] is a list of one size.
    """
    keys: list[Key] = []
    loc = detail["loc"]
    node: Any = tree
    for index, key in enumerate(loc):
        if isinstance(key, str):
            stands = isinstance(node, dict) and not key.startswith("@") and key != "[key]"
        elif index == len(loc) - 1:
            stands = isinstance(node, list) and detail["input"] != node
        else:
            stands = isinstance(node, list) and (
                not _has(node, key) or isinstance(node[key], list | dict)
            )
        if stands:
            keys.append(key)
            node = node[key] if _has(node, key) else None
    return tuple(keys)


def _has(node: object, key: Key) -> bool:
    if isinstance(node, dict):
        return key in node
    return isinstance(node, list) and isinstance(key, int) and 0 <= key < len(node)


def _known_keys(loc: Sequence[int | str]) -> Iterator[str]:
    """Yield the keys that are known at a place, by walking the models along it."""
    models: set[type[BaseModel]] = {form.Scenario}
    for key in loc:
        if isinstance(key, int) or key.startswith("@"):
            if key == "@turn":
                models = {form.Turn}
            elif key == "@chord":
                models = {form.Chord}
            continue
        inside: set[type[BaseModel]] = set()
        for model in models:
            for name, field in model.model_fields.items():
                if key in (name, field.alias):
                    inside |= set(_models_in(field.annotation))
        models = inside or models
    for model in sorted(models, key=lambda one: one.__name__):
        for name, field in model.model_fields.items():
            yield field.alias or name


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:  # noqa: ANN401
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for argument in typing.get_args(annotation):
        yield from _models_in(argument)
