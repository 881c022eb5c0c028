"""The sheet metals of a job's stock: one metal in one thickness, with the stock that has it."""

from __future__ import annotations

from dataclasses import dataclass

from solver.data.job import Job, StockItem
from solver.rules.gauges import SheetMetal


@dataclass(frozen=True)
class Sheet:
    """A sheet metal and the stock items (indices into the job's stock) that are made of it."""

    metal: SheetMetal
    items: tuple[int, ...]


def sheets_of(job: Job) -> tuple[Sheet, ...]:
    """Return the sheet metals on offer, lightest first."""
    items: dict[tuple[str, float], list[int]] = {}
    for index, item in enumerate(job.stock):
        if item.on_hand or item.for_sale is None or item.for_sale:
            items.setdefault(item.sheet_metal, []).append(index)
    sheets = [Sheet(_metal(job.stock[at[0]]), tuple(at)) for at in items.values()]
    return tuple(sorted(sheets, key=lambda s: (s.metal.mass_kg_m2, s.metal.label)))


def _metal(item: StockItem) -> SheetMetal:
    return SheetMetal(
        metal=item.metal,
        gauge=item.gauge,
        thickness_mm=item.thickness_mm,
        core_mm=item.core_mm,
        mass_kg_m2=item.mass_kg_m2,
        label=item.metal_label,
    )


def room_mm(job: Job, item: StockItem) -> tuple[float, float]:
    """Usable length and width of one unit: rolls lose their ends."""
    ends = 2 * job.rules.roll_end_mm if item.form == "roll" else 0.0
    return item.length_mm - ends, item.width_mm
