"""Solves on a Dask cluster: the same supervisor and children, on other machines.

The scheduler and its workers unpickle what they are sent and know no passwords, so off this machine
only mutual TLS is taken.  A task is never tried again by the cluster: the store alone decides that.
Whether a job runs, stops or has ended is known from our own messages, never from a future, because
one that was cancelled says so while its solver runs on.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import queue
import secrets
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import urlsplit

from api.engine import Engine
from api.http.guards import is_loopback
from api.service.children import Children
from api.service.kinds import Kind
from api.service.messages import packed, unpacked
from api.service.records import Document, Ending, Order, Outline
from api.service.service import Service
from api.service.settings import Settings
from api.service.store import Store, StoreError
from api.service.supervise import Channel, QuitError, failed, supervise

_LISTEN_SECONDS = 0.2
_ASK_SECONDS = 0.1
_CONNECT_SECONDS = 20.0


@dataclass(frozen=True)
class _Names:
    """Of what an attempt shares with its service, through the scheduler."""

    messages: str
    stop: str
    quit: str


def names_of(order: Order) -> _Names:
    """Return the names of an attempt's queue and events."""
    about = f"splitplan-{order.id}-{order.attempt}"
    return _Names(f"{about}-messages", f"{about}-stop", f"{about}-quit")


def refuse_open_cluster(address: str) -> None:
    """Raise StoreError for an address that is neither TLS nor this machine."""
    parts = urlsplit(address)
    try:
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
    if parts.scheme not in ("tls", "tcp") or not host or port is None:
        raise StoreError(f"--cluster {address}: give tls://host:port")
    if parts.scheme != "tls" and not is_loopback(host):
        raise StoreError(
            f"--cluster {address}: a scheduler runs what it is sent, so off this machine only "
            "tls:// is used, with certificates for both sides"
        )


def cluster_service(
    store: Store, engine: Engine, settings: Settings, kinds: Mapping[str, Kind]
) -> Service:
    """Return a service whose jobs run on a cluster; raises StoreError where there is none."""
    assert settings.cluster is not None
    cluster = _Cluster(settings.cluster)
    settings = replace(settings, workers=cluster.threads())

    def solve(order: Order, channel: Channel) -> Ending:
        return cluster.solve(order, channel, kinds[order.kind].run, settings)

    return Service(store, engine, solve, settings, kinds=kinds, on_close=cluster.close)


class _Cluster:
    """The client of a cluster: orders go out by its executor, messages come back."""

    def __init__(self, address: str) -> None:
        self._client = _connected(address)
        # a task is never tried again by the cluster, and equal ones are not one
        self._executor = self._client.get_executor(pure=False, retries=0)
        self._topic = f"splitplan-{secrets.token_hex(8)}"
        self._news: dict[str, queue.SimpleQueue[None]] = {}
        self._client.subscribe_topic(self._topic, self._heard)

    def threads(self) -> int:
        """Return how many solves its workers do at once."""
        threads: int = sum(self._client.nthreads().values())
        return max(threads, 1)

    def close(self) -> None:
        """Leave the cluster."""
        self._client.close()

    def solve(self, order: Order, channel: Channel, run: str, settings: Settings) -> Ending:
        """Run an order on a worker and return how it ended; raises QuitError."""
        from distributed import Event, Queue, wait

        names = names_of(order)
        news = self._news[names.messages] = queue.SimpleQueue()
        messages = Queue(names.messages, client=self._client)
        stop, leave = (Event(name, client=self._client) for name in (names.stop, names.quit))
        future = self._executor.submit(supervise_there, order, run, settings, self._topic)
        attempt = _Attempt(channel)
        try:
            while True:
                ended = future.done()  # asked before the news, which come before the end
                try:
                    news.get(timeout=_LISTEN_SECONDS)
                except queue.Empty:
                    if ended:
                        return attempt.lost()
                else:
                    ending = attempt.heard(messages.get(timeout=_CONNECT_SECONDS))
                    if ending is not None:
                        return ending
                if channel.quit_asked():
                    leave.set()
                    raise QuitError
                if channel.stop_asked() and not attempt.stopped:
                    attempt.stopped = True
                    stop.set()
        finally:
            with contextlib.suppress(Exception):  # the cluster may be gone: then so is all of this
                wait([future], timeout=_CONNECT_SECONDS)
                messages.close()
                stop.clear()
                leave.clear()
            del self._news[names.messages]

    def _heard(self, event: tuple[float, Any]) -> None:
        news = self._news.get(str(event[1]))
        if news is not None:
            news.put(None)


@dataclass
class _Attempt:
    """What was heard of an attempt on a worker."""

    channel: Channel
    stopped: bool = False
    outline: Outline = field(default_factory=Outline)
    kept: tuple[Document, ...] = ()

    def heard(self, message: bytes) -> Ending | None:
        """Take a message in; return the ending if it is the last."""
        told, documents = unpacked(message)
        if told["is"] == "progress":
            self.channel.on_progress(told["progress"])
            return None
        outline = Outline.from_json(told["outline"])
        if told["is"] == "kept":
            self.outline, self.kept = outline, documents
            self.channel.on_kept(outline, documents[0])
            return None
        return Ending(told["state"], outline, told["problem"], documents)

    def lost(self) -> Ending:
        """Return the ending of a task that ended without a word: its worker did."""
        return failed("lost", self.outline, self.kept)


def _connected(address: str) -> Any:  # noqa: ANN401 - of a library without types
    """Return a client; raises StoreError where the cluster is not as it must be."""
    refuse_open_cluster(address)
    try:
        from distributed import Client
        from distributed.security import Security
    except ImportError:
        raise StoreError("--cluster needs the extra: pip install 'splitplan[cluster]'") from None
    try:
        security = Security(require_encryption=True) if address.startswith("tls:") else None
        client = Client(address, timeout=_CONNECT_SECONDS, security=security, set_as_default=False)
    except (OSError, ValueError, TypeError) as trouble:
        raise StoreError(f"--cluster {address} cannot be used: {str(trouble)[:200]}") from None
    allowed = client.run_on_scheduler(_allowed_failures)
    if allowed != 0:
        client.close()
        raise StoreError(
            f"--cluster {address}: its scheduler tries a lost task {allowed} times again; start it "
            "with DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES=0, for the store alone decides that"
        )
    return client


def _allowed_failures(dask_scheduler: Any = None) -> int:  # noqa: ANN401
    return int(dask_scheduler.allowed_failures)


def supervise_there(order: Order, run: str, settings: Settings, topic: str) -> None:
    """On a worker: supervise one attempt, telling its service by the scheduler."""
    from distributed import Event, Queue, get_client

    client = get_client()
    names = names_of(order)
    messages = Queue(names.messages, client=client)

    def send(message: bytes) -> None:
        messages.put(message)
        client.log_event(topic, names.messages)  # a queue that is waited on fills the log

    channel = _There(send, Event(names.stop, client=client), Event(names.quit, client=client))
    try:
        ending = supervise(order, channel, run=run, children=_children_here(run), settings=settings)
    except QuitError:
        return
    head = {
        "is": "ended",
        "state": ending.state,
        "outline": ending.outline.as_json(),
        "problem": None if ending.problem is None else dict(ending.problem),
    }
    send(packed(head, ending.documents))


class _There:
    """The channel of an attempt on a worker."""

    def __init__(self, send: Callable[[bytes], None], stop: Any, leave: Any) -> None:  # noqa: ANN401
        self._send = send
        self._stop, self._leave = stop, leave
        self._asked_at = 0.0
        self._stops = self._quits = False

    def on_progress(self, progress: Mapping[str, Any]) -> None:
        """Send it to the service."""
        self._send(packed({"is": "progress", "progress": dict(progress)}))

    def on_kept(self, outline: Outline, document: Document) -> None:
        """Send it to the service, which outlives this worker."""
        self._send(packed({"is": "kept", "outline": outline.as_json()}, (document,)))

    def stop_asked(self) -> bool:
        """Ask the scheduler, now and then."""
        now = time.monotonic()
        if now - self._asked_at > _ASK_SECONDS:
            self._asked_at = now
            self._stops = self._stops or self._stop.is_set()
            self._quits = self._leave.is_set()
        return self._stops

    def quit_asked(self) -> bool:
        """As it was last heard."""
        return self._quits


_here: dict[str, Children] = {}
_making = threading.Lock()


def _children_here(run: str) -> Children:
    """Return the children of this worker, started with its first job."""
    if multiprocessing.current_process().daemon:
        raise RuntimeError(
            "this worker may start no processes: start it with --no-nanny, or with "
            "DASK_DISTRIBUTED__WORKER__DAEMON=False"
        )
    module = run.partition(":")[0]
    with _making:
        if module not in _here:
            _here[module] = Children(1, [module])
        return _here[module]
