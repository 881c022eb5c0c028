"""The job: a scenario with every default filled in, every edge spelled out, in SI shop units.

This is the resolved form that programs read and write, and the one input of everything behind the
intake.  Lengths are millimetres, areas mm², masses kilograms, times minutes, forces newtons, angles
degrees, money the stock's currency.  Vectors are (front, left, up) of the finished body: x front,
y left, z up.

Every default marked [practice] is common practice without a published source and can be changed in
the scenario; the others follow from the rule that the name says.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from solver.data.line import Line
from solver.data.units import format_thickness

Vector = tuple[float, float, float]
Point = tuple[float, float]
Permission = Literal["allowed", "required", "forbidden"]

OPEN = "open"
"""The name that stands for the outside of the mold where an edge has a patch on one side only."""

INCH_MM = 25.4
FOOT_MM = 304.8
POUND_KG = 0.45359237
POUND_FORCE_N = 4.4482216152605


@dataclass(frozen=True)
class Patch:
    """The smallest area of mold surface that is never divided.

    ``facings`` are unit normals of the outside of the finished body; the surface has all mixtures
    of them, or, with a ``spread_deg``, every direction within that half-angle of the only one.
    """

    id: str
    part: str | None
    """The finished piece this patch belongs to; None is not laminated (a window)."""
    area_mm2: float
    facings: tuple[Vector, ...]
    spread_deg: float = 0.0
    box_mm: tuple[Vector, Vector] | None = None
    pin: str | None = None
    twin: str | None = None
    """The patch that mirrors this one; a patch on the mirror plane is its own twin."""


@dataclass(frozen=True)
class Bolts:
    """How a joint is bolted along an edge."""

    pitch_mm: float = 6 * INCH_MM
    inset_mm: float = 1 * INCH_MM
    """From the mold surface to the bolt centre."""
    size: str = "5/16 in"
    diameter_mm: float = 0.3125 * INCH_MM
    from_ends_mm: float = 2 * INCH_MM


@dataclass(frozen=True)
class EdgeNotch:
    """A notch asked for in the free edge of the metal (a hinge); ``at_mm`` is its middle."""

    at_mm: float
    wide_mm: float
    deep_mm: float


@dataclass(frozen=True)
class Near:
    """Another flashing that runs beside this edge, at a clear gap after both laminates."""

    edge: str
    gap_mm: float
    from_mm: float
    to_mm: float


@dataclass(frozen=True)
class Edge:
    """A line between two patches, or between a patch and the outside (an open edge).

    Walking from the start, ``first`` lies on the left hand.  ``facings`` are unit vectors from the
    first patch toward the second across the joint.
    """

    id: str
    first: str
    second: str
    """A patch id, or "open"."""
    line: Line
    start_mark: str | None
    end_mark: str | None
    visible: bool = False
    split: Permission = "allowed"
    standing: Literal["allowed", "forbidden"] = "allowed"
    witness: Literal["allowed", "forbidden"] = "allowed"
    stand_mm: float = 1 * INCH_MM
    grip_mm: float = 0.75 * INCH_MM
    """Width held by a joint or by clamps; a standing flashing has none."""
    return_mm: float = 0.0
    """Outside length of the second leg; 0 is no return."""
    return_to: Literal["first", "second"] = "first"
    flange: Literal["along", "out"] = "along"
    bolts: Bolts = Bolts()
    notches: tuple[EdgeNotch, ...] = ()
    no_seam_mm: tuple[tuple[float, float], ...] = ()
    near: tuple[Near, ...] = ()
    facings: tuple[Vector, ...] = ()
    facing_source: Literal["toward", "loop", "points", "boxes", "unknown"] = "unknown"
    strain: float = 0.0
    """Free-edge strain from twist, where points tell it."""
    twin: str | None = None
    kinds: tuple[str, ...] = ()

    @property
    def open(self) -> bool:
        """Whether the mold ends here."""
        return self.second == OPEN

    @property
    def length_mm(self) -> float:
        """Length along the line."""
        return self.line.length_mm


@dataclass(frozen=True)
class RunEdge:
    """One edge of a run, and whether the run walks it from its other end."""

    edge: str
    backward: bool


@dataclass(frozen=True)
class Run:
    """Edges between the same two parts that follow one another at marks."""

    id: str
    edges: tuple[RunEdge, ...]
    closed: bool
    twin: str | None = None
    """The run that mirrors this one, edge by edge in the same order of its own walk."""


@dataclass(frozen=True)
class StockItem:
    """A roll, sheet or offcut that can be cut: x along its length, y across its width."""

    id: str
    form: Literal["roll", "sheet", "offcut"]
    metal: str
    gauge: int | None
    thickness_mm: float
    """Total thickness, zinc included: what counts in gaps and bends."""
    core_mm: float
    """Thickness of the metal core: what counts in stiffness and springback."""
    mass_kg_m2: float
    width_mm: float
    length_mm: float
    price: float = 0.0
    """For one unit."""
    on_hand: int = 0
    for_sale: int | None = None
    """How many can be bought; None is as many as wanted."""
    outline_mm: tuple[Point, ...] | None = None
    """Of an offcut that is no rectangle."""

    @cached_property
    def sheet_metal(self) -> tuple[str, float]:
        """Key of the metal and gauge: items with equal keys can hold the same blanks."""
        return (self.metal, round(self.thickness_mm, 4))

    @property
    def metal_label(self) -> str:
        """The metal as a builder says it: "24 ga aluminium", "0.5 mm galvanised"."""
        if self.gauge is not None:
            return f"{self.gauge} ga {self.metal}"
        return f"{format_thickness(self.thickness_mm)} {self.metal}"


@dataclass(frozen=True)
class Minutes:
    """Minutes by operation, all [practice]; per-foot values are per foot of what the name says."""

    setup_per_gauge: float = 10.0
    template_per_piece: float = 3.0
    template_per_foot: float = 0.5
    snips_aluminium_per_foot: float = 0.25
    """24-26 ga; other thicknesses in proportion."""
    snips_galvanised_per_foot: float = 0.6
    """20-22 ga; other thicknesses in proportion."""
    fold_per_piece: float = 2.0
    fold_per_foot: float = 0.3
    slit: float = 0.25
    v_notch: float = 0.5
    notch: float = 0.5
    deburr_per_foot: float = 0.2
    fit_per_piece: float = 4.0
    fit_per_foot: float = 0.5
    preform_per_foot: float = 1.0
    seam: float = 3.0
    taped_corner: float = 3.0
    bolt: float = 0.75
    clamp: float = 0.5
    standing_per_foot: float = 1.5
    fillet_per_foot_side: float = 1.0
    release_wax_per_foot: float = 1.0
    mold_flange_per_foot: float = 12.0
    """For both mold flanges of a joint; an open edge's flange takes half."""
    witness_per_foot: float = 6.0
    per_section: float = 20.0
    """Handling: assembling, pulling and setting down one section."""
    allowance: float = 0.15


@dataclass(frozen=True)
class Prices:
    """Prices of what is not metal, all [practice], in the stock's currency."""

    bolt: float = 0.6
    """Bolt, nut and two washers."""
    clamp: float = 6.0
    packer_per_foot: float = 0.35
    mold_flange_per_foot: float = 2.5
    """Laminate for both flanges of a joint; an open edge's flange takes half."""
    seam_tape_per_seam: float = 0.1
    fillet_per_litre: float = 18.0
    release_wax_per_m2: float = 1.2


@dataclass(frozen=True)
class Shop:
    """The people, tools and means of one shop."""

    labor_rate_per_hour: float = 55.0
    crew: int = 2
    lift_limit_kg: float | None = None
    largest_section_mm: Vector | None = None
    bolts_on_hand: int = 0
    clamps_on_hand: int = 0
    minutes: Minutes = Minutes()
    prices: Prices = Prices()


@dataclass(frozen=True)
class Rules:
    """The trade's limits; see the scenario format for their names there."""

    draft_deg: float = 2.0
    blocking_deg: float = 0.5
    """Flat sides pulled square would block one another by rounding below this angle."""
    most_sections: int | None = None
    fewest_sections: int = 1
    pulls: tuple[Vector, ...] = ()
    """If any are given, sections come off along one of these only."""
    walls: tuple[Vector, ...] = ()
    """Directions in which nothing may be pulled (a wall in the way)."""
    symmetric_split: bool = False
    mold_kg_m2: float = 18.0
    frame_fraction: float = 0.15
    flange_width_mm: float = 50.0
    reach_mm: float = 678.0
    joint_gap_mm: float = 0.125 * INCH_MM
    brush_load_n: float = 2 * POUND_FORCE_N
    lean_hidden_mm: float = 0.125 * INCH_MM
    lean_visible_mm: float = INCH_MM / 64
    clamp_load_n: float = 5 * POUND_FORCE_N
    clamp_lift_hidden_mm: float = INCH_MM / 32
    clamp_lift_visible_mm: float = INCH_MM / 64
    clamp_width_mm: float = 1.25 * INCH_MM
    smallest_clamp_pitch_mm: float = 4 * INCH_MM
    bend_k: float = 0.41
    bend_radius_mm: float = INCH_MM / 16
    slit_tolerance_mm: float = INCH_MM / 64
    fold_chord_tolerance_mm: float = INCH_MM / 16
    measuring_tolerance_mm: float = INCH_MM / 16
    access_angle_deg: float = 45.0
    smallest_stand_mm: float = 0.5 * INCH_MM
    largest_strain: float = 0.02
    longest_piece_mm: float = 96 * INCH_MM
    shortest_piece_mm: float = 4 * INCH_MM
    trim_per_run_mm: float = 0.5 * INCH_MM
    roll_end_mm: float = 1 * INCH_MM
    cutting_gap_mm: float = INCH_MM / 16
    seam_from_corner_mm: float = 2 * INCH_MM
    seam_from_notch_mm: float = 1 * INCH_MM
    seams_on_visible: Literal["allowed", "forbidden"] = "allowed"
    seam_visible_minutes: float = 10.0
    standing_foot_mm: float = 0.0
    bolt_clearance_mm: float = INCH_MM / 8
    fillet_radius_mm: float = 3 / 64 * INCH_MM
    fillet_waste: float = 0.25
    mold_thickness_mm: float = 6.0
    """Of one mold flange, for the length of bolts."""


@dataclass(frozen=True)
class Goal:
    """What the plan minimises: weights on money for metal, for joints, for labor, and on waste."""

    name: str = "cheapest"
    metal: float = 1.0
    joints: float = 1.0
    labor: float = 1.0
    waste_per_kg: float = 0.0


@dataclass(frozen=True)
class Job:
    """One job, fully resolved."""

    title: str
    length_unit: Literal["in", "mm", "cm", "ft", "m"]
    currency: str
    patches: tuple[Patch, ...]
    edges: tuple[Edge, ...]
    runs: tuple[Run, ...]
    corners: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """Marks where three parts or more meet and each run ends: (mark, runs)."""
    stock: tuple[StockItem, ...] = ()
    shop: Shop = Shop()
    rules: Rules = Rules()
    goal: Goal = Goal()
    notes: tuple[str, ...] = field(default=())
    """What the intake assumed and wants the builder to know."""
    form: Literal["resolved"] = "resolved"

    @cached_property
    def patch_of(self) -> dict[str, Patch]:
        """Patches by id."""
        return {patch.id: patch for patch in self.patches}

    @cached_property
    def edge_of(self) -> dict[str, Edge]:
        """Edges by id."""
        return {edge.id: edge for edge in self.edges}

    @cached_property
    def stock_of(self) -> dict[str, StockItem]:
        """Stock items by id."""
        return {item.id: item for item in self.stock}

    @cached_property
    def spoken_of(self) -> dict[str, dict[str, list[float]]]:
        """Gaps in mm that other edges tell of an edge, by its id and theirs."""
        told: dict[str, dict[str, list[float]]] = {}
        for other in self.edges:
            for near in other.near:
                told.setdefault(near.edge, {}).setdefault(other.id, []).append(near.gap_mm)
        return told

    def sides(self, edge: Edge) -> tuple[str | None, str | None]:
        """Return the parts on both sides of an edge; "open" outside, None where not laminated."""
        second = OPEN if edge.open else self.patch_of[edge.second].part
        return self.patch_of[edge.first].part, second

    def carries_metal(self, edge: Edge) -> bool:
        """Whether one part ends at this edge, so that metal stands there in every plan."""
        first, second = self.sides(edge)
        if edge.open:
            return first is not None
        return first != second
