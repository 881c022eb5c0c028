"""Options beside one another: the figures of each as data, and as one table of 80 columns.

Pure: plans and their job go in; rows and lines of text come out.
"""

from __future__ import annotations

from collections.abc import Sequence

from pydantic import BaseModel, ConfigDict

from api.summary import (
    LOCAL_CODES,
    USUAL_CAUTIONS,
    count_words,
    crew,
    money,
    name_words,
    weight,
)
from api.tables import WIDTH, clip, columns, plain, table, wrap, wrap_words
from solver.data.job import FOOT_MM, POUND_KG, Job
from solver.data.plan import Plan

SAME_MONEY = 1e-6
"""Relative: amounts nearer than this are one (the planner calls a gap below it none)."""

_NAMES_TOLD = 4
_MARK = "~"


class OptionRow(BaseModel):
    """The figures by which one option is compared; millimetres, kilograms, minutes, money."""

    model_config = ConfigDict(frozen=True)

    option: int
    """1 is the cheapest."""
    plan: str
    """Id of the plan."""
    cost: float
    """Metal, joints and labor, unweighted."""
    objective: float
    """What the goal minimises; the options are in its order."""
    metal: float
    minutes: float
    sections: int
    heaviest_kg: float
    people: int | None
    """Who lifts the heaviest section; null is a hoist."""
    witness_mm: float
    joint_mm: float
    waste_kg: float
    bound: float | None
    gap: float | None
    decided: bool
    """Whether the proofs tell this split from option 1's: false where its best plan may yet cost
    less than option 1."""
    joints_made: tuple[str, ...]
    """Edges that are joints here and not in option 1; of option 1 all its joints.  A joint
    that only lies on the other side of the mirror is the same joint."""
    joints_left: tuple[str, ...]
    """Edges that are joints in option 1 and not here, likewise."""


class Symmetry(BaseModel):
    """What it costs that the split is to be symmetric, in figures of the goal."""

    model_config = ConfigDict(frozen=True)

    cost: float
    """Of the best symmetric plan found over the best plan found; never below 0."""
    free_objective: float
    free_bound: float | None
    at_least: float
    """Proven: what the best symmetric plan costs over the best free one."""
    at_most: float | None


class OptionsAnswer(BaseModel):
    """Options as programs get them."""

    model_config = ConfigDict(frozen=True)

    options: tuple[Plan, ...]
    """The cheapest first; the one that says why where there is no plan; none where time ran out."""
    table: tuple[OptionRow, ...]
    symmetry: Symmetry | None = None
    """Of the command line, where the split is to be symmetric."""


def rows_of(plans: Sequence[Plan], job: Job) -> tuple[OptionRow, ...]:
    """Return the rows of plans that have a cost, compared with the first of them."""
    with_cost = [(plan, plan.cost) for plan in plans if plan.cost is not None]
    if not with_cost:
        return ()
    first, first_cost = with_cost[0]
    first_joints = _joints(first)
    rows = []
    for number, (plan, cost) in enumerate(with_cost, start=1):
        joints = _joints(plan)
        made, left = _changed(job, joints, first_joints), _changed(job, first_joints, joints)
        heaviest = max(plan.sections, key=lambda section: section.mass_kg)
        bound = plan.proof.bound
        least = first_cost.objective * (1 - SAME_MONEY)
        rows.append(
            OptionRow(
                option=number,
                plan=plan.id,
                cost=cost.total,
                objective=cost.objective,
                metal=cost.metal,
                minutes=plan.minutes,
                sections=len(plan.sections),
                heaviest_kg=heaviest.mass_kg,
                people=heaviest.people,
                witness_mm=_length_mm(job, joints & _witness_lines(plan)),
                joint_mm=_length_mm(job, joints),
                waste_kg=cost.waste_kg,
                bound=bound,
                gap=plan.proof.gap,
                decided=plan is first or (bound is not None and bound >= least),
                joints_made=_ordered(job, joints if plan is first else made),
                joints_left=_ordered(job, left),
            )
        )
    return tuple(rows)


def symmetry_of(symmetric: Plan, free: Plan) -> Symmetry | None:
    """Return what symmetry costs, from the best plans with and without it; None without both.

    A symmetric plan is a plan of the free job too, so the best free plan costs at most as much.
    """
    if symmetric.cost is None or free.cost is None:
        return None
    found, bound = symmetric.cost.objective, free.proof.bound
    free_objective = min(free.cost.objective, found)
    least = symmetric.proof.bound
    return Symmetry(
        cost=found - free_objective,
        free_objective=free_objective,
        free_bound=bound,
        at_least=0.0 if least is None else max(0.0, least - free_objective),
        at_most=None if bound is None else max(0.0, found - bound),
    )


def options_text(
    plans: Sequence[Plan],
    job: Job,
    *,
    asked: int,
    differ_by: int,
    stopped: bool = False,
    symmetry: Symmetry | None = None,
    whole: bool = False,
) -> str:
    """Return the options in words, at most 80 columns wide.

    ``asked`` is how many were wanted, each ``differ_by`` joints apart; ``stopped`` whether the
    builder ended the search; ``whole`` names every edge.
    """
    rows = rows_of(plans, job)
    unit = f"goal {plain(plans[0].goal)}"
    title = clip(plain(job.title) or "Options", WIDTH - len(unit) - 2)
    text = [title + " " * (WIDTH - columns(title) - columns(unit)) + unit, "=" * WIDTH]
    text += [f"OPTIONS ({plain(job.currency)})", *_table(rows, job)]
    text += _legend(rows, asked, differ_by, stopped)
    text += _differences(rows, whole=whole)
    if symmetry is not None:
        text += symmetry_lines(symmetry, plain(job.currency))
    text += ["CAUTIONS", *(f"  {one}" for one in USUAL_CAUTIONS), f"  {LOCAL_CODES}"]
    return "\n".join(text) + "\n"


def symmetry_lines(symmetry: Symmetry, currency: str) -> list[str]:
    """Say what a symmetric split costs against the free one, and how sure that is."""
    free = f"the best free split found costs {money(symmetry.free_objective)} {currency}"
    if symmetry.cost <= SAME_MONEY * symmetry.free_objective:
        said = "SYMMETRY costs nothing that was found: no free split came out cheaper"
    else:
        said = f"SYMMETRY costs {money(symmetry.cost)} {currency}: {free}"
    most = symmetry.at_most
    slack = SAME_MONEY * max(symmetry.free_objective, 1.0)
    if most is None:
        said += "; how much it costs at most is not proven"
    elif most - symmetry.at_least > slack:
        low, high = money(symmetry.at_least), money(most)
        said += f"; proven is that it costs between {low} and {high}"
    else:
        said += "; that is proven"
    return wrap(f"{said}.", rest="  ")


def _changed(job: Job, joints: frozenset[str], others: frozenset[str]) -> frozenset[str]:
    """Return joints that are not among others, but for those that only changed sides."""
    new = joints - others
    moved = {edge for edge in new if (twin := job.edge_of[edge].twin) in others - joints and twin}
    return new - moved


def _joints(plan: Plan) -> frozenset[str]:
    return frozenset(edge.edge for edge in plan.edges if edge.joint)


def _witness_lines(plan: Plan) -> frozenset[str]:
    return frozenset(edge.edge for edge in plan.edges if edge.treatment == "witness")


def _length_mm(job: Job, edges: frozenset[str]) -> float:
    return sum(edge.length_mm for edge in job.edges if edge.id in edges)


def _ordered(job: Job, edges: frozenset[str]) -> tuple[str, ...]:
    """Return edges in the order of the scenario."""
    return tuple(edge.id for edge in job.edges if edge.id in edges)


def _table(rows: Sequence[OptionRow], job: Job) -> list[str]:
    """Return the table, as roomy as fits: blanks between columns, then cents, are given up."""
    weighted = any(abs(row.objective - row.cost) > 0.005 for row in rows)
    for gap, cents in ((2, True), (1, True), (1, False)):
        lines = _table_of(rows, job, weighted=weighted, gap=gap, cents=cents)
        if max(columns(line) for line in lines) <= WIDTH:
            break
    return [clip(line, WIDTH) for line in lines]


def _table_of(
    rows: Sequence[OptionRow], job: Job, *, weighted: bool, gap: int, cents: bool
) -> list[str]:
    inches = job.length_unit in ("in", "ft")
    long_mm, long_unit = (FOOT_MM, "ft") if inches else (1000.0, "m")
    heavy_kg, heavy_unit = (POUND_KG, "lb") if inches else (1.0, "kg")
    marked = any(not row.decided for row in rows)

    def amount(figure: float) -> str:
        return money(figure) if cents else f"{figure:,.0f}"

    heads = [
        ("", ""),
        ("cost" + " " * marked, ""),
        ("weighted", ""),
        ("metal", ""),
        ("hours", ""),
        ("sec-", "tions"),
        ("heaviest", "lift"),
        ("witness", long_unit),
        ("joints", long_unit),
        ("waste", heavy_unit),
        ("gap", "%"),
    ]
    cells = [
        [
            str(row.option),
            amount(row.cost) + ("" if not marked else " " if row.decided else _MARK),
            amount(row.objective),
            amount(row.metal),
            f"{row.minutes / 60:.1f}",
            str(row.sections),
            f"{weight(row.heaviest_kg, job.length_unit)} {_lifted_by(row.people)}",
            f"{row.witness_mm / long_mm:.1f}",
            f"{row.joint_mm / long_mm:.1f}",
            f"{row.waste_kg / heavy_kg:.1f}",
            "-" if row.gap is None else f"{100 * max(row.gap, 0.0):.1f}",
        ]
        for row in rows
    ]
    kept = [place for place in range(len(heads)) if weighted or place != 2]
    lines = [[head[line] for head in heads] for line in (0, 1)] + cells
    return table(
        [[line[place] for place in kept] for line in lines],
        sides=["left" if heads[place][0] == "heaviest" else "right" for place in kept],
        gap=gap,
        width=10 * WIDTH,
    )


def _lifted_by(people: int | None) -> str:
    return crew(None) if people is None else f"by {people}"


def _legend(rows: Sequence[OptionRow], asked: int, differ_by: int, stopped: bool) -> list[str]:
    joints = count_words(differ_by, "joint")
    said = (
        f"Each is checked, and the best found whose split differs by {joints} or more from the "
        "options found before it, left and right counting alike. Gap: the best such plan may be "
        "cheaper by this at most."
    )
    lines = wrap(said, first="  ", rest="  ")
    if any(not row.decided for row in rows):
        said = (
            f"{_MARK} not decided by the evidence: the difference is smaller than what the gaps "
            "leave open, and the best plan with such joints may cost less than option 1."
        )
        lines += wrap(said, first="  ", rest="    ")
    if len(rows) < asked:
        found = f"{len(rows)} of {asked} options"
        why = (
            "stopped before the next one"
            if stopped
            else f"no further split that differs by {joints} or more was found; more time or a "
            "smaller --differ may find one"
        )
        lines += wrap(f"{found}: {why}.", first="  ", rest="    ")
    return lines


def _differences(rows: Sequence[OptionRow], *, whole: bool) -> list[str]:
    lines = ["JOINTS, against those of option 1"]
    for row in rows:
        first = f"{row.option:>3}  "
        if row.option == 1:
            blocks = [["has", *(_named(row.joints_made, whole) or ["no joint"])]]
        else:
            made, left = _named(row.joints_made, whole), _named(row.joints_left, whole)
            blocks = [["makes", *made]] if made else []
            blocks += [["leaves whole", *left]] if left else []
        for words in blocks or [["the same joints"]]:
            lines += wrap_words(words, first=first, rest=" " * (len(first) + 2))
            first = " " * len(first)
    return lines


def _named(edges: Sequence[str], whole: bool) -> list[str]:
    told = edges if whole or len(edges) <= _NAMES_TOLD + 1 else edges[:_NAMES_TOLD]
    more = len(edges) - len(told)
    return name_words(told) + ([f"and {more} more"] if more else [])
