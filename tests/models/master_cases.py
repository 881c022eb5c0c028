"""Small master problems as plain data, and two other ways to their optimum.

``cheapest_by_listing`` tries every partition, every cover of the lines and every count of stock;
``cheapest_by_milp`` writes the model of the docstring anew for HiGHS (scipy.optimize.milp).  Both
know nothing of the model under test.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from solver.models.master import (
    JointEdge,
    LaneRow,
    MasterProblem,
    Option,
    PieceNeed,
    StockKind,
    Template,
)

CM2 = 100.0
"""Areas in whole cm² and money in whole cents: the model rounds neither."""


@dataclass(frozen=True)
class Best:
    """The optimum with one choice that reaches it."""

    cost: float
    columns: tuple[int, ...]
    options: tuple[int, ...]


# --- random problems ------------------------------------------------------------------------------


def connected_sets(count: int, pairs: Sequence[tuple[int, int]]) -> tuple[int, ...]:
    """Bit masks of every set of patches that hangs together."""
    found = []
    for mask in range(1, 1 << count):
        members = [i for i in range(count) if mask >> i & 1]
        reached, grown = {members[0]}, True
        while grown:
            more = {
                j
                for a, b in pairs
                for i, j in ((a, b), (b, a))
                if i in reached and mask >> j & 1 and j not in reached
            }
            grown = bool(more)
            reached |= more
        if len(reached) == len(members):
            found.append(mask)
    return tuple(found)


def random_problem(seed: int, **given: object) -> MasterProblem:
    """A problem of every kind of rule, small enough to be listed."""
    random = np.random.default_rng(seed)
    count = int(random.integers(2, 5))
    pairs = [(int(random.integers(0, i)), i) for i in range(1, count)]
    if count > 2:
        extra = sorted(random.choice(count, 2, replace=False).tolist())
        pairs.append((int(extra[0]), int(extra[1])))  # perhaps a second edge between the same two
    columns = connected_sets(count, pairs)

    line_count, edges = 0, []
    for number, (first, second) in enumerate(pairs):
        line = None
        if random.random() < 0.75:
            line, line_count = line_count, line_count + 1
        edges.append(
            JointEdge(
                id=f"e{number}",
                first=first,
                second=second,
                joint_cost=_cents(random, 3.0, 12.0),
                inside_cost=_cents(random, 0.0, 9.0) if random.random() < 0.5 else 0.0,
                bolts=int(random.integers(0, 5)),
                line=line,
                split=random.choice(["allowed"] * 8 + ["required", "forbidden"]),
            )
        )
    inner = line_count
    line_count += int(random.integers(0 if inner > 1 else 1, 3))

    sheet_count = 2
    sheets = [0, 1, *(int(random.integers(0, 2)) for _ in range(int(random.integers(0, 2))))]
    stock = tuple(
        StockKind(
            sheet=sheet,
            price=_cents(random, 8.0, 30.0),
            on_hand=int(random.random() < 0.3),
            for_sale=None if random.random() < 0.6 else int(random.integers(1, 3)),
            capacity_mm2=CM2 * int(random.integers(80, 200)),
        )
        for sheet in sheets
    )
    options = list(_options(random, inner, line_count, stock))
    clashes = tuple(
        tuple(sorted(random.choice(len(options), 2, replace=False).tolist()))
        for _ in range(int(random.integers(0, 3)))
        if len(options) > 1
    )
    fields: dict[str, object] = {
        "patch_count": count,
        "columns": columns,
        "column_costs": tuple(_cents(random, 4.0, 15.0) for _ in columns),
        "edges": tuple(edges),
        "line_count": line_count,
        "options": tuple(options),
        "stock": stock,
        "sheet_count": sheet_count,
        "setup_cost": _cents(random, 0.0, 12.0),
        "most_sections": int(random.integers(1, count + 1)) if random.random() < 0.3 else None,
        "fewest_sections": int(random.integers(1, count + 1)) if random.random() < 0.3 else 1,
        "bolts_on_hand": int(random.integers(0, 6)),
        "bolt_price": _cents(random, 0.0, 2.0),
        "clamps_on_hand": int(random.integers(0, 8)),
        "clamp_price": _cents(random, 0.0, 6.0),
        "constant_cost": _cents(random, 0.0, 50.0),
        "clashes": clashes,
    }
    return MasterProblem(**{**fields, **given})  # type: ignore[arg-type]


def _cents(random: np.random.Generator, low: float, high: float) -> float:
    return round(float(random.uniform(low, high)), 2)


def _options(
    random: np.random.Generator, inner: int, line_count: int, stock: Sequence[StockKind]
) -> Iterator[Option]:
    """A few options for each line and mounting, some for two lines; lines 0 and 1 are twins."""
    for line in range(line_count):
        mountings = ("pinched", "standing") if line < inner else ("clamped",)
        for mounting in mountings:
            for number in range(int(random.integers(1, 3))):
                sheet = int(random.integers(0, 2))
                mine = [k for k, kind in enumerate(stock) if kind.sheet == sheet]
                pieces = number + 1
                twin = {0: 1, 1: 0}.get(line)
                lines = (line,)
                if line + 1 < (inner if line < inner else line_count) and random.random() < 0.25:
                    lines, twin = (line, line + 1), None
                yield Option(
                    lines=lines,
                    mounting=mounting,  # type: ignore[arg-type]
                    sheet=sheet,
                    cost=_cents(random, 3.0, 20.0) * len(lines),
                    needs=tuple(
                        PieceNeed(
                            CM2 * int(random.integers(20, 90)) / pieces // CM2 * CM2,
                            _some_of(random, mine),
                        )
                        for _ in range(pieces)
                    ),
                    clamps=int(random.integers(2, 7)) if mounting == "clamped" else 0,
                    templates=tuple(
                        Template(
                            name=f"{lines} {mounting} {pieces} {piece}",
                            twin="" if twin is None else f"{(twin,)} {mounting} {pieces} {piece}",
                            saving=0.25 * pieces + 2.0,
                        )
                        for piece in range(pieces)
                    ),
                )


def _some_of(random: np.random.Generator, kinds: Sequence[int]) -> frozenset[int]:
    chosen = [k for k in kinds if random.random() < 0.6]
    return frozenset(chosen or [int(random.choice(kinds))])


# --- listing everything ---------------------------------------------------------------------------


def partitions(problem: MasterProblem) -> Iterator[tuple[int, ...]]:
    """Every choice of columns that holds each patch once."""
    whole = (1 << problem.patch_count) - 1

    def fill(covered: int, chosen: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        if covered == whole:
            yield chosen
            return
        lowest = (~covered & (covered + 1)).bit_length() - 1
        for index, mask in enumerate(problem.columns):
            if mask >> lowest & 1 and not mask & covered:
                yield from fill(covered | mask, (*chosen, index))

    yield from fill(0, ())


def covers(problem: MasterProblem, wanted: Sequence[str]) -> Iterator[tuple[int, ...]]:
    """Every choice of options that makes each line once, in the mounting it asks for."""

    def fill(made: frozenset[int], chosen: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        left = [line for line in range(problem.line_count) if line not in made]
        if not left:
            yield chosen
            return
        for index, option in enumerate(problem.options):
            if left[0] not in option.lines or made & set(option.lines):
                continue
            if any(index in clash and set(chosen) & set(clash) for clash in problem.clashes):
                continue
            if all(wanted[line] == option.mounting for line in option.lines):
                yield from fill(made | set(option.lines), (*chosen, index))

    yield from fill(frozenset(), ())


def cheapest_by_listing(
    problem: MasterProblem, forbidden: Sequence[tuple[Sequence[int], int]] = ()
) -> Best | None:
    """The optimum by trying everything, or None where nothing keeps the rules."""
    metal: dict[tuple[int, tuple[PieceNeed, ...]], float] = {}
    best: Best | None = None
    for chosen in partitions(problem):
        most = problem.most_sections or problem.patch_count
        if not problem.fewest_sections <= len(chosen) <= most:
            continue
        if any((a in chosen) != (b >= 0 and b in chosen) for a, b in problem.symmetric_pairs):
            continue
        if any(
            len(set(chosen) & set(a)) != len(set(chosen) & set(b))
            for a, b in problem.symmetric_groups
        ):
            continue
        if any(sum(columns.count(q) for q in chosen) > most for columns, most in forbidden):
            continue
        owner = {
            patch: column
            for column in chosen
            for patch in range(problem.patch_count)
            if problem.columns[column] >> patch & 1
        }
        joint = [owner[e.first] != owner[e.second] for e in problem.edges]
        if any(
            (e.split == "required" and not z) or (e.split == "forbidden" and z)
            for e, z in zip(problem.edges, joint, strict=True)
        ):
            continue
        wanted = ["clamped"] * problem.line_count
        for edge, z in zip(problem.edges, joint, strict=True):
            if edge.line is not None:
                wanted[edge.line] = "pinched" if z else "standing"
        bolts = sum(e.bolts for e, z in zip(problem.edges, joint, strict=True) if z)
        split_cost = (
            problem.constant_cost
            + sum(problem.column_costs[q] for q in chosen)
            + sum(
                e.joint_cost if z else e.inside_cost
                for e, z in zip(problem.edges, joint, strict=True)
            )
            + problem.bolt_price * max(0, bolts - problem.bolts_on_hand)
        )
        for options in covers(problem, wanted):
            cost = split_cost + _making(problem, options, metal)
            if best is None or cost < best.cost - 1e-12:
                best = Best(cost, chosen, options)
    return best if best is not None and math.isfinite(best.cost) else None


def _making(
    problem: MasterProblem,
    chosen: Sequence[int],
    metal: dict[tuple[int, tuple[PieceNeed, ...]], float],
) -> float:
    options = [problem.options[i] for i in chosen]
    clamps = sum(option.clamps for option in options)
    cost = sum(option.cost for option in options)
    cost += problem.clamp_price * max(0, clamps - problem.clamps_on_hand)
    cost += problem.setup_cost * len({option.sheet for option in options})
    made = {template.name for option in options for template in option.templates}
    saved = {
        frozenset((template.name, template.twin)): template.saving
        for option in options
        for template in option.templates
        if template.twin != template.name and template.twin in made
    }
    cost -= sum(saved.values())
    for sheet in range(problem.sheet_count):
        needs = tuple(need for option in options if option.sheet == sheet for need in option.needs)
        if (sheet, needs) not in metal:
            metal[sheet, needs] = _cheapest_stock(problem, sheet, needs)
        cost += metal[sheet, needs]
    return cost


def _cheapest_stock(problem: MasterProblem, sheet: int, needs: Sequence[PieceNeed]) -> float:
    """Count up the units of every kind; all on hand are used, since they cost nothing."""
    kinds = [k for k, kind in enumerate(problem.stock) if kind.sheet == sheet]
    area = sum(need.area_mm2 for need in needs)
    counts = []
    for k in kinds:
        kind = problem.stock[k]
        enough = math.ceil(area / kind.capacity_mm2) + 1
        counts.append(range((enough if kind.for_sale is None else kind.for_sale) + 1))
    best = math.inf
    for bought in itertools.product(*counts):
        units = {k: n + problem.stock[k].on_hand for k, n in zip(kinds, bought, strict=True)}
        price = sum(n * problem.stock[k].price for k, n in zip(kinds, bought, strict=True))
        if price < best and _fits(problem, kinds, units, needs):
            best = price
    return best


def _fits(
    problem: MasterProblem,
    kinds: Sequence[int],
    units: dict[int, int],
    needs: Sequence[PieceNeed],
) -> bool:
    if any(not any(units[k] for k in need.holds) for need in needs):
        return False
    for size in range(1, len(kinds) + 1):
        for some in itertools.combinations(kinds, size):
            load = sum(need.area_mm2 for need in needs if need.holds <= set(some))
            room = sum(units[k] * problem.stock[k].capacity_mm2 for k in some)
            if load > room + 1e-6:
                return False
    return True


# --- the docstring's model for another solver -----------------------------------------------------


class _Rows:
    """Linear rows by names of variables, all whole numbers."""

    def __init__(self) -> None:
        self.place: dict[object, int] = {}
        self.high: list[float] = []
        self.cost: list[float] = []
        self.rows: list[tuple[dict[object, float], float, float]] = []

    def whole(self, name: object, high: float, cost: float = 0.0) -> None:
        self.place[name] = len(self.place)
        self.high.append(high)
        self.cost.append(cost)

    def between(self, terms: dict[object, float], low: float, high: float) -> None:
        self.rows.append((terms, low, high))

    def cheapest(self) -> float | None:
        matrix = np.zeros((len(self.rows), len(self.place)))
        for row, (terms, _, _) in enumerate(self.rows):
            for name, weight in terms.items():
                matrix[row, self.place[name]] += weight
        low = np.array([row[1] for row in self.rows])
        high = np.array([row[2] for row in self.rows])
        found = milp(
            np.array(self.cost),
            integrality=np.ones(len(self.place)),
            bounds=Bounds(0, np.array(self.high)),
            constraints=LinearConstraint(matrix, low, high),
            options={"mip_rel_gap": 0.0},
        )
        return None if found.x is None else float(found.fun)


def cheapest_by_milp(problem: MasterProblem) -> float | None:
    """The optimum by HiGHS, or None where it finds no answer."""
    rows, many = _Rows(), math.inf
    for q, cost in enumerate(problem.column_costs):
        rows.whole(("q", q), 1, cost)
    constant = problem.constant_cost
    for e, edge in enumerate(problem.edges):
        fixed = {"required": 1.0, "forbidden": 0.0}.get(edge.split)
        rows.whole(("z", e), 1, edge.joint_cost - edge.inside_cost)
        constant += edge.inside_cost
        if fixed is not None:
            rows.between({("z", e): 1.0}, fixed, fixed)
        both = 1 << edge.first | 1 << edge.second
        holding = {("q", q): 1.0 for q, mask in enumerate(problem.columns) if mask & both == both}
        rows.between({**holding, ("z", e): 1.0}, 1, 1)
    for patch in range(problem.patch_count):
        holds = {("q", q): 1.0 for q, mask in enumerate(problem.columns) if mask >> patch & 1}
        rows.between(dict(holds), 1, 1)
    every = {("q", q): 1.0 for q in range(len(problem.columns))}
    rows.between(dict(every), problem.fewest_sections, problem.most_sections or many)
    for one, other in problem.symmetric_pairs:
        rows.between({("q", one): 1.0, **({("q", other): -1.0} if other >= 0 else {})}, 0, 0)
    for here, there in problem.symmetric_groups:
        rows.between({**{("q", q): 1.0 for q in here}, **{("q", q): -1.0 for q in there}}, 0, 0)
    for o, option in enumerate(problem.options):
        rows.whole(("y", o), 1, option.cost)
    edge_of = {edge.line: e for e, edge in enumerate(problem.edges) if edge.line is not None}
    for line in range(problem.line_count):
        makes: dict[str, dict[object, float]] = defaultdict(dict)
        for o, option in enumerate(problem.options):
            if line in option.lines:
                makes[option.mounting][("y", o)] = 1.0
        if line in edge_of:
            z: object = ("z", edge_of[line])
            rows.between({**makes["pinched"], z: -1.0}, 0, 0)
            rows.between({**makes["standing"], z: 1.0}, 1, 1)
        else:
            rows.between(dict(makes["clamped"]), 1, 1)
    for sheet in range(problem.sheet_count):
        rows.whole(("u", sheet), 1, problem.setup_cost)
    for o, option in enumerate(problem.options):
        rows.between({("y", o): 1.0, ("u", option.sheet): -1.0}, -many, 0)
    for clash in problem.clashes:
        rows.between({("y", o): 1.0 for o in clash}, -math.inf, 1)
    _stock_rows(rows, problem)
    _template_rows(rows, problem)
    rows.whole("b", many, problem.bolt_price)
    rows.whole("c", many, problem.clamp_price)
    bolts = {("z", e): float(edge.bolts) for e, edge in enumerate(problem.edges)}
    rows.between({**bolts, "b": -1.0}, -many, problem.bolts_on_hand)
    clamps = {("y", o): float(option.clamps) for o, option in enumerate(problem.options)}
    rows.between({**clamps, "c": -1.0}, -many, problem.clamps_on_hand)
    found = rows.cheapest()
    return None if found is None else found + constant


def _stock_rows(rows: _Rows, problem: MasterProblem) -> None:
    for k, kind in enumerate(problem.stock):
        rows.whole(("n", k), math.inf if kind.for_sale is None else kind.for_sale, kind.price)
        rows.whole(("h", k), kind.on_hand)
    for sheet in range(problem.sheet_count):
        kinds = [k for k, kind in enumerate(problem.stock) if kind.sheet == sheet]
        for size in range(1, len(kinds) + 1):
            for some in itertools.combinations(kinds, size):
                terms: dict[object, float] = {}
                for o, option in enumerate(problem.options):
                    if option.sheet == sheet:
                        terms[("y", o)] = sum(
                            need.area_mm2 / CM2 for need in option.needs if need.holds <= set(some)
                        )
                for k in some:
                    for units in ("n", "h"):
                        terms[(units, k)] = -problem.stock[k].capacity_mm2 / CM2
                rows.between(terms, -math.inf, 0)
    for o, option in enumerate(problem.options):
        for need in option.needs:
            units_held = {(units, k): -1.0 for k in need.holds for units in ("n", "h")}
            rows.between({("y", o): 1.0, **units_held}, -math.inf, 0)
    for row in problem.lane_rows:
        rows.between(_lane_terms(row), -math.inf, 0)


def _lane_terms(row: LaneRow) -> dict[object, float]:
    load: dict[object, float] = {("y", o): float(w) for o, w in row.weights.items()}
    room = {(units, k): -float(r) for k, r in row.room.items() for units in ("n", "h")}
    return {**load, **room}


def _template_rows(rows: _Rows, problem: MasterProblem) -> None:
    makers: dict[str, dict[object, float]] = defaultdict(dict)
    savings: dict[frozenset[str], float] = {}
    for o, option in enumerate(problem.options):
        for template in option.templates:
            makers[template.name][("y", o)] = 1.0
            if template.twin and template.twin != template.name:
                savings[frozenset((template.name, template.twin))] = template.saving
    for pair, saving in savings.items():
        rows.whole(("t", pair), 1, -saving)
        for name in pair:
            less = dict.fromkeys(makers.get(name, {}), -1.0)
            rows.between({("t", pair): 1.0, **less}, -math.inf, 0)
