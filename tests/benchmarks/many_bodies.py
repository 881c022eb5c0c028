"""A job of many bodies in a row: a job copied, each copy joined to the next on an open edge.

``python -m tests.benchmarks.many_bodies 10 --seconds 120`` plans ten copies of the demo and prints
each phase and better plan as they come.  ``--own-clock`` counts limits and seconds in the processor
time of this process, most of whose work is done by one thread: what a quiet core would take.
"""

from __future__ import annotations

import argparse
import os
import resource
import time
from dataclasses import replace
from pathlib import Path

from solver.data.job import Edge, Job, Near, Patch, RunEdge

SCENARIO = Path(__file__).resolve().parents[2] / "scenarios" / "camper.json"


def copies_of(job: Job, count: int) -> Job:
    """Return ``count`` copies of a job as one; only the stock, the shop and the rules are shared.

    The nose of each copy is joined to the tail of the one before it by a line between two parts, so
    that the body hangs together.
    """

    def named(name: str, copy: int) -> str:
        return name if name == "open" else f"{name} {copy}"

    def patch_of(patch: Patch, copy: int) -> Patch:
        return replace(
            patch,
            id=named(patch.id, copy),
            part=named(patch.part, copy) if patch.part else None,
            twin=named(patch.twin, copy) if patch.twin else None,
            box_mm=None,
        )

    def edge_of(edge: Edge, copy: int) -> Edge:
        return replace(
            edge,
            id=f"{edge.id} {copy}",
            first=named(edge.first, copy),
            second=named(edge.second, copy),
            twin=f"{edge.twin} {copy}" if edge.twin else None,
            near=tuple(Near(f"{n.edge} {copy}", n.gap_mm, n.from_mm, n.to_mm) for n in edge.near),
        )

    patches = tuple(patch_of(p, c) for c in range(count) for p in job.patches)
    edges = [edge_of(e, c) for c in range(count) for e in job.edges]
    runs = [
        replace(
            run,
            id=f"{run.id} {c}",
            edges=tuple(RunEdge(f"{step.edge} {c}", step.backward) for step in run.edges),
            twin=f"{run.twin} {c}" if run.twin else None,
        )
        for c in range(count)
        for run in job.runs
    ]
    nose = next(e for e in job.edges if e.open and not e.visible and len(e.line.stretches) == 1)
    for copy in range(1, count):
        # the open edge of this copy becomes a line to the body before it
        at = next(i for i, e in enumerate(edges) if e.id == f"{nose.id} {copy}")
        edges[at] = replace(
            edges[at],
            second=f"{nose.first} {copy - 1}",
            facings=((1.0, 0.0, 0.0),),
            bolts=nose.bolts,
            twin=None,
        )
    return replace(
        job,
        title=f"{job.title}, {count} times",
        patches=patches,
        edges=tuple(edges),
        runs=tuple(runs),
        corners=tuple(
            (f"{m} {c}", tuple(f"{r} {c}" for r in rs))
            for c in range(count)
            for m, rs in job.corners
        ),
        rules=replace(job.rules, most_sections=None),
        shop=replace(job.shop, largest_section_mm=None),
    )


def main() -> None:
    """Plan a row of bodies and print what it took."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("copies", type=int)
    parser.add_argument("--seconds", type=float, help="without: work counted in steps alone")
    parser.add_argument("--scenario", type=Path, default=SCENARIO)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--own-clock", action="store_true", help="count processor time")
    given = parser.parse_args()
    if given.own_clock:
        time.monotonic = time.process_time  # this process does nothing else

    from api.collecting import collect_seldom
    from solver.intake.job_of import read_job
    from solver.planner.plan_job import plan_job

    collect_seldom()  # as in every process that plans
    job = copies_of(read_job(given.scenario), given.copies)
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    print(f"{len(job.edges)} edges, {len(job.patches)} patches; load {load}")
    began, busy = time.monotonic(), time.process_time()

    def tell(progress) -> None:
        best = "" if progress.best is None else f"  {progress.best:.2f}"
        gap = "" if progress.gap is None else f"  {progress.gap:.2%}"
        clocks = f"{time.monotonic() - began:7.1f} {time.process_time() - busy:7.1f}"
        print(f"{clocks}  {progress.phase}{best}{gap}", flush=True)

    print("  clock    busy")
    plan = plan_job(job, seconds=given.seconds, seed=given.seed, on_progress=tell)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    gap = "-" if plan.proof.gap is None else f"{plan.proof.gap:.2%}"
    metal = "-" if plan.cost is None else f"{plan.cost.metal:.2f}"
    print(f"{plan.status}; gap {gap}; metal {metal}; {plan.made.rounds} rounds; {peak} MiB")


if __name__ == "__main__":
    main()
