"""Words of the nests: blanks, stock, placements, layouts. Plain data, lengths in millimetres.

x runs along the length of a unit of stock, y across its width; the stock rectangle is
[0, length] x [0, width]. A placement flips first (y -> -y), then turns counter-clockwise about the
outline's own origin, then moves.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import shapely

Ring = tuple[tuple[float, float], ...]
Points = npt.NDArray[np.float64]

LARGEST_MM = 1.0e6
"""No coordinate or length may lie beyond this (1 km): farther out, rounding eats the gap."""

SMALLEST_WIDTH_MM = 0.5
"""A blank thinner than this everywhere is a slip of the pen, not a blank."""

MOST_POINTS = 5000
MOST_BLANKS = 20_000


@dataclass(frozen=True)
class Shape:
    """A blank to be cut `quantity` times.

    `outline_mm` is a simple ring, unclosed, either way round. `square` blanks lie only at
    0/90/180/270 degrees; the others at any angle. `may_flip` allows the mirror image.
    """

    id: str
    outline_mm: Ring
    square: bool
    may_flip: bool
    quantity: int = 1


@dataclass(frozen=True)
class Stock:
    """A kind of roll, sheet or offcut: `price` for each unit bought, `on_hand` units are free.

    `for_sale` is the number that can be bought, None for any number. An offcut has `outline_mm`
    inside its rectangle. `end_trim_mm` is lost at either end of a roll.
    """

    id: str
    width_mm: float
    length_mm: float
    price: float
    on_hand: int
    for_sale: int | None
    outline_mm: Ring | None = None
    end_trim_mm: float = 0.0


@dataclass(frozen=True)
class Placement:
    """One blank laid on the unit with index `unit` in the list of units used."""

    shape_id: str
    unit: int
    x_mm: float
    y_mm: float
    turn_deg: float
    flipped: bool


@dataclass(frozen=True)
class UsedUnit:
    """One unit of stock that the layout uses, bought or taken from the shelf."""

    stock_id: str
    bought: bool


@dataclass(frozen=True)
class Layout:
    """Where every blank lies. `complete` when each was placed as often as asked.

    `cut_short` says that a clock or a person stopped the search: another run may differ.
    """

    units: tuple[UsedUnit, ...]
    placements: tuple[Placement, ...]
    complete: bool
    cut_short: bool = False


@dataclass(frozen=True)
class Purchase:
    """Units to buy and to take from the shelf, by stock id, and the layout that needs them.

    `layout.complete` is False when no purchase was found; `price` is then that of its units.
    """

    bought: Mapping[str, int]
    on_hand_used: Mapping[str, int]
    layout: Layout
    price: float
    cut_short: bool = False
    tried: int = field(default=0, compare=False)
    least: float = 0.0
    """Proven, beyond what rows say: no cheaper purchase holds these blanks."""


@dataclass(frozen=True)
class PriceBound:
    """Proven least price of stock for these blanks; `basis` says over which nests, by which rows.

    `value` is `inf` when no stock that can be had holds the blanks.
    """

    value: float
    basis: str


def check_shapes(shapes: Sequence[Shape]) -> None:
    """Refuse what cannot be nested.

    Raises ValueError naming the blank, the value and the remedy.
    """
    seen: set[str] = set()
    total = 0
    for i, shape in enumerate(shapes):
        place = f"blank {i} ({shape.id!r})"
        if shape.id in seen:
            raise ValueError(f"{place}: id occurs twice; raise its quantity instead")
        seen.add(shape.id)
        if shape.quantity < 1:
            raise ValueError(f"{place}: quantity is {shape.quantity}; give 1 or more")
        total += shape.quantity
        _check_ring(shape.outline_mm, place)
    if total > MOST_BLANKS:
        raise ValueError(f"{total} blanks; no more than {MOST_BLANKS} can be nested at once")


def check_stocks(stocks: Sequence[Stock]) -> None:
    """Refuse stock that cannot be used.

    Raises ValueError naming the stock, the value and the remedy.
    """
    seen: set[str] = set()
    for i, stock in enumerate(stocks):
        place = f"stock {i} ({stock.id!r})"
        if stock.id in seen:
            raise ValueError(f"{place}: id occurs twice; raise on_hand instead")
        seen.add(stock.id)
        for name in ("width_mm", "length_mm"):
            value = getattr(stock, name)
            if not (math.isfinite(value) and 0 < value <= LARGEST_MM):
                raise ValueError(f"{place}: {name} is {value}; give 0 < {name} <= {LARGEST_MM:g}")
        if not (math.isfinite(stock.price) and stock.price >= 0):
            raise ValueError(f"{place}: price is {stock.price}; give a price of 0 or more")
        if stock.on_hand < 0 or (stock.for_sale is not None and stock.for_sale < 0):
            raise ValueError(f"{place}: on_hand and for_sale may not be negative")
        if not (math.isfinite(stock.end_trim_mm) and stock.end_trim_mm >= 0):
            raise ValueError(f"{place}: end_trim_mm is {stock.end_trim_mm}; give 0 or more")
        if 2 * stock.end_trim_mm >= stock.length_mm:
            raise ValueError(f"{place}: end_trim_mm {stock.end_trim_mm} leaves no length")
        if stock.outline_mm is not None:
            _check_ring(stock.outline_mm, place)
            xy = np.asarray(stock.outline_mm)
            low, high = xy.min(axis=0), xy.max(axis=0)
            top = (stock.length_mm + 1e-6, stock.width_mm + 1e-6)
            if min(low) < -1e-6 or high[0] > top[0] or high[1] > top[1]:
                raise ValueError(
                    f"{place}: outline leaves its rectangle {stock.length_mm} x {stock.width_mm}"
                )


def check_gap(gap_mm: float) -> None:
    """Raise ValueError unless the cutting gap is a sane length."""
    if not (math.isfinite(gap_mm) and 0 <= gap_mm <= 1000):
        raise ValueError(f"cutting gap is {gap_mm} mm; give 0 to 1000")


def _check_ring(ring: Ring, place: str) -> None:
    if not 3 <= len(ring) <= MOST_POINTS:
        raise ValueError(f"{place}: outline has {len(ring)} points; give 3 to {MOST_POINTS}")
    for j, point in enumerate(ring):
        if len(point) != 2 or not all(math.isfinite(v) and abs(v) <= LARGEST_MM for v in point):
            raise ValueError(f"{place}: outline point {j} is {point}; give x, y within 1 km")
    polygon = shapely.Polygon(ring)
    if not polygon.is_valid:
        reason = shapely.is_valid_reason(polygon)
        raise ValueError(f"{place}: outline touches or crosses itself ({reason}); redraw it")
    if polygon.area <= SMALLEST_WIDTH_MM * polygon.length / 2:
        raise ValueError(f"{place}: outline is a sliver of {polygon.area:.3g} mm2; remove it")


def turned_points(outline_mm: Ring, turn_deg: float, flipped: bool) -> Points:
    """Outline flipped (y -> -y), then turned counter-clockwise about its origin; shape (n, 2)."""
    xy = np.asarray(outline_mm, dtype=np.float64)
    if flipped:
        xy = xy * (1.0, -1.0)
    quarter = turn_deg / 90.0
    if quarter == round(quarter):  # exact, so that square blanks stay square
        cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    else:
        cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return np.column_stack((xy[:, 0] * cos - xy[:, 1] * sin, xy[:, 0] * sin + xy[:, 1] * cos))


def placed_points(shape: Shape, placement: Placement) -> Points:
    """Outline of a placed blank in the coordinates of its unit of stock; shape (n, 2)."""
    points = turned_points(shape.outline_mm, placement.turn_deg, placement.flipped)
    return np.asarray(points + np.array((placement.x_mm, placement.y_mm)), dtype=np.float64)


def usable_region(stock: Stock) -> shapely.Geometry:
    """Region of a unit of stock that may be cut: its outline or rectangle without the end trim."""
    trim = stock.end_trim_mm
    rectangle = shapely.box(trim, 0.0, stock.length_mm - trim, stock.width_mm)
    if stock.outline_mm is None:
        return rectangle
    return shapely.intersection(shapely.Polygon(stock.outline_mm), rectangle)
