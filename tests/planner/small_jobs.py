"""Small jobs made by hand for the planner's tests: lines, rings, hatches, mirrored sides."""

from __future__ import annotations

import math
from collections.abc import Sequence

from solver.data.job import Edge, Job, Patch, Rules, Run, RunEdge, Shop, StockItem
from solver.data.line import Line, Stretch
from solver.planner.options import Refusals, StretchOption, stretch_options
from solver.planner.piece_options import PieceMaker
from solver.planner.run_lines import RunLine
from solver.planner.sheets import Sheet

INCH = 25.4
FOOT = 304.8
UP = (0.0, 0.0, 1.0)

LIGHT_ALUMINIUM = StockItem(
    id="light al",
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
ALUMINIUM = StockItem(
    id="al sheet",
    form="sheet",
    metal="aluminium",
    gauge=20,
    thickness_mm=0.81,
    core_mm=0.81,
    mass_kg_m2=2.2,
    width_mm=914.4,
    length_mm=1219.2,
    price=30.0,
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


def straight(length_mm: float) -> Line:
    return Line((Stretch(length_mm),))


def hatch(radius_mm: float) -> Line:
    """A circle in a flat face, walked with the inside on the left: it turns the easy way."""
    turn = 1 / radius_mm
    return Line((Stretch(2 * math.pi * radius_mm, turn, turn),), closed=True)


def ring(radius_mm: float) -> Line:
    """A circle round a body, the metal pointing inward: it turns the hard way."""
    turn = 1 / radius_mm
    return Line((Stretch(2 * math.pi * radius_mm, 0, 0, turn, turn),), closed=True)


def edge(name: str, line: Line, first: str = "lid", second: str = "frame", **given: object) -> Edge:
    fields: dict[str, object] = {"grip_mm": 12.7, **given}
    return Edge(name, first, second, line, None, None, **fields)  # type: ignore[arg-type]


def run(name: str, *steps: str | Edge, closed: bool = False) -> Run:
    """Make a run of edges in the order of the walk; a minus sign before a name walks backward."""
    names = [step if isinstance(step, str) else step.id for step in steps]
    walked = tuple(RunEdge(name.removeprefix("-"), name.startswith("-")) for name in names)
    return Run(name, walked, closed)


def job(
    edges: Sequence[Edge],
    runs: Sequence[Run],
    stock: Sequence[StockItem] = (LIGHT_ALUMINIUM,),
    patches: Sequence[Patch] = (),
    **given: object,
) -> Job:
    """A job with a patch for every name on an edge, each a part of its own and 0.3 m2 large."""
    names = dict.fromkeys(name for e in edges for name in (e.first, e.second) if name != "open")
    fields: dict[str, object] = {"rules": Rules(), "shop": Shop(), **given}
    return Job(
        title="small",
        length_unit="in",
        currency="USD",
        patches=tuple(patches) or tuple(Patch(n, n, 300_000.0, (UP,)) for n in names),
        edges=tuple(edges),
        runs=tuple(runs),
        stock=tuple(stock),
        **fields,  # type: ignore[arg-type]
    )


def one_run(
    *edges: Edge, stock: Sequence[StockItem] = (LIGHT_ALUMINIUM,), closed: bool = False,
    **given: object,
) -> Job:  # fmt: skip
    """A job of one run through all its edges, walked forward."""
    return job(edges, [run("R1", *edges, closed=closed)], stock, **given)


class Prepared:
    """A job with its runs walked and every option of theirs."""

    def __init__(self, of: Job) -> None:
        self.job = of
        pieces = PieceMaker(of)
        self.lines: tuple[RunLine, ...] = pieces.lines
        self.sheets: tuple[Sheet, ...] = pieces.sheets
        found = stretch_options(pieces)
        self.options: tuple[StretchOption, ...] = found[0]
        self.refusals: Refusals = found[1]

    def some(
        self,
        mounting: str | None = None,
        pieces: int | None = None,
        metal: str | None = None,
        edges: tuple[int, int] | None = None,
        run: int | None = None,
    ) -> list[StretchOption]:
        """Options of one kind; ``edges`` is (first, count)."""
        return [
            o
            for o in self.options
            if (mounting is None or o.mounting == mounting)
            and (pieces is None or len(o.pieces) == pieces)
            and (metal is None or self.sheets[o.sheet].metal.label == metal)
            and (edges is None or (o.first, o.count) == edges)
            and (run is None or o.run == run)
        ]

    def one(self, mounting: str, pieces: int, **given: object) -> StretchOption:
        """Return the only option of its kind."""
        (found,) = self.some(mounting, pieces, **given)  # type: ignore[arg-type]
        return found

    def metals(self, mounting: str) -> set[str]:
        return {self.sheets[o.sheet].metal.label for o in self.some(mounting)}
