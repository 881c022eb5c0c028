"""A rerun in words: what to keep, trim, move, scrap, cut and buy, and what the change costs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from api.summary import (
    LOCAL_CODES,
    USUAL_CAUTIONS,
    count_words,
    duration,
    metal_words,
    money,
    status_words,
    summarise,
    width_words,
)
from api.tables import WIDTH, clip, columns, plain, table, wrap, wrap_words
from solver.data.job import Job
from solver.data.plan import Piece, Plan, Rerun, Source
from solver.data.units import format_length

MOST_LISTED = 12
"""Pieces of one kind named on a screen; ``--full`` names all."""
CENT = 0.005


def rerun_summary(
    plan: Plan, job: Job | None = None, *, full: bool = False, stopped: bool = False
) -> str:
    """Return the summary of a plan made with what was there, at most 80 columns wide."""
    rerun = plan.rerun
    if rerun is None or plan.cost is None:
        return summarise(plan, job, lines=None, stopped=stopped)
    piece_of = {piece.id: piece for piece in plan.pieces}
    made = {source.piece for source in rerun.sources}
    lines = [
        *_head(plan),
        *_change(plan, rerun),
        *_buy(plan, job),
        *_kept(rerun, full=full),
        *_made_over(plan, rerun, "trimmed", "TRIM", piece_of, full=full),
        *_made_over(plan, rerun, "moved", "MOVE", piece_of, full=full),
        *_scrap(rerun, full=full),
        *_cut(plan, [piece for piece in plan.pieces if piece.id not in made], full=full),
        *_proof(plan, rerun),
        *[line for note in rerun.notes for line in wrap(note, first="  - ", rest="    ")],
        *(f"  {text}" for text in USUAL_CAUTIONS),
        f"  {LOCAL_CODES}",
    ]
    return "\n".join(lines) + "\n"


def _head(plan: Plan) -> list[str]:
    right = f"rerun, goal {plain(plan.goal)}: {status_words(plan)}"
    title = clip(plain(plan.title) or "Plan", WIDTH - len(right) - 2)
    return [title + " " * (WIDTH - columns(title) - columns(right)) + right, "=" * WIDTH]


def _change(plan: Plan, rerun: Rerun) -> list[str]:
    """Say what is left to spend, before and after."""
    assert plan.cost is not None
    cost, before = plan.cost, rerun.before
    rows = [["still to spend", "metal", "joints", "labor", "in all", "time"]]
    if before is not None:
        rows.append(["on the old plan", *_figures(before.metal, before.joints, before.labor,
                                                  before.total, before.minutes)])  # fmt: skip
    rows.append(
        ["on this plan", *_figures(cost.metal, cost.joints, cost.labor, cost.total, plan.minutes)]
    )
    lines = [f"CHANGE ({plain(plan.currency)})"]
    lines += table(rows, sides=["left", "right", "right", "right", "right", "right"])
    if before is None:
        return lines
    more = cost.total - before.total
    minutes = round(plan.minutes) - round(before.minutes)
    if abs(more) < CENT and not minutes:
        lines.append("  The change costs nothing.")
    else:
        lines += wrap(
            f"The change {'costs' if more >= 0 else 'spares'} {money(abs(more))} and "
            f"{'takes' if minutes >= 0 else 'spares'} {duration(abs(minutes))}.",
            first="  ",
            rest="  ",
        )
    if rerun.changes:
        lines += wrap(
            f"{count_words(rerun.changes, 'fitted piece')} must come off its place, weighed at "
            f"{money(rerun.change_price)} each beside that (change_price).",
            first="  ",
            rest="  ",
        )
    return lines


def _figures(metal: float, joints: float, labor: float, total: float, minutes: float) -> list[str]:
    return [*(money(max(0.0, one)) for one in (metal, joints, labor, total)), duration(minutes)]


def _buy(plan: Plan, job: Job | None) -> list[str]:
    rows = []
    for purchase in plan.purchases:
        words = purchase.stock
        if job is not None and purchase.stock in job.stock_of:
            item = job.stock_of[purchase.stock]
            unit = plan.length_unit
            if item.form == "roll":
                unit = "ft" if unit in ("in", "ft") else "m"
            words = (
                f"{item.form}, {item.metal_label}, {width_words(item.width_mm, plan.length_unit)}"
                f" x {format_length(item.length_mm, unit)}"
            )
        if purchase.buy:
            rows.append([str(purchase.buy), words, money(purchase.price)])
        if purchase.from_hand:
            rows.append([str(purchase.from_hand), words, "on hand"])
    lines = [f"BUY NOW ({plain(plan.currency)})"]
    lines += table(rows, sides=["right", "left", "right"], give=1)
    begun = [nest for nest in plan.nests if nest.rest_of is not None]
    if begun:
        names = ", ".join(nest.id for nest in begun)
        lines += wrap(f"cut on from what is left of {names}", first="  ", rest="  ")
    if not any(purchase.buy for purchase in plan.purchases):
        lines.append("  no metal to buy")
    return lines


def _kept(rerun: Rerun, *, full: bool) -> list[str]:
    kept = [source for source in rerun.sources if source.how == "kept"]
    fitted = {one.piece.id for one in rerun.existing if one.fitted}
    staying = sum(source.old in fitted for source in kept)
    text = f"KEEP  {count_words(len(kept), 'piece')} as they are"
    if staying:
        text += f", {staying} of them in their place"
    lines = [text]
    if full:
        lines += _names(source.piece for source in kept)
    return lines


def _names(names: Iterable[str]) -> list[str]:
    words = [f'"{name}",' for name in names]
    if words:
        words[-1] = words[-1][:-1]
    return wrap_words(words, first="  ", rest="  ")


def _made_over(
    plan: Plan,
    rerun: Rerun,
    how: str,
    head: str,
    piece_of: dict[str, Piece],
    *,
    full: bool,
) -> list[str]:
    found = [source for source in rerun.sources if source.how == how]
    if not found:
        return []
    lines = [f"{head}  {count_words(len(found), 'piece')}"]
    for source in found if full else found[:MOST_LISTED]:
        lines += wrap(_made_words(source), first="  ", rest="      ")
    return lines + _more(len(found), full=full)


def _made_words(source: Source) -> str:
    return f'"{source.old}" becomes "{source.piece}": {source.reason}'


def _scrap(rerun: Rerun, *, full: bool) -> list[str]:
    if not rerun.scrapped:
        return []
    lines = [f"SCRAP  {count_words(len(rerun.scrapped), 'piece')}"]
    for one in rerun.scrapped if full else rerun.scrapped[:MOST_LISTED]:
        lines += wrap(f'"{one.old}": {one.reason}', first="  ", rest="      ")
    return lines + _more(len(rerun.scrapped), full=full)


def _cut(plan: Plan, pieces: Sequence[Piece], *, full: bool) -> list[str]:
    if not pieces:
        return ["CUT  nothing"]
    nest_of = {one.piece: nest.id for nest in plan.nests for one in nest.placed}
    unit = plan.length_unit
    lines = [f"CUT  {count_words(len(pieces), 'piece')}"]
    for piece in pieces if full else pieces[:MOST_LISTED]:
        width = piece.blank.above_mm + piece.blank.below_mm
        text = (
            f'"{piece.id}": {metal_words(piece.metal, piece.gauge, piece.thickness_mm)}, '
            f"{format_length(piece.blank.root_length_mm, unit)} x {width_words(width, unit)}, "
            f"{piece.mounting}, from {nest_of.get(piece.id, '?')}"
        )
        lines += wrap(text, first="  ", rest="      ")
    return lines + _more(len(pieces), full=full)


def _more(count: int, *, full: bool) -> list[str]:
    if full or count <= MOST_LISTED:
        return []
    return [f"  ... {count - MOST_LISTED} more: --full names all"]


def _proof(plan: Plan, rerun: Rerun) -> list[str]:
    proof = plan.proof
    words = []
    if proof.bound is not None and proof.gap is not None:
        words.append(
            f"no plan with what is there costs less than {money(proof.bound)} "
            f"(gap {100 * proof.gap:.1f} %)"
        )
    if rerun.fresh_bound is not None:
        words.append("none that ignores it costs less than this one")
    return wrap("; ".join(words) or "nothing is proven", first="PROOF  ", rest="  ")
