"""The child process of one job: it hears its order, works, and tells everything it finds.

It is forked from a server that has the libraries loaded, so it starts in milliseconds; it serves
one order and ends.  When its supervisor goes away, so does it.
"""

from __future__ import annotations

import ctypes
import importlib
import json
import os
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from multiprocessing.connection import Connection, wait
from typing import Any

from api.collecting import collect_seldom
from api.service.messages import packed
from api.service.records import Document, Outline
from solver.data.errors import ScenarioErrors
from solver.data.plan import Progress
from solver.models.ahead import share_processors

_DIE_WITH_PARENT = 1  # PR_SET_PDEATHSIG, prctl(2)


class NotShownError(Exception):
    """The checker refused the planner's own result: there is a fault in the program."""


@dataclass(frozen=True)
class Answer:
    """What a job comes to: words and figures for its record, the result, and files."""

    outline: Outline
    documents: tuple[Document, ...]
    """The first is the result."""


@dataclass(frozen=True)
class Hears:
    """How a run tells of its work, and hears that it is to stop."""

    on_progress: Callable[[Progress], None]
    keep: Callable[[Answer], None]
    """Keep the best answer so far: it stays if the child does not."""
    should_stop: Callable[[], bool]


Run = Callable[[Mapping[str, Any], Hears], Answer]
"""Does a job of one kind: inputs as JSON values in, the answer out."""


def child_main(orders: Connection, stops: Connection, modules: Sequence[str]) -> None:
    """Serve one order; the target of the process.  ``modules`` are loaded while it waits."""
    _stand_apart()
    for name in modules:  # the fork server has done so already where there is one
        importlib.import_module(name)
    collect_seldom()
    try:
        order = json.loads(orders.recv_bytes())
    except (EOFError, OSError):
        os._exit(0)
    _limit(int(order["memory_bytes"]), int(order["niceness"]))
    share_processors(int(order["among"]))
    stop = threading.Event()
    sending = threading.Lock()
    threading.Thread(
        target=_listen, args=(orders, stops, stop), name="listen to the supervisor", daemon=True
    ).start()

    def send(head: Mapping[str, Any], documents: tuple[Document, ...] = ()) -> None:
        message = packed(head, documents)
        with sending:
            orders.send_bytes(message)

    try:
        send(*_answered(order, send, stop))
    except OSError:  # nobody listens any more
        os._exit(1)
    os._exit(0)  # a listening thread and native threads would hold an ordinary exit


def _answered(
    order: Mapping[str, Any],
    send: Callable[..., None],
    stop: threading.Event,
) -> tuple[dict[str, Any], tuple[Document, ...]]:
    hears = Hears(
        on_progress=lambda told: send({"is": "progress", "progress": told.model_dump(mode="json")}),
        keep=lambda best: send({"is": "kept", "outline": best.outline.as_json()}, best.documents),
        should_stop=stop.is_set,
    )
    try:
        run = _named(order["run"])
        answer = run(order["inputs"], hears)
    except ScenarioErrors as errors:
        problems = [asdict(problem) for problem in errors.problems]
        return {"is": "problems", "problems": problems, "left_out": errors.left_out}, ()
    except NotShownError:
        return {"is": "failed", "how": "refused"}, ()
    except MemoryError:
        return {"is": "failed", "how": "memory"}, ()
    except Exception as trouble:  # the supervisor must hear of anything that goes wrong
        where = traceback.extract_tb(trouble.__traceback__)[-1]
        place = f"{type(trouble).__name__} at {os.path.basename(where.filename)}:{where.lineno}"
        return {"is": "failed", "how": "crashed", "place": place}, ()
    head = {"is": "done", "outline": answer.outline.as_json(), "stopped": stop.is_set()}
    return head, answer.documents


def _named(name: str) -> Run:
    module, _, function = name.partition(":")
    run: Run = getattr(importlib.import_module(module), function)
    return run


def _listen(orders: Connection, stops: Connection, stop: threading.Event) -> None:
    """Wait for the stop; end with the supervisor."""
    waiting = [orders, stops]
    while True:
        ready = wait(waiting)
        if orders in ready:  # nothing more is ever sent: its other end is closed
            os._exit(1)
        stop.set()
        waiting = [orders]


def _stand_apart() -> None:
    """Take no signals of the terminal, no files of the service, and no life after its parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    nothing = os.open(os.devnull, os.O_RDWR)
    for standard in (0, 1, 2):  # native libraries print, and a traceback may quote a scenario
        os.dup2(nothing, standard)
    os.close(nothing)
    if sys.platform == "linux":
        parent = os.getppid()
        ctypes.CDLL(None, use_errno=True).prctl(_DIE_WITH_PARENT, signal.SIGKILL)
        if os.getppid() != parent:
            os._exit(1)


def _limit(memory_bytes: int, niceness: int) -> None:
    try:
        import resource
    except ImportError:  # no such limits on this system
        return
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    most = memory_bytes if hard == resource.RLIM_INFINITY else min(memory_bytes, hard)
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    os.nice(niceness)
