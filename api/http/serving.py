"""Running the service until it is told to end."""

from __future__ import annotations

import contextlib
import socket
from dataclasses import dataclass
from types import FrameType
from typing import TextIO

import uvicorn

from api.engine import Engine
from api.http.app import create_app
from api.http.guards import Access
from api.service.assembly import service_of
from api.service.logs import log_to
from api.service.service import Service
from api.service.settings import Settings
from api.service.store import StoreError

CANNOT_LISTEN = 2
CANNOT_KEEP = 2
MOST_CONNECTIONS = 2_000
"""Open at once, of which listeners and held answers are the most."""


@dataclass(frozen=True)
class Where:
    """The address to listen at; port 0 takes any that is free."""

    host: str
    port: int


class _Server(uvicorn.Server):
    """Tells the service as soon as it is to end, so that listeners are let go at once."""

    def __init__(self, config: uvicorn.Config, service: Service) -> None:
        super().__init__(config)
        self._service = service

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Hear a signal."""
        self._service.leaving = True
        super().handle_exit(sig, frame)


def serve(engine: Engine, where: Where, settings: Settings, access: Access, *, err: TextIO) -> int:
    """Answer on an address until interrupted; return an exit code."""
    family = socket.AF_INET6 if ":" in where.host else socket.AF_INET
    # the protocol is named because the event loop turns delays off for sockets that name it only
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    with listener:
        try:
            listener.bind((where.host, where.port))
        except OSError as trouble:
            err.write(f"splitplan: port {where.port} cannot be used: {trouble.strerror}; ")
            err.write("try --port\n")
            return CANNOT_LISTEN
        try:
            service = service_of(engine, settings)
        except StoreError as trouble:
            err.write(f"splitplan: {trouble}\n")
            return CANNOT_KEEP
        shown = f"[{where.host}]" if ":" in where.host else where.host
        port = listener.getsockname()[1]
        err.write(f"splitplan answers at http://{shown}:{port}/v1/docs until Ctrl-C; ")
        err.write(f"jobs are kept in {settings.folder}\n")
        err.flush()
        log_to(err)
        config = uvicorn.Config(
            create_app(service, access),
            log_config=None,
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=3,
            limit_concurrency=MOST_CONNECTIONS,
            h11_max_incomplete_event_size=16_384,
        )
        with contextlib.suppress(KeyboardInterrupt):  # how it is told to end
            _Server(config, service).run(sockets=[listener])
    return 0
