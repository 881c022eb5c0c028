"""The same jobs on a cluster: two worker processes, one scheduler, and the store as before."""

import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest

from api.service.records import RESULT
from api.service.store import StoreError

pytest.importorskip("distributed")

from api.service.cluster import refuse_open_cluster

ROOT = Path(__file__).resolve().parents[2]
PYTHON = [sys.executable, "-W", "ignore", "-m"]
VARIANTS = 100


def started(folder, *command, said, **environment):
    """A process, and the word after ``said`` in what it tells."""
    told = folder / f"{len(list(folder.iterdir()))}.txt"
    with told.open("w") as stream:
        process = subprocess.Popen(
            [*PYTHON, *command],
            cwd=ROOT,
            env={**os.environ, **environment},
            stdout=subprocess.DEVNULL,
            stderr=stream,
        )
    late = time.monotonic() + 60
    while said not in (text := told.read_text()) or "\n" not in text.partition(said)[2]:
        assert process.poll() is None, text
        assert time.monotonic() < late, text
        time.sleep(0.02)
    return process, text.partition(said)[2].split()[0]


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """A scheduler and two workers on this machine: the address, and their processes."""
    folder = tmp_path_factory.mktemp("cluster")
    never_again = {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0"}
    scheduler, address = started(
        folder,
        "distributed.cli.dask_scheduler",
        *("--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--no-show"),
        said="Scheduler at:",
        **never_again,
    )
    processes = [scheduler]
    try:
        for _ in range(2):
            worker, _ = started(
                folder,
                "distributed.cli.dask_worker",
                *(address, "--no-nanny", "--nthreads", "2", "--no-dashboard"),
                *("--death-timeout", "30"),
                said="Registered to:",
            )
            processes.append(worker)
        yield address, processes
    finally:
        for process in processes[::-1]:
            process.kill()
            process.wait()


def test_a_sweep_of_100_variants_runs_on_two_workers(cluster, make_service, ask, ended, until):
    address, (_, one, _) = cluster
    service = make_service(cluster=address)
    jobs = [ask(service, "reports", group="sweep", title=str(k)) for k in range(VARIANTS)]
    records = [ended(service, job) for job in jobs]
    assert {record.state for record in records} == {"finished"}
    assert [record.title for record in records] == [str(k) for k in range(VARIANTS)]
    pids = Counter(record.outline.outcome for record in records)
    assert len(pids) == VARIANTS  # a process of its own for each
    parents = Counter(record.outline.outcome.rpartition(" of ")[2] for record in records)
    assert len(parents) == 2

    job = ask(service, "work", seconds=60.0)
    until(lambda: (service.board.progress(job.id)[0] or {}).get("best", 9) < 6.9)
    service.stop(job.id)
    record = ended(service, job)
    assert record.state == "stopped"
    assert json.loads(service.store.document(record, RESULT).content)["best"] < 7.0

    failed = ended(service, ask(service, "segfault"))
    assert (failed.state, failed.problem["how"]) == ("failed", "crashed")

    jobs = [ask(service, "work", seconds=60.0) for _ in range(4)]
    until(lambda: all(service.store.record(job.id).outline.outcome for job in jobs))
    one.send_signal(signal.SIGKILL)
    lost = until(lambda: [job for job in jobs if service.store.record(job.id).ended])
    record = ended(service, lost[0])
    assert (record.state, record.problem["how"]) == ("failed", "lost")
    assert json.loads(service.store.document(record, RESULT).content)["best"] == 7.0
    for job in jobs:
        service.stop(job.id)
    assert {ended(service, job).state for job in jobs} == {"failed", "stopped"}


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("tcp://10.0.0.1:8786", "only tls://"),
        ("tcp://scheduler.example:8786", "only tls://"),
        ("http://127.0.0.1:8786", "give tls://host:port"),
        ("tls://", "give tls://host:port"),
        ("tls://host:99999", "give tls://host:port"),
        ("127.0.0.1", "give tls://host:port"),
    ],
)
def test_a_cluster_off_this_machine_without_tls_is_refused(address, words):
    with pytest.raises(StoreError, match=words):
        refuse_open_cluster(address)


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "tcp://[::1]:1", "tls://far.example:1"])
def test_a_cluster_on_this_machine_or_with_tls_may_be_used(address):
    refuse_open_cluster(address)
