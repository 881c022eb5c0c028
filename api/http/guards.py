"""Guards before every operation: whose request it is, what it brings, what the answer may do.

Loopback is no trust boundary: any page that the user's browser shows can send requests there, so
Host, Origin and Sec-Fetch-Site are checked and nothing is shared across origins.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Awaitable, Callable

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.http.problems import RefusalError
from api.limits import MOST_QUERY_BYTES

_HOST = re.compile(r"(localhost|127\.0\.0\.1|\[::1\])(:[0-9]{1,5})?")
_JSON = re.compile(r'application/json(?:[ \t]*;[ \t]*charset="?utf-8"?)?', re.IGNORECASE)
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
_OWN_SITES = frozenset({"same-origin", "none"})

SECURITY_HEADERS = {
    "content-security-policy": "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; "
    "form-action 'none'",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "cache-control": "no-store",
}


def is_loopback(host: str) -> bool:
    """Whether a bind address reaches this machine only."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


class Guards:
    """ASGI middleware that refuses what is not meant for this service."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check the request, then pass it on with safe headers on the answer."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":  # there is nothing behind a websocket here
            await send({"type": "websocket.close", "code": 1008})
            return
        guarded = _with_security_headers(send)
        try:
            check_request(scope["method"], scope["headers"], scope["query_string"])
        except RefusalError as refusal:
            await refusal.response()(scope, receive, guarded)
            return
        await self._app(scope, receive, guarded)


def check_request(
    method: str, headers: list[tuple[bytes, bytes]], query_string: bytes = b""
) -> None:
    """Raise RefusalError for a foreign host, a foreign site, or a body that is not JSON."""
    hosts = _values(headers, b"host")
    if len(hosts) != 1 or _HOST.fullmatch(hosts[0].lower()) is None:
        raise RefusalError("wrong-host", "The Host header must be 127.0.0.1, [::1] or localhost.")
    if len(query_string) > MOST_QUERY_BYTES:
        raise RefusalError(
            "invalid-parameter", f"The query is longer than {MOST_QUERY_BYTES} bytes."
        )
    if method in _SAFE_METHODS:
        return
    if any(site not in _OWN_SITES for site in _values(headers, b"sec-fetch-site")):
        raise RefusalError("cross-site", "The header Sec-Fetch-Site tells of another site.")
    if any(
        origin.lower() != f"http://{hosts[0].lower()}" for origin in _values(headers, b"origin")
    ):
        raise RefusalError("cross-site", "The header Origin tells of another origin.")
    kinds = _values(headers, b"content-type")
    if len(kinds) != 1 or _JSON.fullmatch(kinds[0].strip()) is None:
        raise RefusalError(
            "not-json", "The header Content-Type must be application/json, in UTF-8."
        )
    if any(coding.lower() != "identity" for coding in _values(headers, b"content-encoding")):
        raise RefusalError("not-json", "A compressed body is not read.")


def _values(headers: list[tuple[bytes, bytes]], name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in headers if key.lower() == name]


def _with_security_headers(send: Send) -> Callable[[Message], Awaitable[None]]:
    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            given = {key.lower() for key, _ in message["headers"]}
            message["headers"] = [
                *message["headers"],
                *(
                    (key.encode("ascii"), value.encode("ascii"))
                    for key, value in SECURITY_HEADERS.items()
                    if key.encode("ascii") not in given
                ),
            ]
        await send(message)

    return guarded
