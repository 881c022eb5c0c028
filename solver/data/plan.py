"""The plan: what splitplan answers, as it crosses files, HTTP and processes.

Lengths are millimetres, areas mm², masses kilograms, times minutes, forces newtons, angles degrees,
money the job's currency.  Stations on an edge run from its start mark, stations on a run from the
start of its first edge as the run walks it.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

Point = tuple[float, float]
Vector = tuple[float, float, float]
Mounting = Literal["pinched", "clamped", "standing"]
Treatment = Literal["pinched", "clamped", "standing", "witness", "plain"]
Status = Literal["proven", "within gap", "stopped", "impossible", "no answer"]
"""What the search can say for its answer.

proven: no plan of the stated class has a lower objective.  within gap: the search ended, or got
within 3 %, with a proven bound; how far the objective may lie above the best is the gap.  stopped:
a time limit or a person ended the search at a wider gap.  impossible: the requirements cannot hold
together.  no answer: neither a plan nor a proof that there is none.
"""

PERHAPS_FEWER = "There was no time to look for fewer: perhaps not each of these is needed."
"""A note of a plan whose set of requirements was not shown to be smallest."""


class PlanModel(BaseModel):
    """Frozen and strict about its keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class PullStep(PlanModel):
    """One section coming off, in the order of removal."""

    section: str
    pull: Vector
    """Unit vector along which the section moves, the part at rest."""
    draft_deg: float
    """Least angle between the pull and the surface, over the section's patches."""
    draft_set_by: tuple[str, ...]
    """The patches (at most four) that set it."""
    after: tuple[str, ...] = ()
    """Sections that block this pull and so must be off already."""
    drawn_first: tuple[str, ...] = ()
    """Edges whose metal lies across the pull and is drawn out first."""


class Section(PlanModel):
    """One bolted piece of the mold."""

    id: str
    patches: tuple[str, ...]
    area_mm2: float
    mass_kg: float
    """With flanges, frame and its share of the flashings."""
    extent_mm: Vector | None
    """Along front, left and up, where every patch has a box."""
    centre_mm: Vector | None
    people: int | None
    """Who lifts it; None is a hoist."""
    lift_basis: str


class EdgePlan(PlanModel):
    """What becomes of one edge."""

    edge: str
    treatment: Treatment
    """Of its metal; "witness" is a joint across one part, "plain" an edge inside a section."""
    joint: bool
    bolts: int = 0
    packer_mm: float = 0.0
    """Thickness of the spacer beside the metal in a bolted gap (the whole gap without metal)."""


class Span(PlanModel):
    """The part of one edge that a piece covers, by stations of that edge; from < to."""

    edge: str
    from_mm: float
    to_mm: float
    backward: bool
    """Whether the piece runs from the later station to the earlier."""


class Fold(PlanModel):
    """A fold across the blank's own plane."""

    line_mm: tuple[Point, ...]
    angle_deg: float
    toward: str
    """The patch (or "outside") toward which the leg is folded."""
    inside_radius_mm: float
    deduction_mm: float
    hand: Literal["left", "right"] | None = None
    """On which hand of the blank's own x axis, y up, the leg comes out of the plane."""


class BlankPlan(PlanModel):
    """The flat outline of a piece before folding: x along the root line, y toward the free edge."""

    outline_mm: tuple[Point, ...]
    root_length_mm: float
    """With the metal to trim."""
    above_mm: float
    below_mm: float
    area_mm2: float
    straight: bool
    folds: tuple[Fold, ...] = ()
    slits_mm: tuple[tuple[Point, Point], ...] = ()
    v_notches_mm: tuple[tuple[Point, ...], ...] = ()
    notch_count: int = 0
    """Notches cut into the outline, at bolts and where asked for."""


class Reason(PlanModel):
    """Why the next lighter metal of the stock would not do, or what holds the choice."""

    rule: Literal["gap", "upright", "clamp pitch", "bend radius", "price", "only stock"]
    sentence: str


class Piece(PlanModel):
    """One cut piece of flashing."""

    id: str
    run: str
    from_mm: float
    to_mm: float
    """Stations on the run; past the run's length where a closed run is walked over its start."""
    spans: tuple[Span, ...]
    trim_mm: float
    """Added beyond ``to_mm`` to trim at fitting."""
    mounting: Mounting
    metal: str
    gauge: int | None
    thickness_mm: float
    stand_mm: float
    grip_mm: float
    return_mm: float
    visible: bool
    blank: BlankPlan
    reason: Reason
    clamp_pitch_mm: float | None = None
    clamps: int = 0
    bends_mm: tuple[float, ...] = ()
    """Sharp corners of the line that it is bent round, from its own start."""
    preform_mm: float = 0.0
    """Length that must be pre-formed, being curved tighter than it springs."""
    template_of: str | None = None
    """The mirrored piece whose template serves this one, turned over."""
    mass_kg: float


class Purchase(PlanModel):
    """Units of one stock item: bought, and taken from what is on hand."""

    stock: str
    buy: int
    from_hand: int
    unit_price: float
    price: float


class Placed(PlanModel):
    """One blank on a unit: flipped (y to -y) first, then turned about its origin, then moved."""

    piece: str
    x_mm: float
    y_mm: float
    turn_deg: float
    flipped: bool


class Offcut(PlanModel):
    """A leftover worth keeping: it holds a rectangle of 2 x 12 in at least."""

    outline_mm: tuple[Point, ...]
    area_mm2: float
    holds_mm: tuple[Point, ...] = ()
    """Corners of a large rectangle in it; empty where the outline is a rectangle itself."""


class NestPlan(PlanModel):
    """The layout of one roll, sheet or offcut; x along its length, y across its width."""

    id: str
    stock: str
    bought: bool
    placed: tuple[Placed, ...]
    offcuts: tuple[Offcut, ...]
    scrap_mm2: float
    cut_mm: float | None = None
    """Length of the blanks' borders that has to be cut; of two neighbours each has its own."""
    edge_mm: float | None = None
    """Length of their borders that lies on the metal's own edge, and needs no cut."""
    rest_of: str | None = None
    """The nest of the old plan that began this unit: it is what is left of one, no whole unit."""
    gone_mm: tuple[tuple[Point, ...], ...] = ()
    """Outlines that were cut out of it before, where they lay."""


class Amount(PlanModel):
    """Something counted that is neither metal nor time."""

    item: str
    amount: float
    unit: str
    buy: float
    """What is to be bought of it, after what is on hand."""
    price: float
    note: str = ""


class HoursLine(PlanModel):
    """Minutes of one operation, before the allowance."""

    operation: str
    count: float
    unit: str
    minutes: float


class Cost(PlanModel):
    """Money, and the figure that the goal minimises."""

    metal: float
    joints: float
    labor: float
    total: float
    """metal + joints + labor, unweighted."""
    waste_kg: float
    objective: float
    """The goal's weights applied; equals the total for the goal "cheapest"."""


class Proof(PlanModel):
    """What is proven about the plan."""

    bound: float | None
    """Proven: no plan of the stated class has a lower objective."""
    gap: float | None
    """(objective - bound) / objective."""
    covers: str
    purchase_bound: float | None
    """Proven: these blanks cannot be nested on stock that costs less."""
    purchase_gap: float | None
    purchase_covers: str


class LeftOut(PlanModel):
    """What a plan would cost without buying some of its stock; what is on hand stays."""

    what: str
    """A sheet metal, or a width of rolls or sheets."""
    stock: tuple[str, ...]
    """The stock items that are not bought."""
    status: Literal["found", "none found", "impossible"]
    """Whether a plan was found without it, none was, or none is possible."""
    objective: float | None = None
    """Of the best plan found: what it costs more than this plan is the price of leaving it out."""
    metal: float | None = None
    bound: float | None = None
    """Proven: no plan without it has a lower objective."""


class Requirement(PlanModel):
    """One of the scenario's own requirements, in its ids and words."""

    rule: str
    ids: tuple[str, ...]
    sentence: str


class HowMade(PlanModel):
    """What it takes to make the same plan again."""

    version: str
    seed: int
    seconds: float | None
    """The time limit that was given; None is none."""
    time_cut: bool
    """Whether a time limit, and so the machine's speed, shaped the result."""
    rounds: int
    libraries: dict[str, str]


class Progress(PlanModel):
    """What is known while the planner works."""

    phase: str
    seconds: float
    best: float | None
    bound: float | None
    gap: float | None


class Existing(PlanModel):
    """A piece that was cut for the old plan, and is there."""

    piece: Piece
    """As the old plan has it."""
    fitted: bool


class Source(PlanModel):
    """A piece of this plan that is not cut from stock but is there already, or lies within one.

    The blank, flipped (y to -y) first, then turned, then moved, lies in the old outline.
    """

    piece: str
    old: str
    """Id of the piece that is there; the same id where nothing about it changes."""
    how: Literal["kept", "moved", "trimmed"]
    x_mm: float
    y_mm: float
    turn_deg: float
    flipped: bool
    cut_mm: float
    """Length of its border that is still to be cut."""
    template: bool = False
    """Whether a template is made for that cut; a straight one is marked with a rule."""
    folds: int = 0
    """Folds that are there already, of one that is trimmed or moved; of one kept, all are."""
    slits: int = 0
    v_notches: int = 0
    reason: str


class Scrapped(PlanModel):
    """A piece that is there and that the plan has no use for."""

    old: str
    reason: str


class Spending(PlanModel):
    """Money and minutes still to spend."""

    metal: float
    joints: float
    labor: float
    total: float
    minutes: float
    objective: float


class SheetAtHand(PlanModel):
    """A sheet metal that pieces are there of, and that the stock lists no more."""

    metal: str
    gauge: int | None
    thickness_mm: float
    core_mm: float
    mass_kg_m2: float


class Rerun(PlanModel):
    """What was there when this plan was made, and what becomes of it.

    In such a plan cost, hours, purchases and nests are what is *still* to be spent, done and cut.
    """

    old_plan: str
    existing: tuple[Existing, ...]
    sources: tuple[Source, ...]
    scrapped: tuple[Scrapped, ...]
    spoiled: tuple[str, ...] = ()
    on_hand: dict[str, int]
    """Whole units by stock item."""
    rests: tuple[NestPlan, ...]
    """Units begun by the old plan, each with all that was cut from it; nothing placed."""
    built: tuple[tuple[str, ...], ...]
    """Patches of each section that stays as it is built."""
    bolts_bought: int = 0
    clamps_bought: int = 0
    sheets: tuple[SheetAtHand, ...] = ()
    change_price: float
    """For each fitted piece that does not stay where it is, in the objective alone."""
    changes: int
    """Fitted pieces that do not stay where they are."""
    before: Spending | None
    """What finishing the old plan would still have taken."""
    fresh_bound: float | None = None
    """Proven: no plan with the same built sections that ignores all metal there costs less."""
    notes: tuple[str, ...] = ()


class Plan(PlanModel):
    """A checked plan, or the reason why there is none."""

    format: Literal["splitplan plan 1"] = "splitplan plan 1"
    id: str
    title: str
    length_unit: str
    currency: str
    scenario_digest: str
    status: Status
    goal: str
    cost: Cost | None = None
    proof: Proof
    sections: tuple[Section, ...] = ()
    removal: tuple[PullStep, ...] = ()
    edges: tuple[EdgePlan, ...] = ()
    pieces: tuple[Piece, ...] = ()
    purchases: tuple[Purchase, ...] = ()
    nests: tuple[NestPlan, ...] = ()
    without: tuple[LeftOut, ...] = ()
    """What each metal and width that is bought is worth; only where that was asked for."""
    amounts: tuple[Amount, ...] = ()
    hours: tuple[HoursLine, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    impossible: tuple[Requirement, ...] = ()
    made: HowMade
    minutes: float = Field(default=0.0)
    """All operations with the allowance."""
    rerun: Rerun | None = None
    """Only in a plan made with what an old one left."""
