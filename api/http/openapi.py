"""The API's own description (OpenAPI 3.1), with the published schemas and examples to post."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from api.engine import Engine
from api.http.examples import EXAMPLES
from api.http.problems import MEDIA_TYPE, PROBLEM_TYPES, problem_schema
from api.http.query import PARAMETERS
from api.option_table import OptionRow
from solver.data.plan import Plan

_COMPONENTS = "#/components/schemas/"


def describe_api(engine: Engine, version: str) -> dict[str, Any]:
    """Return the OpenAPI document."""
    schemas: dict[str, Any] = {"Problem": problem_schema()}
    for name, schema in (
        ("Scenario", engine.scenario_schema()),
        ("Plan", Plan.model_json_schema()),
        ("OptionRow", OptionRow.model_json_schema()),
    ):
        schemas |= as_components(name, schema)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "splitplan",
            "version": version,
            "description": "Plans mold splits, flashings, what metal to buy and how to cut it. "
            "Local codes and licensed practice decide.",
        },
        "paths": {
            "/v1/plans": {"post": _plans()},
            "/v1/options": {"post": _options()},
            "/v1/schema": {"get": _get("scenarioSchema", "The JSON Schema of a scenario")},
            "/v1/schema/resolved": {
                "get": _get("resolvedSchema", "The JSON Schema of a scenario spelled out")
            },
            "/v1/schema/plan": {"get": _get("planSchema", "The JSON Schema of a plan")},
            "/v1/health": {"get": _get("health", "Whether the service answers and what it does")},
            "/v1/limits": {"get": _get("limits", "The limits of the service")},
            "/v1/examples": {"get": _get("examples", "Scenarios that can be posted as they are")},
            "/v1/problems/{name}": {"get": _problem_type()},
        },
        "components": {"schemas": schemas},
    }


def as_components(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    """Return a JSON Schema and its definitions as OpenAPI components, references renamed."""
    named = {key: f"{name}.{key}" for key in schema.get("$defs", {})}
    references = {f"#/$defs/{key}": _COMPONENTS + value for key, value in named.items()}
    references["#"] = _COMPONENTS + name
    body = {key: value for key, value in schema.items() if key not in ("$defs", "$schema", "$id")}
    components = {name: _renamed(body, references)}
    for key, definition in schema.get("$defs", {}).items():
        components[named[key]] = _renamed(definition, references)
    return components


def _renamed(node: object, references: dict[str, str]) -> object:
    if isinstance(node, dict):
        return {
            key: references.get(value, value)
            if key == "$ref" and isinstance(value, str)
            else _renamed(value, references)
            for key, value in node.items()
        }
    if isinstance(node, list):
        return [_renamed(value, references) for value in node]
    return node


def _problems(*statuses: int) -> dict[str, Any]:
    content = {MEDIA_TYPE: {"schema": {"$ref": f"{_COMPONENTS}Problem"}}}
    answers: dict[str, Any] = {}
    for status in statuses:
        names = sorted(kind.name for kind in PROBLEM_TYPES.values() if kind.status == status)
        answers[str(status)] = {"description": " or ".join(names), "content": content}
    return answers


def _plans() -> dict[str, Any]:
    return _planning(
        "makePlan",
        "Make a plan from a scenario",
        "Answers when the plan is there. Where no plan is possible the answer is a plan too, with "
        "the status impossible and the requirements that clash. A client that leaves ends the "
        "work.",
        ("seconds", "seed"),
        "The plan, or why there is none",
        {"$ref": f"{_COMPONENTS}Plan"},
    )


def _options() -> dict[str, Any]:
    return _planning(
        "findOptions",
        "Find plans that differ in their joints",
        "Each is the best found whose split differs by so many joints from those before it, left "
        "and right counting alike. Where no plan is possible the only one says why; where the "
        "time is over before the first there is none. A client that leaves ends the work.",
        ("seconds", "seed", "count", "differ"),
        "The plans, the cheapest first, and a table of their figures",
        {
            "type": "object",
            "required": ["options", "table"],
            "properties": {
                "options": {"type": "array", "items": {"$ref": f"{_COMPONENTS}Plan"}},
                "table": {"type": "array", "items": {"$ref": f"{_COMPONENTS}OptionRow"}},
                "symmetry": {"type": "null", "description": "Told by the command line only"},
            },
        },
    )


def _planning(
    operation: str,
    summary: str,
    description: str,
    parameters: Sequence[str],
    answer: str,
    schema: dict[str, Any],
) -> dict[str, Any]:
    """Return the description of an operation that takes a scenario and plans."""
    answers = _problems(403, 408, 413, 415, 421, 422, 429, 500)
    answers["429"]["headers"] = {
        "Retry-After": {"description": "Seconds to wait", "schema": {"type": "integer"}}
    }
    return {
        "operationId": operation,
        "summary": summary,
        "description": description,
        "parameters": [PARAMETERS[name].described() for name in parameters],
        "requestBody": {
            "required": True,
            "content": {
                "application/json": {
                    "schema": {"$ref": f"{_COMPONENTS}Scenario"},
                    "examples": EXAMPLES,
                }
            },
        },
        "responses": {
            "200": {
                "description": answer,
                "content": {"application/json": {"schema": schema}},
            },
            **answers,
        },
    }


def _get(operation: str, summary: str) -> dict[str, Any]:
    kind = "application/schema+json" if operation.endswith("Schema") else "application/json"
    return {
        "operationId": operation,
        "summary": summary,
        "responses": {
            "200": {
                "description": summary,
                "content": {kind: {"schema": {"type": "object"}}},
            },
            **_problems(421),
        },
    }


def _problem_type() -> dict[str, Any]:
    operation = _get("problemType", "What a type of problem means and what helps")
    operation["parameters"] = [
        {
            "name": "name",
            "in": "path",
            "required": True,
            "description": "The last word of the problem's type",
            "schema": {"type": "string", "enum": sorted(PROBLEM_TYPES)},
        }
    ]
    operation["responses"] |= _problems(404)
    return operation
