"""The scenario as a builder writes it: names instead of indices, walked paths, shop fractions.

These models check form and bounds only; what the words mean is worked out in ``solver.intake``.
Lengths, areas and prices keep their own unit (`Measure`), because a bare number takes the unit of
the whole file.  ``json_schema()`` gives an editor completion and descriptions.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    PlainValidator,
    Tag,
    ValidationInfo,
    WithJsonSchema,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError, core_schema

from solver.data.units import (
    LENGTH_MM,
    Measure,
    MeasureError,
    parse_area,
    parse_areal_mass_kg_m2,
    parse_diameter_mm,
    parse_force_n,
    parse_length,
    parse_mass_kg,
    parse_price,
    shown,
)

LengthUnit = Literal["in", "mm", "cm", "ft", "m"]

MOST_PATCHES = 400
MOST_EDGES = 1500
MOST_STRETCHES = 300
MOST_POINTS = 150
MOST_STOCK_ENTRIES = 200
LONGEST_MM = 100_000
LARGEST_AREA_MM2 = 1e10
HEAVIEST_KG = 100_000.0
DEAREST = 1_000_000

T = TypeVar("T")


def wrong(remedy: str, value: str | None = None) -> PydanticCustomError:
    """Return the error of one place: the remedy, and the finding if that is not the value."""
    return PydanticCustomError("mend", "{remedy}", {"remedy": remedy, "finding": value})


def _reading(parse: Callable[[object], T], raw: object) -> T:
    try:
        return parse(raw)
    except MeasureError as fault:
        raise wrong(fault.remedy, fault.finding) from None


def _bounded_length(raw: object) -> Measure:
    measure = _reading(parse_length, raw)
    if measure.mm("mm") > LONGEST_MM:
        raise wrong("no length is over 100 m", shown(raw))
    return measure


def _positive_length(raw: object) -> Measure:
    measure = _bounded_length(raw)
    if not measure.amount:
        raise wrong("a length here is more than 0", shown(raw))
    return measure


def _positive_area(raw: object) -> Measure:
    measure = _reading(parse_area, raw)
    if not measure.amount:
        raise wrong("an area is more than 0", shown(raw))
    if measure.mm2("mm") > LARGEST_AREA_MM2:
        raise wrong("no area is over 10 000 m²", shown(raw))
    return measure


def _bounded(parse: Callable[[object], float], largest: float, what: str, raw: object) -> float:
    value = _reading(parse, raw)
    if value > largest:
        raise wrong(f"no {what} is over {largest:g} here", shown(raw))
    return value


def _bounded_price(raw: object) -> Measure:
    measure = _reading(parse_price, raw)
    if measure.amount > DEAREST:
        raise wrong(f"no price is over {DEAREST}", shown(raw))
    return measure


_LENGTH_SCHEMA = WithJsonSchema(
    {
        "anyOf": [
            {"type": "number", "minimum": 0},
            {
                "type": "string",
                "pattern": r"^[0-9.]",
                "examples": ["2 ft 3-1/2 in", "5/8 in", "1.5 mm", "2 m"],
            },
        ],
        "description": 'A length: bare in the file\'s unit, or "2 ft 3-1/2 in", "5/8 in", "16 mm".',
    }
)


def _text_schema(description: str, *examples: str, bare: bool = False) -> WithJsonSchema:
    text = {"type": "string", "examples": list(examples)}
    if not bare:
        return WithJsonSchema({**text, "description": description})
    return WithJsonSchema(
        {"anyOf": [{"type": "number", "minimum": 0}, text], "description": description}
    )


Length = Annotated[Measure, PlainValidator(_positive_length), _LENGTH_SCHEMA]
LengthOrZero = Annotated[Measure, PlainValidator(_bounded_length), _LENGTH_SCHEMA]
Area = Annotated[
    Measure,
    PlainValidator(_positive_area),
    _text_schema("An area; bare is the square of the file's unit.", "11.5 ft2", "1 m2", bare=True),
]
Mass = Annotated[
    float,
    PlainValidator(partial(_bounded, parse_mass_kg, HEAVIEST_KG, "mass in kg")),
    _text_schema("A mass with its unit.", "90 lb", "40 kg"),
]
ArealMass = Annotated[
    float,
    PlainValidator(partial(_bounded, parse_areal_mass_kg_m2, 1000.0, "mass by area in kg/m²")),
    _text_schema("A mass by area with its unit.", "18 kg/m2", "3.7 lb/ft2"),
]
Force = Annotated[
    float,
    PlainValidator(partial(_bounded, parse_force_n, 10_000.0, "force in N")),
    _text_schema("A force with its unit.", "2 lbf", "9 N"),
]
Price = Annotated[
    Measure,
    PlainValidator(_bounded_price),
    _text_schema("For one piece, or by area or mass.", "1.75 /ft2", "3 /kg", bare=True),
]


def _bolt_size(raw: object) -> object:
    _reading(parse_diameter_mm, raw)
    return raw


BoltSize = Annotated[
    str,
    BeforeValidator(_bolt_size),
    Field(strict=True, max_length=20),
    _text_schema("Diameter of the bolt.", "5/16 in", "M8"),
]


_OPPOSITE = {"left": "right", "right": "left", "up": "down", "down": "up"}


@dataclass(frozen=True)
class Within:
    """Bounds of a bare number, what it is and how it may look."""

    low: float
    high: float
    what: str
    example: str

    def check(self, raw: object, info: ValidationInfo) -> float:
        """Return the number, or say what is wrong with it."""
        if isinstance(raw, bool) or not isinstance(raw, int | float):
            raise wrong(f"write {self.what}, such as {self.example}")
        if raw < 0 and info.field_name in _OPPOSITE:
            raise wrong(f'angles are positive; write "{_OPPOSITE[info.field_name]}": {-raw:g}')
        if not self.low <= raw <= self.high:
            raise wrong(f"{self.what} goes from {self.low:g} to {self.high:g}")
        return float(raw)

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Check the number in this way only."""
        return core_schema.with_info_plain_validator_function(self.check)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe the bounds to an editor."""
        return {"type": "number", "minimum": self.low, "maximum": self.high}


@dataclass(frozen=True)
class Whole:
    """Bounds of a whole number and what it is."""

    low: int
    high: int
    what: str

    def check(self, raw: object) -> int:
        """Return the number, or say what is wrong with it."""
        if isinstance(raw, bool) or not isinstance(raw, int) or not self.low <= raw <= self.high:
            raise wrong(f"{self.what} is a whole number from {self.low} to {self.high}")
        return raw

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Check the number in this way only."""
        return core_schema.no_info_plain_validator_function(self.check)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe the bounds to an editor."""
        return {"type": "integer", "minimum": self.low, "maximum": self.high}


@dataclass(frozen=True)
class Shorthand:
    """One thing stands for a list of one."""

    def expand(self, raw: object) -> object:
        """Return the list that is meant."""
        return raw if isinstance(raw, list) else [raw]

    def __get_pydantic_core_schema__(
        self,
        source: Any,  # noqa: ANN401
        handler: GetCoreSchemaHandler,
    ) -> core_schema.CoreSchema:
        """Expand, then check the list."""
        return core_schema.no_info_before_validator_function(self.expand, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Let an editor take either."""
        listed = handler(schema)
        return {"anyOf": [listed["items"], listed]}


class SizeShorthand(Shorthand):
    """One [width, length] stands for a list of one size."""

    def expand(self, raw: object) -> object:
        """Return the list of sizes that is meant."""
        return [raw] if isinstance(raw, list) and raw and not isinstance(raw[0], list) else raw


LISTED = Shorthand()

TurnDegrees = Annotated[float, Within(0, 360, "an angle", "90")]
Degrees = Annotated[float, Within(0, 90, "an angle", "2")]
SlopeDegrees = Annotated[float, Within(1, 89, "an angle", "45")]
Share = Annotated[float, Within(0, 5, "a share", "0.15")]
Strain = Annotated[float, Within(0, 0.5, "a strain", "0.02")]
BendFactor = Annotated[float, Within(0.1, 0.6, "a bend factor", "0.41")]
MinutesEach = Annotated[float, Within(0, 10_000, "minutes", "0.5")]
MoneyEach = Annotated[float, Within(0, 1_000_000, "an amount of money", "0.6")]
Weight = Annotated[float, Within(0, 1000, "a weight", "1")]
Crew = Annotated[int, Whole(1, 50, "a crew")]
SectionCount = Annotated[int, Whole(1, 400, "a number of sections")]
Gauge = Annotated[int, Whole(10, 36, "a gauge")]
Units = Annotated[int, Whole(0, 100_000, "a number of pieces")]
FEW = Field(min_length=1, max_length=40)

MARK = re.compile(r"[^\W\d_][\w.'+-]{0,31}")
_NAME = re.compile(r"[^|()\"\\\s](?:[^|()\"\\]{0,62}[^|()\"\\\s])?")


def _name(raw: object) -> str:
    if not isinstance(raw, str):
        raise wrong("a name is text in quotes")
    if not _NAME.fullmatch(raw):
        raise wrong('a name has 1 to 64 letters, without | ( ) " or a space at its ends')
    return raw


def _mark(raw: object) -> str:
    if not isinstance(raw, str) or not MARK.fullmatch(raw):
        raise wrong('a mark starts with a letter, such as "A1"')
    return raw


def _edge_name(raw: object) -> str:
    if not isinstance(raw, str) or len(raw) > 200 or raw.count("|") != 1:
        raise wrong('an edge is named "a | b", or "a | open" where the mold ends')
    return raw


def _direction(raw: object) -> object:
    """Accept words or three numbers; the intake reads the words."""
    if isinstance(raw, str) and len(raw) <= 60:
        return raw
    if (
        isinstance(raw, list)
        and len(raw) == 3
        and all(isinstance(x, int | float) and not isinstance(x, bool) for x in raw)
    ):
        if not any(raw):
            raise wrong("a direction is not [0, 0, 0]")
        if any(abs(x) > 1e6 for x in raw):
            raise wrong("the numbers of a direction stay below a million")
        return tuple(float(x) for x in raw)
    raise wrong('write a direction such as "up", "left 10 up" or [0, 1, 0]')


def _directions(raw: object) -> object:
    if isinstance(raw, list) and not (raw and all(isinstance(x, int | float) for x in raw)):
        return raw
    return [raw]


def _coordinate(raw: object) -> Measure:
    """Read a coordinate: like a length, and the one thing that may be negative."""
    minus = (isinstance(raw, str) and raw.strip().startswith("-")) or (
        isinstance(raw, int | float) and not isinstance(raw, bool) and raw < 0
    )
    if not minus:
        return _bounded_length(raw)
    size = _bounded_length(raw.strip()[1:].lstrip() if isinstance(raw, str) else -raw)  # type: ignore[operator]
    return Measure(-size.amount, size.unit)


Name = Annotated[str, BeforeValidator(_name), Field(max_length=64)]
Mark = Annotated[
    str,
    PlainValidator(_mark),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": r"^[^0-9.\s_-]",
            "maxLength": 32,
            "description": "A mark: a named spot where edges meet.",
        }
    ),
]
EdgeName = Annotated[str, BeforeValidator(_edge_name), Field(max_length=200)]
Words = str | tuple[float, float, float]
_DIRECTION_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {
            "type": "string",
            "pattern": "^(front|rear|left|right|up|down)( |$)",
            "examples": ["up", "left 10 up", "up 30 front"],
        },
        {"type": "array", "items": {"type": "number"}, "minItems": 3, "maxItems": 3},
    ]
}
Direction = Annotated[Words, PlainValidator(_direction), WithJsonSchema(_DIRECTION_SCHEMA)]
Directions = Annotated[
    list[Direction],
    BeforeValidator(_directions),
    Field(min_length=1, max_length=64),
    WithJsonSchema(
        {
            "anyOf": [
                *_DIRECTION_SCHEMA["anyOf"],
                {"type": "array", "items": _DIRECTION_SCHEMA, "minItems": 1, "maxItems": 64},
            ]
        }
    ),
]
Coordinate = Annotated[
    Measure,
    PlainValidator(_coordinate),
    WithJsonSchema({"type": ["number", "string"], "description": "A signed length."}),
]
Point3 = Annotated[list[Coordinate], Field(min_length=3, max_length=3)]
Note = Annotated[str, Field(max_length=2000)]
Permission = Literal["allowed", "required", "forbidden"]
YesNo = Literal["allowed", "forbidden"]


class Written(BaseModel):
    """Base of every object of the file: unknown keys are errors and a note is always welcome."""

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, allow_inf_nan=False, str_max_length=2000
    )

    note: Note | None = Field(default=None, description="For people; not read.")


class Patch(Written):
    """The smallest area of mold surface that is never divided."""

    area: Area
    faces: Directions = Field(
        description="Outside of the finished body: a direction, or a list: all mixtures occur."
    )
    spread: Degrees = Field(
        default=0.0, description="Half-angle in degrees round the only direction."
    )
    box: Annotated[list[Point3], Field(min_length=2, max_length=2)] | None = Field(
        default=None, description="Two opposite corners [x, y, z]: x front, y left, z up."
    )
    part: Name | None = Field(
        default=None,
        description='The finished piece; default the name before the first dot; "none".',
    )
    pin: Name | None = Field(
        default=None, description="Same pin: same section; different pins: different sections."
    )
    outline: Annotated[list[Point3], Field(min_length=3, max_length=MOST_POINTS)] | None = Field(
        default=None,
        description="Corners of the patch [x, y, z]; gives the box where that is left out.",
    )


class Turn(Written):
    """A length of path that turns: degrees left, right (easy way), up, down (hard way)."""

    left: TurnDegrees | None = None
    right: TurnDegrees | None = None
    up: TurnDegrees | None = None
    down: TurnDegrees | None = None
    radius: LengthOrZero | None = Field(default=None, description="0 is a sharp corner.")
    length: Length | None = None

    @model_validator(mode="after")
    def _is_one_turn(self) -> Turn:
        for one, other in (("left", "right"), ("up", "down")):
            if getattr(self, one) is not None and getattr(self, other) is not None:
                raise wrong(f'a turn goes "{one}" or "{other}", not both')
        turns = [t for t in (self.left, self.right, self.up, self.down) if t is not None]
        if not turns:
            raise wrong('a turn needs "left", "right", "up" or "down"; a straight is a bare length')
        if self.radius is None and self.length is None:
            raise wrong('a turn needs "radius" (0 for a sharp corner) or "length"')
        if self.radius is not None and self.length is not None:
            raise wrong('give "radius" or "length", not both: one follows from the other')
        if self.radius is not None and self.radius.amount and len(turns) > 1:
            raise wrong('a turn left or right and up or down at once needs "length"')
        return self


class Chord(Written):
    """An arc measured by its chord and its rise in the middle."""

    chord: Length
    rise: LengthOrZero
    to: Literal["left", "right", "up", "down"]


class MeasuredPoint(Written):
    """A point of an edge and the outside direction of the surface there."""

    at: Point3
    faces: Direction | None = None


def _kind_of_step(raw: object) -> str:
    if isinstance(raw, dict):
        return "@chord" if "chord" in raw or "rise" in raw else "@turn"
    if isinstance(raw, str) and MARK.match(raw):
        return "@mark"
    return "@straight"


def _kind_of_point(raw: object) -> str:
    if isinstance(raw, dict):
        return "@measured"
    return "@mark" if isinstance(raw, str) else "@point"


Step = Annotated[
    Annotated[Mark, Tag("@mark")]
    | Annotated[Length, Tag("@straight")]
    | Annotated[Turn, Tag("@turn")]
    | Annotated[Chord, Tag("@chord")],
    Discriminator(_kind_of_step),
]
PointStep = Annotated[
    Annotated[Mark, Tag("@mark")]
    | Annotated[Point3, Tag("@point")]
    | Annotated[MeasuredPoint, Tag("@measured")],
    Discriminator(_kind_of_point),
]
Path = Annotated[list[Step], Field(min_length=3, max_length=MOST_STRETCHES)]
Loop = Annotated[list[Step], Field(min_length=1, max_length=MOST_STRETCHES)]


class Bolts(Written):
    """How a joint is bolted; what is left out keeps the value of the kind below."""

    pitch: Length | None = None
    inset: Length | None = Field(
        default=None, description="From the mold surface to the bolt centre."
    )
    size: BoltSize | None = None
    from_ends: LengthOrZero | None = Field(
        default=None, description="Kept from marks and sharp corners."
    )


class Notches(Written):
    """Notches in the free edge of the metal, such as for hinges; ``at`` is their middle."""

    at: Annotated[list[LengthOrZero], Field(min_length=1, max_length=100), LISTED] = Field(
        description="One station or more, from the first mark."
    )
    wide: Length
    deep: Length


class Gap(Written):
    """A clear gap to another flashing, for a part of this edge."""

    gap: Length
    from_: LengthOrZero | None = Field(default=None, alias="from")
    to: LengthOrZero | None = None


def _kind_of_gap(raw: object) -> str:
    return "@stations" if isinstance(raw, dict) else "@gap"


NearGap = Annotated[
    Annotated[Length, Tag("@gap")] | Annotated[Gap, Tag("@stations")],
    Discriminator(_kind_of_gap),
]


class Carried(Written):
    """What an edge carries, and how it may be made; also the content of a kind."""

    visible: bool | None = Field(default=None, description="The line shows on the finished body.")
    split: Permission | None = Field(
        default=None, description="Whether the mold may or must split here."
    )
    standing: YesNo | None = Field(
        default=None, description="Whether metal may stand on an unsplit mold."
    )
    witness: YesNo | None = Field(
        default=None, description="Whether a joint may cross a part here."
    )
    stand: Length | None = Field(default=None, description="Height of the metal above the mold.")
    grip: LengthOrZero | None = Field(
        default=None, description="Width held by a joint or by clamps."
    )
    flange: Literal["along", "out"] | None = Field(
        default=None, description="Of an open edge: along the surface normal, or turned outward."
    )
    return_: LengthOrZero | None = Field(
        default=None,
        alias="return",
        description="Outside length of a second leg, folded 90 degrees.",
    )
    bolts: Bolts | None = None


class Cylinder(Written):
    """The cylinder that a flat shape is rolled on: one of "up" and "down", its radius."""

    up: Length | None = None
    down: Length | None = None

    @model_validator(mode="after")
    def _is_one(self) -> Cylinder:
        if (self.up is None) == (self.down is None):
            raise wrong('give one of "up" and "down": the radius of the cylinder')
        return self


class Edge(Carried):
    """A line between two patches; the first-named lies on your left as you walk it."""

    path: Path | None = Field(default=None, description='Walked from mark to mark: ["A", 24, "B"].')
    loop: Loop | None = Field(
        default=None, description="A closed walk; the enclosed patch is named first."
    )
    rectangle: Annotated[list[Length], Field(min_length=2, max_length=2)] | None = Field(
        default=None, description="[w, h], walked from the middle of its first side."
    )
    circle: Length | None = Field(default=None, description="Diameter.")
    points: Annotated[list[PointStep], Field(min_length=3, max_length=MOST_POINTS)] | None = Field(
        default=None, description="Measured points from mark to mark; without marks a closed loop."
    )
    radius: LengthOrZero | None = Field(default=None, description="Of the corners of a rectangle.")
    rolled: Cylinder | None = Field(
        default=None, description="Radius of the cylinder the shape lies on."
    )
    kind: Name | None = None
    return_to: Name | None = Field(default=None, description="The patch the second leg folds to.")
    stands_on: Name | None = Field(
        default=None, description="At a crease: the patch it is measured on."
    )
    near: dict[EdgeName, NearGap] | None = Field(
        default=None, max_length=50, description="Other flashings beside this one: clear gaps."
    )
    notches: Annotated[list[Notches], Field(min_length=1, max_length=100), LISTED] | None = None
    no_seam: (
        Annotated[
            list[Annotated[list[LengthOrZero], Field(min_length=2, max_length=2)]],
            Field(max_length=100),
        ]
        | None
    ) = Field(default=None, description="Stations [from, to] where no two pieces may meet.")
    toward: Directions | None = Field(default=None, description="Where the second patch lies.")

    @model_validator(mode="after")
    def _has_one_shape(self) -> Edge:
        given = [name for name in SHAPES if getattr(self, name) is not None]
        if not given:
            raise wrong('give its shape: "path", "loop", "rectangle", "circle" or "points"')
        if len(given) > 1:
            raise wrong(f'keep one shape: "{given[0]}" or "{given[1]}"', f"has {len(given)} shapes")
        if self.radius is not None and self.rectangle is None:
            raise wrong('"radius" here belongs to a "rectangle"; a path has it in its turns')
        if self.rolled is not None and (self.path or self.points):
            raise wrong('"rolled" belongs to a "rectangle", "circle" or "loop"')
        return self


SHAPES = ("path", "loop", "rectangle", "circle", "points")


def _edge_or_path(raw: object) -> object:
    return {"path": raw} if isinstance(raw, list) else raw


EdgeOrPath = Annotated[Edge, BeforeValidator(_edge_or_path)]
Metal = Annotated[
    Literal["aluminium", "galvanised"],
    BeforeValidator(
        lambda raw: (
            {"aluminum": "aluminium", "galvanized": "galvanised"}.get(raw, raw)
            if isinstance(raw, str)
            else raw
        )
    ),
]


class Stuff(Written):
    """Metal as a supplier sells it; a list stands for one item of each."""

    metal: Metal
    gauge: Annotated[list[Gauge], FEW, LISTED] | None = None
    thickness: Annotated[list[Length], FEW, LISTED] | None = Field(
        None, description="Total thickness, where it is sold by thickness."
    )
    on_hand: Units = 0
    name: Name | None = Field(default=None, description="As the shop calls it.")

    @model_validator(mode="after")
    def _has_one_thickness(self) -> Stuff:
        if (self.gauge is None) == (self.thickness is None):
            raise wrong('give "gauge" or "thickness", one of them')
        return self


class Roll(Stuff):
    """Rolls: every mixture of the listed gauges, widths and lengths."""

    width: Annotated[list[Length], FEW, LISTED]
    length: Annotated[list[Length], FEW, LISTED]
    price: Annotated[list[Price], FEW, LISTED] = Field(
        description="Of one roll or by area; a list goes with the gauges."
    )
    for_sale: Units | None = Field(
        default=None, description="How many can be bought; default any number."
    )


Size = Annotated[list[Length], Field(min_length=2, max_length=2)]
Sizes = Annotated[list[Size], Field(min_length=1, max_length=40), SizeShorthand()]


class Sheet(Stuff):
    """Sheets: every mixture of the listed gauges and sizes."""

    size: Sizes = Field(description="[width, length], or a list of such sizes.")
    price: Annotated[list[Price], FEW, LISTED] = Field(
        description="Of one sheet or by area; a list goes with the gauges."
    )
    for_sale: Units | None = Field(
        default=None, description="How many can be bought; default any number."
    )


class Offcut(Stuff):
    """What the shop has lying about; an offcut is on hand once and not for sale."""

    size: Sizes | None = None
    outline: (
        Annotated[
            list[Annotated[list[LengthOrZero], Field(min_length=2, max_length=2)]],
            Field(min_length=3, max_length=200),
        ]
        | None
    ) = Field(default=None, description="Corners [x, y] of an offcut that is no rectangle.")
    on_hand: Units = 1

    @model_validator(mode="after")
    def _has_one_size(self) -> Offcut:
        if (self.size is None) == (self.outline is None):
            raise wrong('give "size" or "outline", one of them')
        return self


class Stock(Written):
    """What can be bought and what is on hand."""

    currency: Annotated[str, Field(min_length=1, max_length=8)] = "USD"
    rolls: Annotated[list[Roll], Field(max_length=MOST_STOCK_ENTRIES)] = []
    sheets: Annotated[list[Sheet], Field(max_length=MOST_STOCK_ENTRIES)] = []
    offcuts: Annotated[list[Offcut], Field(max_length=MOST_STOCK_ENTRIES)] = []


class Minutes(Written):
    """Minutes by operation; what is left out keeps its default."""

    setup_per_gauge: MinutesEach | None = None
    template_per_piece: MinutesEach | None = None
    template_per_foot: MinutesEach | None = None
    snips_aluminium_per_foot: MinutesEach | None = None
    snips_galvanised_per_foot: MinutesEach | None = None
    fold_per_piece: MinutesEach | None = None
    fold_per_foot: MinutesEach | None = None
    slit: MinutesEach | None = None
    v_notch: MinutesEach | None = None
    notch: MinutesEach | None = None
    deburr_per_foot: MinutesEach | None = None
    fit_per_piece: MinutesEach | None = None
    fit_per_foot: MinutesEach | None = None
    preform_per_foot: MinutesEach | None = None
    seam: MinutesEach | None = None
    taped_corner: MinutesEach | None = None
    bolt: MinutesEach | None = None
    clamp: MinutesEach | None = None
    standing_per_foot: MinutesEach | None = None
    fillet_per_foot_side: MinutesEach | None = None
    release_wax_per_foot: MinutesEach | None = None
    mold_flange_per_foot: MinutesEach | None = None
    witness_per_foot: MinutesEach | None = None
    per_section: MinutesEach | None = None
    allowance: Share | None = Field(default=None, description="Share added to all minutes.")


class Prices(Written):
    """Prices of what is not metal; what is left out keeps its default."""

    bolt: MoneyEach | None = None
    clamp: MoneyEach | None = None
    packer_per_foot: MoneyEach | None = None
    mold_flange_per_foot: MoneyEach | None = None
    seam_tape_per_seam: MoneyEach | None = None
    fillet_per_litre: MoneyEach | None = None
    release_wax_per_m2: MoneyEach | None = None


class OnHand(Written):
    """What the shop has already."""

    bolts: Units = 0
    clamps: Units = 0


class Shop(Written):
    """The people, tools and means of one shop."""

    labor_rate: MoneyEach | None = Field(default=None, description="Money for one hour.")
    crew: Crew | None = None
    lift_limit: Mass | None = Field(
        default=None, description="Heaviest section that can be handled."
    )
    largest_section: Annotated[list[Length], Field(min_length=3, max_length=3)] | None = Field(
        default=None,
        description="[x, y, z] that a section must fit in; needs a box on every patch.",
    )
    on_hand: OnHand = OnHand()
    minutes: Minutes = Minutes()
    prices: Prices = Prices()


class Rules(Written):
    """The trade's limits; what is left out keeps its default."""

    draft: Degrees | None = None
    blocking: Degrees | None = None
    most_sections: SectionCount | None = None
    fewest_sections: SectionCount | None = None
    pulls: Directions | None = Field(
        default=None, description="Sections come off along one of these only."
    )
    walls: Directions | None = Field(
        default=None, description="Directions in which nothing can be pulled."
    )
    symmetric_split: bool | None = None
    mold: ArealMass | None = Field(default=None, description="Mass of the mold laminate by area.")
    frame_fraction: Share | None = None
    flange_width: LengthOrZero | None = None
    reach: Length | None = None
    joint_gap: Length | None = None
    brush_load: Force | None = None
    lean_hidden: Length | None = None
    lean_visible: Length | None = None
    clamp_load: Force | None = None
    clamp_lift_hidden: Length | None = None
    clamp_lift_visible: Length | None = None
    clamp_width: Length | None = None
    smallest_clamp_pitch: Length | None = None
    bend_k: BendFactor | None = None
    bend_radius: LengthOrZero | None = None
    slit_tolerance: Length | None = None
    fold_chord_tolerance: Length | None = None
    measuring_tolerance: Length | None = None
    access_angle: SlopeDegrees | None = None
    smallest_stand: LengthOrZero | None = None
    largest_strain: Strain | None = None
    longest_piece: Length | None = None
    shortest_piece: LengthOrZero | None = None
    trim_per_run: LengthOrZero | None = None
    roll_end: LengthOrZero | None = None
    cutting_gap: LengthOrZero | None = None
    seam_from_corner: LengthOrZero | None = None
    seam_from_notch: LengthOrZero | None = None
    seams_on_visible: YesNo | None = None
    seam_visible_minutes: MinutesEach | None = None
    standing_foot: LengthOrZero | None = None
    bolt_clearance: LengthOrZero | None = None
    fillet_radius: LengthOrZero | None = None
    fillet_waste: Share | None = None
    mold_thickness: Length | None = None


class GoalWeights(Written):
    """Weights on the money for metal, joints and labor, and money for each kilogram of waste."""

    metal: Weight = 1.0
    joints: Weight = 1.0
    labor: Weight = 1.0
    waste: Price | None = Field(default=None, description='Money by mass, such as "0.5 /kg".')


GoalName = Literal["cheapest", "least metal", "least hours", "least waste"]


def _kind_of_goal(raw: object) -> str:
    return "@weights" if isinstance(raw, dict) else "@name"


class Scenario(Written):
    """One job as a builder writes it down."""

    schema_: Annotated[str, Field(max_length=300)] | None = Field(
        default=None, alias="$schema", description="Address of this schema, for editors."
    )
    title: Annotated[str, Field(max_length=200)] = ""
    length_unit: LengthUnit = Field(description="Unit of every bare length.")
    mirror: Annotated[dict[Name, Name], Field(min_length=1, max_length=20)] | None = Field(
        default=None,
        description='Words of names and marks that swap sides: {"left": "right", "L": "R"}.',
    )
    one_sided: Annotated[list[Name], Field(max_length=MOST_PATCHES)] = Field(
        default_factory=list, description="Patches and edges that have no mirrored twin."
    )
    kinds: dict[Name, Carried] = Field(
        default_factory=dict,
        max_length=50,
        description='"every", "open", "part line" and "inner" apply by themselves; others by name.',
    )
    patches: Annotated[dict[Name, Patch], Field(min_length=1, max_length=MOST_PATCHES)]
    edges: Annotated[dict[EdgeName, EdgeOrPath], Field(min_length=1, max_length=MOST_EDGES)]
    stock: Stock | None = None
    shop: Shop = Shop()
    rules: Rules = Rules()
    goal: Annotated[
        Annotated[GoalName, Tag("@name")] | Annotated[GoalWeights, Tag("@weights")],
        Discriminator(_kind_of_goal),
    ] = "cheapest"

    @field_validator("length_unit", mode="before")
    @classmethod
    def _known_unit(cls, raw: object) -> object:
        if raw not in LENGTH_MM:
            raise wrong('write "in", "ft", "mm", "cm" or "m"')
        return raw


@cache
def json_schema() -> dict[str, Any]:
    """Return the JSON Schema of the scenario file, for editors and for other programs."""
    schema = Scenario.model_json_schema(by_alias=True)
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    properties, definitions = schema["properties"], schema["$defs"]
    paths = [
        shape for shape in definitions["Edge"]["properties"]["path"]["anyOf"] if "items" in shape
    ]
    edge = properties["edges"]["additionalProperties"]
    properties["edges"]["additionalProperties"] = {"anyOf": [*paths, edge]}
    properties["kinds"]["properties"] = {
        name: {**properties["kinds"]["additionalProperties"], "description": applies}
        for name, applies in KINDS_THAT_APPLY.items()
    }
    return schema


KINDS_THAT_APPLY = {
    "every": "Applies to every edge.",
    "open": "Applies where the mold ends.",
    "part line": "Applies where a part ends.",
    "inner": "Applies where the same part is on both sides.",
}
"""Kinds that apply by themselves."""
