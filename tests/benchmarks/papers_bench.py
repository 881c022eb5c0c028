"""Seconds and memory of all papers of a plan: `python tests/benchmarks/papers_bench.py`.

With plan files as arguments it measures those; without it makes a plan with as many edges as
asked (`--edges`, 600), one piece an edge and no two alike: straight, gently curved with notches,
folded, and tight.
Each measurement runs in a process of its own, so that its peak memory is its own.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "papers")]

BLANKS_ON_A_SHEET = 5


def large_plan(edges: int):
    import paper_plans

    from solver.data.plan import Span

    made, plans, nests = [], [], []
    for n in range(edges):
        kinds = paper_plans.pieces(longer_mm=0.1 * n)
        kind = kinds[n % len(kinds)]
        name = f"lid | frame ({n})"
        span = Span(edge=name, from_mm=0.0, to_mm=kind.to_mm, backward=False)
        made.append(
            kind.model_copy(
                update={"id": f"{name} #1", "run": name, "spans": (span,), "template_of": None}
            )
        )
        bolts = 6 if kind.mounting == "pinched" else 0
        plans.append(paper_plans.edge(name, kind.mounting, joint=bolts > 0, bolts=bolts))
    for first in range(0, edges, BLANKS_ON_A_SHEET):
        group = tuple(made[first : first + BLANKS_ON_A_SHEET])
        nests.append(paper_plans.nest_of(group, 36 * 25.4, 48 * 25.4))
    return paper_plans.small_plan(pieces=tuple(made), edges=tuple(plans), nests=tuple(nests))


def measure(path: str, edges: int) -> None:
    from api.papers.all_papers import Choices, paper_files
    from solver.data.plan import Plan

    plan = Plan.model_validate_json(Path(path).read_bytes()) if path else large_plan(edges)
    begin = time.perf_counter()
    files = paper_files(plan, None, Choices())
    seconds = time.perf_counter() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    pages = {name: content.count(b"/Type /Page\n") for name, content in files.items()}
    counted = ", ".join(f"{name} {count}" for name, count in pages.items() if count)
    print(
        f"{path or f'{edges} edges'}: {len(plan.pieces)} pieces, {len(files)} files, "
        f"{sum(map(len, files.values())) / 1e6:.1f} MB, {seconds:.1f} s, {peak:.0f} MiB; "
        f"pages: {counted}"
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("plans", nargs="*")
    parser.add_argument("--edges", type=int, default=600)
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.here:
        measure(options.plans[0] if options.plans else "", options.edges)
        return
    for path in options.plans or [""]:
        words = [sys.executable, __file__, "--here", "--edges", str(options.edges)]
        subprocess.run([*words, path] if path else words, check=True)


if __name__ == "__main__":
    main()
