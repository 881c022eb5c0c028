"""Kill the service with signal 9 again and again while clients post jobs and try again.

    python -m tests.benchmarks.crash_bench --kills 100 --clients 3

Each job has an Idempotency-Key; a client that gets no answer sends it again.  At the end, after a
last start, every job that was ever acknowledged must be there, ended, and once.
"""

from __future__ import annotations

import argparse
import http.client
import itertools
import json
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = "tests.service.small_service"
_JSON = {"content-type": "application/json"}


@dataclass
class Report:
    """What a run came to."""

    acknowledged: dict[str, str] = field(default_factory=dict)
    """Job's id by key."""
    ended: int = 0
    lost: int = 0
    twice: int = 0
    failed: int = 0
    most_attempts: int = 0
    ready_seconds: list[float] = field(default_factory=list)
    """From a start to the first answer of /v1/ready."""


class Process:
    """The service in a process of its own, that can be killed and started on the same store."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.port = 0
        self.start()

    def start(self) -> float:
        """Start it; return the seconds until it was ready."""
        began = time.monotonic()
        self._process = subprocess.Popen(
            [sys.executable, "-m", PROGRAM, str(self._folder), str(self.port)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        assert self._process.stdout is not None
        self.port = int(self._process.stdout.readline() or 0) or self.port
        while True:
            answer = asked(self.port, "GET", "/v1/ready")
            if answer is not None and answer[0] == 200:
                return time.monotonic() - began
            if self._process.poll() is not None:
                raise RuntimeError("the service did not start")
            time.sleep(0.01)

    def kill(self) -> None:
        """Kill it where it stands."""
        self._process.send_signal(signal.SIGKILL)
        self._process.wait()
        assert self._process.stdout is not None
        self._process.stdout.close()


def asked(port: int, method: str, path: str, body: object = None, key: str = "") -> tuple | None:
    """Return status and JSON of an answer; None where none came."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    headers = {**(_JSON if body is not None else {}), **({"idempotency-key": key} if key else {})}
    try:
        connection.request(method, path, json.dumps(body) if body is not None else None, headers)
        answer = connection.getresponse()
        return answer.status, json.loads(answer.read() or b"null")
    except (OSError, http.client.HTTPException, ValueError):
        return None
    finally:
        connection.close()


def client(process: Process, number: int, over: threading.Event, report: Report) -> None:
    """Post jobs one after another; send each again until it is acknowledged."""
    for count in itertools.count():
        if over.is_set():
            return
        key = f"client-{number}-{count}"
        body = {"kind": "fake", "do": "sleep 0.02", "title": key}
        while True:
            answer = asked(process.port, "POST", "/v1/jobs", body, key)
            if answer is not None and answer[0] in (200, 202):
                report.acknowledged[key] = answer[1]["id"]
                break
            time.sleep(0.02)
        time.sleep(0.03)


def crash_run(folder: Path, *, kills: int, clients: int, seed: int = 0) -> Report:
    """Kill the service so often; return what became of the jobs."""
    chance = random.Random(seed)
    report = Report()
    process = Process(folder)
    over = threading.Event()
    threads = [
        threading.Thread(target=client, args=(process, number, over, report))
        for number in range(clients)
    ]
    try:
        for thread in threads:
            thread.start()
        for _ in range(kills):
            time.sleep(chance.uniform(0.05, 0.6))
            process.kill()
            report.ready_seconds.append(process.start())
        over.set()
        for thread in threads:
            thread.join()
        _wait_until_done(process.port)
        _judge(process.port, report)
    finally:
        over.set()
        process.kill()
    return report


def _wait_until_done(port: int) -> None:
    while True:
        answer = asked(port, "GET", "/v1/ready")
        if answer is not None and answer[0] == 200:
            told = answer[1]
            if told["queued"] == told["running"] == 0:
                return
        time.sleep(0.05)


def _judge(port: int, report: Report) -> None:
    listed, path = [], "/v1/jobs?limit=200"
    while path:
        answer = asked(port, "GET", path)
        assert answer is not None
        listed += answer[1]["jobs"]
        path = answer[1]["next"]
    by_title = Counter(job["title"] for job in listed)
    by_id = {job["id"]: job for job in listed}
    for key, job_id in report.acknowledged.items():
        job = by_id.get(job_id)
        report.lost += job is None or job["title"] != key
        report.twice += by_title[key] > 1
        report.ended += job is not None and job["state"] == "finished"
        report.failed += job is not None and job["state"] == "failed"
        report.most_attempts = max(report.most_attempts, job["attempt"] if job else 0)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--clients", type=int, default=3)
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        report = crash_run(
            Path(folder) / "store", kills=options.kills, clients=options.clients, seed=options.seed
        )
    ready = sorted(report.ready_seconds)
    print(
        f"{options.kills} kills: {len(report.acknowledged)} acknowledged, {report.lost} lost, "
        f"{report.twice} twice, {report.ended} finished, {report.failed} failed, at most "
        f"{report.most_attempts} attempts; ready again after {ready[len(ready) // 2]:.2f} s"
    )
    sys.exit(1 if report.lost or report.twice or report.failed else 0)


if __name__ == "__main__":
    main()
