"""The service without its interface: jobs are taken on, run in turn, stopped, and never lost."""

from __future__ import annotations

import contextlib
import json
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

from api.engine import Engine
from api.service.accepting import accepted
from api.service.board import Board
from api.service.children import Children
from api.service.kinds import KINDS, Kind
from api.service.logs import log_event
from api.service.records import (
    ENDED,
    RESULT,
    Document,
    Ending,
    NewJob,
    Order,
    Outline,
    Record,
)
from api.service.settings import Settings
from api.service.store import Store, StoreFullError
from api.service.supervise import Channel, QuitError
from solver.data.errors import Problems

Solve = Callable[[Order, Channel], Ending]
"""Runs one order to its end, somewhere; raises QuitError."""

_RETRY_SECONDS = 1.0
_WARM_SECONDS = 0.02


@dataclass
class _Running:
    """An attempt at work, and what its supervisor asks: the channel of jobs on this machine."""

    order: Order
    service: Service
    stop: threading.Event = field(default_factory=threading.Event)
    quit: threading.Event = field(default_factory=threading.Event)

    def on_progress(self, progress: Mapping[str, Any]) -> None:
        """Put it on the board."""
        self.service.board.tell_progress(self.order.id, dict(progress))

    def on_kept(self, outline: Outline, document: Document) -> None:
        """Keep the best so far where it outlives this process too."""
        with contextlib.suppress(StoreFullError):  # it is kept in memory all the same
            if self.service.store.keep(self.order, outline, document):
                self.service.tell(self.order.id)

    def stop_asked(self) -> bool:
        """Whether the best so far is wanted now."""
        return self.stop.is_set()

    def quit_asked(self) -> bool:
        """Whether nothing is wanted any more."""
        return self.quit.is_set()


class Service:
    """Jobs in a store, and an executor that works on them; any thread may use it."""

    def __init__(
        self,
        store: Store,
        engine: Engine,
        solve: Solve,
        settings: Settings,
        *,
        kinds: Mapping[str, Kind] = KINDS,
        children: Children | None = None,
        on_close: Callable[[], None] = lambda: None,
    ) -> None:
        """Put the parts together; nothing runs before ``start``.

        ``children`` are those of ``solve`` on this machine; they are closed with the service.
        """
        self.store = store
        self.engine = engine
        self.kinds = kinds
        self.settings = settings
        self.board = Board()
        self._solve = solve
        self._executor: Executor = ThreadPoolExecutor(
            settings.workers, thread_name_prefix="supervise"
        )
        self.children = children
        self._on_close = on_close
        self._running: dict[int, _Running] = {}
        self._changed = threading.Condition()
        self._closing = False
        self.closed = False
        self.leaving = False
        """Whether requests that wait should be answered now, because the service will end."""
        self._full = False
        self._dispatcher = threading.Thread(target=self._dispatch, name="dispatch", daemon=True)

    def start(self) -> None:
        """Queue again what an earlier service left, and begin to work."""
        queued, ended = self.store.recover(self.settings.most_attempts)
        log_event("started", queued_again=queued, ended_at_start=ended)
        self._dispatcher.start()

    def close(self, timeout: float = 10.0) -> None:
        """End the work; what ran goes back to the queue for the next start."""
        with self._changed:
            self._closing = True
            running = list(self._running.values())
            self._changed.notify_all()
        for one in running:
            one.quit.set()
        if self._dispatcher.is_alive():
            self._dispatcher.join(timeout)
        self._executor.shutdown(wait=True, cancel_futures=True)
        if self.children is not None:
            self.children.close()
        self._on_close()
        self.store.close()
        self.closed = True
        log_event("closed")

    @property
    def trouble(self) -> str | None:
        """Why no new work would be taken; None where it would."""
        if self._closing:
            return "The service is closing."
        if not self._dispatcher.is_alive():
            return "The service does not work on its queue."
        if self.children is not None and not self.children.was_warm():
            return "The service loads its libraries."
        if self._full or not self.store.has_room():
            return "The store has no room for more."
        return None

    @property
    def running(self) -> int:
        """How many jobs are at work."""
        return len(self._running)

    def ready(self, tree: Mapping[str, Any], key: str | None = None) -> NewJob:
        """Return the job that a body asks for; raises ScenarioErrors."""
        return accepted(tree, self.kinds, self.engine, self, key)

    def add(self, new: NewJob) -> tuple[Record, bool]:
        """Keep a job and have it done; raises as `Store.add`."""
        record, is_new = self.store.add(
            new, most_queued=self.settings.most_queued, most_kept=self.settings.most_kept
        )
        if is_new:
            log_event("queued", job=record.id, kind=record.kind)
            with self._changed:
                self._changed.notify_all()
        return record, is_new

    def stop(self, job_id: str) -> Record | None:
        """Have a job end with the best it has; return its record, None where there is none."""
        record = self.store.ask_stop(job_id)
        if record is None:
            return None
        if not record.ended:
            with self._changed:
                running = self._running.get(record.number)
            if running is not None:
                running.stop.set()
        log_event("stop asked", job=job_id, state=record.state)
        self.tell(job_id)
        return record

    def delete(self, job_id: str, *, running: bool = False) -> Record | None:
        """Delete a job that does not run, or with ``running`` any; return what it was."""
        record = self.store.delete(job_id, running=running)
        if record is None or (record.state == "running" and not running):
            return record
        with self._changed:
            at_work = self._running.get(record.number)
        if at_work is not None:
            at_work.quit.set()
        log_event("deleted", job=job_id, state=record.state)
        self.board.tell_state(job_id, record.version + 1, {"id": job_id, "state": "deleted"}, True)
        return record

    def tell(self, job_id: str) -> None:
        """Put the stored record on the board."""
        record = self.store.record(job_id)
        if record is not None:
            self.board.tell_state(job_id, record.version, {"record": record}, record.ended)

    def plans(self, job_id: str) -> list[dict[str, Any]]:
        """Return the plans that a job has, as JSON values; raises ScenarioErrors."""
        problems = Problems()
        record = self.store.record(job_id)
        document = None if record is None else self.store.document(record, RESULT)
        if record is None:
            problems.add(("job",), job_id, "no such job is kept; GET /v1/jobs lists them")
        elif record.state not in ENDED:
            problems.add(("job",), f"it is {record.state}", "wait until it has ended")
        elif document is None or record.kind not in self.kinds or not self.kinds[record.kind].plans:
            problems.add(("job",), f"a job of kind {record.kind}", "name a job that has a plan")
        problems.raise_any()
        assert record is not None
        assert document is not None
        told = json.loads(document.content)
        where = self.kinds[record.kind].plans
        plans = [told] if where == "." else told[where]
        found: list[dict[str, Any]] = [one for one in plans if one["cost"] is not None]
        if not found:
            problems.add(("job",), "it has no plan that can be built", "plan again")
        problems.raise_any()
        return found

    def plan(self, job_id: str, option: int) -> dict[str, Any]:
        """Return one plan that a job has, 1 the first; raises ScenarioErrors."""
        plans = self.plans(job_id)
        if option > len(plans):
            problems = Problems()
            problems.add(("option",), str(option), f"there are {len(plans)}")
            problems.raise_any()
        return plans[option - 1]

    def scenario(self, job_id: str) -> dict[str, Any] | None:
        """Return the scenario that a job was given, as JSON values."""
        inputs = self.store.inputs(job_id)
        found: dict[str, Any] | None = (
            None if inputs is None else json.loads(inputs).get("scenario")
        )
        return found

    def _dispatch(self) -> None:
        while True:
            with self._changed:
                while not self._closing and len(self._running) >= self.settings.workers:
                    self._changed.wait()
                if self._closing:
                    return
            if self.children is not None and not self.children.was_warm():
                with self._changed:  # a job is taken only when its child can begin at once
                    self._changed.wait(timeout=_WARM_SECONDS)
                continue
            try:
                order = self.store.claim()
                self._full = False
            except StoreFullError:
                self._full, order = True, None
            except Exception as trouble:  # the dispatcher outlives whatever happens
                log_event("claim failed", error=type(trouble).__name__)
                order = None
            if order is None:
                with self._changed:
                    if not self._closing:
                        self._changed.wait(timeout=_RETRY_SECONDS)
                continue
            self._begin(order)

    def _begin(self, order: Order) -> None:
        running = _Running(order, self)
        with self._changed:
            self._running[order.number] = running
        log_event("running", job=order.id, kind=order.kind, attempt=order.attempt)
        self.board.forget_progress(order.id)
        self.tell(order.id)
        record = self.store.record(order.id)
        if record is None:  # deleted between the claim and here
            running.quit.set()
        elif record.stop_asked:
            running.stop.set()
        try:
            self._executor.submit(self._work, running)
        except RuntimeError:  # the executor was shut down: the service closes
            self._release(running)

    def _work(self, running: _Running) -> None:
        """Run one attempt; its end is written by our own hand, never read from a future."""
        order = running.order
        try:
            try:
                ending = self._solve(order, running)
            except QuitError:
                ending = None
            except Exception as trouble:
                log_event("supervisor failed", job=order.id, error=type(trouble).__name__)
                sentence = "The supervisor failed, which is a fault in splitplan."
                problem = {"how": "crashed", "detail": sentence}
                ending = Ending("failed", problem=problem)
            if ending is None:
                self._release(running)
            else:
                self._end(running, ending)
        finally:
            with self._changed:
                self._running.pop(order.number, None)
                self._changed.notify_all()

    def _end(self, running: _Running, ending: Ending) -> None:
        """Write the ending; where there is no room, wait for it: the answer is not lost."""
        order = running.order
        while True:
            try:
                record = self.store.end(order, ending)
                break
            except StoreFullError:
                self._full = True
                log_event("no room for an answer", job=order.id)
                if running.quit.wait(_RETRY_SECONDS):
                    return
        self._full = False
        log_event(
            "ended" if record is not None else "dropped",
            job=order.id,
            state=ending.state,
            outcome=ending.outline.outcome,
            how=None if ending.problem is None else str(ending.problem["how"]),
        )
        self.tell(order.id)

    def _release(self, running: _Running) -> None:
        with contextlib.suppress(StoreFullError):  # a start does the same
            self.store.release(running.order)
