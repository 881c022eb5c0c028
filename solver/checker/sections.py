"""Sections: connected, within lift and size, pins and split rules kept, figures true."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from solver.checker.reading import Reading
from solver.checker.report import Fault
from solver.checker.tolerances import near
from solver.data.plan import Section
from solver.rules.lifting import crew_needed

_KG = 1e-6


def _place(section: str) -> str:
    return f'section "{section}"'


def connected(reading: Reading) -> Iterator[Fault]:
    """A section hangs together through edges that are not split."""
    neighbours: dict[str, set[str]] = {patch.id: set() for patch in reading.job.patches}
    for edge in reading.job.edges:
        if not edge.open and not reading.is_joint(edge):
            neighbours[edge.first].add(edge.second)
            neighbours[edge.second].add(edge.first)
    for section in reading.plan.sections:
        reached = {section.patches[0]}
        waiting = [section.patches[0]]
        while waiting:
            new = neighbours[waiting.pop()] - reached
            reached |= new
            waiting.extend(new)
        apart = sorted(set(section.patches) - reached)
        if apart:
            yield Fault(
                "connected",
                _place(section.id),
                f"no edge inside it leads from {section.patches[0]} to {', '.join(apart)}",
            )


def joints(reading: Reading) -> Iterator[Fault]:
    """An edge is a joint just where two different sections meet."""
    for planned in reading.plan.edges:
        edge = reading.job.edge_of[planned.edge]
        if planned.joint != reading.is_joint(edge):
            wanted = "lie in different sections" if reading.is_joint(edge) else "are not divided"
            yield Fault(
                "joint",
                f'edge "{edge.id}"',
                f"is {'a joint' if planned.joint else 'no joint'}, but its sides {wanted}",
            )


def split_rules(reading: Reading) -> Iterator[Fault]:
    """Required splits are joints, forbidden ones are not."""
    for edge in reading.job.edges:
        joint = reading.is_joint(edge)
        if (edge.split == "required" and not joint) or (edge.split == "forbidden" and joint):
            yield Fault(
                "split",
                f'edge "{edge.id}"',
                f"its split is {edge.split}, and it is {'' if joint else 'no '}joint",
            )


def pins(reading: Reading) -> Iterator[Fault]:
    """Patches with the same pin share a section, those with different pins do not."""
    section_of_pin: dict[str, str] = {}
    pin_of_section: dict[str, str] = {}
    for patch in reading.job.patches:
        if patch.pin is None:
            continue
        section = reading.section_of[patch.id]
        if section_of_pin.setdefault(patch.pin, section) != section:
            yield Fault(
                "pin",
                f'patch "{patch.id}"',
                f'pin "{patch.pin}" is in section {section_of_pin[patch.pin]} and in {section}',
            )
        elif pin_of_section.setdefault(section, patch.pin) != patch.pin:
            yield Fault(
                "pin",
                f'patch "{patch.id}"',
                f'section {section} has pin "{pin_of_section[section]}" and pin "{patch.pin}"',
            )


def number_of_sections(reading: Reading) -> Iterator[Fault]:
    """No fewer and no more sections than the scenario asks."""
    rules, count = reading.job.rules, len(reading.plan.sections)
    most = rules.most_sections
    if count < rules.fewest_sections or (most is not None and count > most):
        yield Fault(
            "number of sections",
            "plan",
            f"has {count} sections; asked are {rules.fewest_sections} to "
            f"{'any number' if most is None else most}",
        )


def section_mass_kg(reading: Reading, section: Section) -> float:
    """Mass of a section: surface with frame, a flange along each border, its share of the metal."""
    job, rules = reading.job, reading.job.rules
    area_m2 = sum(job.patch_of[patch].area_mm2 for patch in section.patches) / 1e6
    inside = set(section.patches)
    border_mm, metal_kg = 0.0, 0.0
    heaviest = max((item.mass_kg_m2 for item in job.stock), default=0.0)
    for edge in job.edges:
        if not inside & {edge.first, edge.second}:
            continue
        if edge.open or reading.is_joint(edge):
            border_mm += edge.length_mm
        if job.carries_metal(edge):
            whole = (edge.stand_mm + edge.grip_mm + edge.return_mm) * edge.length_mm / 1e6
            sides = 2 if edge.open else (edge.first in inside) + (edge.second in inside)
            metal_kg += whole * heaviest * sides / 2
    return (
        area_m2 * rules.mold_kg_m2 * (1 + rules.frame_fraction)
        + rules.flange_width_mm * border_mm / 1e6 * rules.mold_kg_m2
        + metal_kg
    )


def lift_limit(reading: Reading) -> Iterator[Fault]:
    """No section is heavier than the lift limit."""
    limit = reading.job.shop.lift_limit_kg
    if limit is None:
        return
    for section in reading.plan.sections:
        mass = section_mass_kg(reading, section)
        if mass > limit + _KG:
            yield Fault(
                "lift limit", _place(section.id), f"weighs {mass:.2f} kg; the limit is {limit:.2f}"
            )


def _extent_mm(reading: Reading, section: Section) -> tuple[float, float, float] | None:
    boxes = [reading.job.patch_of[patch].box_mm for patch in section.patches]
    if any(box is None for box in boxes):
        return None
    own = np.array(boxes, dtype=np.float64)
    size = own[:, 1].max(axis=0) - own[:, 0].min(axis=0)
    return (float(size[0]), float(size[1]), float(size[2]))


def size_limit(reading: Reading) -> Iterator[Fault]:
    """No section is larger than the size limit, however it is turned in quarter turns.

    Off unless every patch of the job has a box.
    """
    limit = reading.job.shop.largest_section_mm
    if limit is None or any(patch.box_mm is None for patch in reading.job.patches):
        return
    for section in reading.plan.sections:
        extent = _extent_mm(reading, section)
        if extent is None:
            continue
        over = [a > b + 1e-6 for a, b in zip(sorted(extent), sorted(limit), strict=True)]
        if any(over):
            yield Fault(
                "size limit",
                _place(section.id),
                f"measures {_lengths(extent)} mm; the limit is {_lengths(limit)} mm",
            )


def _lengths(size: tuple[float, float, float]) -> str:
    return " x ".join(f"{length:.1f}" for length in sorted(size, reverse=True))


def symmetric_split(reading: Reading) -> Iterator[Fault]:
    """The mirror image of each section is a section; patches without a twin are left out."""
    if not reading.job.rules.symmetric_split:
        return
    twin_of = {p.id: p.twin for p in reading.job.patches if p.twin is not None}
    shapes = {frozenset(set(section.patches) & set(twin_of)) for section in reading.plan.sections}
    for section in reading.plan.sections:
        mirrored = frozenset(twin_of[patch] for patch in section.patches if patch in twin_of)
        if mirrored not in shapes:
            yield Fault(
                "symmetric split",
                _place(section.id),
                f"no section is its mirror image {', '.join(sorted(mirrored))}",
            )


def section_figures(reading: Reading) -> Iterator[Fault]:
    """Area, mass, extent, middle and lifting of each section are as stated."""
    for section in reading.plan.sections:
        place = _place(section.id)
        area = sum(reading.job.patch_of[patch].area_mm2 for patch in section.patches)
        if not near(section.area_mm2, area):
            yield Fault(
                "section area", place, f"is stated as {section.area_mm2:.1f} mm2; it is {area:.1f}"
            )
        mass = section_mass_kg(reading, section)
        if not near(section.mass_kg, mass):
            yield Fault(
                "section mass", place, f"is stated as {section.mass_kg:.4f} kg; it is {mass:.4f}"
            )
        extent = _extent_mm(reading, section)
        stated = section.extent_mm
        if (stated is None) != (extent is None) or (
            stated is not None
            and extent is not None
            and not all(near(a, b) for a, b in zip(stated, extent, strict=True))
        ):
            yield Fault("section extent", place, f"is stated as {stated} mm; it is {extent}")
        yield from _centre(reading, section, extent is not None)
        yield from _lifting(reading, section, mass, extent)


def _centre(reading: Reading, section: Section, known: bool) -> Iterator[Fault]:
    """The middle of a section is that of its patches' boxes, weighted by area."""
    stated = section.centre_mm
    if stated is None or not known:
        if stated is not None:
            yield Fault("section centre", _place(section.id), "is stated, but not its boxes")
        return
    patches = [reading.job.patch_of[patch] for patch in section.patches]
    middles = np.array([patch.box_mm for patch in patches], dtype=np.float64).mean(axis=1)
    weights = np.array([patch.area_mm2 for patch in patches])
    centre = weights @ middles / weights.sum()
    if not all(near(a, float(b)) for a, b in zip(stated, centre, strict=True)):
        yield Fault(
            "section centre", _place(section.id), f"is stated as {stated} mm; it is {centre}"
        )


def _lifting(
    reading: Reading,
    section: Section,
    mass_kg: float,
    extent_mm: tuple[float, float, float] | None,
) -> Iterator[Fault]:
    """Who lifts a section is never fewer than needed; a section for a hoist says so."""
    needed = crew_needed(mass_kg, extent_mm, reading.job.shop.crew).people
    if section.people is None:
        return
    if needed is None or section.people < needed:
        asked = "a hoist" if needed is None else f"{needed} people"
        yield Fault(
            "lifting",
            _place(section.id),
            f"is given to {section.people} people; at {mass_kg:.1f} kg it takes {asked}",
        )
