"""Figures that no rule can work with, though each is a fair number by itself: said before planning.

The same for both forms of a scenario; only the names of the keys differ.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from solver.data.errors import Key, Problems
from solver.data.job import INCH_MM, Edge, Job, Near
from solver.data.units import format_length
from solver.rules.access import access_cap_mm
from solver.rules.bolts import bolt_length_mm

LEAST_GRIP_MM = INCH_MM / 8
"""Less cannot be held by a joint or by clamps [practice]."""
LEAST_STAND_MM = INCH_MM / 16
"""Less cannot be cut as a strip, let alone laminated against [practice]."""
LARGEST_CUTTING_GAP_MM = 100.0
LEAST_SLIT_TOLERANCE_MM = 0.05
"""Nearer slits run into one another [practice]."""
STEEPEST_DEG = 89.0
_ROUNDING_MM = 1e-6


@dataclass(frozen=True)
class Names:
    """Where things stand in the file: places of edges, and whether keys tell their unit."""

    edge: Mapping[str, tuple[Key, ...]]
    with_units: bool

    def rule(self, name: str, unit: str) -> tuple[Key, ...]:
        """Return the place of a rule."""
        return ("rules", f"{name}_{unit}" if self.with_units else name)

    def of_edge(self, edge: Edge, name: str) -> tuple[Key, ...]:
        """Return the place of a length of an edge."""
        return (*self.edge[edge.id], f"{name}_mm" if self.with_units else name)


def check_limits(job: Job, names: Names, problems: Problems) -> None:
    """Add a problem for every figure that leaves nothing to plan with."""
    for keys, value, remedy in (
        *_rule_faults(job, names),
        *_bolt_faults(job, names),
        *_metal_faults(job, names),
    ):
        problems.add(keys, value, remedy)


Told = tuple[tuple[Key, ...], str, str]


def _rule_faults(job: Job, names: Names) -> Iterator[Told]:
    rules = job.rules
    for name, angle_deg in (("draft", rules.draft_deg), ("blocking", rules.blocking_deg)):
        if angle_deg > STEEPEST_DEG:
            yield names.rule(name, "deg"), f"{angle_deg:g}", f"goes from 0 to {STEEPEST_DEG:g}"
    if not rules.clamp_load_n:
        yield names.rule("clamp_load", "n"), "0", 'more than 0, such as "5 lbf"'
    if rules.cutting_gap_mm > LARGEST_CUTTING_GAP_MM:
        most = format_length(LARGEST_CUTTING_GAP_MM, job.length_unit)
        yield names.rule("cutting_gap", "mm"), _length(job, rules.cutting_gap_mm), f"at most {most}"
    if rules.slit_tolerance_mm < LEAST_SLIT_TOLERANCE_MM:
        yield (
            names.rule("slit_tolerance", "mm"),
            f"{rules.slit_tolerance_mm:g} mm",
            f"at least {LEAST_SLIT_TOLERANCE_MM:g} mm: slits run into one another",
        )


def _bolt_faults(job: Job, names: Names) -> Iterator[Told]:
    sizes = {edge.bolts.size for edge in job.edges if not edge.open and edge.split != "forbidden"}
    rules = job.rules
    for size in sorted(sizes):
        try:
            bolt_length_mm(size, rules.mold_thickness_mm, rules.joint_gap_mm)
        except ValueError as fault:
            found, _, remedy = str(fault).rpartition(": ")
            thick = rules.mold_thickness_mm * 2 >= rules.joint_gap_mm
            name = "mold_thickness" if thick else "joint_gap"
            yield names.rule(name, "mm"), found, remedy if thick else "make it narrower"


def _metal_faults(job: Job, names: Names) -> Iterator[Told]:
    told: set[tuple[Key, ...]] = set()
    for edge in job.edges:
        # a mirrored twin stands where the edge that was written does
        if job.carries_metal(edge) and names.edge[edge.id] not in told:
            told.add(names.edge[edge.id])
            yield from _size_faults(job, names, edge)
            yield from _notch_faults(job, names, edge)


def _size_faults(job: Job, names: Names, edge: Edge) -> Iterator[Told]:
    if edge.stand_mm < LEAST_STAND_MM - _ROUNDING_MM:
        found = f"{edge.stand_mm:g} mm is no flange"
        yield names.of_edge(edge, "stand"), found, f"at least {_length(job, LEAST_STAND_MM)}"
    held = edge.open or edge.split != "forbidden"
    if held and edge.grip_mm < LEAST_GRIP_MM - _ROUNDING_MM:
        yield (
            names.of_edge(edge, "grip"),
            f"{edge.grip_mm:g} mm leaves no metal to {'clamp' if edge.open else 'pinch'}",
            f"at least {_length(job, LEAST_GRIP_MM)}, or leave it out",
        )
    for near, cap_mm in _caps(job, edge):
        if cap_mm < LEAST_STAND_MM - _ROUNDING_MM:
            yield (
                (*names.edge[edge.id], "near"),
                f'{near.gap_mm:g} mm clear of "{near.edge}" leaves {cap_mm:.3g} mm to stand',
                f"at least {_length(job, LEAST_STAND_MM)} of metal must stand: "
                "measure the gap again",
            )


def _notch_faults(job: Job, names: Names, edge: Edge) -> Iterator[Told]:
    keys = (*names.edge[edge.id], "notches")
    caps = list(_caps(job, edge))
    for notch in edge.notches:
        half_mm = notch.wide_mm / 2
        beside = (
            cap_mm
            for near, cap_mm in caps
            if near.from_mm < notch.at_mm + half_mm and near.to_mm > notch.at_mm - half_mm
        )
        stand_mm = min([edge.stand_mm, *beside])
        if stand_mm < edge.stand_mm and notch.deep_mm >= stand_mm:
            yield (
                keys,
                f"{_length(job, notch.deep_mm)} cuts the metal in two",
                f"beside another flashing it stands {_length(job, stand_mm)} only: "
                "a notch is less deep than that",
            )
        from_mark_mm = abs(min(notch.at_mm, edge.length_mm - notch.at_mm))
        if not edge.line.closed and from_mark_mm < _ROUNDING_MM:
            yield (
                keys,
                "the middle of one lies on a mark",
                "a notch belongs to one edge: move it inside, or leave it out",
            )


def _caps(job: Job, edge: Edge) -> Iterator[tuple[Near, float]]:
    """Yield what runs near with metal of its own, and how high both may stand."""
    for near in edge.near:
        if job.carries_metal(job.edge_of[near.edge]):
            yield near, access_cap_mm(near.gap_mm, job.rules.access_angle_deg)


def _length(job: Job, length_mm: float) -> str:
    return format_length(length_mm, job.length_unit)
