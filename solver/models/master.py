"""One model for the split, the mountings, the metals, the pieces and the stock.

Sets
    sections S   connected, releasing, liftable sets of patches (columns)
    edges e      lines between two patches; a joint where two sections meet
    lines m      edges that carry metal (open edges too)
    options o    one way to make a stretch of lines: mounting, sheet metal, pieces with their seams
    stock k      rolls, sheets, offcuts of one sheet metal each

Decisions (all whole numbers)
    q_S  the section exists        z_e  the edge is a joint
    y_o  the option is made        n_k, h_k  units bought, taken from hand
    t    one template serves two mirrored pieces     u_m  a sheet metal is set up for
    r    a piece of an option is made from one that is there already
    b, c bolts and clamps to buy beyond what is on hand

Rules
    each patch in one section; the number of sections within limits
    z_e = 1 - sum of q_S that contain both its patches; required and forbidden splits fixed
    each line is covered by exactly one option; pinched need the joint, standing its absence
    no two options meet where a seam may not be
    area: for every set C of stock, what only C can hold fits on C (blanks and stock grown by half
        the cutting gap, so that the gap is counted exactly once)
    an option needs at least one unit that can hold each of its pieces
    a piece that is there becomes one piece at most, of an option that is made; that piece takes no
        stock, no place in its metal's setting up, and perhaps no template
    rows found lazily: sections that cannot come off in any order; lanes that are too full

Objective: money for metal, joints and labor with the goal's weights.  Areas and money are rounded
so that the model is never dearer than the truth; its bound is a bound for every plan whose sections
are among the columns (all of them when enumerated) and whose seams are among the options.
"""

from __future__ import annotations

import math
import time
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from ortools.sat.python import cp_model

from solver.data.until import Until
from solver.models.cp_sat import new_solver, watched
from solver.models.linear_program import RowReader
from solver.models.master_blocks import Homes, decide_by_blocks
from solver.models.small_cuts import blocks_of

MONEY_UNITS = 100_000
"""Money is counted in thousandths of a cent, so that a plan of a hundred items is off by less than
a tenth of a cent."""
AREA_UNIT_MM2 = 100.0
"""Areas are counted in cm²: small numbers keep the linear relaxation tight."""
ROUNDING = 1e-9
"""Of that unit: less than any area is known by."""
MOST_AREA_ROWS = 200
"""For one sheet metal; leaving out a row for several kinds together only weakens the bound."""
MANY_DECISIONS = 3000
"""Masters of more, whose bodies hang together by few lines, are decided block by block."""


@dataclass(frozen=True)
class JointEdge:
    """An edge between two patches, with the money of making it a joint or leaving it inside."""

    id: str
    first: int
    second: int
    joint_cost: float
    inside_cost: float
    bolts: int
    line: int | None
    """Index of its line where it carries metal."""
    split: Literal["allowed", "required", "forbidden"]
    twin: int | None = None
    """Index of the edge that is its mirror image; None where there is none, or it is its own."""


@dataclass(frozen=True)
class PieceNeed:
    """What one piece asks of the stock: grown area and the stock items that could hold it."""

    area_mm2: float
    holds: frozenset[int]


@dataclass(frozen=True)
class Template:
    """The template of one piece, the name of its mirrored twin's, and what sharing saves."""

    name: str
    twin: str
    saving: float


@dataclass(frozen=True)
class Option:
    """One way to make a stretch of lines."""

    lines: tuple[int, ...]
    mounting: Literal["pinched", "clamped", "standing"]
    sheet: int
    cost: float
    """Labor and joint money, weighted; metal and clamps apart."""
    needs: tuple[PieceNeed, ...]
    clamps: int = 0
    templates: tuple[Template, ...] = ()


@dataclass(frozen=True)
class Reuse:
    """A piece of an option made from a piece that is there already."""

    option: int
    piece: int
    """Its place among the option's needs."""
    existing: int
    saving: float
    """Weighted money not spent, the metal apart."""
    needs_template: bool = False


@dataclass(frozen=True)
class StockKind:
    """A stock item as the model sees it."""

    sheet: int
    price: float
    on_hand: int
    for_sale: int | None
    capacity_mm2: float
    """Grown by half the cutting gap all round."""


@dataclass(frozen=True)
class LaneRow:
    """A valid row: sum of weights of the options <= sum of room of the stock units."""

    weights: Mapping[int, int]
    room: Mapping[int, int]
    reused: Mapping[int, int] = field(default_factory=dict)
    """What of an option's weight falls away, by reuse."""


@dataclass(frozen=True)
class Caps:
    """The most that stock may cost, and the most of everything else, in money of the problem."""

    stock: float | None = None
    rest: float | None = None


@dataclass(frozen=True)
class MasterProblem:
    """Everything the master decides on, as plain data."""

    patch_count: int
    columns: tuple[int, ...]
    """Bit masks of the patches of each possible section."""
    column_costs: tuple[float, ...]
    edges: tuple[JointEdge, ...]
    line_count: int
    options: tuple[Option, ...]
    stock: tuple[StockKind, ...]
    sheet_count: int
    setup_cost: float
    fewest_sections: int = 1
    most_sections: int | None = None
    bolts_on_hand: int = 0
    bolt_price: float = 0.0
    clamps_on_hand: int = 0
    clamp_price: float = 0.0
    constant_cost: float = 0.0
    lane_rows: tuple[LaneRow, ...] = ()
    clashes: tuple[tuple[int, ...], ...] = ()
    """Options of which at most one may be made: they would leave a seam where none may be."""
    symmetric_pairs: tuple[tuple[int, int], ...] = ()
    """Columns that must be chosen together, or (with -1) not at all: a symmetric split."""
    symmetric_groups: tuple[tuple[tuple[int, ...], tuple[int, ...]], ...] = ()
    """Columns of which as many must be chosen as of others: alike but for one-sided patches."""
    reuses: tuple[Reuse, ...] = ()


@dataclass(frozen=True)
class MasterAnswer:
    """What the master chose; ``options`` and ``columns`` are indices into the problem."""

    status: Literal["optimal", "feasible", "impossible", "unknown"]
    cost: float | None
    bound: float | None
    columns: tuple[int, ...] = ()
    options: tuple[int, ...] = ()
    bought: tuple[int, ...] = ()
    from_hand: tuple[int, ...] = ()
    reused: tuple[int, ...] = ()
    cut_by_clock: bool = False
    work: float = 0.0
    """Deterministic work done, in the solver's own unit."""


@dataclass(frozen=True)
class _AreaRow:
    """A row of areas in the model; ``room`` are the places in it of stock, with its kinds."""

    index: int
    sheet: int
    room: tuple[tuple[int, int], ...]


@dataclass
class _Variables:
    sections: list[cp_model.IntVar] = field(default_factory=list)
    joints: list[cp_model.IntVar] = field(default_factory=list)
    options: list[cp_model.IntVar] = field(default_factory=list)
    bought: list[cp_model.IntVar] = field(default_factory=list)
    hand: list[cp_model.IntVar] = field(default_factory=list)
    set_up: list[cp_model.IntVar] = field(default_factory=list)
    reuses: list[cp_model.IntVar] = field(default_factory=list)
    tools: list[cp_model.IntVar] = field(default_factory=list)
    cost: list[tuple[int, cp_model.IntVar]] = field(default_factory=list)


def _floor_money(value: float) -> int:
    return math.floor(value * MONEY_UNITS + 1e-9)


def _ceil_money(value: float) -> int:
    return -_floor_money(-value)


class Master:
    """The model, built once; rows are added and it is solved again.

    ``fill`` is what it is to `expect`.
    """

    def __init__(self, problem: MasterProblem, fill: Mapping[int, float] | None = None) -> None:
        self.problem = problem
        self.model = cp_model.CpModel()
        self.variables = _Variables()
        self._area_rows: list[_AreaRow] = []
        self._areas_mm2 = [0.0] * problem.sheet_count
        """Area of all options of each sheet metal."""
        self._add_sections()
        self._add_joints()
        self._add_cover()
        self._add_clashes()
        self._reused = self._add_reuses()
        self._add_templates()
        self._add_set_up()
        self._add_stock()
        self._add_tools()
        self._constant = _floor_money(problem.constant_cost)
        self.model.minimize(
            sum(coefficient * variable for coefficient, variable in self.variables.cost)
            + self._constant
        )
        self._rows = RowReader(self.model, [row.index for row in self._area_rows])
        self._where: tuple[int, Homes | None] = (-1, None)
        """Where decisions belong, for so many of them."""
        self.expect(fill or {})

    def expect(self, fill: Mapping[int, float]) -> None:
        """Expect nests to fill only that share of a sheet metal's stock: learnt from nests.

        That is a heuristic: with any fill below 1 no bound is proven.
        """
        variables, rows = self.model.proto.variables, self.model.proto.constraints
        for kind, bought in zip(self.problem.stock, self.variables.bought, strict=True):
            area = self._areas_mm2[kind.sheet] / min(1.0, fill.get(kind.sheet, 1.0))
            enough = math.ceil(2 * area / max(1.0, kind.capacity_mm2)) + 2
            most = enough if kind.for_sale is None else min(enough, kind.for_sale)
            variables[bought.index].domain[1] = most
        for row in self._area_rows:
            share = fill.get(row.sheet, 1.0) / AREA_UNIT_MM2
            coefficients = rows[row.index].linear.coeffs
            for place, stock in row.room:
                room = self.problem.stock[stock].capacity_mm2 * share
                coefficients[place] = -math.ceil(room - ROUNDING)

    # -- rules ---------------------------------------------------------------------------------

    def _add_sections(self) -> None:
        """Each patch lies in exactly one section, and their number keeps its limits."""
        problem, model = self.problem, self.model
        holding: list[list[cp_model.IntVar]] = [[] for _ in range(problem.patch_count)]
        for index, (mask, cost) in enumerate(
            zip(problem.columns, problem.column_costs, strict=True)
        ):
            chosen = model.new_bool_var(f"q{index}")
            self.variables.sections.append(chosen)
            self.variables.cost.append((_floor_money(cost), chosen))
            for patch in _members(mask):
                holding[patch].append(chosen)
        for chosen_here in holding:
            model.add_exactly_one(chosen_here)
        count = sum(self.variables.sections)
        if problem.most_sections is not None:
            model.add(count <= problem.most_sections)
        if problem.fewest_sections > 1:
            model.add(count >= problem.fewest_sections)
        for one, other in problem.symmetric_pairs:
            chosen = self.variables.sections[one]
            model.add(chosen == (self.variables.sections[other] if other >= 0 else 0))
        for here, there in problem.symmetric_groups:
            model.add(
                sum(self.variables.sections[i] for i in here)
                == sum(self.variables.sections[i] for i in there)
            )

    def _add_joints(self) -> None:
        """An edge is a joint unless one section holds both its patches."""
        model = self.model
        inside: dict[tuple[int, int], list[cp_model.IntVar]] = defaultdict(list)
        beside: dict[int, set[int]] = defaultdict(set)
        for edge in self.problem.edges:
            beside[edge.first].add(edge.second)
        for mask, chosen in zip(self.problem.columns, self.variables.sections, strict=True):
            for first in _members(mask):
                for second in beside.get(first, ()):
                    if mask >> second & 1:
                        inside[first, second].append(chosen)
        self._joined = set(inside)
        for index, edge in enumerate(self.problem.edges):
            joint = model.new_bool_var(f"z{index}")
            self.variables.joints.append(joint)
            model.add(sum(inside[edge.first, edge.second]) + joint == 1)
            if edge.split != "allowed":
                model.add(joint == int(edge.split == "required"))
            base, extra = _floor_money(edge.inside_cost), _floor_money(edge.joint_cost)
            self.variables.cost.append((extra - base, joint))
            if base:
                one = model.new_constant(1)
                self.variables.cost.append((base, one))

    def _add_cover(self) -> None:
        """Every line is made once, pinched where it is a joint and standing where it is not."""
        model, problem = self.model, self.problem
        covering: dict[tuple[int, str], list[cp_model.IntVar]] = defaultdict(list)
        for index, option in enumerate(problem.options):
            made = model.new_bool_var(f"y{index}")
            self.variables.options.append(made)
            self.variables.cost.append((_floor_money(option.cost), made))
            for line in option.lines:
                covering[line, option.mounting].append(made)
        joint_of = {
            edge.line: self.variables.joints[index]
            for index, edge in enumerate(problem.edges)
            if edge.line is not None
        }
        for line in range(problem.line_count):
            joint = joint_of.get(line)
            if joint is None:
                model.add_exactly_one(covering[line, "clamped"])
            else:
                model.add(sum(covering[line, "pinched"]) == joint)
                model.add(sum(covering[line, "standing"]) + joint == 1)

    def _add_clashes(self) -> None:
        """No seam at a mark too near a corner or a notch, unless something changes there."""
        for options in self.problem.clashes:
            self.model.add_at_most_one(self.variables.options[i] for i in options)

    def _add_reuses(self) -> dict[tuple[int, int], list[int]]:
        """A piece that is there serves once, and a piece is made from one of them at most.

        Returns the reuses by option and piece.
        """
        by_piece: dict[tuple[int, int], list[int]] = defaultdict(list)
        by_existing: dict[int, list[cp_model.IntVar]] = defaultdict(list)
        for index, reuse in enumerate(self.problem.reuses):
            used = self.model.new_bool_var(f"r{index}")
            self.variables.reuses.append(used)
            self.variables.cost.append((-_ceil_money(reuse.saving), used))
            by_piece[reuse.option, reuse.piece].append(index)
            by_existing[reuse.existing].append(used)
        for (option, _), reuses in by_piece.items():
            made = self.variables.options[option]
            self.model.add(sum(self.variables.reuses[i] for i in reuses) <= made)
        for literals in by_existing.values():
            self.model.add_at_most_one(literals)
        return by_piece

    def _from_there(self, option: int, piece: int) -> list[cp_model.IntVar]:
        """Whether a piece is made from one that is there: at most one of these."""
        return [self.variables.reuses[i] for i in self._reused.get((option, piece), ())]

    def _add_templates(self) -> None:
        """One template serves a piece and its mirrored twin where both are cut alike."""
        makers: dict[str, list[cp_model.IntVar]] = defaultdict(list)
        without: dict[str, list[cp_model.IntVar]] = defaultdict(list)
        savings: dict[tuple[str, str], float] = defaultdict(float)
        for index, reuse in enumerate(self.problem.reuses):
            templates = self.problem.options[reuse.option].templates
            if templates and not reuse.needs_template:
                without[templates[reuse.piece].name].append(self.variables.reuses[index])
        for option, made in zip(self.problem.options, self.variables.options, strict=True):
            for template in option.templates:
                makers[template.name].append(made)
                if template.twin and template.twin != template.name:
                    pair = (min(template.name, template.twin), max(template.name, template.twin))
                    savings[pair] = max(savings[pair], template.saving)
        for (name, twin), saving in savings.items():
            if name in makers and twin in makers:
                shared = self.model.new_bool_var(f"t {name}")
                self.model.add(shared <= sum(makers[name]))
                self.model.add(shared <= sum(makers[twin]))
                if without[name] or without[twin]:
                    both = [*makers[name], *makers[twin]]
                    there = [shared, *without[name], *without[twin]]
                    self.model.add(sum(there) <= sum(both))
                self.variables.cost.append((-_ceil_money(saving), shared))

    def _add_set_up(self) -> None:
        """Each sheet metal that is used is set up for once."""
        by_sheet: dict[int, list[tuple[int, Option]]] = defaultdict(list)
        for index, option in enumerate(self.problem.options):
            by_sheet[option.sheet].append((index, option))
        for sheet in range(self.problem.sheet_count):
            used = self.model.new_bool_var(f"u{sheet}")
            self.variables.set_up.append(used)
            self.variables.cost.append((_floor_money(self.problem.setup_cost), used))
            for index, option in by_sheet[sheet]:
                made = self.variables.options[index]
                kept = [self._from_there(index, piece) for piece in range(len(option.needs))]
                if not all(kept):
                    self.model.add_implication(made, used)
                else:  # nothing is cut where all its pieces are there
                    for there in kept:
                        self.model.add(made <= used + sum(there))

    def _add_stock(self) -> None:
        """What only some stock can hold fits on that stock, by area."""
        model, problem = self.model, self.problem
        for option in problem.options:
            self._areas_mm2[option.sheet] += sum(need.area_mm2 for need in option.needs)
        for index, kind in enumerate(problem.stock):
            # how many may be bought hangs on how full stock is expected to get
            self.variables.bought.append(model.new_int_var(0, 1, f"n{index}"))
            self.variables.hand.append(model.new_int_var(0, kind.on_hand, f"h{index}"))
            self.variables.cost.append((_floor_money(kind.price), self.variables.bought[index]))
        for sheet in range(problem.sheet_count):
            self._add_area_rows(sheet)
        holding = {need.holds for option in problem.options for need in option.needs}
        units = {holds: self._units(holds) for holds in holding}
        at_least: dict[tuple[int, frozenset[int]], None] = {}
        for index, option in enumerate(problem.options):
            for piece, need in enumerate(option.needs):
                there = self._from_there(index, piece)
                if there:
                    cut = [self.variables.options[index], *(-1 * one for one in there)]
                    model.add(sum(cut) <= units[need.holds])
                else:
                    at_least[index, need.holds] = None
        for index, holds in at_least:
            model.add(self.variables.options[index] <= units[holds])

    def _units(self, holds: frozenset[int]) -> cp_model.LinearExprT:
        return sum(self.variables.bought[k] + self.variables.hand[k] for k in sorted(holds))

    def _add_area_rows(self, sheet: int) -> None:
        problem = self.problem
        options = [(i, o) for i, o in enumerate(problem.options) if o.sheet == sheet]
        for holds in _with_unions({need.holds for _, o in options for need in o.needs}):
            load = []
            for index, option in options:
                area = sum(need.area_mm2 for need in option.needs if need.holds <= holds)
                units = math.floor(area / AREA_UNIT_MM2)
                if units:
                    load.append(units * self.variables.options[index])
                for piece, need in enumerate(option.needs):
                    if need.holds <= holds:
                        less = math.ceil(need.area_mm2 / AREA_UNIT_MM2)
                        load += [-less * there for there in self._from_there(index, piece)]
            if load:
                row = self.model.add(sum(load) <= self._units(holds)).index
                kinds = {
                    units[k].index: k
                    for k in holds
                    for units in (self.variables.bought, self.variables.hand)
                }
                held = list(self.model.proto.constraints[row].linear.vars)
                room = [(place, kinds[i]) for place, i in enumerate(held) if i in kinds]
                self._area_rows.append(_AreaRow(row, sheet, tuple(room)))

    def _add_tools(self) -> None:
        """Bolts and clamps beyond what is on hand are bought; lanes hold what was cut for them."""
        model, problem = self.model, self.problem
        bolts = sum(
            edge.bolts * joint
            for edge, joint in zip(problem.edges, self.variables.joints, strict=True)
        )
        all_bolts = sum(edge.bolts for edge in problem.edges)
        if all_bolts and problem.bolt_price:
            short = model.new_int_var(0, all_bolts, "b")
            self.variables.tools.append(short)
            model.add(bolts - problem.bolts_on_hand <= short)
            self.variables.cost.append((_floor_money(problem.bolt_price), short))
        clamps = [
            option.clamps * made
            for option, made in zip(problem.options, self.variables.options, strict=True)
            if option.clamps
        ]
        if clamps and problem.clamp_price:
            most = sum(option.clamps for option in problem.options)
            short = model.new_int_var(0, most, "c")
            self.variables.tools.append(short)
            model.add(sum(clamps) - problem.clamps_on_hand <= short)
            self.variables.cost.append((_floor_money(problem.clamp_price), short))
        for row in problem.lane_rows:
            self.add_lane_row(row)

    # -- rows added later ------------------------------------------------------------------------

    def add_lane_row(self, row: LaneRow) -> None:
        """Add a valid row between options and stock units."""
        load = [weight * self.variables.options[i] for i, weight in sorted(row.weights.items())]
        load += [-weight * self.variables.reuses[i] for i, weight in sorted(row.reused.items())]
        room = [
            amount * (self.variables.bought[k] + self.variables.hand[k])
            for k, amount in sorted(row.room.items())
        ]
        self.model.add(sum(load) <= sum(room))

    def costs_together(
        self, options: Sequence[int], reuses: Sequence[int], stock: Sequence[int], price: float
    ) -> None:
        """Expect all of these options, with none of these reuses, to cost this much for stock.

        So much was found for the blanks that they cut; no bound may follow from it.
        """
        most = _floor_money(price)
        paid = [_floor_money(self.problem.stock[k].price) * self.variables.bought[k] for k in stock]
        without = [most * self.variables.reuses[i] for i in reuses]
        made = [-most * self.variables.options[i] for i in options]
        self.model.add(sum([*paid, *without, *made]) >= most - most * len(options))

    def cheaper_than(self, cost: float) -> None:
        """Ask for a choice that costs less than this: where there is none, no plan does."""
        least = sum(coefficient * variable for coefficient, variable in self.variables.cost)
        self.model.add(least + self._constant <= _floor_money(cost) - 1)

    def forbid_sections(self, columns: Sequence[int], most: int) -> None:
        """Allow at most ``most`` of these columns (sections that block one another for ever)."""
        self.model.add(sum(self.variables.sections[i] for i in columns) <= most)

    def forbid_together(self, options: Sequence[int]) -> None:
        """Ask for other options than all of these: their blanks were not brought onto the stock.

        That a nest was not found is no proof that there is none, so no bound may follow from it.
        """
        self.model.add(sum(self.variables.options[i] for i in options) <= len(options) - 1)

    def cap(self, caps: Caps) -> None:
        """Allow no more money for stock, or for all but stock, than these."""
        bought = {variable.index for variable in self.variables.bought}
        stock = [(c, v) for c, v in self.variables.cost if v.index in bought]
        rest = [(c, v) for c, v in self.variables.cost if v.index not in bought]
        for money, terms, constant in (
            (caps.stock, stock, 0),
            (caps.rest, rest, self._constant),
        ):
            if money is not None:
                spent = sum(coefficient * variable for coefficient, variable in terms)
                self.model.add(spent + constant <= _ceil_money(money))

    def differ(self, joints: Sequence[int], by: int) -> None:
        """Ask for at least so many other joints than these (indices of edges).

        Of an edge and its mirror image only the number of joints counts: a joint that moves to the
        other side changes nothing that a builder could compare.
        """
        same = set(joints)
        changed: list[cp_model.LinearExprT] = []
        for index, (edge, joint) in enumerate(
            zip(self.problem.edges, self.variables.joints, strict=True)
        ):
            if edge.twin is None:
                changed.append(1 - joint if index in same else joint)
            elif edge.twin > index:
                twin = self.variables.joints[edge.twin]
                before = (index in same) + (edge.twin in same)
                if before == 1:
                    # neither or both: one joint more or less than the one before
                    unlike = self.model.new_bool_var("")
                    self.model.add(unlike >= joint - twin)
                    self.model.add(unlike >= twin - joint)
                    changed.append(1 - unlike)
                else:
                    changed.append(2 - joint - twin if before else joint + twin)
        self.model.add(sum(changed) >= by)

    # -- solving -----------------------------------------------------------------------------------

    def solve(
        self,
        *,
        work: float,
        seconds: float | None,
        seed: int,
        hint: MasterAnswer | None = None,
        should_stop: Callable[[], bool] | None = None,
    ) -> MasterAnswer:
        """Solve within a deterministic work limit, guarded by a wall-clock limit.

        ``work`` is CP-SAT's deterministic time: the same limit ends at the same point on any
        machine unless the clock ends it first, which the answer then says.
        """
        began = time.monotonic()
        known: float | None = None
        if len(self.model.proto.variables) >= MANY_DECISIONS:
            answer = self._by_blocks(work, seconds, seed, hint, should_stop)
            if answer is not None and (answer.cost is not None or answer.cut_by_clock):
                return answer
            known = answer.bound if answer is not None else None
            if seconds is not None:
                seconds = max(0.05, seconds - (time.monotonic() - began))
        solver = new_solver(work=work, seconds=seconds, seed=seed)
        self.model.clear_hints()  # type: ignore[no-untyped-call]
        if hint is not None and hint.cost is not None:
            self._add_hint(hint)
        with watched(solver, should_stop):
            status = solver.solve(self.model)
        answer = self._answer(solver, status, seconds)
        if known is not None and answer.bound is not None:
            answer = replace(answer, bound=max(answer.bound, known))
        return answer

    def _by_blocks(
        self,
        work: float,
        seconds: float | None,
        seed: int,
        hint: MasterAnswer | None,
        should_stop: Callable[[], bool] | None,
    ) -> MasterAnswer | None:
        """Decide block by block; None where the body has one block, or nothing is told by that."""
        homes = self._homes()
        if homes is None:
            return None
        until = Until(None if seconds is None else time.monotonic() + seconds)
        if should_stop is not None:
            until = replace(until, asked=should_stop)
        known = None
        if hint is not None and hint.cost is not None:
            known = np.zeros(len(homes.of), dtype=bool)
            for chosen, variables in self._hinted(hint):
                known[[variables[i].index for i in sorted(chosen)]] = True
        decided = decide_by_blocks(
            self._rows.read(), homes, work=work, until=until, seed=seed, known=known
        )
        if decided is None or decided.impossible:
            return None
        bound = decided.bound / MONEY_UNITS
        if decided.choice is None:
            late = decided.cut or until.over()
            return MasterAnswer("unknown", None, bound, cut_by_clock=late, work=decided.work)
        value = decided.choice
        return self._chosen(
            lambda variable: round(float(value[variable.index])),
            optimal=decided.cost <= decided.bound,
            cost=decided.cost / MONEY_UNITS,
            bound=bound,
            cut_by_clock=decided.cut,
            work=decided.work,
        )

    def _homes(self) -> Homes | None:
        """Where each decision belongs; None where the body does not fall into blocks."""
        count = len(self.model.proto.variables)
        if self._where[0] != count:
            self._where = count, self._find_homes()
        return self._where[1]

    def _find_homes(self) -> Homes | None:
        problem = self.problem
        ends = ((edge.first, edge.second) for edge in problem.edges)
        block = blocks_of(problem.patch_count, [pair for pair in ends if pair in self._joined])
        if max(block) == 0:
            return None
        of = np.full(len(self.model.proto.variables), -1, dtype=np.int64)
        everywhere = np.zeros(len(of), dtype=bool)
        sections = np.zeros(len(of), dtype=bool)

        def settle(variable: cp_model.IntVar, blocks: set[int]) -> None:
            if blocks:
                of[variable.index] = sum(1 << number for number in blocks)

        for mask, chosen in zip(problem.columns, self.variables.sections, strict=True):
            settle(chosen, {block[patch] for patch in _members(mask)})
            sections[chosen.index] = True
        of_line: dict[int, set[int]] = {}
        for edge, joint in zip(problem.edges, self.variables.joints, strict=True):
            both = {block[edge.first], block[edge.second]}
            settle(joint, both)
            if edge.line is not None:
                of_line[edge.line] = both
        for option, made in zip(problem.options, self.variables.options, strict=True):
            settle(made, {b for line in option.lines for b in of_line.get(line, ())})
        for reuse, used in zip(problem.reuses, self.variables.reuses, strict=True):
            of[used.index] = of[self.variables.options[reuse.option].index]
        mine = self.variables
        for variable in (*mine.bought, *mine.hand, *mine.set_up, *mine.tools):
            everywhere[variable.index] = True
        return Homes(of, everywhere, sections)

    def _hinted(self, hint: MasterAnswer) -> tuple[tuple[set[int], list[cp_model.IntVar]], ...]:
        return (
            (set(hint.columns), self.variables.sections),
            (set(hint.options), self.variables.options),
            (set(hint.reused), self.variables.reuses),
        )

    def _add_hint(self, hint: MasterAnswer) -> None:
        for chosen, variables in self._hinted(hint):
            for index, variable in enumerate(variables):
                self.model.add_hint(variable, index in chosen)

    def _answer(
        self, solver: cp_model.CpSolver, status: object, seconds: float | None
    ) -> MasterAnswer:
        work = float(solver.response_proto.deterministic_time)
        cut = seconds is not None and solver.wall_time >= 0.98 * seconds
        if status == cp_model.INFEASIBLE:
            return MasterAnswer("impossible", None, None, work=work)
        bound = solver.best_objective_bound / MONEY_UNITS
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            known = bound if math.isfinite(bound) and bound > 0 else None
            return MasterAnswer("unknown", None, known, cut_by_clock=cut, work=work)
        return self._chosen(
            solver.value,
            optimal=status == cp_model.OPTIMAL,
            cost=solver.objective_value / MONEY_UNITS,
            bound=bound,
            cut_by_clock=cut and status != cp_model.OPTIMAL,
            work=work,
        )

    def _chosen(
        self,
        value: Callable[[cp_model.IntVar], int],
        *,
        optimal: bool,
        cost: float,
        bound: float,
        cut_by_clock: bool,
        work: float,
    ) -> MasterAnswer:
        return MasterAnswer(
            status="optimal" if optimal else "feasible",
            cost=cost,
            bound=bound,
            columns=tuple(i for i, v in enumerate(self.variables.sections) if value(v)),
            options=tuple(i for i, v in enumerate(self.variables.options) if value(v)),
            bought=tuple(value(v) for v in self.variables.bought),
            from_hand=tuple(value(v) for v in self.variables.hand),
            reused=tuple(i for i, v in enumerate(self.variables.reuses) if value(v)),
            cut_by_clock=cut_by_clock,
            work=work,
        )


def _with_unions(holders: set[frozenset[int]]) -> list[frozenset[int]]:
    """Add the unions of sets that overlap: with these, no other set of stock could be too full.

    Sets that share no stock need no row together: the sum of their own rows says it.
    """
    found = set(holders)
    fresh = sorted(found, key=_by_size)
    while fresh and len(found) <= MOST_AREA_ROWS:
        new: dict[frozenset[int], None] = {}
        for one in fresh:
            for other in sorted(found, key=_by_size):
                if one & other and (both := one | other) not in found:
                    new[both] = None
        found.update(new)
        fresh = list(new)
    return sorted(found, key=_by_size)


def _by_size(holds: frozenset[int]) -> tuple[int, list[int]]:
    return len(holds), sorted(holds)


def _members(mask: int) -> list[int]:
    return [i for i in range(mask.bit_length()) if mask >> i & 1]
