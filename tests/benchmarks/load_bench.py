"""The service under load, as one table: reads, queue, listeners, stops, starts and memory.

    python -m tests.benchmarks.load_bench

`splitplan serve` runs as a process of its own on a store of its own, with a solve for each core.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import random
import re
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import httpx

ROOT = Path(__file__).resolve().parents[2]
LARGE = json.loads((ROOT / "scenarios" / "camper.json").read_bytes())
SMALL = json.loads((ROOT / "scenarios" / "lid.json").read_bytes())


def percentile(values: list[float], share: float = 0.95) -> float:
    """Return the value below which a share of them lies."""
    ordered = sorted(values)
    return ordered[min(int(share * len(ordered)), len(ordered) - 1)]


def rss_mib(pid: int) -> float:
    """Return the resident memory of a process."""
    text = Path(f"/proc/{pid}/status").read_text()
    found = re.search(r"VmRSS:\s+(\d+) kB", text)
    return int(found[1]) / 1024 if found else 0.0


class Load:
    """One service and what is asked of it."""

    def __init__(self, client: httpx.AsyncClient, pid: int) -> None:
        self.client = client
        self.pid = pid
        self.rows: list[tuple[str, str, str]] = []

    def row(self, what: str, found: str, aim: str = "") -> None:
        """Keep and print one row."""
        self.rows.append((what, found, aim))
        print(f"| {what} | {found} | {aim} |", flush=True)

    async def ask(self, scenario: dict, seconds: float, **more: str) -> str:
        """Ask for a plan; return its id."""
        body = {"kind": "plan", "scenario": scenario, "seconds": seconds}
        answer = await self.client.post("/v1/jobs", json=body, headers=more)
        answer.raise_for_status()
        return answer.json()["id"]

    async def job(self, job_id: str) -> dict:
        """Return the record of a job."""
        return (await self.client.get(f"/v1/jobs/{job_id}")).json()

    async def until(self, job_id: str, *states: str) -> dict:
        """Wait until a job is in one of the states."""
        while (record := await self.job(job_id))["state"] not in states:
            await asyncio.sleep(0.02)
        return record

    async def reads(self, job_id: str, count: int = 400) -> list[float]:
        """Return the milliseconds that reads of a record and of a page took."""
        spent = []
        for number in range(count):
            path = "/v1/jobs?limit=20" if number % 4 == 0 else f"/v1/jobs/{job_id}"
            began = time.perf_counter()
            (await self.client.get(path)).raise_for_status()
            spent.append((time.perf_counter() - began) * 1000)
            await asyncio.sleep(0.005)
        return spent

    async def clear(self) -> None:
        """Stop and delete everything."""
        while True:
            jobs = (await self.client.get("/v1/jobs?limit=200")).json()["jobs"]
            if not jobs:
                return
            for job in jobs:
                if job["state"] in ("queued", "running"):
                    await self.client.post(f"/v1/jobs/{job['id']}/stop")
                    await self.until(job["id"], "stopped", "finished", "failed")
                await self.client.delete(f"/v1/jobs/{job['id']}")


async def measure_reads_and_queue(load: Load, workers: int) -> None:
    """Both cores solve; then a thousand wait; then two hundred listen."""
    running = [await load.ask(LARGE, 3000.0) for _ in range(workers)]
    for job_id in running:
        await load.until(job_id, "running")
    spent = await load.reads(running[0])
    words = f"median {statistics.median(spent):.1f} ms, p95 {percentile(spent):.1f} ms"
    load.row(f"reads while {workers} solve", words, "p95 under 20 ms")
    posts = []
    for _ in range(1000):
        began = time.perf_counter()
        await load.ask(SMALL, 5.0, prefer="respond-async")
        posts.append((time.perf_counter() - began) * 1000)
    words = f"median {statistics.median(posts):.1f} ms, p95 {percentile(posts):.1f} ms each"
    load.row("1000 jobs queued", words)
    body = {"kind": "plan", "scenario": SMALL}
    refused = await load.client.post("/v1/jobs", json=body)
    words = f"{refused.status_code}, Retry-After {refused.headers.get('retry-after')}"
    load.row("the 1001st", words, "429")
    spent = await load.reads(running[0])
    load.row("reads with 1000 queued", f"p95 {percentile(spent):.1f} ms", "p95 under 20 ms")
    events = await measure_listeners(load, running)
    load.row("events heard by 200 listeners", events)
    await asyncio.gather(*(stopped(load, job_id) for job_id in running))


async def measure_listeners(load: Load, running: list[str]) -> str:
    """Let 200 listen to jobs at work while others read."""
    heard = [0] * 200
    over = asyncio.Event()

    async def listen(number: int) -> None:
        path = f"/v1/jobs/{running[number % len(running)]}/events"
        async with load.client.stream("GET", path) as stream:
            async for line in stream.aiter_lines():
                heard[number] += line.startswith("id:")
                if over.is_set():
                    return

    listeners = [asyncio.create_task(listen(number)) for number in range(200)]
    while min(heard) < 1:
        await asyncio.sleep(0.05)
    spent = await load.reads(running[0])
    load.row("reads with 200 listeners", f"p95 {percentile(spent):.1f} ms", "p95 under 20 ms")
    over.set()
    for one in listeners:
        one.cancel()
    await asyncio.gather(*listeners, return_exceptions=True)
    return f"at least {min(heard)} each"


async def stopped(load: Load, job_id: str) -> float:
    """Stop a job; return the seconds until it had ended."""
    began = time.perf_counter()
    await load.client.post(f"/v1/jobs/{job_id}/stop")
    await load.until(job_id, "stopped", "finished", "failed")
    return time.perf_counter() - began


async def measure_stops(load: Load, count: int, workers: int) -> None:
    """Stop large plans at any moment of their work."""
    chance = random.Random(0)
    spent: list[float] = []
    kept = 0

    async def one() -> None:
        nonlocal kept
        while len(spent) < count:
            job_id = await load.ask(LARGE, 3000.0)
            await load.until(job_id, "running")
            await asyncio.sleep(chance.uniform(0.2, 12.0))
            spent.append(await stopped(load, job_id))
            record = await load.job(job_id)
            kept += record["links"]["result"] is not None and record["figures"] is not None
            await load.client.delete(f"/v1/jobs/{job_id}")

    await asyncio.gather(*(one() for _ in range(workers)))
    words = f"median {statistics.median(spent):.2f} s, p95 {percentile(spent):.2f} s"
    words += f", worst {max(spent):.2f} s, {kept} with a plan"
    load.row(f"{len(spent)} stops of the demo", words, "p95 within 0.5 s")


async def measure_memory(load: Load, count: int) -> None:
    """Do many small plans; compare the memory of the service early and late."""
    starts, sizes = [], []
    for number in range(count):
        began = time.perf_counter()
        body = {"kind": "plan", "scenario": SMALL, "seconds": 5.0}
        answer = await load.client.post("/v1/jobs", json=body, headers={"prefer": "wait=60"})
        starts.append(time.perf_counter() - began)
        record = answer.json()
        assert record["state"] == "finished", record
        if number % 20 == 19:
            sizes.append(rss_mib(load.pid))
    words = f"median {statistics.median(starts):.2f} s, p95 {percentile(starts):.2f} s"
    load.row(f"{count} small plans, from post to answer", words)
    words = f"{sizes[0]:.0f} MiB after 20, {sizes[-1]:.0f} MiB after {count}"
    load.row("memory of the service", words, "flat")


async def run(port: int, pid: int, options: argparse.Namespace) -> None:
    """Ask for everything, one after the other."""
    limits = httpx.Limits(max_connections=400)
    address = f"http://127.0.0.1:{port}"
    async with httpx.AsyncClient(base_url=address, timeout=120, limits=limits) as client:
        while True:
            try:
                if (await client.get("/v1/ready")).status_code == 200:
                    break
            except httpx.TransportError:
                pass
            await asyncio.sleep(0.05)
        load = Load(client, pid)
        workers = (await client.get("/v1/limits")).json()["solving_at_once"]
        print(f"load of the machine before: {os.getloadavg()[0]:.1f}; {workers} solves at once")
        print("| what | found | aim |\n|---|---|---|")
        if options.jobs:
            await measure_memory(load, options.jobs)
        await load.clear()
        await measure_stops(load, options.stops, workers)
        await load.clear()
        await measure_reads_and_queue(load, workers)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=200)
    parser.add_argument("--stops", type=int, default=40)
    parser.add_argument("--port", type=int, default=8931)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        service = subprocess.Popen(
            [
                *(sys.executable, "-m", "api.command_line", "serve"),
                *("--port", str(options.port), "--data", f"{folder}/store"),
            ],
            cwd=ROOT,
            stderr=subprocess.DEVNULL,
        )
        try:
            asyncio.run(run(options.port, service.pid, options))
        finally:
            service.send_signal(signal.SIGINT)
            try:
                service.wait(timeout=15)
            except subprocess.TimeoutExpired:
                service.kill()


if __name__ == "__main__":
    main()
