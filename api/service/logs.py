"""Structured logs: one line of JSON an event, with the job's id and nothing of a scenario."""

from __future__ import annotations

import json
import logging
import sys
import traceback
from datetime import UTC, datetime
from typing import TextIO

_log = logging.getLogger("splitplan.service")


def log_event(event: str, *, level: int = logging.INFO, **facts: str | float | None) -> None:
    """Log one event with its facts: ids, states, kinds, numbers."""
    if _log.isEnabledFor(level):
        _log.log(level, event, extra={"facts": facts})


class OneLine(logging.Formatter):
    """A record as one line of JSON; of an exception its type and where it rose, not its words."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        moment = datetime.fromtimestamp(record.created, UTC)
        told = {
            "time": moment.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "event": record.getMessage() if record.name == _log.name else record.name,
            **getattr(record, "facts", {}),
        }
        if record.name != _log.name:
            told["words"] = str(record.msg)[:200]
        if record.exc_info is not None and record.exc_info[1] is not None:
            told["error"] = type(record.exc_info[1]).__name__
            told["at"] = [
                f"{frame.filename}:{frame.lineno}"
                for frame in traceback.extract_tb(record.exc_info[2])[-6:]
            ]
        return json.dumps(told)


def log_to(stream: TextIO | None = None, level: int = logging.INFO) -> None:
    """Send all logs of this process to a stream, one line each."""
    handler = logging.StreamHandler(stream if stream is not None else sys.stderr)
    handler.setFormatter(OneLine())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    _log.setLevel(level)
