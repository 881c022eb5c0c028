"""A pool of child processes that wait, loaded, for an order; each serves one and ends."""

from __future__ import annotations

import multiprocessing
import os
import queue
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from multiprocessing import spawn
from multiprocessing.context import BaseContext
from typing import Any

from api.service.child import child_main
from api.service.settings import LARGEST_ANSWER_BYTES

_starting = threading.Lock()  # the process module counts its children without a lock


@contextmanager
def _without_main() -> Iterator[None]:
    """Start processes that do not load the main module of this one: it is none of their business.

    Loading it takes a second where it is a server's.  Held under the lock of starting alone.
    """
    told = spawn.get_preparation_data

    def bare(name: str) -> dict[str, Any]:
        data: dict[str, Any] = told(name)
        return {key: value for key, value in data.items() if not key.startswith("init_main_")}

    spawn.get_preparation_data = bare
    try:
        yield
    finally:
        spawn.get_preparation_data = told


class Child:
    """One process: it gets an order, tells what it finds, and can be stopped or ended."""

    def __init__(self, context: BaseContext, modules: Sequence[str]) -> None:
        self._orders, orders = context.Pipe(duplex=True)
        stops, self._stops = context.Pipe(duplex=False)
        self._messages: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._reader: threading.Thread | None = None
        self._stopped = False
        self._one_ends_it = threading.Lock()
        with _starting, _without_main():
            self._process = context.Process(  # type: ignore[attr-defined]
                target=child_main,
                args=(orders, stops, tuple(modules)),
                name="splitplan job",
                daemon=True,
            )
            self._process.start()
        orders.close()
        stops.close()

    @property
    def pid(self) -> int:
        """Number of the process."""
        number: int = self._process.pid
        return number

    @property
    def alive(self) -> bool:
        """Whether the process has not ended."""
        with _starting:
            living: bool = self._process.is_alive()
        return living

    def order(self, message: bytes) -> None:
        """Hand over the order; a thread of its own listens, so a hung child holds up nobody."""
        self._reader = threading.Thread(
            target=self._talk, args=(message,), name="listen to a child", daemon=True
        )
        self._reader.start()

    def next_message(self, timeout: float) -> bytes | None:
        """Return the next message; raises queue.Empty; None means that no more will come."""
        return self._messages.get(timeout=timeout)

    def stop(self) -> None:
        """Ask for the best so far; never waits."""
        if not self._stopped:
            self._stopped = True
            self._stops.close()

    def end(self) -> int | None:
        """End it, whatever it does; return its exit code, below 0 for a signal.

        Several threads may: who closes the pool, and who buries what has worked.
        """
        with self._one_ends_it:
            deadline = time.monotonic() + 5.0
            self.kill()
            while (code := self._exit_code()) is None and time.monotonic() < deadline:
                time.sleep(0.005)
            self.stop()
            if self._reader is not None:  # it hears the end of the child, only then is it closed
                self._reader.join(timeout=5.0)
            self._orders.close()
        return code

    def exit_code(self, timeout: float) -> int | None:
        """Return how it ended by itself; None if it did not within the time."""
        deadline = time.monotonic() + timeout
        while (code := self._exit_code()) is None and time.monotonic() < deadline:
            time.sleep(0.005)
        return code

    def _exit_code(self) -> int | None:
        with _starting:
            code: int | None = self._process.exitcode
        return code

    def kill(self) -> None:
        """Kill it, without waiting until it has gone."""
        with _starting, _without_main():
            self._process.kill()

    def _talk(self, message: bytes) -> None:
        try:
            self._orders.send_bytes(message)
            while True:
                self._messages.put(self._orders.recv_bytes(LARGEST_ANSWER_BYTES))
        except (EOFError, OSError):  # it ended, or sent more than anything could be
            self._messages.put(None)


class Children:
    """Some children that wait for an order; others are started as these are taken."""

    def __init__(self, warm: int, modules: Sequence[str]) -> None:
        """Begin to start ``warm`` children, with ``modules`` loaded."""
        # the linear algebra of a small job gains nothing from threads that fight over the cores
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        methods = multiprocessing.get_all_start_methods()
        self._context = multiprocessing.get_context(
            "forkserver" if "forkserver" in methods else "spawn"
        )
        if "forkserver" in methods:
            self._context.set_forkserver_preload(["api.service.child", *modules])
        self._warm = warm
        self._modules = tuple(modules)
        self._waiting: list[Child] = []
        self._working: set[Child] = set()
        self._ending: list[Child] = []
        self._lock = threading.Lock()
        self._wanted = threading.Event()
        self._closed = False
        self._loaded = False
        self._spawner = threading.Thread(target=self._spawn, name="start children", daemon=True)
        self._wanted.set()
        self._spawner.start()

    @contextmanager
    def taken(self) -> Iterator[Child]:
        """Take a child for one order; it is ended afterwards, however that went."""
        child = self._take()
        try:
            yield child
        finally:
            child.kill()  # who waits for the answer need not wait for the burial as well
            with self._lock:
                self._working.discard(child)
                self._ending.append(child)
            self._wanted.set()

    def wait_warm(self, timeout: float) -> bool:
        """Wait until the pool is full; False where it is not within the time."""
        deadline = time.monotonic() + timeout
        while time.monotonic() < deadline:
            with self._lock:
                if len(self._waiting) >= self._warm:
                    return True
            time.sleep(0.01)
        return False

    def was_warm(self) -> bool:
        """Whether a child was ever ready: the libraries are loaded."""
        return self._loaded

    @property
    def pids(self) -> tuple[int, ...]:
        """Numbers of the processes at work."""
        with self._lock:
            return tuple(child.pid for child in self._working)

    def close(self) -> None:
        """End all of them."""
        with self._lock:
            self._closed = True
            everyone = [*self._waiting, *self._working, *self._ending]
            self._waiting.clear()
        self._wanted.set()
        for child in everyone:
            child.end()
        self._spawner.join(timeout=10)

    def _take(self) -> Child:
        child = None
        with self._lock:
            while self._waiting and child is None:
                found = self._waiting.pop(0)
                child = found if found.alive else None
        if child is None:
            child = Child(self._context, self._modules)
        with self._lock:
            self._working.add(child)
        self._wanted.set()
        return child

    def _spawn(self) -> None:
        while True:
            self._wanted.wait()
            self._wanted.clear()
            self._bury()
            while not self._closed and len(self._waiting) < self._warm:
                try:
                    child = Child(self._context, self._modules)
                except OSError:  # no more processes or files: the next order tries again
                    break
                if not self._taken_in(child):
                    child.end()
            if self._closed:
                return

    def _bury(self) -> None:
        while self._ending:
            self._ending[0].end()
            with self._lock:
                del self._ending[:1]

    def _taken_in(self, child: Child) -> bool:
        with self._lock:
            if self._closed:
                return False
            self._waiting.append(child)
            self._loaded = True
            return True
