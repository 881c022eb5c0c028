"""Seconds to proof, or gap at the limit, for splits of made bodies.

Run: ``python tests/benchmarks/split_bench.py [patches ...] [--seeds 1 2] [--peer 25]``

Beside each body stands, from the same run, a plain labelled assignment in CP-SAT (patch to
section number, pull to section number): order of removal and connectivity are left out of it,
which only makes its problem easier.  One thread for matrix products, since two spin against each
other on a busy machine.  Each body is split in a process of its own, whose most memory is told.

``--own-clock`` counts limits and seconds in the processor time of that process, which works on one
thread: on a machine shared with other work this is what a quiet one would take.  (The integer
programs inside still count their own limits by the wall, so they are cut short, never favoured.)

``--five`` finds the five best splits, 4 joints apart, in place of one.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import multiprocessing
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from bodies import made_body
from ortools.sat.python import cp_model

from solver.models.columns import make_nodes
from solver.models.split import SplitResult, best_splits, section_counts
from solver.models.split_problem import SplitProblem

LIMIT_S = {20: 10.0, 30: 10.0, 44: 40.0, 80: 60.0, 160: 120.0}
SCALE = 100


def labelled_assignment(problem: SplitProblem, seconds: float) -> tuple[float | None, float]:
    """Return cost and bound of the plain CP-SAT model at its time limit."""
    nodes = make_nodes(problem)
    n, pulls = len(nodes), len(nodes.legal)
    labels = range(min(n, section_counts(nodes)[0] + 3))
    model = cp_model.CpModel()
    at = [[model.new_bool_var("") for _ in labels] for _ in range(n)]
    used = [model.new_bool_var("") for _ in labels]
    for i in range(n):
        model.add_exactly_one(at[i])
        for label in labels:
            model.add_implication(at[i][label], used[label])
    for label in list(labels)[1:]:
        model.add_implication(used[label], used[label - 1])
    mass = [[] for _ in labels]
    for label in labels:
        pull = [model.new_bool_var("") for _ in range(pulls)]
        model.add_exactly_one(pull)
        for i in range(n):
            good = [pull[c] for c in range(pulls) if nodes.legal[c, i]]
            model.add_bool_or([*good, at[i][label].negated()])
            mass[label].append(int(nodes.own_kg[i] * SCALE) * at[i][label])
    cost = [int(problem.section_cost * SCALE) * u for u in used]
    for i in range(n):
        cost.append(int(2 * nodes.own_cost[i] * SCALE) // 2)
        for j in range(i + 1, n):
            if not nodes.adjacent[i, j]:
                continue
            together = []
            for label in labels:
                both = model.new_bool_var("")
                model.add_implication(both, at[i][label])
                model.add_implication(both, at[j][label])
                together.append(both)
                flange = int(nodes.flange_kg[i, j] * SCALE)
                mass[label].append(flange * at[i][label] + flange * at[j][label])
                mass[label].append(-2 * flange * both)
            cost.append(-int(nodes.saving[i, j] * SCALE) * sum(together))
    if problem.lift_limit_kg is not None:
        for label in labels:
            model.add(sum(mass[label]) <= int(problem.lift_limit_kg * SCALE))
    model.minimize(sum(cost))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 2
    status = solver.solve(model)
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    return (
        solver.objective_value / SCALE if found else None,
        solver.best_objective_bound / SCALE,
    )


@dataclass(frozen=True)
class Task:
    """One body, how many splits of it, and whether the process's own time counts."""

    patches: int
    seed: int
    count: int
    own_clock: bool


def split(task: Task) -> tuple[tuple[SplitResult, ...], float, float]:
    """Return the splits of one body, the seconds they took, and the most memory in MB."""
    if task.own_clock:
        time.monotonic = time.process_time  # this process does nothing else
    problem = made_body(task.patches, task.seed)
    start = time.monotonic()
    limit = LIMIT_S.get(task.patches, 60.0)
    results = best_splits(problem, task.count, differ_by=4, deadline_s=limit)
    seconds = time.monotonic() - start
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return results, seconds, int(status.split("VmHWM:")[1].split()[0]) / 1024


def split_apart(task: Task) -> tuple[tuple[SplitResult, ...], float, float]:
    """Split in a process of its own."""
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=spawn) as pool:
        return pool.submit(split, task).result()


def main() -> None:
    """Print one line for each body."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("patches", type=int, nargs="*", default=[20, 30, 44])
    parser.add_argument("--seeds", type=int, nargs="*", default=[1, 2])
    parser.add_argument("--peer", type=float, default=25.0, help="seconds for CP-SAT, 0 for none")
    parser.add_argument("--own-clock", action="store_true", help="count processor time")
    parser.add_argument("--five", action="store_true", help="the five best splits")
    given = parser.parse_args()
    print(
        "patches seed  sections  columns      cost     gap %  seconds     MB | CP-SAT cost  gap %"
    )
    for patches in given.patches:
        for seed in given.seeds:
            problem = made_body(patches, seed)
            task = Task(patches, seed, 5 if given.five else 1, given.own_clock)
            results, seconds, most_mb = split_apart(task)
            result = results[0]
            if result.status == "impossible":
                print(f"{patches:7d} {seed:4d}  no split is possible", flush=True)
                continue
            columns = "too many" if result.columns is None else str(result.columns)
            gap = float("nan") if result.gap is None else 100 * result.gap
            line = (
                f"{patches:7d} {seed:4d} {len(result.sections):9d} {columns:>8s} "
                f"{result.cost if result.cost is not None else float('nan'):9.2f} "
                f"{gap:9.3f} {seconds:8.2f} {most_mb:6.0f} |"
            )
            if given.five:
                costs = " ".join(f"{one.cost:.2f}" for one in results if one.cost is not None)
                proven = sum(one.status == "proven" for one in results)
                line += f" {proven} proven: {costs}"
            if given.peer and result.cost is not None:
                cost, bound = labelled_assignment(problem, given.peer)
                if cost is None:
                    line += "        none"
                else:
                    line += f" {cost:11.2f} {100 * (cost - bound) / np.abs(cost):6.1f}"
            print(line, flush=True)


if __name__ == "__main__":
    main()
