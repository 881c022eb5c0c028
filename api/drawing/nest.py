"""The drawing of one nest: x along the stock from its end, y across it from the factory edge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from api.drawing.blank import blank_drawing
from api.drawing.shapes import Drawing, Path, Point, Pose, Word, box_of, posed
from solver.data.plan import NestPlan, Piece, Placed


@dataclass(frozen=True)
class StockShape:
    """What is cut from: a rectangle of a roll or sheet, or an offcut's own outline."""

    length_mm: float
    width_mm: float
    roll_end_mm: float = 0.0
    """Length lost at either end."""
    outline: tuple[Point, ...] | None = None
    known: bool = True
    """Whether the size is the stock's own; else it is as far as the nest reaches."""

    @property
    def ring(self) -> tuple[Point, ...]:
        """The outline, counter-clockwise."""
        if self.outline is not None:
            return self.outline
        long, wide = self.length_mm, self.width_mm
        return ((0.0, 0.0), (long, 0.0), (long, wide), (0.0, wide))


def pose_of(placed: Placed) -> Pose:
    """Return how a blank lies on its stock."""
    return Pose(placed.x_mm, placed.y_mm, placed.turn_deg, placed.flipped)


def placed_outline(piece: Piece, placed: Placed) -> tuple[Point, ...]:
    """Return the outline of a blank as it lies on its stock."""
    pose = pose_of(placed)
    return tuple(pose.point(point) for point in piece.blank.outline_mm)


def reach_of(nest: NestPlan, pieces: Mapping[str, Piece]) -> tuple[float, float, float, float]:
    """Return the box of all that lies in a nest, offcuts too."""
    points = [p for one in nest.placed for p in placed_outline(pieces[one.piece], one)]
    points += [p for offcut in nest.offcuts for p in offcut.outline_mm]
    points += [p for ring in nest.gone_mm for p in ring]
    return box_of(points or [(0.0, 0.0)])


def nest_drawing(
    nest: NestPlan, pieces: Mapping[str, Piece], labels: Mapping[str, str], stock: StockShape
) -> Drawing:
    """Return stock, offcuts and blanks with all their lines; ``labels`` are by piece id."""
    paths = [Path("stock", stock.ring, closed=True)]
    if stock.roll_end_mm > 0 and stock.outline is None:
        ends = (stock.roll_end_mm, stock.length_mm - stock.roll_end_mm)
        paths += [Path("roll end", ((x, 0.0), (x, stock.width_mm))) for x in ends]
    paths += [Path("offcut", offcut.outline_mm, closed=True) for offcut in nest.offcuts]
    paths += [Path("gone", ring, closed=True) for ring in nest.gone_mm]
    words: list[Word] = []
    for placed in nest.placed:
        lying = posed(blank_drawing(pieces[placed.piece], labels[placed.piece]), pose_of(placed))
        paths += lying.paths
        words += lying.words
    return Drawing(nest.id, tuple(paths), tuple(words))
