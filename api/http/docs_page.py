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
        '<p>For programs: <a href="/v1/openapi.json">the description in OpenAPI 3.1</a>.</p>',
    ]
    for path, operations in api["paths"].items():
        for method, operation in operations.items():
            parts += _operation(method, path, operation)
    parts.append("</body></html>")
    return "\n".join(parts), {"content-security-policy": policy}


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
