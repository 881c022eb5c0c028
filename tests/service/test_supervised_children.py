"""Whatever a child does, its job ends as told, keeps its best answer and harms no other."""

import json
import multiprocessing
import os
import signal
import threading
import time

import pytest

from api.service.children import Child
from api.service.records import RESULT, Order
from api.service.supervise import supervise
from tests.service.fake_runs import RUN


def best(service, record):
    document = service.store.document(record, RESULT)
    return None if document is None else json.loads(document.content)["best"]


def test_a_job_is_done_in_a_child_and_its_answer_kept(service, ask, ended):
    record = ended(service, ask(service))
    assert (record.state, record.outline.outcome, record.attempt) == ("finished", "done", 1)
    assert best(service, record) == 1.0


@pytest.mark.parametrize(
    ("do", "how", "place"),
    [
        ("killed", "killed", "signal 9"),
        ("exits", "crashed", ""),
        ("segfault", "crashed", "signal 11"),
        ("raises", "crashed", "ZeroDivisionError at fake_runs.py"),
        ("memory", "memory", ""),
    ],
)
def test_a_child_that_dies_leaves_its_best_answer_and_harms_no_other(
    service, ask, ended, until, do, how, place
):
    other = ask(service, "work")
    until(lambda: service.board.progress(other.id)[0])
    record = ended(service, ask(service, do))
    assert (record.state, record.problem["how"]) == ("failed", how)
    assert place in record.problem["place"]
    assert "words of the scenario" not in json.dumps(record.problem)
    assert (record.outline.outcome, best(service, record)) == ("stopped", 7.0)
    assert service.store.record(other.id).state == "running"
    service.stop(other.id)
    assert ended(service, other).state == "stopped"
    assert ended(service, ask(service)).state == "finished"


class LateChannel:
    """Hears an attempt; once there is an answer its supervisor's clock is past the deadline."""

    def __init__(self):
        self.late = 0.0

    def clock(self):
        return time.monotonic() + self.late

    def on_progress(self, progress):
        pass

    def on_kept(self, outline, document):
        self.late = 1000.0

    def stop_asked(self):
        return False

    def quit_asked(self):
        return False


def at_its_deadline(service, do):
    channel = LateChannel()
    return supervise(
        Order(1, "1", 1, "fake", 900.0, json.dumps({"do": do})),
        channel,
        run=RUN,
        children=service.children,
        settings=service.settings,
        clock=channel.clock,
    )


@pytest.mark.parametrize("do", ["frozen", "deaf"])
def test_a_child_that_hangs_is_ended_after_its_deadline_and_its_best_kept(service, do):
    ending = at_its_deadline(service, do)
    assert (ending.state, ending.problem["how"]) == ("failed", "hung")
    assert json.loads(ending.documents[0].content)["best"] == 7.0
    assert service.children.pids == ()


def test_a_child_that_works_past_its_deadline_is_stopped_and_finishes(make_service):
    ending = at_its_deadline(make_service(deadline_patience=60.0), "work")
    assert (ending.state, ending.problem) == ("finished", None)
    assert json.loads(ending.documents[0].content)["best"] <= 7.0


def test_a_stop_gives_the_best_so_far(service, ask, ended, until):
    job = ask(service, "work")
    until(lambda: (service.board.progress(job.id)[0] or {}).get("best", 9) < 6.5)
    service.stop(job.id)
    record = ended(service, job)
    assert (record.state, record.outline.outcome) == ("stopped", "stopped")
    assert best(service, record) < 6.5


@pytest.mark.parametrize("do", ["frozen", "deaf"])
def test_a_stop_that_a_child_does_not_hear_gives_the_answer_that_was_kept(
    service, ask, ended, until, do
):
    job = ask(service, do, seconds=60.0)
    until(lambda: service.store.record(job.id).outline.outcome)
    service.stop(job.id)
    record = ended(service, job)
    assert (record.state, record.problem, best(service, record)) == ("stopped", None, 7.0)


def test_a_stop_before_there_was_an_answer_has_none(service, ask, ended, until):
    job = ask(service, "nothing-yet", seconds=60.0)
    until(lambda: service.store.record(job.id).state == "running")
    service.stop(job.id)
    record = ended(service, job)
    assert (record.state, record.outline.outcome) == ("stopped", "no answer")
    assert best(service, record) is None


def test_a_job_that_waits_is_stopped_without_a_child(make_service, ask):
    service = make_service(workers=1)
    first, second = ask(service, "work"), ask(service, "work")
    assert service.stop(second.id).state == "stopped"
    service.stop(first.id)


def test_children_are_of_low_priority_and_each_job_has_its_own(make_service, ask, ended):
    service = make_service(niceness=7)
    told = [ended(service, ask(service, "reports")).outline.outcome for _ in range(2)]
    nice = min(os.nice(0) + 7, 19)
    assert all(one.startswith(f"nice {nice} ") for one in told)
    assert told[0] != told[1]


def test_jobs_at_work_share_the_processors(make_service, ask, ended, until):
    service = make_service(workers=2)
    alone = ended(service, ask(service, "reports")).outline.outcome
    other = ask(service, "work", seconds=60.0)
    until(lambda: service.store.record(other.id).outline.outcome)
    beside = ended(service, ask(service, "reports")).outline.outcome
    service.stop(other.id)
    have = len(os.sched_getaffinity(0))
    assert f" on {have} processors " in alone
    assert f" on {max(1, have // 2)} processors " in beside


def test_no_child_is_left_behind(make_service, ask, until):
    service = make_service()
    job = ask(service, "frozen", seconds=60.0)
    until(lambda: service.store.record(job.id).outline.outcome)
    (pid,) = service.children.pids
    service.close()
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_a_child_ended_by_several_threads_is_closed_by_one_at_a_time():
    """Who closes the pool and who buries what has worked may meet at one child."""
    child = Child(multiprocessing.get_context("spawn"), [])
    orders, inside, most = child._orders, [], []

    class Orders:
        def close(self):
            inside.append(1)
            most.append(len(inside))
            time.sleep(0.02)
            orders.close()
            inside.pop()

    child._orders = Orders()
    codes = []
    threads = [threading.Thread(target=lambda: codes.append(child.end())) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=20.0)
    assert codes == [-signal.SIGKILL] * 4
    assert max(most) == 1


def test_a_child_killed_from_outside_fails_its_job_alone(service, ask, ended, until):
    job = ask(service, "work", seconds=60.0)
    until(lambda: service.store.record(job.id).outline.outcome)
    os.kill(service.children.pids[0], signal.SIGKILL)
    record = ended(service, job)
    assert (record.state, record.problem["how"], best(service, record)) == ("failed", "killed", 7.0)


def test_the_deadline_does_not_follow_a_clock_that_jumps(service, ask, ended, until, monkeypatch):
    job = ask(service, "work", seconds=60.0)
    until(lambda: service.store.record(job.id).state == "running")
    now = time.time()
    for jump in (7200, -7200):
        monkeypatch.setattr(service.store, "_clock", lambda jump=jump: now + jump)
        assert service.store.record(job.id).state == "running"
    service.stop(job.id)
    record = ended(service, job)
    assert record.state == "stopped"
    assert record.ended_at >= record.started_at >= record.created_at
