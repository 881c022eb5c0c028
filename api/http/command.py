"""The command `splitplan serve`: what may not be asked is refused before anything starts."""

from __future__ import annotations

import argparse
import os
import re

from api.engine import Engine
from api.files import FileError, read_limited
from api.http.guards import LEAST_TOKEN_CHARACTERS, Access, is_loopback
from api.http.serving import Where, serve
from api.outcome import Streams
from api.service.settings import Settings, default_folder

_NAME = re.compile(r"[a-z0-9](?:[a-z0-9.-]{0,251}[a-z0-9])?")
_TOKEN_BYTES = 4096


def run_serve(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    """Serve until interrupted and return the exit code; raises FileError."""
    where = Where("127.0.0.1" if options.host == "localhost" else options.host, options.port)
    settings = Settings(
        folder=options.data if options.data is not None else default_folder(),
        workers=options.workers if options.workers is not None else max(1, os.cpu_count() or 1),
        memory_bytes=options.memory << 20,
        store_bytes=options.store_limit << 20,
        cluster=options.cluster,
    )
    return serve(engine, where, settings, _access(options), err=streams.err)


def _access(options: argparse.Namespace) -> Access:
    token = None
    if options.token_file is not None:
        token = _token(options)
    loopback = is_loopback(options.host)
    if not loopback and token is None:
        raise FileError(
            f"--host {options.host}: others than this machine could reach it; give --token-file, "
            "or use 127.0.0.1, ::1 or localhost"
        )
    names = [name.lower() for name in options.allow_host]
    for name in names:
        if not _NAME.fullmatch(name):
            raise FileError(f"--allow-host {name!r}: give a host's name without port")
    hosts = Access().hosts | set(names)
    return Access(hosts, any_address=not loopback, token=token)


def _token(options: argparse.Namespace) -> str:
    path = options.token_file
    content = read_limited(path, limit=_TOKEN_BYTES)
    if os.name == "posix" and path.stat().st_mode & 0o077:
        raise FileError(f"{path} can be read by others: chmod 600 {path}")
    try:
        token = content.decode("ascii").strip()
    except UnicodeDecodeError:
        token = ""
    if len(token) < LEAST_TOKEN_CHARACTERS or not token.isprintable() or " " in token:
        raise FileError(
            f"{path} holds no token: write at least {LEAST_TOKEN_CHARACTERS} random letters and "
            "digits, such as `openssl rand -hex 16` prints"
        )
    return token
