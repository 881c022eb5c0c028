"""A small plan made by hand for the papers: blanks from the geometry, nests in plain rows.

The pieces are chosen so that each kind of drawing occurs: a straight strip, a gentle arc with
notches at bolts, a strip folded with slits, a tight curve with V-notches, and a mirrored twin.
"""

from __future__ import annotations

import math

from solver.data.line import Line, Stretch
from solver.data.plan import (
    Amount,
    BlankPlan,
    Cost,
    EdgePlan,
    Fold,
    HoursLine,
    HowMade,
    NestPlan,
    Offcut,
    Piece,
    Placed,
    Plan,
    Proof,
    PullStep,
    Purchase,
    Reason,
    Section,
    Span,
)
from solver.geometry.blanks import Fold as FoldAsked
from solver.geometry.blanks import LegCut, Notch, blank_of

INCH = 25.4
STAND, GRIP = 25.4, 38.1
NOTCHES = tuple(Notch(at, 12.7, 19.05, "grip") for at in (100.0, 300.0, 500.0, 700.0))
"""Bolts 5/16 in with 3/32 in of air on both sides would make 12.7 mm; stations are free."""


def blank_plan(line: Line, above: float, below: float, trim: float = 0.0, **more) -> BlankPlan:
    toward = more.pop("toward", "frame")
    blank = blank_of(line, 0.0, line.length_mm, above, below, extra_end_mm=trim, **more)
    return BlankPlan(
        outline_mm=blank.outline_mm,
        root_length_mm=blank.root_length_mm,
        above_mm=above,
        below_mm=below,
        area_mm2=blank.area_mm2,
        straight=blank.straight,
        folds=tuple(
            Fold(
                line_mm=fold.points_mm,
                angle_deg=fold.angle_deg,
                toward=toward,
                inside_radius_mm=1.5875,
                deduction_mm=1.23,
            )
            for fold in blank.folds
        ),
        slits_mm=blank.slits,
        v_notches_mm=blank.v_notches,
        notch_count=len(blank.notches),
    )


def piece(id_: str, edge: str, blank: BlankPlan, mounting="pinched", **more) -> Piece:
    trim = more.pop("trim_mm", 0.0)
    length = blank.root_length_mm - trim
    run = id_.partition(" #")[0]
    values = {
        "id": id_,
        "run": run,
        "from_mm": 0.0,
        "to_mm": length,
        "spans": (Span(edge=edge, from_mm=0.0, to_mm=length, backward=False),),
        "trim_mm": trim,
        "mounting": mounting,
        "metal": "aluminium",
        "gauge": 26,
        "thickness_mm": 0.405,
        "stand_mm": STAND,
        "grip_mm": 0.0 if mounting == "standing" else GRIP,
        "return_mm": 0.0,
        "visible": False,
        "blank": blank,
        "reason": Reason(rule="only stock", sentence="26 ga aluminium is the lightest"),
        "clamps": 5 if mounting == "clamped" else 0,
        "clamp_pitch_mm": 150.0 if mounting == "clamped" else None,
        "mass_kg": blank.area_mm2 * 1.1e-6,
    }
    return Piece(**{**values, **more})


def straight(length: float) -> Line:
    return Line((Stretch(length),))


def arc(length: float, radius: float) -> Line:
    return Line((Stretch(length, hard_start=1 / radius, hard_end=1 / radius),))


def pieces(longer_mm: float = 0.0) -> tuple[Piece, ...]:
    cuts = tuple(LegCut(at, "free", 12.0, 1.5, opens=True) for at in (200.0, 240.0, 280.0))
    vees = tuple(LegCut(at, "free", 12.0, 2.5, opens=False) for at in (60.0, 90.0, 120.0))
    fold = (FoldAsked(20.0, 90.0, "left"),)
    gentle = blank_plan(arc(820.0 + longer_mm, 1300.0), STAND, GRIP, 12.7, notches=NOTCHES)
    return (
        piece("lid | frame #1", "lid | frame", gentle, trim_mm=12.7),
        piece("lid | frame #2", "frame | lid", gentle, trim_mm=12.7, template_of="lid | frame #1"),
        piece(
            "frame | open #1",
            "frame | open",
            blank_plan(straight(600.0 + longer_mm), STAND, 31.75),
            "clamped",
        ),
        piece(
            "lid | hatch #1",
            "lid | hatch",
            blank_plan(
                straight(500.0 + longer_mm), 32.0, 0.0, folds=fold, cuts=cuts, toward="hatch"
            ),
            "standing",
            return_mm=12.0,
        ),
        piece(
            "lid | hatch #2",
            "lid | hatch",
            blank_plan(
                arc(180.0, 260.0 + longer_mm), 32.0, 0.0, folds=fold, cuts=vees, toward="hatch"
            ),
            "standing",
            return_mm=12.0,
        ),
    )


def nest_of(all_pieces: tuple[Piece, ...], width: float, length: float) -> NestPlan:
    """Lay blanks one above the other, a sixteenth of an inch apart; what is above is kept."""
    placed, y = [], 0.0
    for one in all_pieces:
        xs = [x for x, _ in one.blank.outline_mm]
        ys = [y0 for _, y0 in one.blank.outline_mm]
        placed.append(
            Placed(piece=one.id, x_mm=-min(xs), y_mm=y - min(ys), turn_deg=0.0, flipped=False)
        )
        y += max(ys) - min(ys) + INCH / 16
    ring = ((0.0, y), (length, y), (length, width), (0.0, width))
    kept = Offcut(outline_mm=ring, area_mm2=length * (width - y))
    used = math.fsum(one.blank.area_mm2 for one in all_pieces)
    return NestPlan(
        id="nest 1",
        stock="26 ga aluminium sheet 36 in x 48 in",
        bought=True,
        placed=tuple(placed),
        offcuts=(kept,),
        scrap_mm2=length * width - used - kept.area_mm2,
    )


def section(id_: str, *patches: str, people: int | None = 2) -> Section:
    return Section(
        id=id_,
        patches=patches,
        area_mm2=1e6,
        mass_kg=20.0,
        extent_mm=None,
        centre_mm=None,
        people=people,
        lift_basis="44 lb: 2 people may lift it; local codes and licensed practice decide",
    )


def edge(id_: str, treatment: str, *, joint: bool = False, bolts: int = 0) -> EdgePlan:
    packer = 2.77 if joint else 0.0
    return EdgePlan(edge=id_, treatment=treatment, joint=joint, bolts=bolts, packer_mm=packer)


def small_plan(**more) -> Plan:
    """Three sections; "lid" comes off first, then "hatch", "frame" stays longest."""
    made = pieces()
    hours = tuple(
        HoursLine(operation=name, count=count, unit=unit, minutes=minutes)
        for name, count, unit, minutes in (
            ("set up a metal", 1, "metals", 10.0),
            ("template", 4, "templates", 16.0),
            ("snips", 30, "ft", 9.0),
            ("deburr", 30, "ft", 6.0),
            ("fold", 2, "folds", 5.0),
            ("slits", 3, "slits", 0.75),
            ("V-notches", 3, "V-notches", 1.5),
            ("notches", 8, "notches", 4.0),
            ("fit", 5, "pieces", 25.0),
            ("seams", 2, "seams", 6.0),
            ("bolts", 11, "bolts", 8.25),
            ("clamps", 5, "clamps", 2.5),
            ("hold standing", 2.2, "ft", 3.3),
            ("fillet", 15, "ft", 15.0),
            ("release wax", 9, "ft", 9.0),
            ("mold flanges", 8, "ft", 96.0),
            ("sections", 3, "sections", 60.0),
        )
    )
    minutes = math.fsum(line.minutes for line in hours) * 1.15
    values = {
        "id": "0123456789ab",
        "title": "Lid, hatch and frame",
        "length_unit": "in",
        "currency": "USD",
        "scenario_digest": "0" * 16,
        "status": "proven",
        "goal": "cheapest",
        "cost": Cost(
            metal=38.0, joints=30.55, labor=255.0, total=323.55, waste_kg=0.2, objective=323.55
        ),
        "proof": Proof(
            bound=323.55,
            gap=0.0,
            covers="",
            purchase_bound=38.0,
            purchase_gap=0.0,
            purchase_covers="",
        ),
        "sections": (
            section("A", "lid"),
            section("B", "hatch"),
            section("C", "frame", people=None),
        ),
        "removal": (
            PullStep(section="A", pull=(0.0, 0.0, 1.0), draft_deg=90.0, draft_set_by=("lid",)),
            PullStep(
                section="B",
                pull=(0.0, 0.0, 1.0),
                draft_deg=9.0,
                draft_set_by=("hatch",),
                after=("A",),
                drawn_first=("lid | frame",),
            ),
            PullStep(
                section="C",
                pull=(0.0, 0.6, 0.8),
                draft_deg=5.0,
                draft_set_by=("frame",),
                after=("B",),
            ),
        ),
        "edges": (
            edge("lid | frame", "pinched", joint=True, bolts=6),
            edge("frame | lid", "pinched", joint=True, bolts=5),
            edge("frame | open", "clamped"),
            edge("lid | hatch", "standing"),
        ),
        "pieces": made,
        "purchases": (
            Purchase(
                stock="26 ga aluminium sheet 36 in x 48 in",
                buy=1,
                from_hand=0,
                unit_price=38.0,
                price=38.0,
            ),
        ),
        "nests": (nest_of(made, 36 * INCH, 48 * INCH),),
        "amounts": (
            Amount(
                item="bolts 5/16 in x 1 in", amount=11, unit="bolts", buy=11, price=6.6, note=""
            ),
            Amount(item="clamps", amount=5, unit="clamps", buy=3, price=18.0, note="2 on hand"),
            Amount(item="fillet wax or clay", amount=0.05, unit="litres", buy=0.05, price=0.9),
            Amount(item="release wax", amount=4.2, unit="m2", buy=4.2, price=5.05),
        ),
        "hours": hours,
        "cautions": ("Cut metal is sharp.",),
        "made": HowMade(version="0", seed=0, seconds=None, time_cut=False, rounds=1, libraries={}),
        "minutes": minutes,
    }
    return Plan(**{**values, **more})
