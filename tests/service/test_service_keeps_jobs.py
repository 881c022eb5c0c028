"""Jobs and their endings meet: stop against finish, keys from many threads, kills, full disks."""

import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

import pytest

from api.service.records import RESULT
from api.service.store import StoreFullError
from tests.benchmarks.crash_bench import crash_run


def test_the_same_key_from_20_threads_makes_one_job(service):
    start = threading.Barrier(20)

    def post(_):
        new = service.ready({"kind": "fake", "do": "answer"}, "one key")
        start.wait()
        return service.add(new)

    with ThreadPoolExecutor(20) as threads:
        made = list(threads.map(post, range(20)))
    assert len({record.id for record, _ in made}) == 1
    assert sum(is_new for _, is_new in made) == 1
    assert len(service.store.page(limit=99)) == 1


def test_stop_against_finish_leaves_one_ending_and_its_answer(service, ask, ended):
    endings = Counter()
    for number in range(24):
        job = ask(service, f"sleep {number * 0.002:.3f}")
        threads = [threading.Thread(target=service.stop, args=(job.id,)) for _ in range(3)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        record = ended(service, job)
        endings[record.state] += 1
        document = service.store.document(record, RESULT)
        assert record.state in ("stopped", "finished")
        assert (document is not None) == (record.outline.outcome == "done")
        assert record.problem is None
    assert endings.total() == 24


def test_delete_is_separate_from_stop(service, ask, ended, until):
    job = ask(service, "work", seconds=60.0)
    until(lambda: service.store.record(job.id).state == "running")
    assert service.delete(job.id).state == "running"
    assert service.store.record(job.id) is not None
    service.stop(job.id)
    ended(service, job)
    assert service.delete(job.id).state == "stopped"
    assert service.store.record(job.id) is None


def test_a_closed_service_goes_on_where_it_was(make_service, ask, ended, until):
    first = make_service(workers=1)
    jobs = [ask(first, "work", seconds=60.0), ask(first), ask(first)]
    until(lambda: first.store.record(jobs[0].id).state == "running")
    first.close()
    second = make_service(workers=1)
    until(lambda: second.store.record(jobs[0].id).state == "running")
    second.stop(jobs[0].id)
    assert [ended(second, job).state for job in jobs] == ["stopped", "finished", "finished"]


def test_a_finished_job_waits_for_room_and_is_not_lost(service, ask, ended, until, monkeypatch):
    end, full = service.store.end, threading.Event()
    full.set()

    def end_with_room(order, ending):
        if full.is_set():
            raise StoreFullError
        return end(order, ending)

    monkeypatch.setattr(service.store, "end", end_with_room)
    job = ask(service)
    until(lambda: service.trouble is not None and "room" in service.trouble)
    assert service.store.record(job.id).state == "running"
    full.clear()
    assert ended(service, job).state == "finished"
    until(lambda: service.trouble is None)


def test_a_supervisor_that_fails_fails_its_job_alone(service, ask, ended, monkeypatch):
    monkeypatch.setattr(service, "_solve", lambda order, channel: 1 / 0)
    assert ended(service, ask(service)).problem["how"] == "crashed"
    monkeypatch.undo()
    assert ended(service, ask(service)).state == "finished"


@pytest.mark.parametrize("seed", [1])
def test_kill_9_loses_no_job_and_does_none_twice(tmp_path, seed):
    # the long form: python -m tests.benchmarks.crash_bench --kills 100
    report = crash_run(tmp_path / "store", kills=2, clients=3, seed=seed)
    assert len(report.acknowledged) > 3
    assert (report.lost, report.twice, report.failed) == (0, 0, 0)
    assert report.ended == len(report.acknowledged)
