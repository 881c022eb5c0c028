"""Whether a job can be true: what the tape says must fit together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from solver.data import scenario as form
from solver.data.errors import Key, Problems
from solver.data.job import Job
from solver.intake.edges import EdgeSet, Source


@dataclass(frozen=True)
class Places:
    """Where patches and edges stand in the file."""

    patch: Mapping[str, tuple[Key, ...]]
    edge: Mapping[str, Source]


def places_of(made: EdgeSet, scenario: form.Scenario) -> Places:
    """Return the places in a file in the builder's form."""
    return Places({name: ("patches", name) for name in scenario.patches}, made.source)


def places_in_resolved(job: Job) -> Places:
    """Return the places in a file in resolved form."""
    return Places(
        {patch.id: ("patches", index) for index, patch in enumerate(job.patches)},
        {
            edge.id: Source(("edges", index), "line", tuple(range(len(edge.line.stretches))))
            for index, edge in enumerate(job.edges)
        },
    )


def check_hands(
    contradictions: Sequence[tuple[str, str, str]], made: EdgeSet, problems: Problems
) -> None:
    """Report edges that cannot both have a patch on the hand that they say."""
    for edge, other, patch in contradictions:
        problems.add(
            made.source[edge].keys,
            f'has "{patch}" on the other hand than "{other}"',
            "the first-named patch is on your left: swap the names or walk from the other end",
        )


def check(job: Job, places: Places, problems: Problems) -> None:
    """Add a problem for everything that does not fit together."""


def cautions(job: Job) -> tuple[str, ...]:
    """Return what is possible but odd."""
    return ()
