"""One lid in a frame, and a plan for it written by hand.

The lid is a rectangle 24 x 18 in with corners of radius 2 in: 2·(24 + 18) - 8·2 + 2π·2 = 80.57 in
round.  The frame's outer border, 36 x 30 in with radius 3 in, is 132 - 24 + 6π = 126.85 in round.
The lid's border is pinched: 24 ga aluminium, 1 in stand and 3/4 in grip, two pieces from a roll of
8 in.  The outer border is clamped: 22 ga galvanised, 1 in stand and 1-1/2 in grip, four pieces from
a sheet of 36 x 48 in.
"""

from __future__ import annotations

import math

from solver.data.job import INCH_MM, OPEN, Edge, Job, Patch, Run, RunEdge, StockItem
from solver.data.line import Line, Stretch
from solver.data.plan import (
    Amount,
    BlankPlan,
    Cost,
    EdgePlan,
    HoursLine,
    HowMade,
    NestPlan,
    Piece,
    Placed,
    Plan,
    Proof,
    PullStep,
    Purchase,
    Reason,
    Requirement,
    Section,
    Span,
)

LID_ROUND_MM = (2 * (24 + 18) - 8 * 2 + 2 * math.pi * 2) * INCH_MM
FRAME_ROUND_MM = (2 * (36 + 30) - 8 * 3 + 2 * math.pi * 3) * INCH_MM

SCENARIO = {
    "title": "One lid in a frame",
    "length_unit": "in",
    "patches": {
        "lid": {"area": "2.98 ft2", "faces": "up"},
        "frame": {"area": "4.47 ft2", "faces": "up"},
    },
    "edges": {
        "lid | frame": {"rectangle": [24, 18], "radius": 2, "stand": 1},
        "frame | open": {"rectangle": [36, 30], "radius": 3, "stand": 1, "grip": "1-1/2 in"},
    },
    "stock": {
        "currency": "USD",
        "rolls": [{"metal": "aluminium", "gauge": 24, "width": 8, "length": "10 ft", "price": 14}],
        "sheets": [{"metal": "galvanised", "gauge": 22, "size": [36, 48], "price": 38}],
    },
    "shop": {"labor_rate": 55},
    "goal": "cheapest",
}


def lid_job(length_unit: str = "in") -> Job:
    """Return the job as an intake would spell it out."""
    up = (0.0, 0.0, 1.0)
    return Job(
        title="One lid in a frame",
        length_unit=length_unit,  # type: ignore[arg-type]
        currency="USD",
        patches=(
            Patch("lid", "lid", 2.98 * 304.8**2, (up,)),
            Patch("frame", "frame", 4.47 * 304.8**2, (up,)),
        ),
        edges=(
            Edge(
                "lid | frame",
                "lid",
                "frame",
                Line((Stretch(LID_ROUND_MM),), closed=True),
                None,
                None,
            ),
            Edge(
                "frame | open",
                "frame",
                OPEN,
                Line((Stretch(FRAME_ROUND_MM),), closed=True),
                None,
                None,
                grip_mm=1.5 * INCH_MM,
            ),
        ),
        runs=(
            Run("lid | frame", (RunEdge("lid | frame", False),), True),
            Run("frame | open", (RunEdge("frame | open", False),), True),
        ),
        stock=(
            StockItem("roll-1", "roll", "aluminium", 24, 0.511, 0.511, 1.38, 203.2, 3048.0, 14.0),
            StockItem("sheet-1", "sheet", "galvanised", 22, 0.853, 0.81, 6.86, 914.4, 1219.2, 38.0),
        ),
    )


def _piece(number: int, run: str, from_mm: float, to_mm: float, *, clamped: bool) -> Piece:
    stand, grip = 25.4, 1.5 * INCH_MM if clamped else 0.75 * INCH_MM
    long = to_mm - from_mm + 12.7
    return Piece(
        id=f"P{number}",
        run=run,
        from_mm=from_mm,
        to_mm=to_mm,
        spans=(Span(edge=run, from_mm=from_mm, to_mm=to_mm, backward=False),),
        trim_mm=12.7,
        mounting="clamped" if clamped else "pinched",
        metal="galvanised" if clamped else "aluminium",
        gauge=22 if clamped else 24,
        thickness_mm=0.853 if clamped else 0.511,
        stand_mm=stand,
        grip_mm=grip,
        return_mm=0.0,
        visible=False,
        blank=BlankPlan(
            outline_mm=((0, -grip), (long, -grip), (long, stand), (0, stand)),
            root_length_mm=long,
            above_mm=stand,
            below_mm=grip,
            area_mm2=long * (stand + grip),
            straight=True,
        ),
        reason=Reason(
            rule="only stock" if clamped else "upright",
            sentence=(
                "22 ga galvanised is the only metal in the stock that an open edge takes"
                if clamped
                else "26 ga aluminium would lean 0.15 in under a brush, more than 1/8 in"
            ),
        ),
        clamp_pitch_mm=152.4 if clamped else None,
        preform_mm=101.6 if clamped else 0.0,
        template_of="P1" if number == 2 else None,
        mass_kg=0.4,
    )


def lid_plan(**changes: object) -> Plan:
    """Return the plan, with fields changed where a test needs another."""
    half, quarter = LID_ROUND_MM / 2, FRAME_ROUND_MM / 4
    pieces = (
        _piece(1, "lid | frame", 0.0, half, clamped=False),
        _piece(2, "lid | frame", half, 2 * half, clamped=False),
        *(
            _piece(3 + k, "frame | open", k * quarter, (k + 1) * quarter, clamped=True)
            for k in range(4)
        ),
    )
    hours = (
        HoursLine(operation="set up a metal", count=2, unit="metals", minutes=20),
        HoursLine(operation="template", count=5, unit="templates", minutes=24),
        HoursLine(operation="snips", count=17.5, unit="ft", minutes=11),
        HoursLine(operation="deburr", count=35, unit="ft", minutes=7),
        HoursLine(operation="fit", count=6, unit="pieces", minutes=33),
        HoursLine(operation="seams", count=6, unit="seams", minutes=18),
        HoursLine(operation="bolts", count=14, unit="bolts", minutes=10.5),
        HoursLine(operation="clamps", count=21, unit="clamps", minutes=10.5),
        HoursLine(operation="fillet", count=24, unit="ft", minutes=24),
        HoursLine(operation="release wax", count=17.3, unit="ft", minutes=17.3),
        HoursLine(operation="mold flanges", count=12, unit="ft", minutes=144),
        HoursLine(operation="sections", count=2, unit="sections", minutes=40),
    )
    minutes = 1.15 * sum(line.minutes for line in hours)
    labor, joints = minutes / 60 * 55, 60.1
    total = 52 + joints + labor
    fields: dict[str, object] = {
        "id": "lid-by-hand",
        "title": "One lid in a frame",
        "length_unit": "in",
        "currency": "USD",
        "scenario_digest": "0" * 64,
        "status": "within gap",
        "goal": "cheapest",
        "cost": Cost(
            metal=52, joints=joints, labor=labor, total=total, waste_kg=3.1, objective=total
        ),
        "proof": Proof(
            bound=round(0.982 * total, 2),
            gap=0.018,
            covers="all splits, mountings, metals and piece counts; seams anywhere legal; nests "
            "in lanes square to the stock",
            purchase_bound=52.0,
            purchase_gap=0.0,
            purchase_covers="these blanks, square to the stock",
        ),
        "sections": (
            Section(
                id="frame",
                patches=("frame",),
                area_mm2=4.47 * 304.8**2,
                mass_kg=9.8,
                extent_mm=None,
                centre_mm=None,
                people=1,
                lift_basis="NIOSH",
            ),
            Section(
                id="lid",
                patches=("lid",),
                area_mm2=2.98 * 304.8**2,
                mass_kg=6.4,
                extent_mm=None,
                centre_mm=None,
                people=1,
                lift_basis="NIOSH",
            ),
        ),
        "removal": (
            PullStep(section="lid", pull=(0, 0, 1), draft_deg=90, draft_set_by=("lid",)),
            PullStep(
                section="frame",
                pull=(0, 0, 1),
                draft_deg=90,
                draft_set_by=("frame",),
                after=("lid",),
            ),
        ),
        "edges": (
            EdgePlan(edge="lid | frame", treatment="pinched", joint=True, bolts=14, packer_mm=2.66),
            EdgePlan(edge="frame | open", treatment="clamped", joint=False),
        ),
        "pieces": pieces,
        "purchases": (
            Purchase(stock="roll-1", buy=1, from_hand=0, unit_price=14, price=14),
            Purchase(stock="sheet-1", buy=1, from_hand=0, unit_price=38, price=38),
        ),
        "nests": (
            NestPlan(
                id="N1",
                stock="roll-1",
                bought=True,
                placed=(
                    Placed(piece="P1", x_mm=25.4, y_mm=19.05, turn_deg=0, flipped=False),
                    Placed(piece="P2", x_mm=25.4, y_mm=65.0, turn_deg=0, flipped=False),
                ),
                offcuts=(),
                scrap_mm2=0.0,
            ),
        ),
        "amounts": (
            Amount(item="bolts 5/16 x 1-1/4 in", amount=14, unit="bolts", buy=14, price=8.4),
            Amount(item="clamps", amount=21, unit="clamps", buy=6, price=36, note="15 on hand"),
            Amount(item="packer 0.105 in thick", amount=6.71, unit="ft", buy=6.71, price=2.35),
            Amount(item="fillet wax or clay", amount=0.2, unit="litres", buy=0.2, price=3.6),
            Amount(item="release wax", amount=0.5, unit="m2", buy=0.5, price=0.6),
        ),
        "hours": hours,
        "cautions": (
            "Boxes are missing, so the size limit was not checked and joints face as loops do.",
        ),
        "made": HowMade(
            version="0.1.0", seed=0, seconds=10.0, time_cut=False, rounds=1, libraries={}
        ),
        "minutes": minutes,
    }
    return Plan.model_validate(fields | changes)


def whole_plan(**changes: object) -> Plan:
    """Return a second option: lid and frame as one section, the lid's metal standing, dearer."""
    first = lid_plan()
    assert first.cost is not None
    cost = first.cost.model_copy(
        update={
            "metal": 66.0,
            "total": first.cost.total + 14,
            "objective": first.cost.objective + 14,
        }
    )
    section = first.sections[0].model_copy(
        update={"id": "A", "patches": ("frame", "lid"), "mass_kg": 16.2, "people": 2}
    )
    fields: dict[str, object] = {
        "id": "whole-by-hand",
        "cost": cost,
        "proof": first.proof.model_copy(update={"bound": cost.objective, "gap": 0.0}),
        "sections": (section,),
        "removal": (first.removal[1].model_copy(update={"section": "A", "after": ()}),),
        "edges": (
            EdgePlan(edge="lid | frame", treatment="standing", joint=False),
            EdgePlan(edge="frame | open", treatment="clamped", joint=False),
        ),
    }
    return lid_plan(**fields | changes)


def impossible_plan() -> Plan:
    """Return the answer where the lift limit is below what one patch weighs."""
    return lid_plan(
        status="impossible",
        cost=None,
        proof=Proof(
            bound=None,
            gap=None,
            covers="",
            purchase_bound=None,
            purchase_gap=None,
            purchase_covers="",
        ),
        sections=(),
        removal=(),
        edges=(),
        pieces=(),
        purchases=(),
        nests=(),
        amounts=(),
        hours=(),
        cautions=(),
        minutes=0.0,
        impossible=(
            Requirement(
                rule="lift limit",
                ids=("shop.lift_limit", "frame"),
                sentence='section limit 5 kg, but "frame" alone weighs 9.8 kg',
            ),
        ),
    )


def unanswered_plan(status: str = "no answer") -> Plan:
    """Return the answer where no first plan was found in time."""
    return impossible_plan().model_copy(update={"status": status, "impossible": ()})
