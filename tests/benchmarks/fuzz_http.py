"""Requests made from the service's own description, and hostile bodies, against the application.

    python -m tests.benchmarks.fuzz_http --examples 200

Every answer must be described: its status, its media type, its schema; none may be a fault of the
service.  Solves are faked, with a plan made by hand: what is in question is the interface.  Hostile
bodies are timed over a socket, each must be refused within 250 ms.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import http.client
import json
import math
import socket
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import schemathesis
import uvicorn
from hypothesis import HealthCheck, Phase, given, seed, settings
from schemathesis import GenerationMode
from schemathesis.checks import load_all_checks
from schemathesis.core.errors import UnsupportedSchema
from schemathesis.core.failures import FailureGroup

from api.http.app import create_app
from api.http.examples import LID
from api.real_engine import real_engine
from api.service.records import Ending
from api.service.runs import files_answer, options_answer, plan_answer
from api.service.service import Service
from api.service.settings import Settings
from api.service.store import Store
from tests.api.hand_made_plan import lid_job, lid_plan, whole_plan

MOST_MS = 250.0
SEEDS = 5
"""Drawn with one after the other, where the generator gives up on a schema that it bent itself."""


def fake_solve(order, channel) -> Ending:
    """Answer at once with what was made by hand."""
    if order.kind == "papers":
        answer = files_answer({"index.html": b"<p>hello", "lists/a.csv": b"a,b", "a.pdf": b"%PDF"})
    elif order.kind == "options":
        answer = options_answer([lid_plan(), whole_plan()], lid_job())
    else:
        answer = plan_answer(lid_plan())
    return Ending("finished", answer.outline, documents=answer.documents)


@contextlib.contextmanager
def fuzzed_service(folder: Path, **more: Any) -> Iterator[Service]:
    """A service whose solves are faked."""
    told = Settings(folder=folder, workers=1, most_queued=100_000, most_kept=200_000)
    service = Service(Store(folder), real_engine(), fake_solve, told, **more)
    service.start()
    try:
        yield service
    finally:
        service.close()


class Fuzz:
    """Requests to each operation, half of them about jobs that are there."""

    def __init__(self, service: Service, port: int) -> None:
        self._service = service
        self.schema = schemathesis.openapi.from_url(f"http://127.0.0.1:{port}/v1/openapi.json")
        self.statuses: Counter[tuple[str, int]] = Counter()
        self._jobs: dict[int, str] = {}
        self._checks = _asked_checks()
        self._rejection = self._checks[-1]

    def operations(self) -> list[Any]:
        """All operations of the description."""
        return [found.ok() for found in self.schema.get_all_operations()]

    def run(self, operation: Any, examples: int, *, hostile: bool) -> None:
        """Send requests to an operation; raises at the first answer that is not described."""
        mode = GenerationMode.NEGATIVE if hostile else GenerationMode.POSITIVE
        strategy = operation.as_strategy(generation_mode=mode)

        @settings(
            max_examples=examples,
            derandomize=True,
            database=None,
            deadline=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(case=strategy)
        def send(case: Any) -> None:
            self._about_a_job(case)
            answer = case.call(timeout=30)
            self.statuses[operation.label, answer.status_code] += 1
            refused = 400 <= answer.status_code < 500  # 412 and 413 are refusals as well
            checks = [one for one in self._checks if not (refused and one is self._rejection)]
            case.validate_response(answer, checks=checks)

        for number in range(SEEDS):
            try:
                seed(number)(send)()
                return
            except UnsupportedSchema:
                # of what the generator itself made of a schema; draws hang on constants in our text
                if number == SEEDS - 1:
                    raise

    def _about_a_job(self, case: Any) -> None:
        """Make about half of the requests speak of a job that is there, and of its files."""
        parameters = case.path_parameters or {}
        job_id = str(parameters.get("job_id", ""))
        if job_id and job_id.isalnum() and ord(job_id[-1]) % 2:
            parameters["job_id"] = self._job(2 if "name" in parameters else ord(job_id[0]) % 3)
            if "name" in parameters and ord(job_id[1:2] or "a") % 2:
                parameters["name"] = "index.html"
        headers = case.headers or {}
        if "Last-Event-ID" not in headers and "If-Match" in headers and job_id:
            record = self._service.store.record(parameters["job_id"])
            if record is not None and ord(job_id[-1]) % 4 == 1:
                headers["If-Match"] = f'"{record.digest[:32]}"'

    def _job(self, number: int) -> str:
        """Return the id of a job that has ended: a plan, options, or papers."""
        for kind in range(3):
            if kind not in self._jobs or self._service.store.record(self._jobs[kind]) is None:
                self._jobs[kind] = self._made(kind)
        return self._jobs[number]

    def _made(self, kind: int) -> str:
        body: dict[str, Any] = {"kind": ("plan", "options", "papers")[kind]}
        body |= {"job": self._jobs[0]} if kind == 2 else {"scenario": LID}
        record, _ = self._service.add(self._service.ready(body))
        while not (found := self._service.store.record(record.id)) or not found.ended:
            time.sleep(0.001)
        return record.id


def _asked_checks() -> list[Any]:
    """Checks of the answer; what is fair by its schema may still be no body that can be built."""
    load_all_checks()
    names = (
        "not_a_server_error",
        "status_code_conformance",
        "content_type_conformance",
        "response_headers_conformance",
        "response_schema_conformance",
        "negative_data_rejection",
    )
    return [schemathesis.checks.CHECKS.get_one(name) for name in names]


def hostile_bodies() -> dict[str, bytes]:
    """Bodies that must be refused, by what is wrong with them."""
    lid = json.dumps({"kind": "plan", "scenario": LID})
    half = lid[: len(lid) // 2]

    def with_value(text: str) -> bytes:
        return lid.replace('"2.98 ft2"', text).encode("utf-8", "surrogatepass")

    return {
        "nothing": b"",
        "blanks": b" \n\t ",
        "no JSON": b"hello",
        "half a job": half.encode(),
        "two values": lid.encode() * 2,
        "a list": b"[]",
        "a number": b"1",
        "null": b"null",
        "a text": b'"plan"',
        "single quotes": b"{'kind': 'plan'}",
        "a trailing comma": b'{"kind": "plan",}',
        "a comment": b'{"kind": "plan"} // mine',
        "no kind": b"{}",
        "an unknown kind": b'{"kind": "dance"}',
        "a kind of another kind": b'{"kind": {"kind": "plan"}}',
        "no scenario": b'{"kind": "plan"}',
        "an unknown key": lid.replace('{"kind"', '{"__proto__": 1, "kind"').encode(),
        "NaN": with_value("NaN"),
        "Infinity": with_value("Infinity"),
        "minus Infinity": with_value("-Infinity"),
        "1e999": with_value("1e999"),
        "-1e999": with_value("-1e999"),
        "1e308": with_value("1e308"),
        "an integer of 5000 digits": with_value("9" * 5000),
        "an integer of 500 000 digits": with_value("9" * 500_000),
        "a fraction of 5000 digits": with_value("0." + "1" * 5000),
        "a lone surrogate": with_value('"\\ud800"'),
        "a lone surrogate in UTF-8": with_value('"\ud800"'),
        "a key twice": b'{"kind": "plan", "kind": "options"}',
        "a key twice deep inside": lid.replace(
            '"faces": "up"', '"faces": "up", "faces": "up"'
        ).encode(),
        "a key twice, once escaped": b'{"kind": "plan", "k\\u0069nd": "plan"}',
        "100 000 lists deep": b"[" * 100_000 + b"]" * 100_000,
        "100 000 objects deep": b'{"a":' * 100_000 + b"1" + b"}" * 100_000,
        "deep and never closed": b"[" * 500_000,
        "a control character": with_value('"a\\u0007"'),
        "a NUL": with_value('"a\\u0000"'),
        "a bidirectional mark": with_value('"\u202e1 m2"'),
        "no UTF-8": b'{"kind": "\xff\xfe"}',
        "UTF-16": lid.encode("utf-16"),
        "UTF-32": lid.encode("utf-32"),
        "overlong UTF-8": b'{"kind": "\xc0\xaf"}',
        "200 000 values": b'{"kind": [' + b"1," * 200_000 + b"1]}",
        "a name of 900 000 letters": b'{"' + b"a" * 900_000 + b'": 1}',
        "50 000 unknown keys": json.dumps({f"k{k}": 1 for k in range(50_000)}).encode(),
        "4000 unknown patches": json.dumps(
            {"kind": "plan", "scenario": {**LID, "patches": {f"p{k}": {} for k in range(3900)}}}
        ).encode(),
        "a million blanks and no end": b"{" + b" " * 1_000_000,
        "an unclosed text full of escapes": b'{"kind": "' + b"\\\\" * 400_000,
        "negative seconds": lid.replace('{"kind"', '{"seconds": -1, "kind"').encode(),
        "a seed that is no whole number": lid.replace('{"kind"', '{"seed": 1.5, "kind"').encode(),
        "a year of seconds": lid.replace('{"kind"', '{"seconds": 31536000, "kind"').encode(),
        "true for a number": lid.replace('{"kind"', '{"seconds": true, "kind"').encode(),
        "a group that is a path": lid.replace('{"kind"', '{"group": "../x", "kind"').encode(),
        "papers of a path": b'{"kind": "papers", "job": "../../etc/passwd"}',
        "papers of nothing": b'{"kind": "papers", "job": "0123456789abcdef01234567"}',
        "more than a megabyte": b" " * ((1 << 20) + 1),
    }


@contextlib.contextmanager
def listening(app: Any) -> Iterator[int]:
    """The application on a port of its own."""
    listener = socket.socket(proto=socket.IPPROTO_TCP)
    listener.bind(("127.0.0.1", 0))
    config = uvicorn.Config(app, log_config=None, access_log=False, lifespan="off")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=asyncio.run, args=(server.serve(sockets=[listener]),))
    thread.start()
    try:
        while not server.started:
            time.sleep(0.01)
        yield listener.getsockname()[1]
    finally:
        server.should_exit = True
        thread.join()


def post(port: int, body: bytes) -> tuple[int, int, float]:
    """Post a job; return the status, the bytes of the answer and the milliseconds it took."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    began = time.perf_counter()
    connection.request("POST", "/v1/jobs", body, {"content-type": "application/json"})
    answer = connection.getresponse()
    size = len(answer.read())
    spent = (time.perf_counter() - began) * 1000
    connection.close()
    return answer.status, size, spent


def fuzz(service: Service, port: int, examples: int) -> int:
    """Print what came of requests to each operation; return how many operations failed."""
    one = Fuzz(service, port)
    failed = 0
    for operation in one.operations():
        began = time.perf_counter()
        words = "as described"
        try:
            for hostile in (False, True):
                if not hostile or operation.body or len(list(operation.iter_parameters())):
                    one.run(operation, examples, hostile=hostile)
        except (AssertionError, FailureGroup) as trouble:
            failed += 1
            words = str(trouble)[:2000]
        told = {
            status: count
            for (label, status), count in sorted(one.statuses.items())
            if label == operation.label
        }
        spent = time.perf_counter() - began
        print(f"{operation.label:44} {spent:6.1f} s  {told}  {words}", flush=True)
    return failed


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--examples", type=int, default=200, help="0: hostile bodies alone")
    parser.add_argument("--untimed", action="store_true", help="do not judge how long it takes")
    options = parser.parse_args()
    most_ms = math.inf if options.untimed else MOST_MS
    with tempfile.TemporaryDirectory() as folder, fuzzed_service(Path(folder) / "s") as service:
        slow = 0
        worst, worst_name = 0.0, ""
        bodies = hostile_bodies()
        with listening(create_app(service)) as port:
            failed = fuzz(service, port, options.examples) if options.examples else 0
            post(port, b"{}")
            for name, body in bodies.items():
                status, size, spent = post(port, body)
                slow += not (400 <= status < 500 and size < 20_000 and spent <= most_ms)
                if spent > worst:
                    worst, worst_name = spent, name
                if not 400 <= status < 500 or spent > most_ms:
                    print(f"  {name}: {status}, {size} bytes, {spent:.0f} ms")
        print(f"{len(bodies)} hostile bodies, {slow} not refused as they should be; ")
        print(f"slowest {worst:.0f} ms ({worst_name}); {failed} operations failed")
    sys.exit(1 if failed or slow else 0)


if __name__ == "__main__":
    main()
