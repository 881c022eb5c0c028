"""Request headers that steer a job: Prefer, Idempotency-Key, If-Match, If-None-Match."""

from __future__ import annotations

import re

from starlette.requests import Request

from api.http.problems import RefusalError
from api.service.settings import MOST_WAIT_SECONDS

_WAIT = re.compile(r"wait\s*=\s*\"?([0-9]{1,6})\"?", re.IGNORECASE)
_KEY = re.compile(r'"([\x21\x23-\x7e ]{1,200})"|([\x21\x23-\x7e]{1,200})')
_TAG = re.compile(r'(?:W/)?("[^"]{0,100}")')


def wait_seconds(request: Request) -> int | None:
    """Return the seconds of ``Prefer: wait=N`` (RFC 7240), cut to the most; None without it."""
    for header in request.headers.getlist("prefer"):
        for preference in header.split(","):
            found = _WAIT.fullmatch(preference.split(";")[0].strip())
            if found is not None:
                return min(int(found[1]), MOST_WAIT_SECONDS)
    return None


def idempotency_key(request: Request) -> str | None:
    """Return the Idempotency-Key, quoted or bare; raises RefusalError for what is none."""
    headers = request.headers.getlist("idempotency-key")
    if not headers:
        return None
    found = _KEY.fullmatch(headers[0].strip()) if len(headers) == 1 else None
    if found is None:
        remedy = "1 to 200 visible ASCII characters, in double quotes or bare, once"
        raise RefusalError(
            "invalid-parameter",
            "The header Idempotency-Key is at fault.",
            errors=[{"parameter": "Idempotency-Key", "remedy": remedy}],
        )
    return found[1] or found[2]


def refuse_changed(request: Request, tag: str, *, required: bool = False) -> None:
    """Raise RefusalError where If-Match names another state (412), or is needed (428)."""
    headers = request.headers.getlist("if-match")
    if not headers:
        if required:
            raise RefusalError(
                "precondition-required", "Send If-Match with the ETag that GET gave here."
            )
        return
    asked = ",".join(headers)
    # If-Match compares strongly (RFC 9110): a weak tag never matches
    strong = [one.strip() for one in asked.split(",")]
    if asked.strip() != "*" and tag not in strong:
        raise RefusalError(
            "precondition-failed", "It is not as If-Match says.", headers={"ETag": tag}
        )


def unchanged(request: Request, tag: str) -> bool:
    """Whether If-None-Match names this state, so that 304 will do."""
    headers = request.headers.getlist("if-none-match")
    asked = ",".join(headers)
    return bool(headers) and (asked.strip() == "*" or tag in _TAG.findall(asked))
