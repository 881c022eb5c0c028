"""Trade-offs of the scenarios: unbeaten plans, what is proven of them, and seconds.

    python -m tests.benchmarks.tradeoff_bench camper deck-hatch --seconds 60
    python -m tests.benchmarks.tradeoff_bench camper --seconds 60 --waste

Prints a line for each plan, and seconds by the clock and of work: read these on a busy machine.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import time
from pathlib import Path

from solver.checker import check_plan
from solver.data.plan import Progress
from solver.intake.job_of import read_job
from solver.planner.tradeoff import trade_off

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def measure(name: str, seconds: float, *, waste: bool, seed: int) -> None:
    """Print the trade-off of one scenario."""
    began, worked = time.monotonic(), time.process_time()
    first: list[float] = []

    def on_progress(progress: Progress) -> None:
        if progress.phase.endswith("unbeaten plans") and not first:
            first.append(time.monotonic() - began)

    job = read_job(json.loads((SCENARIOS / f"{name}.json").read_text(encoding="utf-8")))
    found = trade_off(job, waste=waste, seconds=seconds, seed=seed, on_progress=on_progress)
    wall, processor = time.monotonic() - began, time.process_time() - worked
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    faults = sum(not check_plan(job, plan).ok for plan in found.plans)
    print(
        f"{name}: {len(found.points)} unbeaten plans ({faults} refused), first after "
        f"{first[0] if first else float('nan'):.1f} s, {wall:.0f} s by the clock, "
        f"{processor:.0f} s of work, {found.asked} questions, {found.nested} plans nested, "
        f"{memory:.0f} MiB, load {os.getloadavg()[0]:.1f}"
    )
    for one in found.points:
        quick = "-" if one.least_minutes is None else f"{one.least_minutes / 60:.2f}"
        price = "" if one.hour_price is None else f", an hour saved {one.hour_price:.2f}"
        print(
            f"  metal {one.metal:8.2f}  hours {one.minutes / 60:6.2f} (none below {quick})  waste "
            f"{one.waste_kg:.2f} kg{'' if one.supported else '  not supported'}{price}"
        )


def main() -> None:
    """Measure the scenarios named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="+", metavar="SCENARIO")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--waste", action="store_true")
    options = parser.parse_args()
    for name in options.names:
        measure(name, options.seconds, waste=options.waste, seed=options.seed)


if __name__ == "__main__":
    main()
