"""The store of jobs: one SQLite file in a folder that only its owner may read.

Every change is one transaction that is on the disk when it returns (write-ahead log, full
synchronisation), so what was acknowledged is never lost and nothing is ever half written.  A second
service on the same folder is refused.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
import sqlite3
import stat
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from api.service.records import Document, Ending, NewJob, Order, Outline, Record, State

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE jobs (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            id TEXT NOT NULL UNIQUE,
            kind TEXT NOT NULL,
            title TEXT NOT NULL,
            share TEXT NOT NULL,
            seconds REAL NOT NULL,
            state TEXT NOT NULL
                CHECK (state IN ('queued', 'running', 'finished', 'stopped', 'failed')),
            version INTEGER NOT NULL,
            attempt INTEGER NOT NULL,
            tries INTEGER NOT NULL,
            turn INTEGER NOT NULL,
            stop_asked INTEGER NOT NULL CHECK (stop_asked IN (0, 1)),
            created_at REAL NOT NULL,
            started_at REAL,
            ended_at REAL,
            digest TEXT NOT NULL,
            key TEXT UNIQUE,
            outline TEXT NOT NULL,
            problem TEXT,
            request TEXT NOT NULL,
            inputs TEXT NOT NULL,
            CHECK ((ended_at IS NULL) = (state IN ('queued', 'running')))
        ) STRICT""",
        "CREATE INDEX jobs_in_turn ON jobs (state, turn, number)",
        "CREATE INDEX jobs_of_share ON jobs (share, state, turn)",
        """CREATE TABLE documents (
            job INTEGER NOT NULL REFERENCES jobs (number) ON DELETE CASCADE,
            name TEXT NOT NULL,
            media_type TEXT NOT NULL,
            content BLOB NOT NULL,
            PRIMARY KEY (job, name)
        ) STRICT""",
        "CREATE TABLE queue (one INTEGER PRIMARY KEY CHECK (one = 1), turn INTEGER NOT NULL) "
        "STRICT",
        "INSERT INTO queue VALUES (1, 0)",
    ),
)
"""Statements that bring a file of the version before to the next; only ever added to."""

_RECORD = (
    "number, id, kind, title, share, seconds, state, version, attempt, stop_asked, created_at, "
    "started_at, ended_at, digest, outline, problem"
)
_PAGE_BYTES = 4096
_FULL = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR}


class StoreError(Exception):
    """The store cannot be used; the message says why and what helps."""


class StoreFullError(Exception):
    """There is no room: nothing was written and nothing was lost."""


class QueueFullError(Exception):
    """As many jobs wait as may."""


class KeyReusedError(Exception):
    """An Idempotency-Key came again with another request."""


class Store:
    """Jobs in a folder; every method may be called from any thread."""

    def __init__(
        self,
        folder: Path,
        *,
        most_bytes: int = 8 << 30,
        reserve_bytes: int | None = None,
        clock: Callable[[], float] = time.time,
    ) -> None:
        """Open or make the store.

        ``reserve_bytes`` are kept free for the answers of jobs that were taken on.  Raises
        StoreError where the folder cannot be used, another service has it, or it is of a later
        version.
        """
        self._clock = clock
        self._folder = folder
        self._reserve_bytes = (
            min(64 << 20, most_bytes // 8) if reserve_bytes is None else (reserve_bytes)
        )
        _own_folder(folder)
        self._lock_file = _locked(folder / "lock.sqlite3")
        try:
            self._writer = _connected(folder / "jobs.sqlite3", most_bytes)
            _migrate(self._writer)
            self._reader = _connected(folder / "jobs.sqlite3", most_bytes)
            self._reader.execute("PRAGMA query_only = ON")
        except sqlite3.Error as trouble:
            self._lock_file.close()
            raise StoreError(f"{folder / 'jobs.sqlite3'} cannot be used: {trouble}") from None
        except StoreError:
            self._lock_file.close()
            raise
        self._writing = threading.Lock()
        self._reading = threading.Lock()

    def close(self) -> None:
        """Let go of the folder."""
        with self._writing, self._reading:
            self._reader.close()
            self._writer.close()
            self._lock_file.close()

    def add(self, new: NewJob, *, most_queued: int, most_kept: int) -> tuple[Record, bool]:
        """Keep a new job; return its record and whether it is new.

        A job with the same key and request is returned instead.  Raises KeyReusedError,
        QueueFullError, StoreFullError.
        """
        with self._transaction() as db:
            if new.key is not None:
                found = _record(db, "key = ?", (new.key,))
                if found is not None:
                    if found.digest != new.digest:
                        raise KeyReusedError
                    return found, False
            queued = db.execute("SELECT count(*) FROM jobs WHERE state = 'queued'").fetchone()[0]
            if queued >= most_queued:
                raise QueueFullError
            self._refuse_without_room(db, most_kept)
            turn = db.execute(
                "SELECT 1 + max((SELECT turn FROM queue), coalesce((SELECT max(turn) FROM jobs "
                "WHERE share = ? AND state = 'queued'), 0))",
                (new.group,),
            ).fetchone()[0]
            job_id = secrets.token_hex(12)
            db.execute(
                "INSERT INTO jobs (id, kind, title, share, seconds, state, version, attempt, "
                "tries, turn, stop_asked, created_at, digest, key, outline, request, inputs) "
                "VALUES (?, ?, ?, ?, ?, 'queued', 1, 0, 0, ?, 0, ?, ?, ?, ?, ?, ?)",
                (
                    job_id,
                    new.kind,
                    new.title,
                    new.group,
                    new.seconds,
                    turn,
                    self._clock(),
                    new.digest,
                    new.key,
                    json.dumps(Outline().as_json()),
                    new.request,
                    new.inputs,
                ),
            )
            made = _record(db, "id = ?", (job_id,))
        assert made is not None
        return made, True

    def claim(self) -> Order | None:
        """Take the next job in turn to run it; None where none waits.  Raises StoreFullError.

        Groups take turns: a job's turn is one after the last of its group that waits, or after the
        one that was taken last, so that a thousand variants of one do not hold up another.
        """
        with self._transaction() as db:
            row = db.execute(
                "UPDATE jobs SET state = 'running', attempt = attempt + 1, tries = tries + 1, "
                "version = version + 1, started_at = max(?, created_at) "
                "WHERE number = (SELECT number FROM jobs WHERE state = 'queued' "
                "ORDER BY turn, number LIMIT 1) "
                "RETURNING number, id, attempt, kind, seconds, inputs, turn",
                (self._clock(),),
            ).fetchone()
            if row is None:
                return None
            db.execute("UPDATE queue SET turn = max(turn, ?)", (row[6],))
        return Order(*row[:6])

    def keep(self, order: Order, outline: Outline, document: Document) -> bool:
        """Keep the best answer so far of a running attempt; False where it is not wanted."""
        with self._transaction() as db:
            changed = db.execute(
                "UPDATE jobs SET outline = ?, version = version + 1 "
                "WHERE number = ? AND attempt = ? AND state = 'running'",
                (json.dumps(outline.as_json()), order.number, order.attempt),
            ).rowcount
            if changed:
                _write(db, order.number, [document])
        return bool(changed)

    def end(self, order: Order, ending: Ending) -> Record | None:
        """Write how an attempt ended, with all its documents, or nothing.

        None, and nothing written, where the job was deleted or belongs to another attempt.
        Raises StoreFullError.
        """
        with self._transaction() as db:
            changed = db.execute(
                "UPDATE jobs SET state = ?, outline = ?, problem = ?, version = version + 1, "
                "ended_at = max(?, started_at) "
                "WHERE number = ? AND attempt = ? AND state = 'running'",
                (
                    ending.state,
                    json.dumps(ending.outline.as_json()),
                    None if ending.problem is None else json.dumps(dict(ending.problem)),
                    self._clock(),
                    order.number,
                    order.attempt,
                ),
            ).rowcount
            if not changed:
                return None
            db.execute("DELETE FROM documents WHERE job = ?", (order.number,))
            _write(db, order.number, ending.documents)
            return _record(db, "number = ?", (order.number,))

    def release(self, order: Order) -> None:
        """Give a job back to the queue as if this attempt had not been: the service closes."""
        with self._transaction() as db:
            db.execute(
                "UPDATE jobs SET state = 'queued', tries = tries - 1, version = version + 1, "
                "started_at = NULL WHERE number = ? AND attempt = ? AND state = 'running'",
                (order.number, order.attempt),
            )

    def recover(self, most_attempts: int) -> tuple[int, int]:
        """After a start: jobs that ran are queued again, or failed after so many attempts.

        A job that was to be stopped is stopped.  Returns how many were queued and how many ended.
        """
        problem = {
            "how": "interrupted",
            "detail": f"The service ended {most_attempts} times while this job ran.",
        }
        with self._transaction() as db:
            stopped = db.execute(
                "UPDATE jobs SET state = 'stopped', version = version + 1, "
                "ended_at = max(?, started_at) WHERE state = 'running' AND stop_asked = 1",
                (self._clock(),),
            ).rowcount
            failed = db.execute(
                "UPDATE jobs SET state = 'failed', problem = ?, version = version + 1, "
                "ended_at = max(?, started_at) WHERE state = 'running' AND tries >= ?",
                (json.dumps(problem), self._clock(), most_attempts),
            ).rowcount
            queued = db.execute(
                "UPDATE jobs SET state = 'queued', version = version + 1, started_at = NULL "
                "WHERE state = 'running'"
            ).rowcount
        return queued, stopped + failed

    def ask_stop(self, job_id: str) -> Record | None:
        """Stop a waiting job, or note that a running one is to stop; None where there is none."""
        with self._transaction() as db:
            db.execute(
                "UPDATE jobs SET stop_asked = 1, version = version + 1, "
                "ended_at = CASE state WHEN 'queued' THEN max(?, created_at) END, "
                "state = CASE state WHEN 'queued' THEN 'stopped' ELSE state END "
                "WHERE id = ? AND state IN ('queued', 'running') AND stop_asked = 0",
                (self._clock(), job_id),
            )
            return _record(db, "id = ?", (job_id,))

    def delete(self, job_id: str, *, running: bool = False) -> Record | None:
        """Delete a job and all it holds; return what it was, None where there is none.

        A job that runs is left as it is, unless ``running``.
        """
        with self._transaction() as db:
            found = _record(db, "id = ?", (job_id,))
            if found is not None and (running or found.state != "running"):
                db.execute("DELETE FROM jobs WHERE number = ?", (found.number,))
        return found

    def record(self, job_id: str) -> Record | None:
        """Return the record of a job."""
        with self._reading:
            return _record(self._reader, "id = ?", (job_id,))

    def page(
        self,
        *,
        limit: int,
        before: int | None = None,
        state: str | None = None,
        kind: str | None = None,
        group: str | None = None,
    ) -> Sequence[Record]:
        """Return records, the newest first, those below a number."""
        asked = {"number <": before, "state =": state, "kind =": kind, "share =": group}
        given = {key: value for key, value in asked.items() if value is not None}
        where = " AND ".join(f"{key} ?" for key in given) or "1"
        with self._reading:
            rows = self._reader.execute(
                f"SELECT {_RECORD} FROM jobs WHERE {where} ORDER BY number DESC LIMIT ?",
                (*given.values(), limit),
            ).fetchall()
        return [_record_of(row) for row in rows]

    def ahead(self, record: Record) -> int:
        """Return how many jobs wait before one that waits."""
        with self._reading:
            found: int = self._reader.execute(
                "SELECT count(*) FROM jobs AS other, jobs AS mine WHERE mine.number = ? "
                "AND other.state = 'queued' AND (other.turn < mine.turn "
                "OR (other.turn = mine.turn AND other.number < mine.number))",
                (record.number,),
            ).fetchone()[0]
        return found

    def request(self, job_id: str) -> tuple[Record, str] | None:
        """Return what was asked for in a job, as JSON text."""
        with self._reading:
            row = self._reader.execute(
                f"SELECT {_RECORD}, request FROM jobs WHERE id = ?",
                (job_id,),
            ).fetchone()
        return None if row is None else (_record_of(row[:-1]), row[-1])

    def inputs(self, job_id: str) -> str | None:
        """Return what the child of a job is given, as JSON text."""
        with self._reading:
            row = self._reader.execute("SELECT inputs FROM jobs WHERE id = ?", (job_id,)).fetchone()
        return None if row is None else str(row[0])

    def document(self, record: Record, name: str) -> Document | None:
        """Return one document of a job."""
        with self._reading:
            row = self._reader.execute(
                "SELECT name, media_type, content FROM documents WHERE job = ? AND name = ?",
                (record.number, name),
            ).fetchone()
        return None if row is None else Document(*row)

    def documents(self, record: Record) -> Sequence[tuple[str, str, int]]:
        """Return name, media type and size in bytes of all documents of a job."""
        with self._reading:
            return self._reader.execute(
                "SELECT name, media_type, length(content) FROM documents WHERE job = ? "
                "ORDER BY name",
                (record.number,),
            ).fetchall()

    def counts(self) -> dict[State, int]:
        """Return how many jobs there are of each state that has any."""
        with self._reading:
            rows = self._reader.execute("SELECT state, count(*) FROM jobs GROUP BY state")
            return dict(rows.fetchall())

    def has_room(self) -> bool:
        """Whether a new job would be taken for the room it needs."""
        with self._reading:
            return self._room_bytes(self._reader) > self._reserve_bytes

    def _refuse_without_room(self, db: sqlite3.Connection, most_kept: int) -> None:
        kept = db.execute("SELECT count(*) FROM jobs").fetchone()[0]
        if kept >= most_kept or self._room_bytes(db) <= self._reserve_bytes:
            raise StoreFullError

    def _room_bytes(self, db: sqlite3.Connection) -> int:
        """Bytes that can still be written, by the store's own limit and by the disk's."""
        most, used, free = (
            int(db.execute(f"PRAGMA {name}").fetchone()[0])
            for name in ("max_page_count", "page_count", "freelist_count")
        )
        own = (most - used + free) * _PAGE_BYTES
        return min(own, shutil.disk_usage(self._folder).free)

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        """Write all of a change or nothing; raises StoreFullError where there is no room."""
        with self._writing:
            db = self._writer
            try:
                db.execute("BEGIN IMMEDIATE")
                try:
                    yield db
                    db.execute("COMMIT")
                finally:
                    if db.in_transaction:
                        db.execute("ROLLBACK")
            except sqlite3.OperationalError as trouble:
                if (trouble.sqlite_errorcode & 0xFF) in _FULL:
                    raise StoreFullError from None
                raise


def _write(db: sqlite3.Connection, number: int, documents: Sequence[Document]) -> None:
    db.executemany(
        "INSERT OR REPLACE INTO documents VALUES (?, ?, ?, ?)",
        [(number, one.name, one.media_type, one.content) for one in documents],
    )


def _record(db: sqlite3.Connection, where: str, values: Sequence[object]) -> Record | None:
    row = db.execute(f"SELECT {_RECORD} FROM jobs WHERE {where}", values).fetchone()
    return None if row is None else _record_of(row)


def _record_of(row: Sequence[Any]) -> Record:
    outline, problem = json.loads(row[14]), row[15]
    return Record(
        number=row[0],
        id=row[1],
        kind=row[2],
        title=row[3],
        group=row[4],
        seconds=row[5],
        state=row[6],
        version=row[7],
        attempt=row[8],
        stop_asked=bool(row[9]),
        created_at=row[10],
        started_at=row[11],
        ended_at=row[12],
        digest=row[13],
        outline=Outline.from_json(outline),
        problem=None if problem is None else json.loads(problem),
    )


def _own_folder(folder: Path) -> None:
    """Make the folder for its owner alone, or see that it is so."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        found = folder.stat()
        if hasattr(os, "getuid") and found.st_uid != os.getuid():
            raise StoreError(f"{folder} belongs to another user: name a folder of your own")
        if stat.S_IMODE(found.st_mode) & 0o077:
            folder.chmod(0o700)
    except OSError as trouble:
        reason = trouble.strerror or trouble
        raise StoreError(f"the folder {folder} cannot be used: {reason}") from None


def _locked(path: Path) -> sqlite3.Connection:
    """Hold the folder: the lock goes with the process, however that ends."""
    lock = sqlite3.connect(path, timeout=0, isolation_level=None, check_same_thread=False)
    try:
        lock.execute("PRAGMA journal_mode = MEMORY")
        lock.execute("BEGIN EXCLUSIVE")
    except sqlite3.Error as trouble:
        lock.close()
        if getattr(trouble, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_BUSY:
            raise StoreError(
                f"another service uses {path.parent}: end that one, or give this one its own folder"
            ) from None
        raise StoreError(f"{path} cannot be locked: {trouble}") from None
    return lock


def _connected(path: Path, most_bytes: int) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=10, isolation_level=None, check_same_thread=False)
    db.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    db.execute("PRAGMA secure_delete = OFF")
    db.execute(f"PRAGMA journal_size_limit = {64 << 20}")
    db.execute(f"PRAGMA max_page_count = {max(most_bytes // _PAGE_BYTES, 16)}")
    return db


def _migrate(db: sqlite3.Connection) -> None:
    """Bring the file to this version, each step in one transaction; raises StoreError."""
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    if version > len(MIGRATIONS):
        raise StoreError(
            f"the store is of version {version} and this splitplan knows {len(MIGRATIONS)}: use "
            "the newer splitplan, or another folder"
        )
    for number, statements in enumerate(MIGRATIONS[version:], start=version + 1):
        db.execute("BEGIN IMMEDIATE")
        try:
            for statement in statements:
                db.execute(statement)
            db.execute(f"PRAGMA user_version = {number}")
            db.execute("COMMIT")
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")
