"""Options made by a second process too: the same ones, whatever becomes of that process."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from long_wall import LONG_WALL
from small_jobs import ALUMINIUM, GALVANISED, LIGHT_ALUMINIUM, edge, job, ring, run, straight

from solver.data.job import Job
from solver.intake.job_of import read_job
from solver.models.ahead import share_processors
from solver.models.second_process import second_process
from solver.planner import large_nester, plan_job, rounds
from solver.planner import options_apart as apart_module
from solver.planner.options import MadeElsewhere, OptionMaker, RunOptions, stretch_options
from solver.planner.options_apart import options_apart
from solver.planner.piece_options import PieceMaker

PATIENCE_S = 60.0


def of_some_runs() -> Job:
    """Five runs, of which the last cannot be made: it stands too high for any metal."""
    edges = [
        edge("a", straight(700)),
        edge("b", ring(300.0)),
        edge("c", straight(9000.0)),
        edge("d", straight(1200), second="open"),
        edge("e", straight(4000.0), stand_mm=900.0),
    ]
    runs = [run(f"R{one.id}", one, closed=one.id == "b") for one in edges]
    return job(edges, runs, (LIGHT_ALUMINIUM, ALUMINIUM, GALVANISED))


@pytest.fixture
def two_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(apart_module, "LARGE_EDGES", 1)
    monkeypatch.setattr(apart_module, "processors", lambda: 2)


@pytest.mark.usefixtures("two_at_once")
@pytest.mark.parametrize("few", [True, False])
def test_the_options_are_the_same_whoever_makes_them(few: bool) -> None:
    of = of_some_runs()
    asked: list[RunOptions | None] = []
    with options_apart(of) as elsewhere:
        assert elsewhere is not None

        def patiently(run: int, few: bool) -> RunOptions | None:
            """The last three runs are waited for; not asking does not tell it to stop."""
            ends = time.monotonic() + PATIENCE_S
            made = None
            while run >= 2 and made is None and time.monotonic() < ends:
                waiting = (run, few) not in elsewhere.__self__._made  # type: ignore[attr-defined]
                made = None if waiting else elsewhere(run, few)
                time.sleep(0.01)
            asked.append(made)
            return made

        both = stretch_options(PieceMaker(of), few=few, elsewhere=patiently)
    assert [made is not None for made in asked] == [False, False, True, True, True]
    assert both == stretch_options(PieceMaker(of), few=few)
    assert both[1].by_edge  # some refusals went from process to process


@pytest.mark.usefixtures("two_at_once")
def test_where_the_other_process_dies_all_is_made_here(monkeypatch: pytest.MonkeyPatch) -> None:
    of = of_some_runs()
    started: list[subprocess.Popen[bytes]] = []

    def start(code: str, *, talks: bool) -> subprocess.Popen[bytes] | None:
        process = second_process(code, talks=talks)
        assert process is not None
        started.append(process)
        return process

    monkeypatch.setattr(apart_module, "second_process", start)
    with options_apart(of) as elsewhere:
        os.kill(started[0].pid, signal.SIGKILL)
        started[0].wait()
        assert stretch_options(PieceMaker(of), elsewhere=elsewhere) == stretch_options(
            PieceMaker(of)
        )


def test_the_other_process_ends_with_the_one_that_started_it() -> None:
    process = second_process(
        "from solver.planner.options_apart import make_options; make_options()", talks=True
    )
    assert process is not None
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(pickle.dumps(of_some_runs()))
    process.stdin.close()  # as when this process ended
    assert process.wait(PATIENCE_S) == 0
    process.stdout.close()


def test_small_jobs_and_single_processors_do_without(monkeypatch: pytest.MonkeyPatch) -> None:
    with options_apart(of_some_runs()) as elsewhere:
        assert elsewhere is None
    monkeypatch.setattr(apart_module, "LARGE_EDGES", 1)
    share_processors(10_000)
    try:
        with options_apart(of_some_runs()) as elsewhere:
            assert elsewhere is None
    finally:
        share_processors(1)


@contextmanager
def all_made_elsewhere(of: Job) -> Iterator[MadeElsewhere]:
    """Every run comes as from another process: equal to what is made here, but nothing shared."""
    pieces = PieceMaker(of)
    makers = {few: OptionMaker(pieces, few=few) for few in (True, False)}
    yield lambda run, few: pickle.loads(pickle.dumps(makers[few].of_run(run)))


def test_a_large_plan_is_the_same_whoever_makes_its_options(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    of = read_job(LONG_WALL)
    monkeypatch.setattr(rounds, "LARGE_LINES", 1)
    monkeypatch.setattr(large_nester, "FEWEST_OF_LARGE", 3)
    here = plan_job.plan_job(of)
    monkeypatch.setattr(plan_job, "options_apart", all_made_elsewhere)
    there = plan_job.plan_job(of)
    assert here.cost is not None
    assert there == here.model_copy(update={"made": there.made})
