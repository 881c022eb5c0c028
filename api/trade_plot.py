"""A trade-off drawn: money for metal over hours, in a terminal and as SVG."""

from __future__ import annotations

import html
from collections.abc import Sequence
from itertools import pairwise

from api.summary import money
from api.tables import WIDTH, clip, plain
from api.trading import TradePoint

_HIGH = 12
"""Lines of the plot in a terminal."""
_LEFT = 12
_SVG_WIDE, _SVG_HIGH = 720.0, 480.0
_MARGIN = (80.0, 30.0, 60.0, 60.0)
"""Left, right, top, bottom."""


def point_name(place: int) -> str:
    """Return the name of a point by its place from 0: 1 to 9, then letters."""
    return str(place + 1) if place < 9 else chr(ord("a") + place - 9)


def plot_lines(points: Sequence[TradePoint], currency: str) -> list[str]:
    """Return the plot as lines of text; hours go to the right, money for metal up."""
    wide = WIDTH - _LEFT - 4
    left, right = _range([p.minutes / 60 for p in points])
    low, high = _range([p.metal for p in points])
    grid = [[" "] * (wide + 1) for _ in range(_HIGH + 1)]
    for place, point in enumerate(points):
        column = round((point.minutes / 60 - left) / (right - left) * wide)
        row = _HIGH - round((point.metal - low) / (high - low) * _HIGH)
        grid[row][column] = point_name(place) if grid[row][column] == " " else "*"
    lines = [clip(f"METAL ({plain(currency)}) up, HOURS to the right", WIDTH)]
    for row, cells in enumerate(grid):
        label = {0: money(high), _HIGH: money(low)}.get(row, "")
        lines.append(f"{label:>{_LEFT}} |{''.join(cells)}".rstrip())
    lines.append(f"{'':>{_LEFT}} +{'-' * (wide + 1)}")
    first, last = f"{left:.2f} h", f"{right:.2f} h"
    blanks = " " * (wide + 1 - len(first) - len(last))
    lines.append(f"{'':>{_LEFT}}  {first}{blanks}{last}")
    return lines


def _range(figures: Sequence[float]) -> tuple[float, float]:
    """Return the ends of an axis: those of the figures, or around a single one."""
    low, high = min(figures), max(figures)
    if high - low < 1e-9:
        return low - 0.5, high + 0.5
    return low, high


def plot_svg(points: Sequence[TradePoint], title: str, currency: str) -> bytes:
    """Return the plot as an SVG picture.

    Steps lead from plan to plan; those that are best at some price of an hour share a dashed line.
    """
    left, right, top, bottom = _MARGIN
    x0, x1 = _range([p.minutes / 60 for p in points])
    y0, y1 = _range([p.metal for p in points])

    def x(hours: float) -> float:
        return left + (hours - x0) / (x1 - x0) * (_SVG_WIDE - left - right)

    def y(amount: float) -> float:
        return _SVG_HIGH - bottom - (amount - y0) / (y1 - y0) * (_SVG_HIGH - top - bottom)

    at = [(x(p.minutes / 60), y(p.metal)) for p in points]
    stairs = [at[0]]
    for before, here in pairwise(at):
        # what spends as much as the plan before takes as long, until the next one's money is spent
        stairs += [(before[0], here[1]), here]
    steps = " ".join(f"{a:.1f},{b:.1f}" for a, b in stairs)
    hull = " ".join(f"{a:.1f},{b:.1f}" for (a, b), p in zip(at, points, strict=True) if p.supported)
    marks = "".join(
        f'<circle cx="{a:.1f}" cy="{b:.1f}" r="5" class="{"on" if p.supported else "off"}"/>'
        f'<text x="{a + 8:.1f}" y="{b - 7:.1f}">{point_name(i)}</text>'
        for i, ((a, b), p) in enumerate(zip(at, points, strict=True))
    )
    axis_x, axis_y = _SVG_HIGH - bottom, left
    said = html.escape(plain(title), quote=True)
    unit = html.escape(plain(currency), quote=True)
    picture = f"""<svg xmlns="http://www.w3.org/2000/svg" width="{_SVG_WIDE:g}" \
height="{_SVG_HIGH:g}" viewBox="0 0 {_SVG_WIDE:g} {_SVG_HIGH:g}" role="img" \
font-family="sans-serif" font-size="14">
<title>{said}: money for metal over hours</title>
<style>.on{{fill:#111}}.off{{fill:#fff;stroke:#111;stroke-width:1.5}}</style>
<rect width="100%" height="100%" fill="#fff"/>
<text x="{left:g}" y="28" font-size="16">{said}</text>
<text x="{left:g}" y="48">metal ({unit}) over hours; filled: best at some price of an hour</text>
<path d="M{axis_y:g} {top:g}V{axis_x:g}H{_SVG_WIDE - right:g}" fill="none" stroke="#111"/>
<text x="{axis_y - 6:g}" y="{y(y1) + 5:.1f}" text-anchor="end">{money(y1)}</text>
<text x="{axis_y - 6:g}" y="{y(y0) + 5:.1f}" text-anchor="end">{money(y0)}</text>
<text x="{x(x0):.1f}" y="{axis_x + 22:g}">{x0:.2f} h</text>
<text x="{x(x1):.1f}" y="{axis_x + 22:g}" text-anchor="end">{x1:.2f} h</text>
<polyline points="{steps}" fill="none" stroke="#888"/>
<polyline points="{hull}" fill="none" stroke="#111" stroke-dasharray="6 4"/>
{marks}
</svg>
"""
    return picture.encode()
