"""A trade-off in words: each unbeaten plan, what an hour saved costs, and what is proven."""

from __future__ import annotations

from collections.abc import Sequence

from api.summary import LOCAL_CODES, USUAL_CAUTIONS, money
from api.tables import WIDTH, clip, columns, plain, table, wrap
from api.trade_plot import plot_lines, point_name
from api.trading import TradeOffAnswer, TradePoint
from solver.data.job import POUND_KG

_SAME_MINUTES = 0.5
_SAME_MONEY = 0.01


def trade_text(answer: TradeOffAnswer, *, stopped: bool = False, plot: bool = True) -> str:
    """Return the plans in words, at most 80 columns wide, with a plot beneath."""
    first = answer.plans[0]
    inches = first.length_unit in ("in", "ft")
    right = "metal against hours" + (", and waste" if answer.waste else "")
    title = clip(plain(first.title) or "Trade-off", WIDTH - len(right) - 2)
    text = [title + " " * (WIDTH - columns(title) - columns(right)) + right, "=" * WIDTH]
    text += [f"UNBEATEN PLANS ({plain(first.currency)})", *_table(answer.points, inches=inches)]
    text += _legend(answer, stopped=stopped)
    if plot and len(answer.points) > 1:
        text += plot_lines(answer.points, first.currency)
    text += ["CAUTIONS", *(f"  {one}" for one in USUAL_CAUTIONS), f"  {LOCAL_CODES}"]
    return "\n".join(text) + "\n"


def _table(points: Sequence[TradePoint], *, inches: bool) -> list[str]:
    factor, unit = (1 / POUND_KG, "lb") if inches else (1.0, "kg")
    heads = [
        [
            "",
            "metal",
            "hours",
            "an hour",
            "whole",
            "sec-",
            "pie-",
            "waste",
            "no plan that spends no",
        ],
        ["", "", "", "saved", "cost", "tions", "ces", unit, "more takes less than"],
    ]
    rows = [
        [
            point_name(place) + ("" if point.supported else "'"),
            money(point.metal),
            f"{point.minutes / 60:.2f}",
            "" if point.hour_price is None else money(point.hour_price),
            money(point.cost),
            str(point.sections),
            str(point.pieces),
            f"{point.waste_kg * factor:.1f}",
            "not proven" if point.least_minutes is None else _least(point),
        ]
        for place, point in enumerate(points)
    ]
    sides = ["right"] * 8 + ["left"]
    return [
        clip(line, WIDTH)
        for line in table([*heads, *rows], sides=sides, gap=2, width=10 * WIDTH)  # type: ignore[arg-type]
    ]


def _least(point: TradePoint) -> str:
    assert point.least_minutes is not None
    said = f"{point.least_minutes / 60:.2f} h"
    return said + (": it" if point.minutes - point.least_minutes < _SAME_MINUTES else "")


def _legend(answer: TradeOffAnswer, *, stopped: bool) -> list[str]:
    count = len(answer.points)
    if count == 1:
        said = "One plan beats or equals every other that was found, in metal and in hours."
    else:
        said = (
            "Each is checked, and no plan that was found is better in one and no worse in the "
            "other. An hour saved: money for metal from this plan to the next."
        )
    lines = wrap(said, first="  ", rest="  ")
    if any(not point.supported for point in answer.points):
        said = (
            "' no price of an hour makes it the best of these: it lies between two that are, for "
            "who needs what lies between."
        )
        lines += wrap(said, first="  ", rest="    ")
    if any(p.least_minutes is not None for p in answer.points):
        lines += wrap(
            "Where the last column says no more than the plan takes, nothing beats it, found or "
            "not; it counts stock by area.",
            first="  ",
            rest="  ",
        )
    if stopped:
        lines += ["  Stopped: more time may find more."]
    return lines
