"""What the demo takes: seconds to the first checked plan, cost, bound and gap, and peak memory.

Run it as ``python -m tests.benchmarks.demo_bench`` or by its path; ``--seconds 5 20 60`` sets the
limits and ``--scenario`` another body.  Each limit runs in a process of its own, so that the peak
memory is that of one plan.  Other work on the machine makes every figure worse: the load is
printed too.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
KIB_PER_MIB = 1024


def plan_once(scenario: Path, seconds: float | None, seed: int) -> dict[str, object]:
    """Plan in this process and return what it took."""
    from api.collecting import collect_seldom
    from solver.intake.job_of import read_job
    from solver.planner.plan_job import plan_job

    collect_seldom()  # as in every process that plans
    seen: list[tuple[float, float]] = []

    def watch(progress) -> None:
        if progress.best is not None and (not seen or progress.best < seen[-1][1]):
            seen.append((progress.seconds, progress.best))

    began = time.monotonic()
    job = read_job(scenario)
    read = time.monotonic() - began
    plan = plan_job(job, seconds=seconds, seed=seed, on_progress=watch)
    took = time.monotonic() - began
    return {
        "status": plan.status,
        "read": read,
        "first": read + seen[0][0] if seen else None,
        "first_cost": seen[0][1] if seen else None,
        "took": took,
        "cost": plan.cost.objective if plan.cost else None,
        "metal": plan.cost.metal if plan.cost else None,
        "purchase_bound": plan.proof.purchase_bound,
        "bound": plan.proof.bound,
        "gap": plan.proof.gap,
        "pieces": len(plan.pieces),
        "sections": len(plan.sections),
        "rounds": plan.made.rounds,
        "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / KIB_PER_MIB,
    }


def in_a_child(scenario: Path, seconds: float | None, seed: int) -> dict[str, object]:
    """Plan in a process of its own."""
    asked = json.dumps({"scenario": str(scenario), "seconds": seconds, "seed": seed})
    done = subprocess.run(
        [sys.executable, str(Path(__file__).resolve()), "--child", asked],
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        cwd=ROOT,
    )
    return dict(json.loads(done.stdout.splitlines()[-1]))


def line(limit: str, row: dict[str, object]) -> str:
    """One row of the table."""

    def shown(name: str, form: str) -> str:
        return "-" if row[name] is None else format(row[name], form)

    return (
        f"{limit:>9} {shown('first', '.1f'):>7} {shown('first_cost', '.2f'):>9} "
        f"{shown('cost', '.2f'):>9} {shown('bound', '.2f'):>9} {shown('gap', '.2%'):>7} "
        f"{shown('metal', '.2f'):>7} {shown('purchase_bound', '.2f'):>7} "
        f"{row['pieces']:>6} {row['sections']:>4} {row['rounds']:>3} "
        f"{shown('took', '.1f'):>6} {shown('peak_mib', '.0f'):>5}  {row['status']}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--seconds", type=float, nargs="+", default=[5.0, 20.0, 60.0])
    parser.add_argument("--scenario", type=Path, default=ROOT / "scenarios" / "camper.json")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--unlimited", action="store_true", help="and once without a limit")
    parser.add_argument("--child", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.child:
        asked = json.loads(given.child)
        row = plan_once(Path(asked["scenario"]), asked["seconds"], asked["seed"])
        print(json.dumps(row))
        return
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    print(f"{given.scenario.name}, {os.cpu_count()} cores, load {load}")
    print(
        "  seconds   first      cost      cost     bound     gap   metal   least "
        "pieces sect rnd   took   MiB  status"
    )
    for seconds in given.seconds:
        print(line(f"{seconds:g}", in_a_child(given.scenario, seconds, given.seed)), flush=True)
    if given.unlimited:
        print(line("no limit", in_a_child(given.scenario, None, given.seed)), flush=True)


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main()
