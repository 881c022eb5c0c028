"""What must not matter to a plan, and which way a change must move it.

No expected figures: each test changes a scenario in a way whose effect is known beforehand.
"""

import json
import os
import subprocess
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from long_wall import LONG_WALL

from solver.data.job import Edge, Job, Near, Patch, Run, RunEdge
from solver.intake.job_of import read_job
from solver.planner.plan_job import plan_job

ROOT = Path(__file__).parents[2]
SCENARIOS = ROOT / "scenarios"
NAMES = ("stand-sets-gauge.json", "seam-or-roll.json", "trough.json", "mirrored-hatches.json")
CENT = 1e-5
"""The master's money is whole in hundredths of a cent and less."""


@cache
def job_named(name: str) -> Job:
    if name == "long wall":
        return read_job(LONG_WALL)
    return read_job(SCENARIOS / name)


@cache
def plan_named(name: str):
    return plan_job(job_named(name))


def brackets(one, other):
    """Whether two proven intervals of the same optimum can both be right, and how wide they are."""
    assert one.proof.bound <= other.cost.objective + CENT
    assert other.proof.bound <= one.cost.objective + CENT
    if one.status == other.status == "proven":
        assert one.cost.objective == pytest.approx(other.cost.objective, abs=CENT)


# -- what must not matter --------------------------------------------------------------------------


def renamed(job: Job) -> Job:
    """The same job with other names, its patches, edges, runs and stock listed backward."""

    def patch(name):
        return name if name in (None, "open") else f"z-{name[::-1]}"

    def edge(name):
        return None if name is None else f"e-{name[::-1]}"

    def run(name):
        return None if name is None else f"r-{name}"

    edges = [
        replace(
            e,
            id=edge(e.id),
            first=patch(e.first),
            second=patch(e.second),
            twin=edge(e.twin),
            near=tuple(Near(edge(n.edge), n.gap_mm, n.from_mm, n.to_mm) for n in e.near),
        )
        for e in job.edges
    ]
    return replace(
        job,
        patches=tuple(replace(p, id=patch(p.id), twin=patch(p.twin)) for p in job.patches[::-1]),
        edges=tuple(edges[::-1]),
        runs=tuple(
            Run(
                run(r.id),
                tuple(RunEdge(edge(s.edge), s.backward) for s in r.edges),
                r.closed,
                run(r.twin),
            )
            for r in job.runs[::-1]
        ),
        corners=tuple((mark, tuple(run(r) for r in runs)) for mark, runs in job.corners),
        stock=tuple(replace(s, id=f"s-{s.id}") for s in job.stock[::-1]),
    )


def mirrored(job: Job) -> Job:
    """The body in a mirror: left is right, and each line is walked from its other end."""

    def vectors(of):
        return tuple((x, -y, z) for x, y, z in of)

    def edge(e: Edge) -> Edge:
        length = e.length_mm
        return replace(
            e,
            # walked from the other end in the mirror, the same patch stays on the left
            line=replace(
                e.line,
                stretches=tuple(
                    replace(
                        s,
                        easy_start=s.easy_end,
                        easy_end=s.easy_start,
                        hard_start=s.hard_end,
                        hard_end=s.hard_start,
                    )
                    for s in e.line.stretches[::-1]
                ),
                corners=tuple(
                    replace(c, station_mm=length - c.station_mm) for c in e.line.corners[::-1]
                ),
            ),
            start_mark=e.end_mark,
            end_mark=e.start_mark,
            facings=vectors(e.facings),
            notches=tuple(replace(n, at_mm=length - n.at_mm) for n in e.notches[::-1]),
            no_seam_mm=tuple((length - b, length - a) for a, b in e.no_seam_mm[::-1]),
            near=tuple(
                Near(n.edge, n.gap_mm, length - n.to_mm, length - n.from_mm) for n in e.near
            ),
        )

    def patch(p: Patch) -> Patch:
        box = p.box_mm
        if box is not None:
            (x0, y0, z0), (x1, y1, z1) = box
            box = ((x0, -y1, z0), (x1, -y0, z1))
        return replace(p, facings=vectors(p.facings), box_mm=box)

    return replace(
        job,
        patches=tuple(patch(p) for p in job.patches),
        edges=tuple(edge(e) for e in job.edges),
        runs=tuple(replace(r, edges=r.edges[::-1]) for r in job.runs),
        rules=replace(job.rules, pulls=vectors(job.rules.pulls), walls=vectors(job.rules.walls)),
    )


@pytest.mark.parametrize("name", [*NAMES, "long wall"])
@pytest.mark.parametrize("change", [renamed, mirrored])
def test_names_order_and_hand_of_a_body_do_not_change_what_it_costs(name, change):
    plan, other = plan_named(name), plan_job(change(job_named(name)))
    brackets(plan, other)
    assert len(plan.sections) == len(other.sections)
    if plan.status == other.status == "proven":
        assert len(plan.pieces) == len(other.pieces)
        assert sorted(p.buy for p in plan.purchases) == sorted(p.buy for p in other.purchases)


def test_a_mirrored_body_is_pulled_the_mirrored_way():
    plan, other = plan_named("trough.json"), plan_job(mirrored(job_named("trough.json")))
    section = {s.id: s.patches for s in plan.sections}
    there = {s.id: s.patches for s in other.sections}
    pulls = {section[step.section]: step.pull for step in plan.removal}
    for step in other.removal:
        x, y, z = pulls[there[step.section]]
        assert step.pull == pytest.approx((x, -y, z), abs=1e-9)


@pytest.mark.parametrize("name", ["seam-or-roll.json", "mirrored-hatches.json", "long wall"])
def test_the_same_scenario_and_seed_give_the_same_plan_to_the_byte(name):
    job = job_named(name)
    again = plan_job(job, seed=0)
    assert again.model_dump_json() == plan_named(name).model_dump_json()


def test_the_order_of_hashes_does_not_reach_the_plan():
    script = (
        "import json, sys\n"
        "from solver.intake.job_of import read_job\n"
        "from solver.planner.plan_job import plan_job\n"
        "for text in json.load(sys.stdin):\n"
        "    sys.stdout.write(plan_job(read_job(text)).model_dump_json())\n"
    )
    tub = json.loads((SCENARIOS / "seam-or-roll.json").read_text(encoding="utf-8"))
    children = [
        subprocess.Popen(
            [sys.executable, "-c", script],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
            text=True,
            cwd=ROOT,
        )
        for seed in ("1", "4711")
    ]
    said = [child.communicate(json.dumps([LONG_WALL, tub]))[0] for child in children]
    assert [child.returncode for child in children] == [0, 0]
    assert "split" in said[0]
    assert said[0] == said[1]


def test_another_seed_may_give_another_plan_but_no_other_optimum():
    brackets(plan_named("long wall"), plan_job(job_named("long wall"), seed=5))


# -- which way a change must move ------------------------------------------------------------------


@pytest.mark.parametrize("name", ["seam-or-roll.json", "one-metal-for-two-edges.json", "long wall"])
def test_more_stock_to_choose_from_never_costs_more(name):
    job, plan = job_named(name), plan_named(name)
    first = job.stock[0]
    extra = (
        replace(first, id="wider", width_mm=first.width_mm * 1.25, price=first.price * 1.1),
        replace(first, id="shorter", length_mm=first.length_mm * 0.75, price=first.price * 0.7),
    )
    for item in extra:
        more = plan_job(replace(job, stock=(*job.stock, item)))
        assert more.proof.bound <= plan.cost.objective + CENT
        if more.status == "proven":
            assert more.cost.objective <= plan.cost.objective + CENT


@pytest.mark.parametrize(
    "tighten",
    [
        lambda job: replace(job, rules=replace(job.rules, draft_deg=8.0)),
        lambda job: replace(job, shop=replace(job.shop, lift_limit_kg=24.0)),
        lambda job: replace(job, rules=replace(job.rules, fewest_sections=3)),
        lambda job: replace(
            job, rules=replace(job.rules, pulls=((0.0, 0.0, 1.0), (0.0, 1.0, 0.0)))
        ),
    ],
    ids=["draft", "lift limit", "fewest sections", "pulls"],
)
def test_tightening_a_limit_never_makes_the_body_cheaper(tighten):
    job, plan = job_named("long wall"), plan_named("long wall")
    tighter = plan_job(tighten(job))
    if tighter.status == "impossible":
        assert tighter.impossible
        return
    assert tighter.cost.objective >= plan.proof.bound - CENT
    if tighter.status == "proven":
        assert tighter.proof.bound >= plan.proof.bound - CENT


def test_fewer_sections_than_the_best_split_has_are_dearer_or_impossible():
    job, plan = job_named("long wall"), plan_named("long wall")
    assert len(plan.sections) >= 2
    fewer = replace(job, rules=replace(job.rules, most_sections=len(plan.sections) - 1))
    other = plan_job(fewer)
    assert other.status == "impossible" or other.cost.objective >= plan.proof.bound - CENT


@pytest.mark.parametrize("name", [*NAMES, "long wall"])
def test_twice_the_labor_rate_costs_at_most_the_labor_once_more(name):
    job, plan = job_named(name), plan_named(name)
    rate = job.shop.labor_rate_per_hour
    dearer = plan_job(replace(job, shop=replace(job.shop, labor_rate_per_hour=2 * rate)))
    # the old plan, paid twice as well, is still a plan; and its hours were not free
    assert dearer.proof.bound <= plan.cost.objective + plan.cost.labor + CENT
    assert dearer.cost.objective >= plan.proof.bound - CENT
    if dearer.status == plan.status == "proven":
        assert dearer.cost.objective <= plan.cost.objective + plan.cost.labor + CENT
        # who pays more for an hour does not take more of them
        assert dearer.minutes <= plan.minutes + 1e-6


def test_all_prices_and_wages_doubled_double_the_cost():
    job, plan = job_named("seam-or-roll.json"), plan_named("seam-or-roll.json")
    prices = replace(
        job.shop.prices,
        **{name: 2 * value for name, value in vars(job.shop.prices).items()},
    )
    shop = replace(job.shop, prices=prices, labor_rate_per_hour=2 * job.shop.labor_rate_per_hour)
    stock = tuple(replace(item, price=2 * item.price) for item in job.stock)
    other = plan_job(replace(job, shop=shop, stock=stock))
    assert other.cost.objective == pytest.approx(2 * plan.cost.objective, abs=CENT)
    assert other.proof.bound == pytest.approx(2 * plan.proof.bound, abs=CENT)
