"""Plans side by side in words: one table of totals, then what differs, by id."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence

from api.summary import crew, duration, metal_words, money, name_words, weight
from api.tables import WIDTH, clip, plain, table, wrap, wrap_words
from solver.data.job import FOOT_MM, POUND_KG
from solver.data.units import format_length
from solver.planner.compare import (
    Comparison,
    Difference,
    FigureName,
    PieceFacts,
    Totals,
    Units,
)

_NAMED = 6
"""Names told of one kind of difference."""
_OPEN = "~"
_LONGEST_NAME = 60
_ROOMY = 4
"""Plans beside which cents and crews find room."""

Row = tuple[str, FigureName | None, Callable[[Totals], str]]


def compare_text(
    comparison: Comparison, names: Sequence[str], *, length_unit: str, whole: bool = False
) -> str:
    """Return a comparison in words, at most 80 columns wide.

    ``names`` are those of the files; ``whole`` names everything that differs.
    """
    letters = [chr(ord("A") + place) for place in range(len(names))]
    text = [f"COMPARE {', '.join(letters)}", "=" * WIDTH]
    for letter, name, column in zip(letters, names, comparison.columns, strict=True):
        said = f"{plain(name)}: {plain(column.title) or 'untitled'}, goal {plain(column.goal)}"
        text += wrap(f"{said}, {column.status}", first=f"  {letter}  ", rest="     ")
    if not comparison.same_scenario:
        text += wrap(
            "They were made for different scenarios: what has one id in both is taken for the "
            "same.",
            first="  ",
            rest="  ",
        )
    text += _totals(comparison, letters, length_unit)
    text += _by_id(comparison, letters, length_unit, whole=whole)
    return "\n".join(text) + "\n"


# -- totals ----------------------------------------------------------------------------------------


def _totals(comparison: Comparison, letters: Sequence[str], unit: str) -> list[str]:
    inches = unit in ("in", "ft")
    long_mm, long_unit = (FOOT_MM, "ft") if inches else (1000.0, "m")
    heavy_kg, heavy_unit = (POUND_KG, "lb") if inches else (1.0, "kg")
    shown = [column.totals for column in comparison.columns]
    narrow = len(letters) > _ROOMY

    def amount(figure: float) -> str:
        return f"{figure:,.0f}" if narrow else money(figure)

    def lift(totals: Totals) -> str:
        shown = weight(totals.heaviest_kg, unit)
        return shown if narrow else f"{shown} {_by(totals)}"

    rows: list[Row] = [
        ("cost", "cost", lambda t: amount(t.cost)),
        ("metal", "metal", lambda t: amount(t.metal)),
        ("joints", "joints", lambda t: amount(t.joints)),
        ("labor", "labor", lambda t: amount(t.labor)),
        ("hours", "minutes", lambda t: f"{t.minutes / 60:.1f}" if narrow else duration(t.minutes)),
        ("pieces", "pieces", lambda t: str(t.pieces)),
        ("seams", "seams", lambda t: str(t.seams)),
        ("sections", "sections", lambda t: str(t.sections)),
        ("heaviest lift", "heaviest_kg", lift),
        ("witness line", "witness_mm", lambda t: f"{t.witness_mm / long_mm:.1f} {long_unit}"),
        ("waste", "waste_kg", lambda t: f"{t.waste_kg / heavy_kg:.1f} {heavy_unit}"),
        ("no plan below", None, lambda t: "-" if t.bound is None else amount(t.bound)),
        ("gap", None, lambda t: "-" if t.gap is None else f"{100 * max(t.gap, 0.0):.1f} %"),
    ]
    if any(t is not None and abs(t.objective - t.cost) > 0.005 for t in shown):
        rows.insert(1, ("weighted", "objective", lambda t: amount(t.objective)))
    told = {(d.first, d.second, d.figure): d for d in comparison.differences}
    two = len(letters) == 2
    lines = []
    undecided = False
    for name, figure, words in rows:
        cells = [name]
        for place, totals in enumerate(shown):
            cell = "-" if totals is None else words(totals)
            difference = told.get((0, place, figure)) if figure and place else None
            open_ = difference is not None and _open(difference, unit)
            undecided |= open_
            if not two:
                cell += _OPEN if open_ else " "
            cells.append(cell)
        if two:
            difference = told.get((0, 1, figure)) if figure else None
            cells.append("" if difference is None else _signed(difference, unit))
            cells.append(_OPEN if difference is not None and _open(difference, unit) else "")
        lines.append(cells)
    currencies = {column.currency for column in comparison.columns}
    head = ["", *letters, *([f"{letters[1]} - {letters[0]}", ""] if two else [])]
    title = f"TOTALS ({', '.join(plain(one) for one in sorted(currencies))})"
    text = [title]
    text += table([head, *lines], sides=["left", *["right"] * (len(head) - 1)])  # type: ignore[list-item]
    if undecided:
        text += wrap(
            f"{_OPEN} not decided by the evidence: the difference is smaller than what the gaps "
            "leave open" + ("." if two else f", against {letters[0]}."),
            first="  ",
            rest="    ",
        )
    if len(currencies) > 1 or len({column.goal for column in comparison.columns}) > 1:
        text += wrap(
            "Another goal or currency: what the bounds say of the one, they do not say of the "
            "other.",
            first="  ",
            rest="  ",
        )
    return text


def _by(totals: Totals) -> str:
    return crew(None) if totals.people is None else f"by {totals.people}"


def _open(difference: Difference, unit: str) -> bool:
    """Whether a difference that is shown is not decided."""
    return difference.decided is False and bool(_signed(difference, unit))


def _signed(difference: Difference, unit: str) -> str:
    """Return a difference with its sign; nothing where there is none."""
    inches = unit in ("in", "ft")
    amount = difference.amount
    sign = "+" if amount > 0 else "-"
    size = abs(amount)
    figure = difference.figure
    if figure == "minutes":
        return "" if round(size) == 0 else f"{sign}{duration(size)}"
    if figure in ("pieces", "seams", "sections"):
        return "" if size < 0.5 else f"{sign}{size:.0f}"
    if figure in ("heaviest_kg", "waste_kg"):
        shown = f"{size / POUND_KG:.1f} lb" if inches else f"{size:.1f} kg"
    elif figure == "witness_mm":
        shown = f"{size / FOOT_MM:.1f} ft" if inches else f"{size / 1000:.1f} m"
    else:
        shown = money(size)
    return "" if float(shown.split()[0].replace(",", "")) == 0 else f"{sign}{shown}"


# -- what differs, by id ---------------------------------------------------------------------------


def _by_id(comparison: Comparison, letters: Sequence[str], unit: str, *, whole: bool) -> list[str]:
    blocks = (
        (
            "JOINTS",
            [(d.edge, _values(letters, d.joint, _joint)) for d in comparison.joints],
        ),
        (
            "MOUNTINGS",
            [(d.edge, _values(letters, d.treatment, str)) for d in comparison.mountings],
        ),
        (
            "METALS",
            [(d.edge, _values(letters, d.metals, _metals)) for d in comparison.metals],
        ),
        (
            "PIECES",
            [(d.piece, _piece(letters, d.facts, unit)) for d in comparison.pieces],
        ),
        (
            "PURCHASES",
            [(d.stock, _values(letters, d.units, _units, "none")) for d in comparison.purchases],
        ),
    )
    lines: list[str] = []
    for title, told in blocks:
        if told:
            lines += [f"{title} that differ: {len(told)}", *_grouped(told, whole=whole)]
    if not lines:
        return ["Nothing differs in joints, mountings, metals, pieces and purchases."]
    return lines


def _grouped(told: Iterable[tuple[str, str]], *, whole: bool) -> list[str]:
    """Return ids gathered by what is said of them."""
    groups: defaultdict[str, list[str]] = defaultdict(list)
    for name, said in told:
        groups[said].append(clip(plain(name), _LONGEST_NAME))
    lines = []
    for said, names in groups.items():
        kept = names if whole or len(names) <= _NAMED + 1 else names[:_NAMED]
        more = len(names) - len(kept)
        words = [*f"{said}:".split(), *name_words(kept)]
        words += [f"and {more} more (--full)"] if more else []
        lines += wrap_words(words, first="  ", rest="    ")
    return lines


def _values(
    letters: Sequence[str],
    values: Sequence[object],
    words: Callable[..., str],
    missing: str = "not there",
) -> str:
    """Return "A joint; B, C whole": the letters of plans by what they have."""
    groups: defaultdict[str, list[str]] = defaultdict(list)
    for letter, value in zip(letters, values, strict=True):
        groups[missing if value is None else words(value)].append(letter)
    return "; ".join(f"{', '.join(who)} {said}" for said, who in groups.items())


def _joint(made: bool) -> str:
    return "joint" if made else "whole"


def _metals(metals: Sequence[tuple[str, int | None, float]]) -> str:
    return " and ".join(metal_words(*metal) for metal in metals)


def _units(units: Units) -> str:
    said = [f"{units.buy} bought" if units.buy else "", f"{units.from_hand} on hand"]
    return ", ".join(one for one in said[: 2 if units.from_hand else 1] if one) or "none"


def _piece(letters: Sequence[str], facts: Sequence[PieceFacts | None], unit: str) -> str:
    """Say which plans have a piece; of those that all have it, what is cut otherwise."""
    here = [f for f in facts if f is not None]
    if len(here) < len(facts):
        there = [letter for letter, f in zip(letters, facts, strict=True) if f is not None]
        return f"only {', '.join(there)}"

    def words(fact: PieceFacts) -> str:
        return (
            f"{format_length(fact.root_length_mm, unit)} x {format_length(fact.width_mm, unit)} "
            f"{metal_words(fact.metal, fact.gauge, fact.thickness_mm)} {fact.mounting}"
        )

    said = _values(letters, facts, words)
    return said if ";" in said else f"{said}, at other places"
