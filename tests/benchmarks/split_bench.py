"""Seconds to proof, or gap at the limit, for splits of made bodies.

Run: ``python tests/benchmarks/split_bench.py [patches ...] [--seeds 1 2] [--peer 25]``

Beside each body stands, from the same run, a plain labelled assignment in CP-SAT (patch to
section number, pull to section number): order of removal and connectivity are left out of it,
which only makes its problem easier.  One thread for matrix products, since two spin against each
other on a busy machine.  Each body is split in a process of its own, whose most memory is told.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import multiprocessing
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from bodies import made_body
from ortools.sat.python import cp_model

from solver.models.columns import make_nodes
from solver.models.split import SplitResult, cheapest_split, section_counts
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


def split(patches: int, seed: int) -> tuple[SplitResult, float, float]:
    """Return the split of one body, the seconds it took, and the most memory in MB."""
    problem = made_body(patches, seed)
    start = time.perf_counter()
    result = cheapest_split(problem, deadline_s=LIMIT_S.get(patches, 60.0))
    seconds = time.perf_counter() - start
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return result, seconds, int(status.split("VmHWM:")[1].split()[0]) / 1024


def split_apart(patches: int, seed: int) -> tuple[SplitResult, float, float]:
    """Split in a process of its own."""
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=spawn) as pool:
        return pool.submit(split, patches, seed).result()


def main() -> None:
    """Print one line for each body."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("patches", type=int, nargs="*", default=[20, 30, 44])
    parser.add_argument("--seeds", type=int, nargs="*", default=[1, 2])
    parser.add_argument("--peer", type=float, default=25.0, help="seconds for CP-SAT, 0 for none")
    given = parser.parse_args()
    print(
        "patches seed  sections  columns      cost     gap %  seconds     MB | CP-SAT cost  gap %"
    )
    for patches in given.patches:
        for seed in given.seeds:
            problem = made_body(patches, seed)
            result, seconds, most_mb = split_apart(patches, seed)
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
            if given.peer and result.cost is not None:
                cost, bound = labelled_assignment(problem, given.peer)
                if cost is None:
                    line += "        none"
                else:
                    line += f" {cost:11.2f} {100 * (cost - bound) / np.abs(cost):6.1f}"
            print(line, flush=True)


if __name__ == "__main__":
    main()
