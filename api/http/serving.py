"""Running the service until it is told to end."""

from __future__ import annotations

import contextlib
import socket
from typing import TextIO

import uvicorn

from api.engine import Engine
from api.http.app import create_app

CANNOT_LISTEN = 2


def serve(engine: Engine, *, host: str, port: int, err: TextIO) -> int:
    """Answer on a loopback address until interrupted; return an exit code."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except OSError as trouble:
        listener.close()
        err.write(f"splitplan: port {port} cannot be used: {trouble.strerror}; try --port\n")
        return CANNOT_LISTEN
    shown = f"[{host}]" if ":" in host else host
    err.write(f"splitplan answers at http://{shown}:{port}/v1/docs until Ctrl-C\n")
    err.flush()
    config = uvicorn.Config(
        create_app(engine),
        log_level="warning",
        server_header=False,
        timeout_graceful_shutdown=3,
        h11_max_incomplete_event_size=16_384,
    )
    with listener, contextlib.suppress(KeyboardInterrupt):  # how it is told to end
        uvicorn.Server(config).run(sockets=[listener])
    return 0
