"""Where a curved blank lies by itself that fits its stock only tilted, or only to a hair.

Blanks are laid among others on a raster and at a few angles, and rounding is outward. A blank that
fills its stock from corner to corner may find no place so, although it fits by itself.
"""

import numpy as np
import shapely

from solver.nests.shapes import Placement, Points, Shape, Stock, usable_region

ANGLE_STEP_DEG = 0.5
"""Angles tried: every place that the planner counts on (whole degrees) is among them."""


def tilts_deg(ring: Points, length_mm: float, width_mm: float) -> Points:
    """Angles within half a turn at which a ring fits a rectangle, the roomiest first."""
    angles = np.arange(0.0, 180.0, ANGLE_STEP_DEG)
    theta = np.radians(angles)
    long = np.ptp(ring @ np.stack((np.cos(theta), -np.sin(theta))), axis=0)
    high = np.ptp(ring @ np.stack((np.sin(theta), np.cos(theta))), axis=0)
    room = np.minimum(length_mm - long, width_mm - high)
    order = np.argsort(-room, kind="stable")
    return np.asarray(angles[order[room[order] >= 0.0]])


def lies_alone(shape: Shape, stock: Stock, unit: int) -> Placement | None:
    """Place of a blank by itself on a rectangular unit of stock, its corner in the unit's.

    None where the blank must lie square, or fits at no angle.
    """
    if shape.square:
        return None
    low_x, low_y, high_x, high_y = shapely.bounds(usable_region(stock)).tolist()
    ring = np.asarray(shape.outline_mm)
    turns = tilts_deg(ring, high_x - low_x, high_y - low_y)
    if not len(turns):
        return None
    theta = np.radians(turns[0])
    x = ring @ np.array((np.cos(theta), -np.sin(theta)))
    y = ring @ np.array((np.sin(theta), np.cos(theta)))
    return Placement(
        shape.id, unit, low_x - float(x.min()), low_y - float(y.min()), float(turns[0]), False
    )
