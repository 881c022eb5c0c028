"""Stock: lists of gauges, widths, lengths and sizes become one item of each mixture.

Without "stock" the usual rolls and sheets of a sheet-metal supplier are offered at the prices
below, all [practice].
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from solver.data import scenario as form
from solver.data.errors import Key, Problems
from solver.data.job import FOOT_MM, INCH_MM, Point, StockItem
from solver.data.units import AREA_MM2, MASS_KG, Measure, format_length
from solver.rules.gauges import SheetMetal, sheet_by_gauge, sheet_by_thickness

MOST_ITEMS = 400
_PER_FT2 = 1 / float(AREA_MM2["ft2"])

USUAL_ROLLS: tuple[tuple[str, int, float], ...] = (
    ("aluminium", 24, 1.75),
    ("aluminium", 26, 1.45),
    ("galvanised", 26, 1.55),
    ("galvanised", 28, 1.35),
)
"""Metal, gauge and price per ft² of what is sold as roll [practice]."""
USUAL_ROLL_WIDTHS_IN = (6, 8, 10, 12, 14, 20, 24)
USUAL_ROLL_LENGTHS_FT = (10, 25, 50)
USUAL_SHEETS: tuple[tuple[str, int, float], ...] = (
    ("galvanised", 20, 3.2),
    ("galvanised", 22, 2.65),
    ("galvanised", 24, 2.25),
)
"""Metal, gauge and price per ft² of what is sold as sheet [practice]."""
USUAL_SHEETS_IN = ((24, 36), (36, 48), (36, 96), (48, 96), (48, 120))


@dataclass(frozen=True)
class _Entry:
    keys: tuple[Key, ...]
    form: str
    unit: str
    problems: Problems
    ids: set[str]


def stock_of(scenario: form.Scenario, problems: Problems) -> tuple[StockItem, ...]:
    """Return every item that can be cut; the usual stock where the scenario names none."""
    unit = scenario.length_unit
    if scenario.stock is None:
        return usual_stock(unit)
    items: list[StockItem] = []
    ids: set[str] = set()
    stock = scenario.stock
    for group, forms in (
        ("rolls", stock.rolls),
        ("sheets", stock.sheets),
        ("offcuts", stock.offcuts),
    ):
        for index, written in enumerate(forms):
            entry = _Entry(("stock", group, index), group[:-1], unit, problems, ids)
            count = _mixtures(written)
            if len(items) + count > MOST_ITEMS:
                problems.add(
                    entry.keys,
                    f"makes {len(items) + count} items of stock",
                    f"list at most {MOST_ITEMS}; leave out what would not be bought",
                )
                return tuple(items)
            items.extend(_items(written, entry))
    if not items:
        problems.add(("stock",), "holds nothing to cut", 'list "rolls", "sheets" or "offcuts"')
    return tuple(items)


def _mixtures(written: form.Stuff) -> int:
    count = len(written.gauge or written.thickness or ())
    if isinstance(written, form.Roll):
        return count * len(written.width) * len(written.length)
    assert isinstance(written, form.Sheet | form.Offcut)
    return count * (len(written.size) if written.size else 1)


def _items(written: form.Stuff, entry: _Entry) -> Iterator[StockItem]:
    metals = _metals(written, entry)
    prices: Sequence[Measure] = []
    for_sale: int | None = 0
    if isinstance(written, form.Roll | form.Sheet):
        prices, for_sale = written.price, written.for_sale
        if len(prices) not in (1, len(written.gauge or written.thickness or ())):
            entry.problems.add(
                (*entry.keys, "price"),
                f"{len(prices)} prices",
                "give one price, or one for each gauge in the same order",
            )
            return
    for number, metal in enumerate(metals):
        if metal is None:
            continue
        price = prices[number if len(prices) > 1 else 0] if prices else None
        for width_mm, length_mm, outline_mm in _shapes(written, entry.unit):
            yield StockItem(
                id=_id(written.name, metal, width_mm, length_mm, entry),
                form=entry.form,  # type: ignore[arg-type]
                metal=metal.metal,
                gauge=metal.gauge,
                thickness_mm=metal.thickness_mm,
                core_mm=metal.core_mm,
                mass_kg_m2=metal.mass_kg_m2,
                width_mm=width_mm,
                length_mm=length_mm,
                price=0.0 if price is None else _price(price, width_mm * length_mm, metal),
                on_hand=written.on_hand,
                for_sale=for_sale,
                outline_mm=outline_mm,
            )


def _metals(written: form.Stuff, entry: _Entry) -> list[SheetMetal | None]:
    if written.gauge is not None:
        return [
            _metal(lambda g=gauge: sheet_by_gauge(written.metal, g), "gauge", gauge, entry)  # type: ignore[misc]
            for gauge in written.gauge
        ]
    return [
        _metal(
            lambda t=thickness: sheet_by_thickness(written.metal, t.mm(entry.unit)),  # type: ignore[misc]
            "thickness",
            format_length(thickness.mm(entry.unit), "mm"),
            entry,
        )
        for thickness in written.thickness or ()
    ]


def _metal(
    make: Callable[[], SheetMetal], key: str, shown: object, entry: _Entry
) -> SheetMetal | None:
    try:
        return make()
    except ValueError as fault:
        entry.problems.add((*entry.keys, key), shown, str(fault))
        return None


def _shapes(
    written: form.Stuff, unit: str
) -> Iterator[tuple[float, float, tuple[Point, ...] | None]]:
    if isinstance(written, form.Roll):
        for width in written.width:
            for length in written.length:
                yield width.mm(unit), length.mm(unit), None
        return
    assert isinstance(written, form.Sheet | form.Offcut)
    for size in written.size or ():
        narrow, long = sorted(side.mm(unit) for side in size)
        yield narrow, long, None
    if isinstance(written, form.Offcut) and written.outline is not None:
        points = [(x.mm(unit), y.mm(unit)) for x, y in written.outline]
        left, low = (min(axis) for axis in zip(*points, strict=True))
        right, high = (max(axis) for axis in zip(*points, strict=True))
        yield high - low, right - left, tuple((x - left, y - low) for x, y in points)


def _price(price: Measure, area_mm2: float, metal: SheetMetal) -> float:
    if price.unit is None:
        return float(price.amount)
    if price.unit in AREA_MM2:
        return round(float(price.amount) * area_mm2 / float(AREA_MM2[price.unit]), 2)
    mass_kg = metal.mass_kg_m2 * area_mm2 / 1e6
    return round(float(price.amount) * mass_kg / float(MASS_KG[price.unit]), 2)


def _id(
    name: str | None, metal: SheetMetal, width_mm: float, length_mm: float, entry: _Entry
) -> str:
    long_unit = "ft" if entry.form == "roll" and entry.unit in ("in", "ft") else entry.unit
    narrow_unit = "in" if entry.unit == "ft" else entry.unit
    size = f"{format_length(width_mm, narrow_unit)} x {format_length(length_mm, long_unit)}"
    made = f"{name}, {size}" if name else f"{metal.label} {entry.form} {size}"
    number, unique = 2, made
    while unique in entry.ids:
        unique = f"{made} #{number}"
        number += 1
    entry.ids.add(unique)
    return unique


def usual_stock(unit: str) -> tuple[StockItem, ...]:
    """Return what a supplier usually sells, at prices by area [practice]."""
    entry = _Entry((), "roll", unit, Problems(), set())
    items = [
        _usual(sheet_by_gauge(metal, gauge), width * INCH_MM, length * FOOT_MM, price, entry)
        for metal, gauge, price in USUAL_ROLLS
        for width in USUAL_ROLL_WIDTHS_IN
        for length in USUAL_ROLL_LENGTHS_FT
    ]
    entry = _Entry((), "sheet", unit, Problems(), entry.ids)
    items += [
        _usual(sheet_by_gauge(metal, gauge), width * INCH_MM, length * INCH_MM, price, entry)
        for metal, gauge, price in USUAL_SHEETS
        for width, length in USUAL_SHEETS_IN
    ]
    return tuple(items)


def _usual(
    metal: SheetMetal, width_mm: float, length_mm: float, per_ft2: float, entry: _Entry
) -> StockItem:
    return StockItem(
        id=_id(None, metal, width_mm, length_mm, entry),
        form=entry.form,  # type: ignore[arg-type]
        metal=metal.metal,
        gauge=metal.gauge,
        thickness_mm=metal.thickness_mm,
        core_mm=metal.core_mm,
        mass_kg_m2=metal.mass_kg_m2,
        width_mm=width_mm,
        length_mm=length_mm,
        price=round(per_ft2 * width_mm * length_mm * _PER_FT2, 2),
    )
