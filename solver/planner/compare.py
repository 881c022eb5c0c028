"""Plans side by side: their totals, what differs by id, and which differences are decided.

Pure: plans of one scenario or of several go in, data comes out; ids are taken as they are written.
The order of the plans changes nothing but the order of the values and the signs of differences.

A difference of what the goal minimises is decided where the bounds tell the best plans of either
side apart: where the proven least of the dearer one lies above the cheaper one.  The bounds say
nothing of metal, joints, labor and hours by themselves: such a difference is decided where its
money is more than both gaps together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal, TypeVar

from solver.data.job import FOOT_MM
from solver.data.plan import Piece, Plan

SAME = 1e-6
"""Relative: figures nearer than this are one."""
WEIGHED = ("objective", "cost", "metal", "joints", "labor", "minutes")
"""Figures that the gaps may leave undecided; the others are facts of the plans at hand."""

FigureName = Literal[
    "objective", "cost", "metal", "joints", "labor", "minutes", "pieces", "seams", "sections",
    "heaviest_kg", "witness_mm", "waste_kg",
]  # fmt: skip
FIGURES: tuple[FigureName, ...] = (
    "objective", "cost", "metal", "joints", "labor", "minutes", "pieces", "seams", "sections",
    "heaviest_kg", "witness_mm", "waste_kg",
)  # fmt: skip


@dataclass(frozen=True)
class Totals:
    """The figures of one plan: money, minutes, counts, kilograms, millimetres."""

    objective: float
    """What its goal minimises."""
    cost: float
    """Metal, joints and labor, unweighted."""
    metal: float
    joints: float
    labor: float
    minutes: float
    pieces: int
    seams: int
    sections: int
    heaviest_kg: float
    people: int | None
    """Who lifts the heaviest section; None is a hoist."""
    witness_mm: float
    waste_kg: float
    bound: float | None
    gap: float | None


@dataclass(frozen=True)
class Column:
    """One plan of a comparison."""

    plan: str
    """Its id."""
    title: str
    scenario: str
    """Digest of the scenario that it was made for."""
    goal: str
    status: str
    currency: str
    totals: Totals | None
    """None where there is no plan: no answer, impossible."""


@dataclass(frozen=True)
class Difference:
    """By how much a figure of the second plan is more than that of the first."""

    first: int
    second: int
    """Places of the plans, from 0."""
    figure: FigureName
    amount: float
    decided: bool | None
    """Whether the evidence decides it; None where money cannot be compared (another currency or
    goal)."""


@dataclass(frozen=True)
class PieceFacts:
    """What of a piece is compared: mounting, metal, stations on its run, size of its blank."""

    mounting: str
    metal: str
    gauge: int | None
    thickness_mm: float
    from_mm: float
    to_mm: float
    root_length_mm: float
    width_mm: float


@dataclass(frozen=True)
class Units:
    """Units of one stock item: bought and from what is on hand, and their price."""

    buy: int
    from_hand: int
    price: float


@dataclass(frozen=True)
class JointDiffers:
    """An edge that is a joint in some plans; None where the plan has no such edge."""

    edge: str
    joint: tuple[bool | None, ...]


@dataclass(frozen=True)
class MountingDiffers:
    """An edge whose metal is held in different ways."""

    edge: str
    treatment: tuple[str | None, ...]


@dataclass(frozen=True)
class MetalDiffers:
    """An edge that carries different metals; several where its pieces are of several."""

    edge: str
    metals: tuple[tuple[tuple[str, int | None, float], ...] | None, ...]
    """(metal, gauge, thickness in mm)."""


@dataclass(frozen=True)
class PieceDiffers:
    """A piece that only some plans have, or that is cut otherwise."""

    piece: str
    facts: tuple[PieceFacts | None, ...]


@dataclass(frozen=True)
class PurchaseDiffers:
    """A stock item of which the plans take different numbers."""

    stock: str
    units: tuple[Units | None, ...]


@dataclass(frozen=True)
class Comparison:
    """Plans side by side; every tuple of values is in the order of the plans."""

    columns: tuple[Column, ...]
    differences: tuple[Difference, ...]
    """Of every two plans, figure by figure."""
    same_scenario: bool
    joints: tuple[JointDiffers, ...]
    mountings: tuple[MountingDiffers, ...]
    metals: tuple[MetalDiffers, ...]
    pieces: tuple[PieceDiffers, ...]
    purchases: tuple[PurchaseDiffers, ...]


def compare(plans: Sequence[Plan]) -> Comparison:
    """Compare two plans or more.

    Raises ValueError for fewer than two.
    """
    if len(plans) < 2:
        raise ValueError(f"{len(plans)} plans: give two or more")
    columns = tuple(_column(plan) for plan in plans)
    differences = [
        one
        for first, second in combinations(range(len(plans)), 2)
        for one in _differences(columns, first, second)
    ]
    joints = _differing([{e.edge: e.joint for e in plan.edges} for plan in plans])
    treatments = _differing([{e.edge: str(e.treatment) for e in plan.edges} for plan in plans])
    metals = _differing([_metals(plan) for plan in plans])
    pieces = _differing([{p.id: _facts(p) for p in plan.pieces} for plan in plans], alike=_alike)
    units = _differing(
        [{p.stock: Units(p.buy, p.from_hand, p.price) for p in plan.purchases} for plan in plans]
    )
    return Comparison(
        columns=columns,
        differences=tuple(differences),
        same_scenario=len({plan.scenario_digest for plan in plans}) == 1,
        joints=tuple(JointDiffers(id_, values) for id_, values in joints),
        mountings=tuple(MountingDiffers(id_, values) for id_, values in treatments),
        metals=tuple(MetalDiffers(id_, values) for id_, values in metals),
        pieces=tuple(PieceDiffers(id_, values) for id_, values in pieces),
        purchases=tuple(PurchaseDiffers(id_, values) for id_, values in units),
    )


def _column(plan: Plan) -> Column:
    return Column(
        plan=plan.id,
        title=plan.title,
        scenario=plan.scenario_digest,
        goal=plan.goal,
        status=plan.status,
        currency=plan.currency,
        totals=_totals(plan),
    )


def _totals(plan: Plan) -> Totals | None:
    if plan.cost is None:
        return None
    heaviest = max(plan.sections, key=lambda section: section.mass_kg, default=None)
    return Totals(
        objective=plan.cost.objective,
        cost=plan.cost.total,
        metal=plan.cost.metal,
        joints=plan.cost.joints,
        labor=plan.cost.labor,
        minutes=plan.minutes,
        pieces=len(plan.pieces),
        seams=round(_counted(plan, "seams")),
        sections=len(plan.sections),
        heaviest_kg=0.0 if heaviest is None else heaviest.mass_kg,
        people=None if heaviest is None else heaviest.people,
        witness_mm=_counted(plan, "witness lines") * FOOT_MM,
        waste_kg=plan.cost.waste_kg,
        bound=plan.proof.bound,
        gap=plan.proof.gap,
    )


def _counted(plan: Plan, operation: str) -> float:
    """Return how many of something the plan's hours count: seams, feet of witness lines."""
    return sum(line.count for line in plan.hours if line.operation == operation)


# -- differences of figures ------------------------------------------------------------------------


def _differences(columns: Sequence[Column], first: int, second: int) -> list[Difference]:
    one, other = columns[first].totals, columns[second].totals
    if one is None or other is None:
        return []
    money = columns[first].currency == columns[second].currency
    goal = money and columns[first].goal == columns[second].goal
    found = []
    for figure in FIGURES:
        amount = float(getattr(other, figure) - getattr(one, figure))
        decided: bool | None = True
        if figure in WEIGHED:
            decided = _decided(figure, one, other, amount) if goal else None
        found.append(Difference(first, second, figure, amount, decided))
    return found


def _decided(figure: FigureName, one: Totals, other: Totals, amount: float) -> bool:
    """Whether the two proofs decide a difference; what is the same has nothing to decide."""
    if one.bound is None or other.bound is None:
        return False
    slack = SAME * max(abs(one.objective), abs(other.objective), 1.0)
    if figure == "objective" or (figure == "cost" and _unweighted(one, other)):
        cheaper, dearer = sorted((one, other), key=lambda totals: totals.objective)
        assert dearer.bound is not None
        return dearer.bound >= cheaper.objective - slack
    gaps = (one.objective - one.bound) + (other.objective - other.bound)
    if figure == "minutes":
        amount = other.labor - one.labor
    return abs(amount) > gaps + slack or gaps <= 2 * slack


def _unweighted(one: Totals, other: Totals) -> bool:
    return all(abs(t.objective - t.cost) <= SAME * max(1.0, t.cost) for t in (one, other))


# -- differences by id -----------------------------------------------------------------------------

Value = TypeVar("Value")


def _differing(
    told: Sequence[Mapping[str, Value]],
    alike: Callable[[Value, Value], bool] = lambda one, other: one == other,
) -> list[tuple[str, tuple[Value | None, ...]]]:
    """Return each id whose value is not the same in all plans, with its values.

    Ids come in their own order, so that the order of the plans changes nothing.
    """
    found = []
    for id_ in sorted({id_ for one in told for id_ in one}):
        values = tuple(one.get(id_) for one in told)
        if not all(
            one is not None and other is not None and alike(one, other)
            for one, other in combinations(values, 2)
        ):
            found.append((id_, values))
    return found


def _metals(plan: Plan) -> dict[str, tuple[tuple[str, int | None, float], ...]]:
    """Return the metals of each edge that carries any, the thinnest first."""
    found: dict[str, set[tuple[str, int | None, float]]] = {}
    for piece in plan.pieces:
        for span in piece.spans:
            found.setdefault(span.edge, set()).add(
                (piece.metal, piece.gauge, round(piece.thickness_mm, 4))
            )
    return {
        edge: tuple(sorted(metals, key=lambda m: (m[2], m[0]))) for edge, metals in found.items()
    }


def _facts(piece: Piece) -> PieceFacts:
    blank = piece.blank
    return PieceFacts(
        mounting=piece.mounting,
        metal=piece.metal,
        gauge=piece.gauge,
        thickness_mm=piece.thickness_mm,
        from_mm=piece.from_mm,
        to_mm=piece.to_mm,
        root_length_mm=blank.root_length_mm,
        width_mm=blank.above_mm + blank.below_mm,
    )


def _alike(one: PieceFacts, other: PieceFacts) -> bool:
    """Whether two pieces of one id are cut alike, by a tape's measure."""
    sizes = (
        (one.thickness_mm, other.thickness_mm, 1e-3),
        (one.from_mm, other.from_mm, _TAPE_MM),
        (one.to_mm, other.to_mm, _TAPE_MM),
        (one.root_length_mm, other.root_length_mm, _TAPE_MM),
        (one.width_mm, other.width_mm, _TAPE_MM),
    )
    same = (one.mounting, one.metal, one.gauge) == (other.mounting, other.metal, other.gauge)
    return same and all(abs(a - b) <= slack for a, b, slack in sizes)


_TAPE_MM = 0.1
