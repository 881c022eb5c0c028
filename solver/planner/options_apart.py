"""Options of a large job, made by a second process as well, which begins with the last run.

It makes few options of each run first, as this process does, then all; so the options are at hand
soon after the first plan.  What it makes is what would be made here, so whether there is such a
process, and how fast it is, changes nothing but the time.
"""

from __future__ import annotations

import gc
import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from queue import SimpleQueue
from typing import IO

from solver.data.job import Job
from solver.models.ahead import processors
from solver.models.second_process import second_process
from solver.planner.options import MadeElsewhere, OptionMaker, RunOptions
from solver.planner.piece_options import PieceMaker

LARGE_EDGES = 150
"""Edges from which on it is worth the second that the process takes to start."""


@contextmanager
def options_apart(job: Job) -> Iterator[MadeElsewhere | None]:
    """Within this, a second process makes options; yields what hands them over.

    None where the job is not large, or no processor is free for it.
    """
    if len(job.edges) < LARGE_EDGES or processors() == 1:
        yield None
        return
    process = second_process(f"from {__name__} import make_options; make_options()", talks=True)
    if process is None:
        yield None
        return
    with _Apart(process, job) as apart:
        yield apart.made


class _Apart:
    """The second process, seen from the first."""

    def __init__(self, process: subprocess.Popen[bytes], job: Job) -> None:
        self._process = process
        self._made: dict[tuple[int, bool], bytes] = {}
        self._to_say: SimpleQueue[bytes | None] = SimpleQueue()
        self._to_say.put(pickle.dumps(job))
        # neither waits for the other process, which may be slow to hear and quick to answer
        self._threads = [
            threading.Thread(target=work, daemon=True) for work in (self._talk, self._listen)
        ]

    def __enter__(self) -> _Apart:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._to_say.put(None)
        self._process.kill()
        self._process.wait()
        for thread in self._threads:
            thread.join()

    def made(self, run: int, few: bool) -> RunOptions | None:
        """Return a run's options if they were made there; else the other stops before this run."""
        packed = self._made.pop((run, few), None)
        if packed is None:
            self._to_say.put(pickle.dumps((run, few)))
            return None
        made: RunOptions = pickle.loads(packed)
        return made

    def _talk(self) -> None:
        assert self._process.stdin is not None
        with suppress(OSError), self._process.stdin as pipe:  # it may have ended
            while (message := self._to_say.get()) is not None:
                pipe.write(message)
                pipe.flush()

    def _listen(self) -> None:
        assert self._process.stdout is not None
        with suppress(OSError, EOFError, pickle.UnpicklingError), self._process.stdout as pipe:
            while True:
                run, few, packed = pickle.load(pipe)
                self._made[run, few] = packed


class _Place:
    """How far up the first process has come; it tells on the input, whose end ends this process."""

    def __init__(self, told: IO[bytes]) -> None:
        self._told = told
        self._run = {True: -1, False: -1}
        threading.Thread(target=self._listen, daemon=True).start()

    def behind(self, run: int, few: bool) -> bool:
        """Whether the first process has come to this run."""
        return self._run[few] >= run

    def _listen(self) -> None:
        try:
            while True:
                run, few = pickle.load(self._told)
                self._run[few] = run
        finally:
            os._exit(0)  # nobody waits for what is made here


def make_options() -> None:
    """Make options of the job on the input, and put them out run by run; a process of its own."""
    gc.disable()  # nothing that is made here is thrown away
    pieces = PieceMaker(pickle.load(sys.stdin.buffer))
    place = _Place(sys.stdin.buffer)
    for few in (True, False):
        maker = OptionMaker(pieces, few=few)
        for run in reversed(range(len(pieces.lines))):
            if place.behind(run, few):
                break
            packed = pickle.dumps(maker.of_run(run), pickle.HIGHEST_PROTOCOL)
            pickle.dump((run, few, packed), sys.stdout.buffer)
            sys.stdout.buffer.flush()
    os._exit(0)  # not waiting for the thread that listens
