"""The API's own description (OpenAPI 3.1), with the published schemas and examples to post."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from api.engine import Engine
from api.http.examples import EXAMPLES, PATCH_EXAMPLE, job_examples
from api.http.job_records import JobPage, JobRecord
from api.http.problems import MEDIA_TYPE, PROBLEM_TYPES, problem_schema
from api.http.query import GROUP_PATTERN, PAGE_PARAMETERS, PARAMETERS
from api.option_table import OptionsAnswer
from api.service.kinds import Kind
from api.service.records import STATES
from solver.data.plan import Plan

_COMPONENTS = "#/components/schemas/"
_TEXT = {"type": "string"}
_JSON = "application/json"


def describe_api(
    engine: Engine, version: str, kinds: Mapping[str, Kind], *, with_token: bool = False
) -> dict[str, Any]:
    """Return the OpenAPI document."""
    schemas: dict[str, Any] = {"Problem": problem_schema(), "Files": _FILES}
    for name, schema in (
        ("Scenario", engine.scenario_schema()),
        ("Plan", Plan.model_json_schema()),
        ("OptionsAnswer", OptionsAnswer.model_json_schema()),
        ("JobRecord", JobRecord.model_json_schema()),
        ("JobPage", JobPage.model_json_schema()),
    ):
        schemas |= as_components(name, schema)
    for kind in kinds.values():
        for name, schema in kind.schemas().items():
            schemas |= as_components(name, schema)
        schemas |= as_components(f"Job.{kind.name}", _asked_schema(kind))
    schemas["Job"] = {
        "oneOf": [_ref(f"Job.{name}") for name in kinds],
        "discriminator": {
            "propertyName": "kind",
            "mapping": {name: f"{_COMPONENTS}Job.{name}" for name in kinds},
        },
    }
    schemas["Result"] = {
        "description": "By the kind of its job",
        "anyOf": [_ref(name) for name in dict.fromkeys(kind.result for kind in kinds.values())],
    }
    document: dict[str, Any] = {
        "openapi": "3.1.0",
        "info": {
            "title": "splitplan",
            "version": version,
            "description": "Plans mold splits, flashings, what metal to buy and how to cut it. "
            "Local codes and licensed practice decide.",
        },
        "paths": {
            **_job_paths(kinds),
            "/v1/plans": {"post": _plans()},
            "/v1/options": {"post": _options()},
            "/v1/validate": {"post": _validate()},
            "/v1/examples": {"get": _get("examples", "Scenarios and jobs to post as they are")},
            "/v1/schema": {"get": _get("scenarioSchema", "The JSON Schema of a scenario")},
            "/v1/schema/resolved": {
                "get": _get("resolvedSchema", "The JSON Schema of a scenario spelled out")
            },
            "/v1/schema/plan": {"get": _get("planSchema", "The JSON Schema of a plan")},
            "/v1/limits": {"get": _get("limits", "The limits of the service")},
            "/v1/health": {"get": _get("health", "Whether the service answers")},
            "/v1/ready": {"get": _get("ready", "Whether the service takes new work", 503)},
            "/v1/problems/{name}": {"get": _problem_type()},
            "/v1/session": {"post": _session()},
        },
        "components": {"schemas": schemas},
    }
    if with_token:
        document["components"]["securitySchemes"] = {"token": {"type": "http", "scheme": "bearer"}}
        document["security"] = [{"token": []}]
        for path, operations in document["paths"].items():
            for operation in operations.values():
                if path in ("/v1/health", "/v1/session"):
                    operation["security"] = []
                operation["responses"] |= _problems(401)
    for operations in document["paths"].values():
        for operation in operations.values():
            operation["responses"] = dict(sorted(operation["responses"].items()))
    return document


def as_components(name: str, schema: Mapping[str, Any]) -> dict[str, Any]:
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


def _asked_schema(kind: Kind) -> dict[str, Any]:
    """Return the schema of a kind's body, with the scenario's own schema in it."""
    schema = kind.body.model_json_schema()
    for name, told in schema["properties"].items():
        if name == "scenario" or name.endswith("_scenario"):
            schema["properties"][name] = {**_ref("Scenario"), "description": told["description"]}
    return schema


def _ref(name: str) -> dict[str, Any]:
    return {"$ref": _COMPONENTS + name}


def _problems(*statuses: int) -> dict[str, Any]:
    content = {MEDIA_TYPE: {"schema": _ref("Problem")}}
    answers: dict[str, Any] = {}
    for status in statuses:
        names = sorted(kind.name for kind in PROBLEM_TYPES.values() if kind.status == status)
        answers[str(status)] = {"description": " or ".join(names), "content": content}
        if status in (409, 429, 503):
            answers[str(status)]["headers"] = {"Retry-After": _header("Seconds to wait", "integer")}
    return answers


def _header(description: str, kind: str = "string") -> dict[str, Any]:
    return {"description": description, "schema": {"type": kind}}


_TAGGED = {"ETag": _header("Of this state, for If-Match and If-None-Match")}


def _answer(
    description: str,
    schema: Mapping[str, Any] | None = None,
    media_type: str = _JSON,
    headers: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    answer: dict[str, Any] = {"description": description}
    if schema is not None:
        answer["content"] = {media_type: {"schema": schema}}
    if headers:
        answer["headers"] = dict(headers)
    return answer


def _body(
    schema: Mapping[str, Any], examples: Mapping[str, Any], media_type: str = _JSON
) -> dict[str, Any]:
    content = {media_type: {"schema": schema, "examples": examples}}
    return {"required": True, "content": content}


def _parameter(
    name: str, place: str, description: str, schema: Mapping[str, Any], *, required: bool = False
) -> dict[str, Any]:
    return {
        "name": name,
        "in": place,
        "description": description,
        "required": required or place == "path",
        "schema": schema,
    }


_JOB_ID = _parameter("job_id", "path", "Id of the job", {**_TEXT, "pattern": "^[0-9a-f]{24}$"})
_IF_NONE_MATCH = _parameter("If-None-Match", "header", "An ETag: 304 where nothing changed", _TEXT)
_IF_MATCH = _parameter("If-Match", "header", "An ETag: 412 where it is another", _TEXT)
_PREFER = _parameter(
    "Prefer",
    "header",
    "wait=N: answer within N seconds, with 200 where the job has ended by then (RFC 7240)",
    {**_TEXT, "examples": ["wait=10"]},
)
_KEY = _parameter(
    "Idempotency-Key",
    "header",
    "The same key and body give the same job, however often they are sent",
    {**_TEXT, "pattern": "^[!#-~]{1,200}$"},
)


def _job_paths(kinds: Mapping[str, Kind]) -> dict[str, Any]:
    job = "/v1/jobs/{job_id}"
    return {
        "/v1/jobs": {"post": _ask_for_job(kinds), "get": _list_jobs(kinds)},
        job: {
            "get": _of_job(
                "job",
                "How a job stands",
                "The record is light: its answer is beside it, at result.",
                {"200": _answer("The record", _ref("JobRecord"), headers=_TAGGED), **_304},
                parameters=[_IF_NONE_MATCH],
            ),
            "delete": _of_job(
                "deleteJob",
                "Delete a job and all it holds",
                "A job that runs must be stopped first: stopping keeps what was found, deleting "
                "keeps nothing.",
                {"204": _answer("It is gone"), **_problems(403, 409, 412, 415, 507)},
                parameters=[_IF_MATCH],
            ),
        },
        f"{job}/stop": {
            "post": _of_job(
                "stopJob",
                "Stop a job and keep the best it has",
                "A job that has ended stays as it is. A running one ends within half a second or "
                "so, with its best checked answer.",
                {
                    "200": _answer("It has ended", _ref("JobRecord"), headers=_TAGGED),
                    "202": _answer("It ends soon", _ref("JobRecord"), headers=_TAGGED),
                    **_problems(403, 412, 415, 507),
                },
                parameters=[_IF_MATCH],
            )
        },
        f"{job}/events": {
            "get": _of_job(
                "jobEvents",
                "Hear how a job goes, as it happens",
                "Server-sent events: state with the job's record, progress with phase, best, "
                "bound and gap. Every event is a whole picture. The stream ends with the job.",
                {"200": _answer("Events", _EVENT, "text/event-stream"), **_problems(429)},
                parameters=[
                    _parameter(
                        "Last-Event-ID",
                        "header",
                        "Id of the last event that was heard: those after it follow",
                        {**_TEXT, "examples": ["3.7"]},
                    )
                ],
            )
        },
        f"{job}/request": {
            "get": _of_job(
                "jobRequest",
                "What a job was asked for",
                "As it was posted.",
                {"200": _answer("The request", _ref("Job"), headers=_TAGGED), **_304},
                parameters=[_IF_NONE_MATCH],
            ),
            "post": _of_job(
                "askAgain",
                "Ask again for a job, changed by a merge patch",
                "The patch (RFC 7396) is made to the job's request; the new job is another one and "
                "the old one stays. If-Match names the ETag of the request that was read.",
                {**_taken_on(), **_problems(412, 428)},
                parameters=[{**_IF_MATCH, "required": True}, _PREFER, _KEY],
                body=_body(
                    {"type": "object"}, {"more-crew": PATCH_EXAMPLE}, "application/merge-patch+json"
                ),
            ),
        },
        f"{job}/result": {
            "get": _of_job(
                "jobResult",
                "The answer of a job that has ended",
                "Where nothing is possible it is an answer too, with the requirements that clash. "
                "Of a stopped or failed job it is the best checked answer, if there was one.",
                {
                    "200": _answer("The answer", _ref("Result"), headers=_TAGGED),
                    **_304,
                    **_problems(409),
                },
                parameters=[_IF_NONE_MATCH],
            )
        },
        f"{job}/best": {
            "get": _of_job(
                "jobBest",
                "The best checked answer so far",
                "Of a running job; of one that has ended its result.",
                {"200": _answer("The answer", _ref("Result"), headers=_TAGGED), **_304},
                parameters=[_IF_NONE_MATCH],
            )
        },
        f"{job}/files/{{name}}": {
            "get": _of_job(
                "jobFile",
                "One file of a job's papers",
                "The result of the job lists them; papers.zip has them all.",
                {
                    "200": {
                        "description": "The file",
                        "content": {
                            "*/*": {"schema": {}},
                        },
                    }
                },
                parameters=[
                    _parameter(
                        "name",
                        "path",
                        "Name of the file, as the result lists it",
                        {**_TEXT, "minLength": 1, "maxLength": 300, "examples": ["papers.zip"]},
                    )
                ],
            )
        },
    }


_304 = {"304": {"description": "It is as If-None-Match says", "headers": _TAGGED}}


def _taken_on() -> dict[str, Any]:
    headers = {
        "Location": _header("Where the job is"),
        "Preference-Applied": _header("That the answer was held back as preferred"),
        **_TAGGED,
    }
    later = {**headers, "Retry-After": _header("Seconds to wait", "integer")}
    return {
        "200": _answer("The job has ended already", _ref("JobRecord"), headers=headers),
        "202": _answer("The job is kept and will be done", _ref("JobRecord"), headers=later),
        **_problems(403, 408, 409, 413, 415, 422, 429, 507),
    }


def _ask_for_job(kinds: Mapping[str, Kind]) -> dict[str, Any]:
    listed = "; ".join(f"{kind.name}: {kind.summary.lower()}" for kind in kinds.values())
    return {
        "operationId": "askForJob",
        "summary": "Ask for a job",
        "description": f"Kinds: {listed}. A job that was acknowledged is never lost: it is on the "
        "disk before the answer, and is done even if the service ends meanwhile.",
        "parameters": [_PREFER, _KEY],
        "requestBody": _body(_ref("Job"), job_examples(kinds)),
        "responses": {**_taken_on(), **_problems(421)},
    }


def _list_jobs(kinds: Mapping[str, Kind]) -> dict[str, Any]:
    words = {
        "state": _parameter("state", "query", "Only such", {**_TEXT, "enum": list(STATES)}),
        "kind": _parameter("kind", "query", "Only such", {**_TEXT, "enum": list(kinds)}),
        "group": _parameter("group", "query", "Only of this", {**_TEXT, "pattern": GROUP_PATTERN}),
    }
    headers = {"Link": _header("The next page, as rel=next (RFC 8288)")}
    return {
        "operationId": "listJobs",
        "summary": "List jobs, the newest first",
        "parameters": [*(one.described() for one in PAGE_PARAMETERS.values()), *words.values()],
        "responses": {
            "200": _answer("A page of records", _ref("JobPage"), headers=headers),
            **_problems(421, 422),
        },
    }


def _of_job(
    operation: str,
    summary: str,
    description: str,
    responses: Mapping[str, Any],
    *,
    parameters: Sequence[Mapping[str, Any]] = (),
    body: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    described: dict[str, Any] = {
        "operationId": operation,
        "summary": summary,
        "description": description,
        "parameters": [_JOB_ID, *parameters],
        "responses": {**responses, **_problems(404, 421)},
    }
    if body is not None:
        described["requestBody"] = body
    return described


def _plans() -> dict[str, Any]:
    return _planning(
        "makePlan",
        "Make a plan from a scenario and wait for it",
        "Answers when the plan is there. Where no plan is possible the answer is a plan too, with "
        "the status impossible and the requirements that clash. A client that leaves ends the "
        "work, and nothing of it is kept.",
        ("seconds", "seed"),
        "The plan, or why there is none",
        "Plan",
    )


def _options() -> dict[str, Any]:
    return _planning(
        "findOptions",
        "Find plans that differ in their joints and wait for them",
        "Each is the best found whose split differs by so many joints from those before it, left "
        "and right counting alike. Where no plan is possible the only one says why; where the "
        "time is over before the first there is none. A client that leaves ends the work.",
        ("seconds", "seed", "count", "differ"),
        "The plans, the cheapest first, and a table of their figures",
        "OptionsAnswer",
    )


def _planning(
    operation: str,
    summary: str,
    description: str,
    parameters: Sequence[str],
    answer: str,
    schema: str,
) -> dict[str, Any]:
    """Return the description of an operation that takes a scenario and plans."""
    return {
        "operationId": operation,
        "summary": summary,
        "description": description,
        "parameters": [PARAMETERS[name].described() for name in parameters],
        "requestBody": _body(_ref("Scenario"), EXAMPLES),
        "responses": {
            "200": _answer(answer, _ref(schema)),
            **_problems(403, 408, 413, 415, 421, 422, 429, 500, 503, 507),
        },
    }


def _validate() -> dict[str, Any]:
    count = {"type": "integer", "minimum": 0}
    told = {"title": _TEXT, "digest": _TEXT, "understood": _TEXT, "patches": count, "edges": count}
    schema = {
        "type": "object",
        "required": ["valid", *told],
        "properties": {"valid": {"const": True}, **told},
        "additionalProperties": False,
    }
    return {
        "operationId": "validate",
        "summary": "Say what is understood of a scenario, or what is to be mended",
        "description": "Nothing is planned or kept.",
        "requestBody": _body(_ref("Scenario"), EXAMPLES),
        "responses": {
            "200": _answer("What is understood", schema),
            **_problems(403, 408, 413, 415, 421, 422),
        },
    }


def _get(operation: str, summary: str, *problems: int) -> dict[str, Any]:
    kind = "application/schema+json" if operation.endswith("Schema") else _JSON
    return {
        "operationId": operation,
        "summary": summary,
        "responses": {
            "200": _answer(summary, {"type": "object"}, kind),
            **_problems(421, *problems),
        },
    }


def _problem_type() -> dict[str, Any]:
    operation = _get("problemType", "What a type of problem means and what helps")
    known = {**_TEXT, "enum": sorted(PROBLEM_TYPES)}
    operation["parameters"] = [
        _parameter("name", "path", "The last word of the problem's type", known)
    ]
    operation["responses"] |= _problems(404)
    return operation


def _session() -> dict[str, Any]:
    schema = {
        "type": "object",
        "required": ["token"],
        "properties": {"token": {**_TEXT, "minLength": 1, "maxLength": 1000}},
        "additionalProperties": False,
    }
    example = {"summary": "The token", "value": {"token": "the token of this service"}}
    return {
        "operationId": "session",
        "summary": "Turn the token into a cookie, for the page",
        "description": "Where the service has no token any is taken and no cookie set.",
        "requestBody": _body(schema, {"token": example}),
        "responses": {
            "204": _answer("The cookie is set"),
            **_problems(401, 403, 408, 413, 415, 421, 422),
        },
    }


_EVENT = {
    "type": "object",
    "description": "One event; its data is JSON: a job's record, or its progress",
    "required": ["id", "event", "data"],
    "properties": {
        "id": {**_TEXT, "pattern": "^[0-9]+[.][0-9]+$"},
        "event": {"enum": ["state", "progress"]},
        "data": {**_TEXT, "contentMediaType": _JSON},
    },
}

_FILES = {
    "type": "object",
    "required": ["files"],
    "properties": {
        "files": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["name", "media_type", "bytes"],
                "properties": {
                    "name": _TEXT,
                    "media_type": _TEXT,
                    "bytes": {"type": "integer", "minimum": 0},
                },
            },
        }
    },
}
