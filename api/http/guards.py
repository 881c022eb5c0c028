"""Guards before every operation: whose request it is, what it brings, what the answer may do.

Loopback is no trust boundary: any page that the user's browser shows can send requests there, so
Host, Origin and Sec-Fetch-Site are checked and nothing is shared across origins.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import re
import time
from dataclasses import dataclass

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.http.problems import RefusalError
from api.limits import MOST_QUERY_BYTES
from api.service.logs import log_event

_LONGEST_LOGGED = 120

_OWN_NAMES = frozenset({"localhost", "127.0.0.1", "[::1]"})
_HOST = re.compile(r"(\[[0-9a-f:.]{2,45}\]|[a-z0-9](?:[a-z0-9.-]{0,251}[a-z0-9])?)(:[0-9]{1,5})?")
_JSON = re.compile(
    r'application/(?:merge-patch\+)?json(?:[ \t]*;[ \t]*charset="?utf-8"?)?', re.IGNORECASE
)
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
_OWN_SITES = frozenset({"same-origin", "none"})
_OPEN_PATHS = frozenset({"/", "/v1/docs", "/v1/openapi.json", "/v1/session", "/v1/health"})
"""Answered without a token: nothing of anyone's work is there."""

COOKIE = "splitplan"
LEAST_TOKEN_CHARACTERS = 22
"""128 bits in the letters of base64."""

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


@dataclass(frozen=True)
class Access:
    """Who may use the service: hosts by name, and a token where one is needed."""

    hosts: frozenset[str] = _OWN_NAMES
    any_address: bool = False
    """Any IP address is a host of its own: rebinding needs a name."""
    token: str | None = None

    def is_host(self, name: str) -> bool:
        """Whether a host, without its port, is one of ours."""
        if name in self.hosts:
            return True
        if not self.any_address:
            return False
        try:
            ipaddress.ip_address(name.strip("[]"))
        except ValueError:
            return False
        return True

    def cookie_value(self) -> str:
        """Return what a session's cookie holds: it follows from the token and does not tell it."""
        assert self.token is not None
        key = self.token.encode("utf-8")
        return hmac.new(key, b"splitplan session 1", hashlib.sha256).hexdigest()

    def lets_in(self, headers: list[tuple[bytes, bytes]]) -> bool:
        """Whether a request brings the token, or the cookie that stands for it."""
        if self.token is None:
            return True
        for value in _values(headers, b"authorization"):
            scheme, _, given = value.partition(" ")
            if scheme.lower() == "bearer" and self.is_token(given.strip()):
                return True
        for value in _values(headers, b"cookie"):
            for one in value.split(";"):
                name, _, given = one.strip().partition("=")
                expected = self.cookie_value()
                if name == COOKIE and hmac.compare_digest(
                    given.encode("utf-8"), expected.encode("utf-8")
                ):
                    return True
        return False

    def is_token(self, given: str) -> bool:
        """Whether this is the token; takes the same time for every wrong one."""
        return self.token is not None and hmac.compare_digest(
            given.encode("utf-8"), self.token.encode("utf-8")
        )


class Guards:
    """ASGI middleware that refuses what is not meant for this service, and logs each request."""

    def __init__(self, app: ASGIApp, access: Access = Access()) -> None:
        self._app = app
        self._access = access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check the request, then pass it on with safe headers on the answer."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":  # there is nothing behind a websocket here
            await send({"type": "websocket.close", "code": 1008})
            return
        began = time.monotonic()
        status = 0

        async def guarded(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                _make_safe(message)
            await send(message)

        try:
            check_request(
                scope["method"], scope["headers"], scope["query_string"], access=self._access
            )
            if scope["path"] not in _OPEN_PATHS and not self._access.lets_in(scope["headers"]):
                raise RefusalError(
                    "no-token", "Send the token.", headers={"WWW-Authenticate": "Bearer"}
                )
        except RefusalError as refusal:
            await refusal.response()(scope, receive, guarded)
        else:
            await self._app(scope, receive, guarded)
        finally:
            spent = round((time.monotonic() - began) * 1000, 1)
            # names of files hold names of the scenario, which is nothing for a log
            path = scope["path"].partition("/files/")[0][:_LONGEST_LOGGED]
            log_event("request", method=scope["method"], path=path, status=status, ms=spent)


def check_request(
    method: str,
    headers: list[tuple[bytes, bytes]],
    query_string: bytes = b"",
    *,
    access: Access,
) -> None:
    """Raise RefusalError for a foreign host, a foreign site, or a body that is not JSON."""
    hosts = _values(headers, b"host")
    found = _HOST.fullmatch(hosts[0].lower()) if len(hosts) == 1 else None
    if found is None or not access.is_host(found[1]):
        raise RefusalError("wrong-host", "The Host header must be a name of this service.")
    if len(query_string) > MOST_QUERY_BYTES:
        raise RefusalError(
            "invalid-parameter", f"The query is longer than {MOST_QUERY_BYTES} bytes."
        )
    if method in _SAFE_METHODS:
        return
    if any(site not in _OWN_SITES for site in _values(headers, b"sec-fetch-site")):
        raise RefusalError("cross-site", "The header Sec-Fetch-Site tells of another site.")
    schemes = ("http",) if access.token is None else ("http", "https")  # a proxy may add TLS
    own = {f"{scheme}://{hosts[0].lower()}" for scheme in schemes}
    if any(origin.lower() not in own for origin in _values(headers, b"origin")):
        raise RefusalError("cross-site", "The header Origin tells of another origin.")
    kinds = _values(headers, b"content-type")
    if not kinds and not _has_body(headers):
        return
    if len(kinds) != 1 or _JSON.fullmatch(kinds[0].strip()) is None:
        raise RefusalError(
            "not-json", "The header Content-Type must be application/json, in UTF-8."
        )
    if any(coding.lower() != "identity" for coding in _values(headers, b"content-encoding")):
        raise RefusalError("not-json", "A compressed body is not read.")


def _has_body(headers: list[tuple[bytes, bytes]]) -> bool:
    lengths = _values(headers, b"content-length")
    return bool(_values(headers, b"transfer-encoding")) or any(one != "0" for one in lengths)


def _values(headers: list[tuple[bytes, bytes]], name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in headers if key.lower() == name]


def _make_safe(message: Message) -> None:
    given = {key.lower() for key, _ in message["headers"]}
    message["headers"] = [
        *message["headers"],
        *(
            (key.encode("ascii"), value.encode("ascii"))
            for key, value in SECURITY_HEADERS.items()
            if key.encode("ascii") not in given
        ),
    ]
