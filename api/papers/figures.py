"""Drawings put on a page: which line weight and dash each meaning gets, dimensions and arrows."""

from __future__ import annotations

import math
from collections.abc import Callable

from api.drawing.shapes import Drawing, Meaning, Point
from api.papers.book import FINE, HAIR, HEAVY, PLAIN, Page

Place = Callable[[Point], Point]

_LOOKS: dict[Meaning, tuple[float, tuple[float, ...]]] = {
    "cut": (HEAVY, ()),
    "fold": (PLAIN, (4.0, 1.2, 0.8, 1.2)),
    "bend": (PLAIN, (4.0, 1.0, 0.8, 1.0, 0.8, 1.0)),
    "slit": (PLAIN, ()),
    "V-notch": (PLAIN, ()),
    "mold line": (FINE, (2.2, 1.2)),
    "clamp": (HEAVY, ()),
    "stock": (HEAVY, ()),
    "roll end": (FINE, (1.0, 1.0)),
    "offcut": (FINE, (2.0, 1.5)),
    "gone": (FINE, (0.6, 0.6)),
}
"""Weight in mm and dashes: heavy full is cut with snips, dash-dot is folded,
dash-dot-dot is bent round a corner, dashed is scribed."""


def put(page: Page, drawing: Drawing, place: Place, *, thin: float = 1.0) -> None:
    """Draw the paths of a drawing; ``place`` gives where a point comes on the page.

    ``thin`` is a share of the usual line weights, for drawings at a small scale.
    """
    for path in drawing.paths:
        weight, dash = _LOOKS[path.meaning]
        closed = path.closed
        fill = {"offcut": 0.93, "gone": 0.7}.get(path.meaning)
        page.line(
            [place(point) for point in path.points],
            weight=weight * thin,
            dash=[one * thin for one in dash],
            closed=closed,
            fill=fill,
        )


def arrow(page: Page, tail: Point, head: Point, *, size: float = 2.0, weight: float = HAIR) -> None:
    """Draw an arrow with a filled head."""
    page.line((tail, head), weight=weight)
    angle = math.atan2(head[1] - tail[1], head[0] - tail[0])
    barbs = [
        (head[0] - size * math.cos(angle + turn), head[1] - size * math.sin(angle + turn))
        for turn in (0.3, -0.3)
    ]
    page.line((head, *barbs), weight=0, closed=True, fill=0.0)


def dimension(page: Page, a: Point, b: Point, words: str, *, off: float, size: float = 8.0) -> None:
    """Draw a dimension beside two points: ``off`` mm to the left of the way from a to b."""
    length = math.hypot(b[0] - a[0], b[1] - a[1])
    if length < 1e-6:
        return
    ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    nx, ny = -uy, ux

    def shifted(point: Point, by: float) -> Point:
        return point[0] + nx * by, point[1] + ny * by

    sign = math.copysign(1.0, off)
    for point in (a, b):
        page.line((shifted(point, sign * 0.8), shifted(point, off + sign * 1.0)), weight=HAIR)
    start, end = shifted(a, off), shifted(b, off)
    inside = length > 9.0
    middle = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    if inside:
        arrow(page, middle, start)
        arrow(page, middle, end)
    else:
        for point, way in ((start, -1), (end, 1)):
            arrow(page, (point[0] + way * ux * 4.0, point[1] + way * uy * 4.0), point)
        page.line((start, end), weight=HAIR)
    turn = math.degrees(math.atan2(uy, ux))
    if turn > 90 or turn <= -90:
        turn -= 180
    low = (-math.sin(math.radians(turn)), math.cos(math.radians(turn)))
    page.words(
        words,
        middle[0] - low[0] * 1.0,
        middle[1] - low[1] * 1.0,
        size=size,
        side="middle",
        turn_deg=turn,
        clear=True,
    )


def cross(page: Page, at: Point, name: str = "", *, arm: float = 3.5) -> None:
    """Draw a register mark: a cross in a ring, with its name beside it."""
    x, y = at
    page.line(((x - arm, y), (x + arm, y)), weight=HAIR)
    page.line(((x, y - arm), (x, y + arm)), weight=HAIR)
    ring = [
        (x + 1.6 * math.cos(n * math.pi / 12), y + 1.6 * math.sin(n * math.pi / 12))
        for n in range(24)
    ]
    page.line(ring, weight=HAIR, closed=True)
    if name:
        page.words(name, x + 1.8, y + 1.2, size=6.5)


def check_square(page: Page, *, inches: bool) -> None:
    """Draw two sides of a square in the corner of a page, to measure before cutting."""
    side = 101.6 if inches else 100.0
    steps = 4 if inches else 10
    x, y = 9.0, 11.5
    page.line(((x, y + side), (x, y), (x + side, y)), weight=FINE)
    for n in range(1, steps + 1):
        far = 3.0 if n == steps else 1.8
        at = side * n / steps
        page.line(((x + at, y), (x + at, y - far)), weight=FINE)
        page.line(((x, y + at), (x - far, y + at)), weight=FINE)
    words = "4 in" if inches else "100 mm"
    page.words(
        f"Check square: both sides must measure {words}.",
        x + 2.0,
        y - 4.5,
        size=7,
        bold=True,
    )
    page.words(
        "Print at 100 %, never fitted to the page; measure before cutting.",
        x + side + 3.0,
        y - 4.5,
        size=7,
    )
