"""Amounts: bolts, clamps, packers, flange laminate, tape, fillet and wax, counted from the plan.

Amounts are known by how their item begins (``KINDS``); one kind may take several lines, as bolts
of several sizes do.  Lengths and volumes are read in the unit that the line states.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from solver.checker.pieces import clamps_on
from solver.checker.reading import Reading, bolt_places_mm
from solver.checker.report import Fault
from solver.checker.reuse import built_mm
from solver.checker.tolerances import near
from solver.data.job import FOOT_MM, Edge
from solver.data.plan import Amount
from solver.data.units import parse_length
from solver.rules.bolts import bolt_length_mm

KINDS = ("bolt", "clamp", "packer", "mold flange", "seam tape", "fillet", "release wax")
"""How the item of an amount begins; in this order."""

_UNITS: dict[str, dict[str, float]] = {
    "packer": {"ft": 1.0, "mm": 1 / FOOT_MM, "m": 1000 / FOOT_MM, "in": 1 / 12},
    "mold flange": {"ft": 1.0, "mm": 1 / FOOT_MM, "m": 1000 / FOOT_MM, "in": 1 / 12},
    "fillet": {"litre": 1.0, "litres": 1.0, "l": 1.0, "ml": 1e-3, "cm3": 1e-3, "cm³": 1e-3},
    "release wax": {"m2": 1.0, "m²": 1.0, "ft2": FOOT_MM**2 / 1e6, "mm2": 1e-6},
}
"""Factor from a stated unit to the one that is priced."""

_BOLT_MM = 0.1
"""Of the length of a bolt, which is written in shop fractions."""


@dataclass(frozen=True)
class Quantity:
    """What a kind comes to: in the unit that is priced, and what is to be bought of it."""

    amount: float
    buy: float
    unit_price: float

    @property
    def price(self) -> float:
        """Money for what is bought."""
        return self.buy * self.unit_price


def seam_count(reading: Reading) -> int:
    """Butts between pieces of one run, the closing one of a loop among them."""
    return sum(len(reading.seams_mm(run)) for run in reading.runs)


def fillet_sides(reading: Reading, edge: Edge) -> int:
    """On how many sides of the metal something is laminated."""
    if edge.open:
        return 1
    return sum(side is not None for side in reading.job.sides(edge))


def filleted_mm(reading: Reading) -> float:
    """Length of metal, once for each laminated side."""
    return sum(edge.length_mm * fillet_sides(reading, edge) for edge in reading.metal_edges)


def flange_mm(reading: Reading) -> float:
    """Length of joints, and half the length of open edges."""
    open_mm = sum(edge.length_mm for edge in reading.job.edges if edge.open)
    return sum(edge.length_mm for edge in reading.joints) + open_mm / 2


def packed_mm(reading: Reading) -> dict[float, float]:
    """Length of joints by the thickness of packer that they need."""
    gap = reading.job.rules.joint_gap_mm
    thickness = {
        slot.edge.id: piece.sheet.thickness_mm for piece in reading.pieces for slot in piece.slots
    }
    found: dict[float, float] = {}
    for edge in reading.joints:
        packer = round(gap - thickness.get(edge.id, 0.0), 6)
        if packer > 0:
            found[packer] = found.get(packer, 0.0) + edge.length_mm
    return found


def bolts_by_size(reading: Reading) -> dict[str, int]:
    """Bolts of all joints by size."""
    found: dict[str, int] = {}
    for edge in reading.joints:
        found[edge.bolts.size] = found.get(edge.bolts.size, 0) + len(bolt_places_mm(edge))
    return found


def quantities(reading: Reading) -> dict[str, Quantity]:
    """Everything counted that is neither metal nor time, by kind."""
    job = reading.job
    prices, rules = job.shop.prices, job.rules
    bolts = float(sum(bolts_by_size(reading).values()))
    clamps = float(sum(clamps_on(piece) for piece in reading.pieces))
    packer_ft = sum(packed_mm(reading).values()) / FOOT_MM
    flange_ft = (flange_mm(reading) - built_mm(reading)) / FOOT_MM
    taped = float(seam_count(reading) + len(job.corners))
    # r²(cot 45° - (pi/2)/2): two tangent triangles less the sector of the arc [derived].
    corner_mm2 = rules.fillet_radius_mm**2 * (1 - math.pi / 4)
    litres = corner_mm2 * filleted_mm(reading) * (1 + rules.fillet_waste) / 1e6
    waxed_m2 = (
        sum(patch.area_mm2 for patch in job.patches)
        + 2 * sum(piece.outline.area for piece in reading.pieces)
    ) / 1e6
    return {
        "bolt": Quantity(bolts, max(0.0, bolts - job.shop.bolts_on_hand), prices.bolt),
        "clamp": Quantity(clamps, max(0.0, clamps - job.shop.clamps_on_hand), prices.clamp),
        "packer": Quantity(packer_ft, packer_ft, prices.packer_per_foot),
        "mold flange": Quantity(flange_ft, flange_ft, prices.mold_flange_per_foot),
        "seam tape": Quantity(taped, taped, prices.seam_tape_per_seam),
        "fillet": Quantity(litres, litres, prices.fillet_per_litre),
        "release wax": Quantity(waxed_m2, waxed_m2, prices.release_wax_per_m2),
    }


def joints_cost(reading: Reading) -> float:
    """Money for everything that is neither metal nor labor."""
    return sum(quantity.price for quantity in quantities(reading).values())


def _kind(amount: Amount) -> str | None:
    return next((kind for kind in KINDS if amount.item.lower().startswith(kind)), None)


def amounts(reading: Reading) -> Iterator[Fault]:
    """The amounts of the plan are those that its joints, pieces and surfaces need."""
    stated: dict[str, tuple[float, float, float]] = {}
    for amount in reading.plan.amounts:
        kind = _kind(amount)
        place = f'amount "{amount.item}"'
        if kind is None:
            yield Fault("amount", place, f"is none of {', '.join(KINDS)}")
            continue
        units = _UNITS.get(kind)
        if units is not None and amount.unit not in units:
            yield Fault("amount", place, f'unit "{amount.unit}" is none of {", ".join(units)}')
            continue
        factor = units[amount.unit] if units is not None else 1.0
        old = stated.get(kind, (0.0, 0.0, 0.0))
        stated[kind] = (
            old[0] + amount.amount * factor,
            old[1] + amount.buy * factor,
            old[2] + amount.price,
        )
        unit_price = price_of_one(reading, kind)
        if not near(amount.price, amount.buy * factor * unit_price):
            yield Fault(
                "amount",
                place,
                f"{amount.buy:.4f} {amount.unit} are stated as {amount.price:.4f}; "
                f"{amount.buy * factor * unit_price:.4f} is right",
            )
    for kind, quantity in quantities(reading).items():
        amount_, buy, _ = stated.get(kind, (0.0, 0.0, 0.0))
        if not near(amount_, quantity.amount) or not near(buy, quantity.buy):
            yield Fault(
                "amount",
                f'amount "{kind}"',
                f"{amount_:.5f} are stated and {buy:.5f} to buy; {quantity.amount:.5f} are needed "
                f"and {quantity.buy:.5f} to buy",
            )


def price_of_one(reading: Reading, kind: str) -> float:
    """Price of one unit of a kind."""
    prices = reading.job.shop.prices
    return {
        "bolt": prices.bolt,
        "clamp": prices.clamp,
        "packer": prices.packer_per_foot,
        "mold flange": prices.mold_flange_per_foot,
        "seam tape": prices.seam_tape_per_seam,
        "fillet": prices.fillet_per_litre,
        "release wax": prices.release_wax_per_m2,
    }[kind]


def packers(reading: Reading) -> Iterator[Fault]:
    """Packers are listed by thickness."""
    listed = sorted(
        amount.amount * _UNITS["packer"].get(amount.unit, 1.0)
        for amount in reading.plan.amounts
        if _kind(amount) == "packer"
    )
    wanted = sorted(length / FOOT_MM for length in packed_mm(reading).values())
    same = len(listed) == len(wanted) and all(map(near, listed, wanted))
    if not same and near(sum(listed), sum(wanted)):
        yield Fault(
            "amount",
            'amount "packer"',
            f"lengths of {', '.join(f'{one:.2f}' for one in listed)} ft are listed; by thickness "
            f"they are {', '.join(f'{one:.2f}' for one in wanted)}",
        )


def bolt_sizes(reading: Reading) -> Iterator[Fault]:
    """Bolts are listed by size, "bolts 5/16 in x 1-1/4 in", long enough for flanges and gap."""
    rules = reading.job.rules
    bolts = [amount for amount in reading.plan.amounts if _kind(amount) == "bolt"]
    for size, count in bolts_by_size(reading).items():
        place = f'amount "bolt" {size}'
        listed = [amount for amount in bolts if f" {size} x " in amount.item]
        if not near(sum(amount.amount for amount in listed), count):
            yield Fault(
                "amount",
                place,
                f"{sum(amount.amount for amount in listed):g} are listed; {count} are needed",
            )
        try:
            wanted = bolt_length_mm(size, rules.mold_thickness_mm, rules.joint_gap_mm)
            lengths = [parse_length(one.item.rsplit(" x ", 1)[1]).mm("in") for one in listed]
        except ValueError as error:
            yield Fault("amount", place, str(error))
            continue
        for length in lengths:
            if abs(length - wanted) > _BOLT_MM:
                yield Fault("amount", place, f"is {length:.2f} mm long; it takes {wanted:.2f}")
