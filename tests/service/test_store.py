"""The store keeps what it acknowledged, whole, in turn, and for one service alone."""

import os
import sqlite3
import stat

import pytest

from api.service.records import RESULT, Document, Ending, NewJob, Outline
from api.service.store import (
    MIGRATIONS,
    KeyReusedError,
    QueueFullError,
    Store,
    StoreError,
    StoreFullError,
)

MANY = {"most_queued": 1000, "most_kept": 1000}


def new(title="a", group="", key=None, digest="d", size=0):
    return NewJob("fake", title, group, 1.0, "{}", '"' + "x" * size + '"', digest, key)


def add(store, *asked, **more):
    return store.add(new(*asked, **more), **MANY)[0]


def fill(store, size):
    for _ in range(1000):
        add(store, size=size)


@pytest.fixture
def open_store(tmp_path):
    opened = []

    def make(**more):
        store = Store(tmp_path / "store", **more)
        opened.append(store)
        return store

    yield make
    for store in opened:
        store.close()


@pytest.fixture
def store(open_store):
    return open_store()


def answer(content=b"1"):
    return Ending("finished", Outline("done"), documents=(Document(RESULT, "text", content),))


def test_a_second_service_on_the_same_folder_is_refused(open_store):
    first = open_store()
    with pytest.raises(StoreError, match="another service uses"):
        open_store()
    first.close()
    open_store()


def test_only_its_owner_may_read_the_folder(open_store, tmp_path):
    (tmp_path / "store").mkdir(mode=0o755)
    open_store()
    assert stat.S_IMODE((tmp_path / "store").stat().st_mode) == 0o700


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(StoreError, match="cannot be used"):
        Store(tmp_path / "file" / "store")


def test_a_store_of_a_later_version_is_refused_and_left_as_it_is(open_store, tmp_path):
    open_store().close()
    with sqlite3.connect(tmp_path / "store" / "jobs.sqlite3") as db:
        db.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    db.close()
    with pytest.raises(StoreError, match="newer splitplan"):
        open_store()


def test_a_file_that_is_no_store_is_refused(open_store, tmp_path):
    open_store().close()
    (tmp_path / "store" / "jobs.sqlite3").write_bytes(b"no database at all" * 500)
    with pytest.raises(StoreError, match="cannot be used"):
        open_store()


def test_every_write_is_on_the_disk_before_it_returns(store):
    # SQLite's documentation: WAL with synchronous=FULL (2) syncs the log at each commit
    assert store._writer.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert store._writer.execute("PRAGMA synchronous").fetchone() == (2,)


def test_what_ran_when_the_service_ended_is_queued_again_and_ends_after_three_attempts(open_store):
    store = open_store()
    job = add(store)
    for attempt in (1, 2, 3):
        order = store.claim()
        assert order.attempt == attempt
        store.close()
        store = open_store()
        assert store.recover(3) == ((1, 0) if attempt < 3 else (0, 1))
    record = store.record(job.id)
    assert (record.state, record.problem["how"]) == ("failed", "interrupted")


def test_a_closing_service_gives_its_jobs_back_without_counting_the_attempt(store):
    job = add(store)
    for _ in range(5):
        store.release(store.claim())
    store.claim()
    assert store.recover(3) == (1, 0)
    assert store.record(job.id).state == "queued"


def test_a_job_that_was_to_stop_when_the_service_ended_is_stopped_with_its_best(store):
    job = add(store)
    order = store.claim()
    store.keep(order, Outline("stopped", {"cost": 3}), Document(RESULT, "text", b"best"))
    store.ask_stop(job.id)
    assert store.recover(3) == (0, 1)
    record = store.record(job.id)
    assert record.state == "stopped"
    assert store.document(record, RESULT).content == b"best"


def test_an_attempt_that_was_given_up_can_write_nothing_any_more(store):
    job = add(store)
    old = store.claim()
    store.recover(3)
    now = store.claim()
    assert store.end(old, answer(b"old")) is None
    assert not store.keep(old, Outline(), Document(RESULT, "text", b"old"))
    assert store.end(now, answer(b"new")).state == "finished"
    assert store.end(now, answer(b"again")) is None
    assert store.document(store.record(job.id), RESULT).content == b"new"


def test_an_answer_to_a_deleted_job_is_dropped(store):
    job = add(store)
    order = store.claim()
    assert store.delete(job.id).state == "running"
    assert store.record(job.id) is not None  # one that runs is not deleted unasked
    store.delete(job.id, running=True)
    assert store.end(order, answer()) is None
    assert store.counts() == {}
    assert store._reader.execute("SELECT count(*) FROM documents").fetchone() == (0,)


def test_an_ending_is_written_whole_or_not_at_all(store):
    job = add(store)
    order = store.claim()
    documents = (Document("a", "text", b"1"), Document("b", "text", None))
    broken = Ending("finished", documents=documents)
    with pytest.raises(sqlite3.IntegrityError):
        store.end(order, broken)
    assert store.record(job.id).state == "running"
    assert store.documents(store.record(job.id)) == []


def test_groups_take_turns_so_a_sweep_holds_up_nobody(store):
    for number in range(5):
        add(store, f"sweep {number}", "sweep")
    assert store.claim() is not None
    add(store, "alone")
    titles = [store.record(store.claim().id).title for _ in range(3)]
    assert titles.index("alone") <= 1
    assert titles[0] == "sweep 1" or titles[0] == "alone"


def test_without_groups_jobs_are_done_in_the_order_they_came(store):
    made = [add(store, str(number)).id for number in range(5)]
    assert [store.claim().id for _ in made] == made


def test_how_many_wait_before_a_job_is_told(store):
    jobs = [add(store) for _ in range(4)]
    assert [store.ahead(store.record(job.id)) for job in jobs] == [0, 1, 2, 3]
    store.claim()
    assert store.ahead(store.record(jobs[3].id)) == 2


def test_the_same_key_gives_the_same_job_and_another_request_is_refused(store):
    first, is_new = store.add(new(key="k"), **MANY)
    again, is_new_again = store.add(new(key="k"), **MANY)
    assert (first.id, is_new, is_new_again) == (again.id, True, False)
    with pytest.raises(KeyReusedError):
        store.add(new(key="k", digest="other"), **MANY)


def test_as_many_wait_as_may_and_no_more(store):
    for _ in range(3):
        store.add(new(), most_queued=3, most_kept=9)
    with pytest.raises(QueueFullError):
        store.add(new(), most_queued=3, most_kept=9)
    with pytest.raises(StoreFullError):
        store.add(new(), most_queued=9, most_kept=3)


def test_a_full_store_refuses_new_jobs_and_has_room_for_the_answers_of_the_others(open_store):
    store = open_store(most_bytes=2_000_000, reserve_bytes=800_000)
    with pytest.raises(StoreFullError):
        fill(store, size=100_000)
    assert not store.has_room()
    kept = store.counts()["queued"]
    assert kept > 5
    for _ in range(kept):
        assert store.end(store.claim(), answer(b"x" * 1000)).state == "finished"
    for record in store.page(limit=100):
        store.delete(record.id)
    assert store.has_room()
    add(store, size=100_000)


def test_a_disk_that_is_full_to_the_last_page_loses_nothing(open_store):
    store = open_store(most_bytes=1_000_000, reserve_bytes=0)
    job = add(store)
    order = store.claim()
    with pytest.raises(StoreFullError):
        fill(store, size=50_000)
    with pytest.raises(StoreFullError):
        store.end(order, answer(b"x" * 100_000))
    assert store.record(job.id).state == "running"
    waiting = [one for one in store.page(limit=100) if one.state == "queued"]
    for one in waiting[:5]:
        store.delete(one.id)
    assert store.end(order, answer(b"x" * 100_000)).state == "finished"


def test_pages_go_from_the_newest_back_and_miss_none(store):
    made = [add(store, str(number)).id for number in range(7)]
    seen, before = [], None
    while page := store.page(limit=3, before=before):
        seen += [one.id for one in page]
        before = page[-1].number
    assert seen == made[::-1]
    store.ask_stop(made[2])
    assert [one.id for one in store.page(limit=9, state="stopped")] == [made[2]]


def test_a_clock_that_jumps_changes_no_order_and_no_span_is_negative(open_store):
    moment = [1_000_000.0]
    store = open_store(clock=lambda: moment[0])
    jobs = []
    for jump in (0.0, -90_000.0, 90_000.0):
        moment[0] += jump
        jobs.append(add(store).id)
    claimed = []
    for jump in (-500_000.0, 10.0, -10.0):
        order = store.claim()
        claimed.append(order.id)
        moment[0] += jump
        record = store.end(order, answer())
        assert record.created_at <= record.started_at <= record.ended_at
    assert claimed == jobs


def test_no_file_of_the_store_is_open_to_others(store, tmp_path):
    add(store)
    assert os.listdir(tmp_path) == ["store"]
