"""The page that lists the operations: plain HTML from the API's description, nothing fetched."""

from __future__ import annotations

import base64
import hashlib
import json
from html import escape
from typing import Any

from api.http.guards import SECURITY_HEADERS

_STYLE = (
    "body{font:16px/1.5 sans-serif;max-width:50em;margin:2em auto;padding:0 1em}"
    "pre{background:#f3f3f3;padding:.7em;overflow:auto}h2{margin-top:2em}"
)


def docs_page(api: dict[str, Any]) -> tuple[str, dict[str, str]]:
    """Return the page and its headers: the policy lets its own style in and nothing else."""
    digest = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
    policy = SECURITY_HEADERS["content-security-policy"] + f"; style-src 'sha256-{digest}'"
    parts = [
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        f"<title>{escape(api['info']['title'])}</title><style>{_STYLE}</style></head><body>",
        f"<h1>{escape(api['info']['title'])} {escape(api['info']['version'])}</h1>",
        f"<p>{escape(api['info']['description'])}</p>",
        f"<pre>{escape(_FIRST_STEPS)}</pre>",
        '<p>For programs: <a href="/v1/openapi.json">the description in OpenAPI 3.1</a>.</p>',
    ]
    for path, operations in api["paths"].items():
        for method, operation in operations.items():
            parts += _operation(method, path, operation)
    parts += _kinds(api["components"]["schemas"])
    parts.append("</body></html>")
    return "\n".join(parts), {"content-security-policy": policy}


_FIRST_STEPS = """\
curl -s localhost:8765/v1/jobs -H 'Content-Type: application/json' \\
     -H 'Prefer: wait=30' --data @job.json
curl -s localhost:8765/v1/jobs/ID
curl -sN localhost:8765/v1/jobs/ID/events
curl -s -X POST localhost:8765/v1/jobs/ID/stop
curl -s localhost:8765/v1/jobs/ID/result > plan.json"""


def _kinds(schemas: dict[str, Any]) -> list[str]:
    """Return what a job of each kind says, key by key."""
    parts = ["<h2>What a job says</h2>"]
    bodies = {key: body for key, body in schemas.items() if key.count(".") == 1}
    for name, body in bodies.items():
        if not name.startswith("Job."):
            continue
        required = body.get("required", [])
        told = escape(body.get("description", ""))
        parts.append(f"<h3><code>{escape(name.removeprefix('Job.'))}</code></h3><p>{told}</p><ul>")
        for key, field in body["properties"].items():
            if key == "kind":
                continue
            needed = "" if key in required else f" (default {_default(field)})"
            words = escape(field.get("description", "")).replace("``", "")
            parts.append(f"<li><code>{escape(key)}</code>{needed}: {words}</li>")
        parts.append("</ul>")
    return parts


def _default(field: dict[str, Any]) -> str:
    value = field.get("default")
    return "none" if value is None else f"<code>{escape(json.dumps(value))}</code>"


def _operation(method: str, path: str, operation: dict[str, Any]) -> list[str]:
    parts = [
        f"<h2><code>{escape(method.upper())} {escape(path)}</code></h2>",
        f"<p>{escape(operation['summary'])}. {escape(operation.get('description', ''))}</p>",
    ]
    parameters = operation.get("parameters", [])
    if parameters:
        items = [
            f"<li><code>{escape(one['name'])}</code>: {escape(one['description'])}</li>"
            for one in parameters
        ]
        parts += ["<p>Parameters:</p><ul>", *items, "</ul>"]
    answers = ", ".join(
        f"{escape(status)} ({escape(answer['description'])})"
        for status, answer in operation["responses"].items()
    )
    parts.append(f"<p>Answers: {answers}.</p>")
    examples = (
        operation.get("requestBody", {})
        .get("content", {})
        .get("application/json", {})
        .get("examples", {})
    )
    for example in examples.values():
        value = escape(json.dumps(example["value"], indent=1))
        parts.append(f"<p>{escape(example['summary'])}:</p><pre>{value}</pre>")
    return parts
