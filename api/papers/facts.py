"""What the papers say of a plan that the plan does not spell out: numbers, sides, stock sizes.

A plan alone is enough.  Its scenario, where it is at hand, tells what a plan leaves out: the size
of stock that no name gives away, marks, boxes for tipping, and edges whose names say nothing.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import shapely

from api.drawing.nest import StockShape, placed_outline, reach_of
from api.drawing.strips import Strip
from api.papers.names import piece_number
from api.papers.shop_sizes import ShopSizes, shop_sizes
from api.summary import metal_words
from solver.data.job import INCH_MM, OPEN, Job, Rules
from solver.data.plan import EdgePlan, Fold, NestPlan, Piece, Plan, Section
from solver.data.units import MeasureError, parse_length
from solver.geometry.folds import SHARP_DEG
from solver.geometry.lines import corners_between
from solver.planner.run_lines import RunLine, run_lines

_SIZE = re.compile(
    r"\b(roll|sheet)\b.*?([0-9][0-9 ./-]*(?:in|mm|ft|cm|m))"
    r" x ([0-9][0-9 ./-]*(?:in|mm|ft|cm|m))\s*$"
)
_AREA_SLACK = 1e-6
"""Share by which length times width may miss blanks, offcuts and scrap together."""


@dataclass(frozen=True)
class Bend:
    """Where a strip is bent round a sharp corner of its line, from its own start."""

    at_mm: float
    turn_deg: float | None
    """To the left as the piece is walked: away from who looks at the drawing; None: not known."""


@dataclass(frozen=True)
class Facts:
    """A plan with its pieces numbered and its sides told."""

    plan: Plan
    job: Job | None = None

    @cached_property
    def pieces(self) -> Mapping[str, Piece]:
        """Pieces by id."""
        return {piece.id: piece for piece in self.plan.pieces}

    @cached_property
    def number(self) -> Mapping[str, str]:
        """Short number of each piece, in the plan's order: "P7"."""
        return {piece.id: piece_number(n) for n, piece in enumerate(self.plan.pieces, start=1)}

    @cached_property
    def strips(self) -> Mapping[str, Strip]:
        """The strip of each piece."""
        return {piece.id: Strip(piece.blank) for piece in self.plan.pieces}

    @cached_property
    def sizes(self) -> ShopSizes:
        """How this shop marks lengths, fine enough for the plan's cutting gap."""
        gap = self.job.rules.cutting_gap_mm if self.job is not None else self._narrowest_gap_mm()
        return shop_sizes(self.plan.length_unit, gap)

    def _narrowest_gap_mm(self) -> float | None:
        """Return the least distance between blanks on one unit; None if all stand alone."""
        least: float | None = None
        for nest in self.plan.nests:
            rings = [shapely.Polygon(placed_outline(self.pieces[p.piece], p)) for p in nest.placed]
            tree = shapely.STRtree(rings)
            for i, ring in enumerate(rings):
                # only what is near enough to ask for a finer step than the usual matters
                for j in tree.query(ring, predicate="dwithin", distance=INCH_MM / 16 + 1e-3):
                    if j > i:
                        gap = float(shapely.distance(ring, rings[j]))
                        least = gap if least is None else min(least, gap)
        return least if least is None or least > 1e-3 else None

    @cached_property
    def rules(self) -> Rules:
        """The scenario's limits, or the usual ones."""
        return self.job.rules if self.job is not None else Rules()

    @cached_property
    def section_of(self) -> Mapping[str, str]:
        """Section of each patch."""
        return {patch: section.id for section in self.plan.sections for patch in section.patches}

    @cached_property
    def section(self) -> Mapping[str, Section]:
        """Sections by id."""
        return {section.id: section for section in self.plan.sections}

    @cached_property
    def edge_plan(self) -> Mapping[str, EdgePlan]:
        """What becomes of each edge."""
        return {edge.edge: edge for edge in self.plan.edges}

    @cached_property
    def sides(self) -> Mapping[str, tuple[str, str]]:
        """First and second patch of each edge ("open" outside), where they are known."""
        if self.job is not None:
            return {edge.id: (edge.first, edge.second) for edge in self.job.edges}
        known = {}
        for edge in self.plan.edges:
            bare = re.sub(r" \([^()]*\)$", "", edge.edge)
            names = tuple(part.strip() for part in bare.split(" | "))
            if len(names) == 2 and names[0] in self.section_of:
                first, second = names
                if second == OPEN or second in self.section_of:
                    known[edge.edge] = (first, second)
        return known

    def sections_of_edge(self, edge: str) -> tuple[str, ...]:
        """Sections at an edge, one or two; empty if its sides are not known."""
        if edge not in self.sides:
            return ()
        return tuple(dict.fromkeys(self.section_of[p] for p in self.sides[edge] if p != OPEN))

    def sections_of_piece(self, piece: Piece) -> tuple[str, ...]:
        """Sections that a piece touches, in the plan's order."""
        touched = {s for span in piece.spans for s in self.sections_of_edge(span.edge)}
        return tuple(section.id for section in self.plan.sections if section.id in touched)

    def edges_of(self, piece: Piece) -> tuple[str, ...]:
        """Edges that a piece covers, each once, in the order of the piece."""
        return tuple(dict.fromkeys(span.edge for span in piece.spans))

    @cached_property
    def pieces_on(self) -> Mapping[str, tuple[str, ...]]:
        """Pieces on each edge, in the plan's order."""
        on: dict[str, list[str]] = defaultdict(list)
        for piece in self.plan.pieces:
            for edge in self.edges_of(piece):
                on[edge].append(piece.id)
        return {edge: tuple(ids) for edge, ids in on.items()}

    @cached_property
    def twins(self) -> Mapping[str, tuple[str, ...]]:
        """Pieces cut from the template of another, by that other."""
        cut_from: dict[str, list[str]] = defaultdict(list)
        for piece in self.plan.pieces:
            if piece.template_of is not None:
                cut_from[piece.template_of].append(piece.id)
        return {id_: tuple(ids) for id_, ids in cut_from.items()}

    def toward(self, piece: Piece) -> str:
        """Return what lies on the side of the metal that a drawing shows, where the piece begins.

        Walking along a blank's x with its free edge up, the first patch lies on the left hand: away
        from who looks at the drawing, who sees the right-hand side.
        """
        span = piece.spans[0]
        if span.edge not in self.sides:
            return ""
        first, second = self.sides[span.edge]
        shown = first if span.backward else second
        return "the outside" if shown == OPEN else shown

    def folds_toward_you(self, piece: Piece, fold: Fold) -> bool | None:
        """Return whether a leg is folded toward who looks at the drawing; None if not known."""
        shown = self.toward(piece)
        return fold.toward == shown.removeprefix("the ") if shown else None

    def fold_words(self, piece: Piece, fold: Fold) -> str:
        """Return angle and side of a fold: "Fold 90° toward frame, away from you as drawn"."""
        way = {True: ", toward you as drawn", False: ", away from you as drawn", None: ""}
        side = way[self.folds_toward_you(piece, fold)]
        return f"Fold {fold.angle_deg:g}° toward {fold.toward}{side}"

    @cached_property
    def _run_lines(self) -> Mapping[str, RunLine]:
        return {} if self.job is None else {line.run.id: line for line in run_lines(self.job)}

    def bends(self, piece: Piece) -> tuple[Bend, ...]:
        """Return the bends of a piece; a plan tells where they are, its scenario how far."""
        turns: list[float | None] = [None] * len(piece.bends_mm)
        if piece.bends_mm and piece.run in self._run_lines:
            line = self._run_lines[piece.run].line
            corners = corners_between(line, piece.from_mm, piece.to_mm)
            found = [corner.easy_deg for corner in corners if abs(corner.easy_deg) >= SHARP_DEG]
            if len(found) == len(turns):
                turns = [*found]
        return tuple(Bend(at, turn) for at, turn in zip(piece.bends_mm, turns, strict=True))

    @staticmethod
    def metal(piece: Piece) -> str:
        """Return "26 ga aluminium"."""
        return metal_words(piece.metal, piece.gauge, piece.thickness_mm)

    def stock_shape(self, nest: NestPlan) -> StockShape:
        """Return the size of a nest's stock: from the scenario, from its name, or as drawn."""
        if self.job is not None and nest.stock in self.job.stock_of:
            item = self.job.stock_of[nest.stock]
            ends = self.rules.roll_end_mm if item.form == "roll" else 0.0
            return StockShape(item.length_mm, item.width_mm, ends, item.outline_mm)
        _, _, long, wide = reach_of(nest, self.pieces)
        found = _SIZE.search(nest.stock)
        area = self.area_of_nest(nest)
        if found:
            try:
                one, two = (parse_length(found[n]).mm(self.plan.length_unit) for n in (2, 3))
            except MeasureError:
                return StockShape(long, wide, known=False)
            short, far = sorted((one, two))
            holds = long <= far + 1e-6 and wide <= short + 1e-6
            if holds and abs(short * far - area) <= _AREA_SLACK * area:
                ends = self.rules.roll_end_mm if found[1] == "roll" else 0.0
                return StockShape(far, short, ends)
        return StockShape(long, wide, known=False)

    def area_of_nest(self, nest: NestPlan) -> float:
        """Return blanks, offcuts and scrap together: the area of the stock."""
        blanks = sum(self.pieces[one.piece].blank.area_mm2 for one in nest.placed)
        return blanks + sum(one.area_mm2 for one in nest.offcuts) + nest.scrap_mm2

    @cached_property
    def meeting(self) -> tuple[tuple[str, str], ...]:
        """Pairs of pieces of one run that follow one another: where seams are."""
        runs: dict[str, list[Piece]] = defaultdict(list)
        for piece in self.plan.pieces:
            runs[piece.run].append(piece)
        pairs = []
        for pieces in runs.values():
            for one, two in combinations(pieces, 2):
                if abs(one.to_mm - two.from_mm) < 1e-6 or abs(two.to_mm - one.from_mm) < 1e-6:
                    pairs.append((one.id, two.id))
        return tuple(pairs)
