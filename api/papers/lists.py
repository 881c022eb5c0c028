"""The lists: shopping, cutting, pieces by section and by edge, hours.

Each list is made once, as columns and rows of plain values; paper, CSV and workbook show the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from api.papers.facts import Facts
from api.papers.protection import protective_things, tools
from api.papers.setting_out import Marking
from solver.data.job import FOOT_MM, POUND_KG
from solver.data.plan import Amount, Piece
from solver.data.units import format_length

Cell = str | int | float | None
Kind = Literal["text", "count", "number", "money"]


@dataclass(frozen=True)
class ListColumn:
    """A column: its head, what its cells are, its share of a page; 0 keeps it off paper."""

    head: str
    kind: Kind = "text"
    share: float = 1.0


@dataclass(frozen=True)
class Listing:
    """A list; the first ``groups`` column says under which heading a row stands on paper."""

    name: str
    title: str
    columns: tuple[ListColumn, ...]
    rows: tuple[tuple[Cell, ...], ...]
    ticks: bool = False
    grouped: bool = False
    """Whether the first column becomes headings on paper."""


def all_lists(facts: Facts) -> tuple[Listing, ...]:
    """Return every list of a plan, the shopping list first."""
    return (
        shopping_list(facts),
        cut_list(facts),
        pieces_by_section(facts),
        pieces_by_edge(facts),
        hours_list(facts),
    )


def shopping_list(facts: Facts) -> Listing:
    """Return what is bought and what must be at hand."""
    plan = facts.plan
    rows: list[tuple[Cell, ...]] = []
    shapes = {nest.stock: facts.stock_shape(nest) for nest in plan.nests}
    for purchase in plan.purchases:
        shape = shapes.get(purchase.stock)
        size = ""
        if shape is not None and shape.known:
            unit = plan.length_unit
            size = f"{format_length(shape.width_mm, unit)} wide, "
            size += f"{format_length(shape.length_mm, unit)} long"
        need = purchase.buy + purchase.from_hand
        rows.append(
            (
                "Metal",
                purchase.stock,
                need,
                purchase.from_hand,
                purchase.buy,
                _stock_words(purchase.stock, need),
                purchase.price,
                size,
            )
        )
    for amount in plan.amounts:
        factor, unit = _shop_unit(facts, amount)
        needed, bought = amount.amount * factor, amount.buy * factor
        counted = amount.unit in ("bolts", "clamps", "seams")
        rows.append(
            (
                "Joints and finishing",
                amount.item,
                round(needed) if counted else needed,
                round(needed - bought) if counted else needed - bought,
                round(bought) if counted else bought,
                unit,
                amount.price,
                amount.note,
            )
        )
    sums: list[tuple[Cell, ...]] = []
    if plan.cost is not None:
        both = plan.cost.metal + plan.cost.joints
        sums.append(("Sum", "metal", None, None, None, "", plan.cost.metal, ""))
        sums.append(("Sum", "joints and finishing", None, None, None, "", plan.cost.joints, ""))
        sums.append(
            ("Sum", "to pay", None, None, None, "", both, "tools and protection not priced")
        )
    rows += sums
    for group, things in (
        ("To protect people", protective_things(plan)),
        ("Tools", tools(plan)),
    ):
        rows += [(group, one.name, None, None, None, "", None, one.purpose) for one in things]
    return Listing(
        "shopping",
        "Shopping list",
        (
            ListColumn("group", share=0),
            ListColumn("item", share=5.2),
            ListColumn("needed", "number", 1.2),
            ListColumn("on hand", "number", 1.2),
            ListColumn("buy", "number", 1.2),
            ListColumn("unit", share=1.3),
            ListColumn(f"price ({plan.currency})", "money", 1.6),
            ListColumn("note", share=4.6),
        ),
        tuple(rows),
        ticks=True,
        grouped=True,
    )


def _stock_words(stock: str, count: int) -> str:
    """Return "roll", "sheets", or what else a piece of stock is called."""
    kind = next((word for word in ("roll", "sheet", "offcut") if word in stock.split()), "piece")
    return kind if count == 1 else f"{kind}s"


def _shop_unit(facts: Facts, amount: Amount) -> tuple[float, str]:
    """Return the factor and the unit in which this shop buys something."""
    inches = facts.sizes.inches
    if amount.unit == "ft" and not inches:
        return FOOT_MM / 1000, "m"
    if amount.unit == "m2" and inches:
        return 1e6 / FOOT_MM**2, "ft²"
    if amount.unit == "m2":
        return 1.0, "m²"
    if amount.unit == "litres" and amount.amount < 1:
        return 1000.0, "ml"
    return 1.0, amount.unit


def cut_list(facts: Facts) -> Listing:
    """Return every blank with its size, by the stock that it is cut from."""
    rows: list[tuple[Cell, ...]] = []
    for number, nest in enumerate(facts.plan.nests, start=1):
        for placed in sorted(nest.placed, key=lambda one: int(facts.number[one.piece][1:])):
            piece = facts.pieces[placed.piece]
            marking = Marking(piece, facts.sizes)
            blank = piece.blank
            rows.append(
                (
                    f"{number}  {nest.stock}",
                    facts.number[piece.id],
                    piece.id,
                    facts.metal(piece),
                    facts.sizes.words(marking.length),
                    facts.sizes.words(marking.width),
                    "straight" if blank.straight else "curved",
                    len(blank.folds),
                    len(piece.bends_mm),
                    blank.notch_count,
                    len(blank.slits_mm),
                    len(blank.v_notches_mm),
                    blank.root_length_mm,
                    blank.above_mm + blank.below_mm,
                    blank.area_mm2,
                    piece.mass_kg,
                )
            )
    return Listing(
        "cutting",
        "Cut list",
        (
            ListColumn("stock", share=0),
            ListColumn("no.", share=0.8),
            ListColumn("piece", share=4.6),
            ListColumn("metal", share=2.4),
            ListColumn("length", share=1.7),
            ListColumn("width", share=1.3),
            ListColumn("shape", share=1.2),
            ListColumn("folds", "count", 0.9),
            ListColumn("bends", "count", 0.9),
            ListColumn("notches", "count", 1.1),
            ListColumn("slits", "count", 0.8),
            ListColumn("V-notches", "count", 1.3),
            ListColumn("length (mm)", "number", 0),
            ListColumn("width (mm)", "number", 0),
            ListColumn("area (mm²)", "number", 0),
            ListColumn("mass (kg)", "number", 0),
        ),
        tuple(rows),
        ticks=True,
        grouped=True,
    )


def _piece_cells(facts: Facts, piece: Piece) -> tuple[Cell, ...]:
    sizes = facts.sizes
    marking = Marking(piece, sizes)
    return (
        facts.number[piece.id],
        piece.id,
        facts.metal(piece),
        piece.mounting,
        sizes.words(marking.length),
        sizes.words(sizes.nearest(piece.stand_mm)),
        sizes.words(sizes.nearest(piece.grip_mm)) if piece.grip_mm > 0 else "",
        sizes.words(sizes.nearest(piece.return_mm)) if piece.return_mm > 0 else "",
        piece.blank.root_length_mm,
        piece.mass_kg,
    )


_PIECE_COLUMNS = (
    ListColumn("no.", share=0.8),
    ListColumn("piece", share=5.2),
    ListColumn("metal", share=2.4),
    ListColumn("mounting", share=1.7),
    ListColumn("length", share=1.7),
    ListColumn("stand", share=1.2),
    ListColumn("grip", share=1.2),
    ListColumn("return", share=1.2),
    ListColumn("length (mm)", "number", 0),
    ListColumn("mass (kg)", "number", 0),
)


def pieces_by_section(facts: Facts) -> Listing:
    """Return the pieces at each section; a piece in a joint stands under both."""
    rows: list[tuple[Cell, ...]] = []
    for section in facts.plan.sections:
        mass = section.mass_kg / POUND_KG if facts.sizes.inches else section.mass_kg
        unit = "lb" if facts.sizes.inches else "kg"
        head = f"Section {section.id}, {mass:.0f} {unit}: {', '.join(section.patches)}"
        for piece in facts.plan.pieces:
            if section.id in facts.sections_of_piece(piece):
                others = [s for s in facts.sections_of_piece(piece) if s != section.id]
                rows.append((head, *_piece_cells(facts, piece), ", ".join(others)))
    lost = [piece for piece in facts.plan.pieces if not facts.sections_of_piece(piece)]
    rows += [("Section not known", *_piece_cells(facts, piece), "") for piece in lost]
    return Listing(
        "pieces-by-section",
        "Pieces by section",
        (ListColumn("section", share=0), *_PIECE_COLUMNS, ListColumn("also at", share=1.2)),
        tuple(rows),
        grouped=True,
    )


def pieces_by_edge(facts: Facts) -> Listing:
    """Return what becomes of each edge, and the pieces on it."""
    sizes = facts.sizes
    rows: list[tuple[Cell, ...]] = []
    for edge in facts.plan.edges:
        pieces = [facts.pieces[one] for one in facts.pieces_on.get(edge.edge, ())]
        metals = dict.fromkeys(facts.metal(piece) for piece in pieces)
        sections = facts.sections_of_edge(edge.edge)
        rows.append(
            (
                edge.edge,
                edge.treatment
                if edge.treatment != "plain"
                else ("" if not edge.joint else "joint"),
                " and ".join(sections) if edge.joint else ", ".join(sections),
                ", ".join(facts.number[piece.id] for piece in pieces),
                ", ".join(metals),
                edge.bolts or None,
                _packer_words(facts, edge.packer_mm),
                edge.packer_mm if edge.packer_mm > 0 else None,
            )
        )
    return Listing(
        "pieces-by-edge",
        f"Pieces by edge{' (marked to ' + sizes.words(1) + ')' if rows else ''}",
        (
            ListColumn("edge", share=4.6),
            ListColumn("becomes", share=1.4),
            ListColumn("sections", share=1.3),
            ListColumn("pieces", share=1.8),
            ListColumn("metal", share=2.3),
            ListColumn("bolts", "count", 0.9),
            ListColumn("packer", share=1.2),
            ListColumn("packer (mm)", "number", 0),
        ),
        tuple(rows),
    )


def _packer_words(facts: Facts, thickness_mm: float) -> str:
    if thickness_mm <= 0:
        return ""
    return f"{thickness_mm / 25.4:.3f} in" if facts.sizes.inches else f"{thickness_mm:.2f} mm"


def hours_list(facts: Facts) -> Listing:
    """Return the minutes of each operation, the allowance and the sum."""
    lines = facts.plan.hours
    rows: list[tuple[Cell, ...]] = [
        (line.operation, line.count, line.unit, line.minutes) for line in lines
    ]
    bare = math.fsum(line.minutes for line in lines)
    rows.append(("allowance for the rest", None, "", facts.plan.minutes - bare))
    rows.append(("all work", None, "", facts.plan.minutes))
    return Listing(
        "hours",
        "Hours",
        (
            ListColumn("operation", share=4),
            ListColumn("count", "number", 1.5),
            ListColumn("unit", share=1.5),
            ListColumn("minutes", "number", 1.5),
        ),
        tuple(rows),
    )


def shown(cell: Cell, kind: Kind) -> str:
    """Return a cell as it stands on paper."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell
    if kind == "money":
        return f"{cell:,.2f}"
    if kind == "count" and cell == 0:
        return ""
    if isinstance(cell, int) or kind == "count" or cell == round(cell):
        return f"{cell:,.0f}"
    digits = 0 if abs(cell) >= 100 else 1 if abs(cell) >= 10 else 2
    return f"{cell:,.{digits}f}"


def groups_of(listing: Listing) -> Sequence[tuple[str, list[tuple[Cell, ...]]]]:
    """Return the rows of a list under their headings, in order."""
    if not listing.grouped:
        return [("", list(listing.rows))]
    found: list[tuple[str, list[tuple[Cell, ...]]]] = []
    for row in listing.rows:
        head = str(row[0])
        if not found or found[-1][0] != head:
            found.append((head, []))
        found[-1][1].append(row)
    return found
