"""Conformity: down to which easy-way radius a strip follows a curve without being formed first."""

from __future__ import annotations

from solver.rules.metals import metal_named
from solver.rules.refusals import need_positive


def elastic_limit_radius_mm(metal: str, core_mm: float) -> float:
    """Return E·t/(2·σ_y): the radius at which the faces of the core just begin to yield.

    Elementary bending; it is also where the springback formula (bending.py) reaches X = 0.5.
    """
    need_positive("core thickness", core_mm)
    kind = metal_named(metal)
    return kind.youngs_modulus_mpa * core_mm / (2 * kind.yield_mpa)


def needs_preforming(metal: str, core_mm: float, easy_way_radius_mm: float) -> bool:
    """Return whether a strip must be bent to shape beforehand to lie on this radius.

    Wider curves it springs onto and is held to; an infinite radius is a straight line.
    """
    if not easy_way_radius_mm > 0:
        raise ValueError(f"easy-way radius is {easy_way_radius_mm}; it must be above 0")
    return easy_way_radius_mm < elastic_limit_radius_mm(metal, core_mm)
