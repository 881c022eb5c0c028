"""Small complete jobs and plans, worked by hand: the checker must accept all of them.

Nothing here comes from the planner.  Sums are written out so that a reader can follow them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from solver.data.job import (
    Edge,
    EdgeNotch,
    Job,
    Patch,
    Rules,
    Run,
    RunEdge,
    Shop,
    StockItem,
)
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

INCH = 25.4
FOOT = 304.8

MADE = HowMade(version="0", seed=0, seconds=None, time_cut=False, rounds=1, libraries={})

ALUMINIUM = StockItem(
    id="al roll",
    form="roll",
    metal="aluminium",
    gauge=24,
    thickness_mm=0.51,
    core_mm=0.51,
    mass_kg_m2=1.4,
    width_mm=203.2,
    length_mm=3048.0,
    price=14.0,
)
GALVANISED = StockItem(
    id="zn sheet",
    form="sheet",
    metal="galvanised",
    gauge=22,
    thickness_mm=0.86,
    core_mm=0.76,
    mass_kg_m2=6.9,
    width_mm=914.4,
    length_mm=1219.2,
    price=38.0,
)
THIN_GALVANISED = StockItem(
    id="thin zn roll",
    form="roll",
    metal="galvanised",
    gauge=26,
    thickness_mm=0.55,
    core_mm=0.455,
    mass_kg_m2=4.4,
    width_mm=203.2,
    length_mm=3048.0,
    price=30.0,
)


@dataclass(frozen=True)
class HandPlan:
    """A job and a plan that keeps all its rules."""

    job: Job
    plan: Plan


def box(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def finished(job, *, hours, amounts, metal, waste_kg, **fields):
    """Head the plan, sum its minutes and its money; the goal is the cheapest, all weights 1."""
    minutes = 1.15 * sum(line.minutes for line in hours)
    labor = minutes / 60 * 55.0
    joints = sum(amount.price for amount in amounts)
    total = metal + joints + labor
    cost = Cost(
        metal=metal, joints=joints, labor=labor, total=total, waste_kg=waste_kg, objective=total
    )
    proof = Proof(
        bound=total,
        gap=0.0,
        covers="all plans",
        purchase_bound=metal,
        purchase_gap=0.0,
        purchase_covers="all nests",
    )
    plan = Plan(
        id="p",
        title=job.title,
        length_unit=job.length_unit,
        currency=job.currency,
        scenario_digest="0",
        status="proven",
        goal="cheapest",
        cost=cost,
        proof=proof,
        hours=hours,
        amounts=amounts,
        minutes=minutes,
        made=MADE,
        **fields,
    )
    return HandPlan(job, plan)


def lines(table):
    """Make hours from rows (operation, count, unit, minutes)."""
    return tuple(HoursLine(operation=o, count=c, unit=u, minutes=m) for o, c, u, m in table)


# --- a flat lid in a frame ------------------------------------------------------------------------


def lid_in_a_frame(halves: int = 1) -> HandPlan:
    """A lid 24 x 18 in with corners of radius 2 in, standing in its frame; one section.

    Round the lid: 2·(20 + 14) in straight and 2·pi·2 in of arcs, 68 + 12.566 = 80.566 in, from the
    middle of a long side.  One piece all round, or two halves with two of the corners each.
    """
    arc = math.pi * 2 * INCH / 2
    turn = Stretch(arc, easy_start=1 / (2 * INCH), easy_end=1 / (2 * INCH))
    line = Line(
        (
            Stretch(10 * INCH), turn, Stretch(14 * INCH), turn,
            Stretch(20 * INCH), turn, Stretch(14 * INCH), turn, Stretch(10 * INCH),
        ),
        closed=True,
    )  # fmt: skip
    length = (68 + 4 * math.pi) * INCH
    job = Job(
        title="lid",
        length_unit="in",
        currency="USD",
        patches=(
            Patch("lid", "lid", 280_000.0, ((0.0, 0.0, 1.0),)),
            Patch("frame", "frame", 420_000.0, ((0.0, 0.0, 1.0),)),
        ),
        edges=(Edge("lid | frame", "lid", "frame", line, None, None),),
        runs=(Run("R1", (RunEdge("lid | frame", False),), closed=True),),
        stock=(ALUMINIUM,),
    )
    part = length / halves
    pieces = []
    for n in range(halves):
        # The last one has 12.7 mm to trim; all stand 25.4 and have no foot.
        trim = 12.7 if n == halves - 1 else 0.0
        area = (part + trim) * 25.4
        span = Span(edge="lid | frame", from_mm=n * part, to_mm=(n + 1) * part, backward=False)
        pieces.append(
            Piece(
                id=f"P{n + 1}", run="R1", from_mm=n * part, to_mm=(n + 1) * part, spans=(span,),
                trim_mm=trim, mounting="standing", metal="aluminium", gauge=24, thickness_mm=0.51,
                stand_mm=25.4, grip_mm=0.0, return_mm=0.0, visible=False,
                blank=BlankPlan(
                    outline_mm=box(0.0, 0.0, part + trim, 25.4), root_length_mm=part + trim,
                    above_mm=25.4, below_mm=0.0, area_mm2=area, straight=True,
                ),
                reason=Reason(rule="only stock", sentence="the only metal in stock"),
                # 10e6·0.51/(2·21e3) = 121 mm: corners of 50.8 mm are tighter than it springs.
                preform_mm=4 * math.pi * INCH / halves,
                mass_kg=area * 1.4e-6,
            )
        )  # fmt: skip
    # Surface and frame 0.7 m2·18·1.15; no joint and no open edge; all of the metal, as in the job:
    # (stand 25.4 + grip 19.05)·length at 1.4 kg/m2.
    mass = 0.7 * 18 * 1.15 + 44.45 * length * 1.4e-6
    ft, root_ft = length / FOOT, (length + 12.7) / FOOT
    area = (length + 12.7) * 25.4
    border_ft = 2 * (length + 12.7 + halves * 25.4) / FOOT
    hours = lines(
        (
            ("set up a metal", 1, "metals", 10.0),
            ("template", halves, "templates", 3 * halves + 0.5 * root_ft),
            ("snips", border_ft, "ft", 0.25 * border_ft),
            ("deburr", border_ft, "ft", 0.2 * border_ft),
            ("pre-form", 4 * math.pi / 12, "ft", 4 * math.pi / 12),
            ("fit", halves, "pieces", 4 * halves + 0.5 * ft),
            ("seams", halves, "seams", 3.0 * halves),
            ("hold standing", ft, "ft", 1.5 * ft),
            ("fillet", 2 * ft, "ft", 2 * ft),
            ("release wax", ft, "ft", ft),
            ("sections", 1, "sections", 20.0),
        )
    )
    # A fillet of 3/64 in at 90 degrees has 0.2146·r2 [derived]; both sides, a quarter more.
    litres = (3 / 64 * INCH) ** 2 * (1 - math.pi / 4) * length * 2 * 1.25 / 1e6
    waxed = 0.7 + 2 * area / 1e6
    amounts = (
        Amount(item="seam tape", amount=halves, unit="seams", buy=halves, price=0.1 * halves),
        Amount(item="fillet", amount=litres, unit="litre", buy=litres, price=18 * litres),
        Amount(item="release wax", amount=waxed, unit="m2", buy=waxed, price=1.2 * waxed),
    )
    # Blanks one above the other, 25.4 + 1.6 mm each; what is above 60 mm is kept, less the ends.
    offcut = (3048.0 - 2 * 25.4) * 143.2
    scrap = 203.2 * 3048.0 - area - offcut
    return finished(
        job,
        hours=hours,
        amounts=amounts,
        metal=14.0,
        waste_kg=scrap * 1.4e-6,
        sections=(
            Section(
                id="S1", patches=("lid", "frame"), area_mm2=700_000.0, mass_kg=mass,
                extent_mm=None, centre_mm=None, people=2, lift_basis="two people",
            ),
        ),
        removal=(
            PullStep(
                section="S1", pull=(0.0, 0.0, 1.0), draft_deg=90.0, draft_set_by=("lid", "frame")
            ),
        ),
        edges=(EdgePlan(edge="lid | frame", treatment="standing", joint=False),),
        pieces=tuple(pieces),
        purchases=(Purchase(stock="al roll", buy=1, from_hand=0, unit_price=14.0, price=14.0),),
        nests=(
            NestPlan(
                id="N1", stock="al roll", bought=True,
                placed=tuple(
                    Placed(piece=piece.id, x_mm=25.4, y_mm=27.0 * n, turn_deg=0.0, flipped=False)
                    for n, piece in enumerate(pieces)
                ),
                offcuts=(Offcut(outline_mm=box(25.4, 60.0, 3022.6, 203.2), area_mm2=offcut),),
                scrap_mm2=scrap,
            ),
        ),
    )  # fmt: skip


def lid_in_two_halves() -> HandPlan:
    """The same with a seam in the middle of either long side."""
    return lid_in_a_frame(halves=2)


# --- a box in two sections ------------------------------------------------------------------------

LEAN = (0.0, math.cos(math.radians(5)), math.sin(math.radians(5)))
"""A wall that leaves 5 degrees of draft when pulled up."""


def box_in_two_sections() -> HandPlan:
    """Part a beside part b, and b cut in two: metal standing, pinched and clamped, a witness line.

    Sections: S1 = a + b.near, S2 = b.far.  The run between a and b goes 600 mm along b.near, where
    it stands, and 900 mm along b.far, where the joint pinches it: a seam is forced at 600.  The
    joint b.near | b.far, 500 mm, carries a witness line.  b.far ends open over 1000 mm.
    """
    grip = 30.0  # reaches past 25.4 - 7.9375/2 - 3.175 = 18.25625 by 11.74375: notches at bolts
    deep = 11.74375
    wide = 0.3125 * INCH + 2 * 3.175  # 14.2875
    job = Job(
        title="box",
        length_unit="mm",
        currency="USD",
        patches=(
            Patch("a", "a", 300_000.0, ((0.0, 0.0, 1.0),), box_mm=((0, 0, 0), (600, 500, 10))),
            Patch(
                "b.near", "b", 200_000.0, ((0.0, 0.0, 1.0), LEAN),
                box_mm=((0, 500, 0), (600, 800, 50)),
            ),
            Patch(
                "b.far", "b", 500_000.0, ((1.0, 0.0, 0.0),), box_mm=((600, 0, 0), (700, 800, 600))
            ),
        ),
        edges=(
            Edge(
                "a | b.near", "a", "b.near", Line((Stretch(600.0),)), "A", "B",
                stand_mm=25.0, grip_mm=grip,
            ),
            Edge(
                "a | b.far", "a", "b.far", Line((Stretch(900.0),)), "B", "C",
                stand_mm=25.0, grip_mm=grip, facings=((0.6, 0.0, 0.8),),
                notches=(EdgeNotch(450.0, 40.0, 8.0),),
            ),
            Edge(
                "b.near | b.far", "b.near", "b.far", Line((Stretch(500.0),)), "B", "D",
                facings=((1.0, 0.0, 0.0),),
            ),
            Edge(
                "b.far | open", "b.far", "open", Line((Stretch(1000.0),)), "C", "D",
                stand_mm=25.0, grip_mm=40.0,
            ),
        ),
        runs=(
            Run("R1", (RunEdge("a | b.near", False), RunEdge("a | b.far", False)), closed=False),
            Run("R2", (RunEdge("b.far | open", True),), closed=False),
        ),
        corners=(("B", ("R1",)),),
        stock=(ALUMINIUM, GALVANISED, THIN_GALVANISED),
        shop=Shop(bolts_on_hand=4, clamps_on_hand=1),
        rules=Rules(trim_per_run_mm=10.0),
    )  # fmt: skip

    # Bolts 50.8 mm from both ends and no wider than 152.4: 900 mm leave 798.4, 6 spaces, 7 bolts;
    # 500 mm leave 398.4, 3 spaces, 4 bolts.
    bolts = [50.8 + 798.4 / 6 * n for n in range(7)]

    def notched(root, above, below, at_bolts, asked):
        """Outline with notches up from the grip's edge and down from the free edge."""
        ring = [(0.0, -below)]
        for at in at_bolts:
            left, right = at - wide / 2, at + wide / 2
            ring += [(left, -below), (left, deep - below), (right, deep - below), (right, -below)]
        ring += [(root, -below), (root, above)]
        for at, width, depth in asked:
            left, right = at - width / 2, at + width / 2
            ring += [(right, above), (right, above - depth), (left, above - depth), (left, above)]
        return (*ring, (0.0, above))

    # P1 600 x 25, standing.  P2 900 + 10 to trim, 25 + 30 wide, 7 notches at bolts and one asked.
    # P3 1000 + 10 to trim, 25 + 40 wide.
    area_1 = 600.0 * 25.0
    area_2 = 910.0 * 55.0 - 7 * wide * deep - 40.0 * 8.0
    area_3 = 1010.0 * 65.0
    border_1 = 2 * (600.0 + 25.0)
    border_2 = 2 * (910.0 + 55.0) + 7 * 2 * deep + 2 * 8.0
    border_3 = 2 * (1010.0 + 65.0)
    # Clamps: (192·E·I·d/P)^(1/3) with E 29.5e6 psi = 203395 MPa, I = 31.75·0.76^3/12 = 1.1615 mm4,
    # d 0.79375 mm, P 22.241 N: 117.4 mm, so 110 will do: ceil(1000/110) + 1 = 11 clamps.
    pitch = 110.0
    pieces = (
        Piece(
            id="P1", run="R1", from_mm=0.0, to_mm=600.0,
            spans=(Span(edge="a | b.near", from_mm=0.0, to_mm=600.0, backward=False),),
            trim_mm=0.0, mounting="standing", metal="aluminium", gauge=24, thickness_mm=0.51,
            stand_mm=25.0, grip_mm=0.0, return_mm=0.0, visible=False,
            blank=BlankPlan(
                outline_mm=box(0.0, 0.0, 600.0, 25.0), root_length_mm=600.0, above_mm=25.0,
                below_mm=0.0, area_mm2=area_1, straight=True,
            ),
            reason=Reason(rule="price", sentence="the cheapest that will do"),
            mass_kg=area_1 * 1.4e-6,
        ),
        Piece(
            id="P2", run="R1", from_mm=600.0, to_mm=1500.0,
            spans=(Span(edge="a | b.far", from_mm=0.0, to_mm=900.0, backward=False),),
            trim_mm=10.0, mounting="pinched", metal="aluminium", gauge=24, thickness_mm=0.51,
            stand_mm=25.0, grip_mm=grip, return_mm=0.0, visible=False,
            blank=BlankPlan(
                outline_mm=notched(910.0, 25.0, grip, bolts, [(450.0, 40.0, 8.0)]),
                root_length_mm=910.0, above_mm=25.0, below_mm=grip, area_mm2=area_2, straight=True,
                notch_count=8,
            ),
            reason=Reason(rule="price", sentence="the cheapest that will do"),
            mass_kg=area_2 * 1.4e-6,
        ),
        Piece(
            id="P3", run="R2", from_mm=0.0, to_mm=1000.0,
            spans=(Span(edge="b.far | open", from_mm=0.0, to_mm=1000.0, backward=True),),
            trim_mm=10.0, mounting="clamped", metal="galvanised", gauge=22, thickness_mm=0.86,
            stand_mm=25.0, grip_mm=40.0, return_mm=0.0, visible=False,
            blank=BlankPlan(
                outline_mm=box(0.0, -40.0, 1010.0, 25.0), root_length_mm=1010.0, above_mm=25.0,
                below_mm=40.0, area_mm2=area_3, straight=True,
            ),
            # The thin one: (192·203395·(31.75·0.455^3/12)·0.79375/22.241)^(1/3) = 70 mm < 101.6.
            reason=Reason(rule="clamp pitch", sentence="26 ga lifts between clamps"),
            clamp_pitch_mm=pitch,
            clamps=11,
            mass_kg=area_3 * 6.9e-6,
        ),
    )  # fmt: skip

    # Metal in the sections, at the heaviest 6.9 kg/m2: edge 1 (25 + 30)·600 both halves in S1;
    # edge 2 (25 + 30)·900 half and half; the open edge (25 + 40)·1000 all in S2.
    # Flanges 50 mm at 18 kg/m2: S1 has joints of 900 + 500, S2 the same and 1000 open.
    mass_1 = 0.5 * 18 * 1.15 + 0.05 * 1.4 * 18 + 6.9e-6 * (55 * 600 + 55 * 900 / 2)
    mass_2 = 0.5 * 18 * 1.15 + 0.05 * 2.4 * 18 + 6.9e-6 * (55 * 900 / 2 + 65 * 1000)

    gap = 3.175
    metal_ft, joint_ft = 2500 / FOOT, 1400 / FOOT
    flange_ft = joint_ft + 500 / FOOT
    border_al, border_zn = (border_1 + border_2) / FOOT, border_3 / FOOT
    roots = (600.0 + 910.0 + 1010.0) / FOOT
    # Fillets: both parts at edges 1 and 2, one side at the open edge.
    sides_ft = (2 * 1500 + 1000) / FOOT
    hours = lines(
        (
            ("set up a metal", 2, "metals", 20.0),
            ("template", 3, "templates", 9 + 0.5 * roots),
            # 0.86 mm lies between 22 and 20 ga galvanised: the plain rate.
            ("snips", border_al + border_zn, "ft", 0.25 * border_al + 0.6 * border_zn),
            ("deburr", border_al + border_zn, "ft", 0.2 * (border_al + border_zn)),
            ("notches", 8, "notches", 4.0),
            ("fit", 3, "pieces", 12 + 0.5 * metal_ft),
            ("seams", 1, "seams", 3.0),
            ("taped corners", 1, "corners", 3.0),
            ("bolts", 11, "bolts", 8.25),
            ("clamps", 11, "clamps", 5.5),
            ("hold standing", 600 / FOOT, "ft", 1.5 * 600 / FOOT),
            ("fillet", sides_ft, "ft", sides_ft),
            ("release wax", metal_ft, "ft", metal_ft),
            ("mold flanges", flange_ft, "ft", 12 * flange_ft),
            ("witness lines", 500 / FOOT, "ft", 6 * 500 / FOOT),
            ("sections", 2, "sections", 40.0),
        )
    )
    litres = (3 / 64 * INCH) ** 2 * (1 - math.pi / 4) * 4000.0 * 1.25 / 1e6
    waxed = 1.0 + 2 * (area_1 + area_2 + area_3) / 1e6
    amounts = (
        # 11 bolts of which 4 are there: 2·6 of flanges, 3.175 of gap, two washers of 2.108 and a
        # nut of 6.747 (ASME B18.2.2, B18.21.1 [memory]) stack up to 26.14, so 1-1/4 in.
        # 11 clamps of which 1 is there.
        Amount(item="bolts 5/16 in x 1-1/4 in", amount=11, unit="bolts", buy=7, price=4.2),
        Amount(item="clamp", amount=11, unit="clamps", buy=10, price=60.0),
        Amount(
            item="packer 2.665 mm", amount=900 / FOOT, unit="ft", buy=900 / FOOT,
            price=0.35 * 900 / FOOT,
        ),
        Amount(
            item="packer 3.175 mm", amount=500.0, unit="mm", buy=500.0, price=0.35 * 500 / FOOT
        ),
        Amount(
            item="mold flange laminate", amount=flange_ft, unit="ft", buy=flange_ft,
            price=2.5 * flange_ft,
        ),
        Amount(item="seam tape", amount=2, unit="seams", buy=2, price=0.2),
        Amount(item="fillet", amount=litres, unit="litre", buy=litres, price=18 * litres),
        Amount(item="release wax", amount=waxed, unit="m2", buy=waxed, price=1.2 * waxed),
    )  # fmt: skip
    roll, sheet = 203.2 * 3048.0, 914.4 * 1219.2
    offcut = 800.0 * 1219.2
    scrap_1 = roll - area_1 - area_2
    scrap_2 = sheet - area_3 - offcut
    return finished(
        job,
        hours=hours,
        amounts=amounts,
        metal=14.0 + 38.0,
        waste_kg=scrap_1 * 1.4e-6 + scrap_2 * 6.9e-6,
        sections=(
            Section(
                id="S1", patches=("a", "b.near"), area_mm2=500_000.0, mass_kg=mass_1,
                # (300, 250, 5) by 3/5 and (300, 650, 25) by 2/5.
                extent_mm=(600.0, 800.0, 50.0), centre_mm=(300.0, 410.0, 13.0), people=2,
                lift_basis="two",
            ),
            Section(
                id="S2", patches=("b.far",), area_mm2=500_000.0, mass_kg=mass_2,
                extent_mm=(100.0, 800.0, 600.0), centre_mm=(650.0, 400.0, 300.0), people=2,
                lift_basis="two",
            ),
        ),
        # S2 goes first: pulled up, S1 would lean 0.8 of its way into it.
        removal=(
            PullStep(
                section="S2", pull=(1.0, 0.0, 0.0), draft_deg=90.0, draft_set_by=("b.far",)
            ),
            PullStep(
                section="S1", pull=(0.0, 0.0, 1.0), draft_deg=5.0, draft_set_by=("b.near",),
                after=("S2",), drawn_first=("a | b.far",),
            ),
        ),
        edges=(
            EdgePlan(edge="a | b.near", treatment="standing", joint=False),
            EdgePlan(
                edge="a | b.far", treatment="pinched", joint=True, bolts=7, packer_mm=gap - 0.51
            ),
            EdgePlan(
                edge="b.near | b.far", treatment="witness", joint=True, bolts=4, packer_mm=gap
            ),
            EdgePlan(edge="b.far | open", treatment="clamped", joint=False),
        ),
        pieces=pieces,
        purchases=(
            Purchase(stock="al roll", buy=1, from_hand=0, unit_price=14.0, price=14.0),
            Purchase(stock="zn sheet", buy=1, from_hand=0, unit_price=38.0, price=38.0),
        ),
        nests=(
            NestPlan(
                id="N1", stock="al roll", bought=True,
                placed=(
                    Placed(piece="P1", x_mm=25.4, y_mm=0.0, turn_deg=0.0, flipped=False),
                    # 25 + 1.5875 of cutting gap, and 30 below its root line.
                    Placed(piece="P2", x_mm=25.4, y_mm=56.5875, turn_deg=0.0, flipped=False),
                ),
                offcuts=(), scrap_mm2=scrap_1,
            ),
            NestPlan(
                id="N2", stock="zn sheet", bought=True,
                # Turned by half: from x 10 to 1020, from y 0 to 65.
                placed=(Placed(piece="P3", x_mm=1020.0, y_mm=25.0, turn_deg=180.0, flipped=False),),
                offcuts=(Offcut(outline_mm=box(0.0, 114.4, 1219.2, 914.4), area_mm2=offcut),),
                scrap_mm2=scrap_2,
            ),
        ),
    )  # fmt: skip


# --- twins along a hollow, and a hatch with a return ----------------------------------------------


def doors_and_a_hatch() -> HandPlan:
    """Two mirrored doors along a hard-way arc, and a hatch whose return needs slits and V-notches.

    Door line: 200 mm straight, then 300 mm of arc with hard-way radius 300 (1 radian, hollow).  The
    twin is walked from its other end: 300 of arc, then 200 straight.  Its run walks it backward.
    Hatch line: 200, right 60 degrees at radius 150, 100, left 60 degrees at radius 150, 200.
    """
    hollow = Stretch(300.0, hard_start=1 / 300, hard_end=1 / 300)
    arc = 150 * math.pi / 3
    right = Stretch(arc, easy_start=-1 / 150, easy_end=-1 / 150)
    left = Stretch(arc, easy_start=1 / 150, easy_end=1 / 150)
    hatch_line = Line((Stretch(200.0), right, Stretch(100.0), left, Stretch(200.0)))
    up = ((0.0, 0.0, 1.0),)
    job = Job(
        title="doors",
        length_unit="mm",
        currency="USD",
        patches=(
            Patch("body.left", "body", 400_000.0, up, twin="body.right"),
            Patch("body.right", "body", 400_000.0, up, twin="body.left"),
            Patch("door.left", "door-l", 100_000.0, up, twin="door.right"),
            Patch("door.right", "door-r", 100_000.0, up, twin="door.left"),
            Patch("hatch", "hatch", 100_000.0, up),
        ),
        edges=(
            Edge(
                "door.left | body.left", "door.left", "body.left",
                Line((Stretch(200.0), hollow)), "A", "B", stand_mm=25.0,
                twin="door.right | body.right", visible=False,
            ),
            Edge(
                "door.right | body.right", "door.right", "body.right",
                Line((hollow, Stretch(200.0))), "A'", "B'", stand_mm=25.0,
                twin="door.left | body.left",
            ),
            Edge(
                "hatch | body.left", "hatch", "body.left", hatch_line, "C", "D",
                stand_mm=30.0, return_mm=16.0, return_to="first",
            ),
            Edge(
                "body.left | body.right", "body.left", "body.right", Line((Stretch(900.0),)),
                "E", "F", twin="body.left | body.right",
            ),
        ),
        runs=(
            Run("R1", (RunEdge("door.left | body.left", False),), closed=False, twin="R2"),
            Run("R2", (RunEdge("door.right | body.right", True),), closed=False, twin="R1"),
            Run("R3", (RunEdge("hatch | body.left", False),), closed=False),
        ),
        stock=(replace(ALUMINIUM, width_mm=254.0), GALVANISED),
        rules=Rules(symmetric_split=True),
    )  # fmt: skip

    # The door's blank: straight to (200, 0), then round the centre (200, 300), 1 radian up; the
    # free edge lies on radius 275, the root on 300; then 12.7 straight on along the heading.
    steps = [n / 100 for n in range(101)]
    ahead = (12.7 * math.cos(1), 12.7 * math.sin(1))
    root = [(200 + 300 * math.sin(t), 300 - 300 * math.cos(t)) for t in steps]
    free = [(200 + 275 * math.sin(t), 300 - 275 * math.cos(t)) for t in steps]
    lower = [(0.0, 0.0), *root, (root[-1][0] + ahead[0], root[-1][1] + ahead[1])]
    upper = [(0.0, 25.0), *free, (free[-1][0] + ahead[0], free[-1][1] + ahead[1])]
    door_outline = (*lower, *reversed(upper))
    door_area, door_border = _measured(door_outline)

    # The hatch's blank is straight: 500 + 2·157.08 and 12.7 to trim.  Bend deduction of its return
    # with R 1.5875, T 0.51, K 0.41: 2·(R + T) - pi/2·(R + K·T) = 1.3729.
    length = 500 + 2 * arc
    hatch_root = length + 12.7
    lost = 2 * (1.5875 + 0.51) - math.pi / 2 * (1.5875 + 0.41 * 0.51)
    above = 30 + 16 - lost
    fold_y = 30 - lost / 2
    hatch_area, hatch_border = hatch_root * above, 2 * (hatch_root + above)
    # Facets of 2·sqrt(2·150·d - d²), d 1/64 in: 21.81 mm, so 8 facets and 7 partings a bend.  The
    # return goes left: on the right-hand bend it opens (slits), on the left-hand one it overlaps.
    # A facet turns 19.635/150 rad, and the leg of 16 overlaps by 16·19.635/150 = 2.094 mm.
    opening = [200 + arc * n / 8 for n in range(1, 8)]
    overlapping = [300 + arc + arc * n / 8 for n in range(1, 8)]
    half = 16 * arc / 8 / 150 / 2

    # A door: (25 + 19.05)·500 at the heaviest 6.9 kg/m2; the hatch (30 + 19.05 + 16)·814.2.
    mass = 1.1 * 18 * 1.15 + 6.9e-6 * (2 * 44.05 * 500 + 65.05 * length)
    extra = {"metal": "aluminium", "gauge": 24, "thickness_mm": 0.51, "mounting": "standing"}

    def door(name, run, edge, *, backward, template_of):
        return Piece(
            id=name, run=run, from_mm=0.0, to_mm=500.0,
            spans=(Span(edge=edge, from_mm=0.0, to_mm=500.0, backward=backward),),
            trim_mm=12.7, stand_mm=25.0, grip_mm=0.0, return_mm=0.0, visible=False,
            blank=BlankPlan(
                outline_mm=door_outline, root_length_mm=512.7, above_mm=25.0, below_mm=0.0,
                area_mm2=door_area, straight=False,
            ),
            reason=Reason(rule="price", sentence="the cheapest that will do"),
            template_of=template_of, mass_kg=door_area * 1.4e-6, **extra,
        )  # fmt: skip

    hatch = Piece(
        id="P3", run="R3", from_mm=0.0, to_mm=length,
        spans=(Span(edge="hatch | body.left", from_mm=0.0, to_mm=length, backward=False),),
        trim_mm=12.7, stand_mm=30.0, grip_mm=0.0, return_mm=16.0, visible=False,
        blank=BlankPlan(
            outline_mm=box(0.0, 0.0, hatch_root, above), root_length_mm=hatch_root,
            above_mm=above, below_mm=0.0, area_mm2=hatch_area, straight=True,
            folds=(
                Fold(
                    line_mm=((0.0, fold_y), (hatch_root, fold_y)), angle_deg=90.0, toward="hatch",
                    inside_radius_mm=1.5875, deduction_mm=lost,
                ),
            ),
            slits_mm=tuple(((x, above), (x, fold_y)) for x in opening),
            v_notches_mm=tuple(
                ((x - half, above), (x, fold_y), (x + half, above)) for x in overlapping
            ),
        ),
        reason=Reason(rule="price", sentence="the cheapest that will do"),
        mass_kg=hatch_area * 1.4e-6, **extra,
    )  # fmt: skip
    border = (2 * door_border + hatch_border) / FOOT
    metal_ft = (1000 + length) / FOOT
    hours = lines(
        (
            ("set up a metal", 1, "metals", 10.0),
            ("template", 2, "templates", 6 + 0.5 * (512.7 + hatch_root) / FOOT),
            ("snips", border, "ft", 0.25 * border),
            ("deburr", border, "ft", 0.2 * border),
            ("fold", 1, "folds", 2 + 0.3 * hatch_root / FOOT),
            ("slits", 7, "slits", 1.75),
            ("V-notches", 7, "V-notches", 3.5),
            ("fit", 3, "pieces", 12 + 0.5 * metal_ft),
            ("hold standing", metal_ft, "ft", 1.5 * metal_ft),
            ("fillet", 2 * metal_ft, "ft", 2 * metal_ft),
            ("release wax", metal_ft, "ft", metal_ft),
            ("sections", 1, "sections", 20.0),
        )
    )
    litres = (3 / 64 * INCH) ** 2 * (1 - math.pi / 4) * (1000 + length) * 2 * 1.25 / 1e6
    waxed = 1.1 + 2 * (2 * door_area + hatch_area) / 1e6
    amounts = (
        Amount(item="fillet", amount=litres, unit="litre", buy=litres, price=18 * litres),
        Amount(item="release wax", amount=waxed, unit="m2", buy=waxed, price=1.2 * waxed),
    )
    scrap = 254.0 * 3048.0 - 2 * door_area - hatch_area
    patches = tuple(patch.id for patch in job.patches)
    return finished(
        job,
        hours=hours,
        amounts=amounts,
        metal=14.0,
        waste_kg=scrap * 1.4e-6,
        sections=(
            Section(
                id="S1", patches=patches, area_mm2=1_100_000.0, mass_kg=mass, extent_mm=None,
                centre_mm=None, people=2, lift_basis="two",
            ),
        ),
        removal=(
            PullStep(
                section="S1", pull=(0.0, 0.0, 1.0), draft_deg=90.0, draft_set_by=patches[:4]
            ),
        ),
        edges=(
            EdgePlan(edge="door.left | body.left", treatment="standing", joint=False),
            EdgePlan(edge="door.right | body.right", treatment="standing", joint=False),
            EdgePlan(edge="hatch | body.left", treatment="standing", joint=False),
            EdgePlan(edge="body.left | body.right", treatment="plain", joint=False),
        ),
        pieces=(
            door("P1", "R1", "door.left | body.left", backward=False, template_of=None),
            door("P2", "R2", "door.right | body.right", backward=True, template_of="P1"),
            hatch,
        ),
        purchases=(Purchase(stock="al roll", buy=1, from_hand=0, unit_price=14.0, price=14.0),),
        nests=(
            NestPlan(
                id="N1", stock="al roll", bought=True,
                placed=(
                    Placed(piece="P3", x_mm=30.0, y_mm=0.0, turn_deg=0.0, flipped=False),
                    # Beside one another beyond the hatch, the second turned over and by half.
                    Placed(piece="P1", x_mm=900.0, y_mm=0.0, turn_deg=0.0, flipped=False),
                    Placed(piece="P2", x_mm=2000.0, y_mm=200.0, turn_deg=0.0, flipped=True),
                ),
                offcuts=(), scrap_mm2=scrap,
            ),
        ),
    )  # fmt: skip


def _measured(ring):
    """Area by the shoelace rule, and border, of a ring."""
    pairs = list(zip(ring, (*ring[1:], ring[0]), strict=True))
    area = abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)) / 2
    return area, sum(math.dist(a, b) for a, b in pairs)
