"""A job of many bodies in a row: a job copied, each copy joined to the next on an open edge."""

from __future__ import annotations

from dataclasses import replace

from solver.data.job import Edge, Job, Near, Patch, RunEdge


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
