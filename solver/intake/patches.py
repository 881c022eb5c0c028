"""Patches of a job: areas, facings, boxes and parts, with the mirrored ones added."""

from __future__ import annotations

from dataclasses import dataclass

from solver.data import scenario as form
from solver.data.errors import Key, Problems
from solver.data.job import OPEN, Patch, Vector
from solver.intake.directions import DirectionError, dot, read_direction
from solver.intake.mirror import mirrored_patch
from solver.intake.names import Rename, default_part

_SAME_SIDE_MM = 25.4 / 2
"""A box across the mirror plane may miss being symmetric by half an inch of measuring."""
_SAME_DIRECTION = 0.9998
"""Cosine of 1.1 degrees: facings that a bevel gauge cannot tell apart."""


@dataclass(frozen=True)
class Sides:
    """How names change sides: None where the scenario has no mirror line."""

    rename: Rename | None
    one_sided: frozenset[str]

    def twin_of(self, name: str) -> str | None:
        """Return the name of the twin, the same name on the mirror plane, None for one-sided."""
        if self.rename is None or name in self.one_sided:
            return None
        return self.rename(name)


def read_directions(
    words: list[str | tuple[float, float, float]], keys: tuple[Key, ...], problems: Problems
) -> tuple[Vector, ...]:
    """Return unit vectors; words that cannot be read become problems and are left out."""
    found: list[Vector] = []
    for index, item in enumerate(words):
        try:
            found.append(read_direction(item))
        except DirectionError as fault:
            place = keys if len(words) == 1 else (*keys, index)
            problems.add(place, repr(item), str(fault))
    return tuple(found)


def patches_of(scenario: form.Scenario, sides: Sides, problems: Problems) -> tuple[Patch, ...]:
    """Return all patches, each written one followed by its mirrored twin."""
    made: list[Patch] = []
    for name, written in scenario.patches.items():
        patch = _patch(name, written, scenario, problems)
        twin = sides.twin_of(name)
        if twin is not None and name != twin and twin in scenario.patches:
            made.append(_with_twin(patch, None if twin in sides.one_sided else twin))
        elif twin is None:
            made.append(patch)
        elif twin == name:
            _check_symmetric(patch, problems)
            made.append(_with_twin(patch, name))
        else:
            assert sides.rename is not None
            written_patch = _with_twin(patch, twin)
            made += [written_patch, mirrored_patch(written_patch, sides.rename)]
    return tuple(made)


def _with_twin(patch: Patch, twin: str | None) -> Patch:
    return Patch(**{**patch.__dict__, "twin": twin})


def _patch(name: str, written: form.Patch, scenario: form.Scenario, problems: Problems) -> Patch:
    keys: tuple[Key, ...] = ("patches", name)
    unit = scenario.length_unit
    if name == OPEN:
        problems.add(keys, '"open" is the outside of the mold', "give the patch another name")
    facings = read_directions(written.faces, (*keys, "faces"), problems)
    if written.spread and len(written.faces) > 1:
        problems.add(
            (*keys, "spread"),
            f"{written.spread:g} beside {len(written.faces)} directions",
            "a spread goes round one direction; give one or leave it out",
        )
    part = written.part if written.part is not None else default_part(name)
    return Patch(
        id=name,
        part=None if part == "none" else part,
        area_mm2=written.area.mm2(unit),
        facings=facings or ((0.0, 0.0, 1.0),),
        spread_deg=written.spread,
        box_mm=_box(written, unit, keys, problems),
        pin=written.pin,
    )


def _box(
    written: form.Patch, unit: str, keys: tuple[Key, ...], problems: Problems
) -> tuple[Vector, Vector] | None:
    corners = written.box or written.outline
    if corners is None:
        return None
    points = [tuple(x.mm(unit) for x in corner) for corner in corners]
    low, high = (tuple(f(axis) for axis in zip(*points, strict=True)) for f in (min, max))
    if written.box and low != points[0]:
        problems.add(
            (*keys, "box"),
            "its first corner is not the lowest in x, y and z",
            "write [[least x, y, z], [greatest x, y, z]]",
        )
    return (low[0], low[1], low[2]), (high[0], high[1], high[2])


def _check_symmetric(patch: Patch, problems: Problems) -> None:
    """Report a patch across the mirror plane that is not alike on both sides."""
    remedy = 'a patch across the mirror plane is alike on both sides, or stands in "one_sided"'
    if patch.box_mm is not None and abs(patch.box_mm[0][1] + patch.box_mm[1][1]) > _SAME_SIDE_MM:
        problems.add(("patches", patch.id, "box"), "more on one side than on the other", remedy)
    for x, y, z in patch.facings:
        if not any(dot((x, -y, z), other) >= _SAME_DIRECTION for other in patch.facings):
            problems.add(
                ("patches", patch.id, "faces"),
                f"[{x:.3g}, {y:.3g}, {z:.3g}] without its mirror image",
                remedy,
            )
            return
