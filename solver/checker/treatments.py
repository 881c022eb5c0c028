"""What becomes of each edge: treatment, bolts and packers, and whether the scenario allows it."""

from __future__ import annotations

from collections.abc import Iterator

from solver.checker.reading import Reading, bolt_places_mm, treatment
from solver.checker.report import Fault

_PACKER_MM = 1e-6


def treatments(reading: Reading) -> Iterator[Fault]:
    """The treatment follows from the parts on both sides and from the split."""
    for planned in reading.plan.edges:
        edge = reading.job.edge_of[planned.edge]
        wanted = treatment(reading.job, edge, joint=reading.is_joint(edge))
        if planned.treatment != wanted:
            yield Fault(
                "treatment", f'edge "{edge.id}"', f"is {planned.treatment}; it must be {wanted}"
            )


def standing_allowed(reading: Reading) -> Iterator[Fault]:
    """Metal stands on an unsplit surface only where the scenario allows it."""
    for edge in reading.metal_edges:
        standing = not edge.open and not reading.is_joint(edge)
        if standing and edge.standing == "forbidden":
            yield Fault("standing", f'edge "{edge.id}"', "is not split, and standing is forbidden")


def witness_allowed(reading: Reading) -> Iterator[Fault]:
    """A joint crosses a part only where the scenario allows its witness line."""
    for edge in reading.joints:
        if not reading.job.carries_metal(edge) and edge.witness == "forbidden":
            yield Fault(
                "witness", f'edge "{edge.id}"', "a joint crosses one part, and that is forbidden"
            )


def bolts(reading: Reading) -> Iterator[Fault]:
    """Joints have the bolts that their pitch asks for, other edges none."""
    for planned in reading.plan.edges:
        edge = reading.job.edge_of[planned.edge]
        wanted = len(bolt_places_mm(edge)) if reading.is_joint(edge) else 0
        if planned.bolts != wanted:
            yield Fault(
                "bolts", f'edge "{edge.id}"', f"has {planned.bolts} bolts; {wanted} are asked"
            )


def packers(reading: Reading) -> Iterator[Fault]:
    """A packer fills what the metal leaves of a joint's gap; without metal the whole gap."""
    gap = reading.job.rules.joint_gap_mm
    thick: dict[str, set[float]] = {}
    for piece in reading.pieces:
        for slot in piece.slots:
            thick.setdefault(slot.edge.id, set()).add(piece.piece.thickness_mm)
    for planned in reading.plan.edges:
        edge = reading.job.edge_of[planned.edge]
        if not reading.is_joint(edge):
            wanted = {0.0}
        elif reading.job.carries_metal(edge):
            wanted = {max(gap - one, 0.0) for one in thick.get(edge.id, {0.0})}
        else:
            wanted = {gap}
        for one in sorted(wanted):
            if abs(planned.packer_mm - one) > _PACKER_MM:
                yield Fault(
                    "packer",
                    f'edge "{edge.id}"',
                    f"has a packer of {planned.packer_mm:.4f} mm; {one:.4f} fills the gap",
                )
