"""Small jobs worked by hand in scenarios/WORKED.md: the plan is as cheap as the worked one.

The tables of that text are read, added up again and held against the plan.  Hand figures are
rounded to hundredths of a minute and of a dollar, line by line, so sums may differ by a few cents.
"""

import ast
import json
import operator
import re
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

from solver.checker import check_plan
from solver.intake.job_of import read_job
from solver.planner.plan_job import plan_job

SCENARIOS = Path(__file__).parents[2] / "scenarios"
DEAR = "seam-or-roll.json with aluminium at 2.50 $ a square foot"
ROUNDING = 0.10
"""Dollars: a dozen lines rounded by hand."""

NAMES = (
    "hidden-open-edge.json",
    "visible-open-edge.json",
    "stand-sets-gauge.json",
    "one-metal-for-two-edges.json",
    "ring-on-a-tub.json",
    "seam-or-roll.json",
    DEAR,
    "round-hatch.json",
    "trough.json",
    "mirrored-hatches.json",
)
OPERATORS = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
}


class Row(NamedTuple):
    name: str
    how: str
    amount: float


class Worked(NamedTuple):
    minutes: list[Row]
    money: list[Row]


def value(node):
    if isinstance(node, ast.Constant):
        return float(node.value)
    return OPERATORS[type(node.op)](value(node.left), value(node.right))


def reckon(how):
    """Work out an expression of the text, such as "3 × 3 + 11.4 × 0.5"."""
    return value(ast.parse(how.replace("×", "*").replace("−", "-"), mode="eval").body)


@cache
def worked(name):
    text = (SCENARIOS / "WORKED.md").read_text(encoding="utf-8")
    section = re.search(rf"^## {re.escape(name)}\n(.*?)(?=^## |\Z)", text, re.M | re.S).group(1)
    tables = {"work": [], "money": []}
    rows = None
    for line in section.splitlines():
        if not line.startswith("|"):
            rows = None
            continue
        cells = [cell.strip().strip("*") for cell in line.strip("|").split("|")]
        if cells[0] in tables:
            rows = tables[cells[0]]
        elif not cells[0].startswith("---"):
            rows.append(Row(cells[0], cells[1], float(cells[2])))
    return Worked(tables["work"], tables["money"])


@cache
def scenario(name):
    return json.loads((SCENARIOS / name.split(" ")[0]).read_text(encoding="utf-8"))


@cache
def planned(name):
    changed = json.loads(json.dumps(scenario(name)))
    if name == DEAR:
        changed["stock"]["rolls"][0]["price"] = "2.50 /ft2"
    job = read_job(changed)
    return job, plan_job(job)


def changed_plan(name, change):
    changed = json.loads(json.dumps(scenario(name)))
    change(changed)
    return plan_job(read_job(changed))


def metals(plan, run):
    return {(p.gauge, p.metal) for p in plan.pieces if p.run == run}


def pieces_of(plan, run):
    return [p for p in plan.pieces if p.run == run]


def treatment(plan, edge):
    return next(e.treatment for e in plan.edges if e.edge == edge)


@pytest.mark.parametrize("name", NAMES)
def test_the_sums_of_the_text_are_right(name):
    hand = worked(name)
    for table in hand:
        *rows, (_, _, total) = table
        for row in rows:
            assert reckon(row.how) == pytest.approx(row.amount, abs=0.0051), row
        assert sum(row.amount for row in rows) == pytest.approx(total, abs=0.001)
    labor = next(row for row in hand.money if row.name == "labor")
    assert labor.how.startswith(f"{hand.minutes[-1].amount:.2f} ")


@pytest.mark.parametrize("name", NAMES)
def test_the_plan_is_as_cheap_as_the_worked_one_and_proven(name):
    job, plan = planned(name)
    by_hand = worked(name).money[-1].amount
    assert check_plan(job, plan).ok
    assert plan.status == "proven"
    assert plan.proof.bound <= plan.cost.objective + 1e-9
    assert plan.proof.bound <= by_hand + ROUNDING
    assert plan.cost.total <= by_hand + ROUNDING


@pytest.mark.parametrize("name", NAMES)
def test_hours_and_money_are_those_of_the_text_line_by_line(name):
    _, plan = planned(name)
    hand = worked(name)
    lines = {line.operation: line.minutes for line in plan.hours}
    rows = {row.name: row.amount for row in hand.minutes[:-1]}
    assert lines == pytest.approx(rows, abs=0.03)
    names = {"flange laminate": "mold flange laminate", "fillet clay": "fillet wax or clay"}
    amounts = {"packer": 0.0, "bolts": 0.0, "clamps": 0.0}
    for amount in plan.amounts:
        key = re.match(r"packer|bolts|.*", amount.item).group(0)
        amounts[key] = amounts.get(key, 0.0) + amount.price
    expected = {"packer": 0.0, "bolts": 0.0, "clamps": 0.0}
    stock = {"metal", "galvanised", "aluminium"}
    for row in hand.money[:-1]:
        if row.name not in stock | {"labor"}:
            expected[names.get(row.name, row.name)] = row.amount
    assert amounts == pytest.approx(expected, abs=0.01)
    metal = sum(row.amount for row in hand.money if row.name in stock)
    assert plan.cost.metal == pytest.approx(metal, abs=0.011)


def test_on_a_hidden_open_edge_the_lightest_metal_is_22_gauge_galvanised():
    _, plan = planned("hidden-open-edge.json")
    assert metals(plan, "panel | open") == {(22, "galvanised")}
    for piece in plan.pieces:
        assert piece.reason.rule == "clamp pitch"
        assert "24 ga galvanised" in piece.reason.sentence
        assert piece.clamps == 11
        assert piece.clamp_pitch_mm == pytest.approx(4.62 * 25.4, abs=0.2)  # [derived]
    assert len(plan.pieces) == 3


def test_on_an_open_edge_that_shows_the_lightest_metal_is_20_gauge_galvanised():
    _, plan = planned("visible-open-edge.json")
    assert metals(plan, "panel | open") == {(20, "galvanised")}
    for piece in plan.pieces:
        assert piece.reason.rule == "clamp pitch"
        assert "22 ga galvanised" in piece.reason.sentence
        assert piece.clamp_pitch_mm == pytest.approx(4.40 * 25.4, abs=0.2)  # [derived]


@pytest.mark.parametrize(
    ("stand_in", "gauge"),
    [(1.17, 26), (1.19, 24), (1.25, 24), (1.66, 24), (1.68, 22)],
)
def test_the_stand_of_a_pinched_line_sets_its_gauge(stand_in, gauge):
    # 26 ga aluminium to 1.18 in, 24 ga to 1.67 in, 22 ga to 2.4 in [derived]
    def change(one):
        one["edges"]["fore | aft"]["stand"] = stand_in

    plan = changed_plan("stand-sets-gauge.json", change)
    (piece,) = pieces_of(plan, "fore | aft")
    assert (piece.gauge, piece.metal, piece.mounting) == (gauge, "aluminium", "pinched")
    if gauge < 26:
        assert piece.reason.rule == "upright"
        assert f"{gauge + 2} ga aluminium" in piece.reason.sentence


def test_one_metal_serves_two_edges_where_setting_up_costs_more_than_it_saves():
    _, plan = planned("one-metal-for-two-edges.json")
    assert {(p.gauge, p.metal) for p in plan.pieces} == {(22, "galvanised")}
    assert treatment(plan, "fore | aft") == "standing"
    assert len(plan.sections) == 1


def test_two_metals_serve_two_edges_where_setting_up_costs_nothing():
    def change(one):
        one["shop"]["minutes"] = {"setup_per_gauge": 0}

    plan = changed_plan("one-metal-for-two-edges.json", change)
    assert metals(plan, "fore | aft") == {(24, "aluminium")}
    assert metals(plan, "fore | open") == {(22, "galvanised")}


def test_a_ring_round_a_tub_is_cut_as_two_halves_of_a_flat_ring():
    _, plan = planned("ring-on-a-tub.json")
    for run, grip_in in (("cap | skirt", 0.625), ("skirt | open", 1.25)):
        pieces = pieces_of(plan, run)
        assert len(pieces) == 2
        for piece in pieces:
            xs, ys = zip(*piece.blank.outline_mm, strict=True)
            spans = sorted(((max(xs) - min(xs)) / 25.4, (max(ys) - min(ys)) / 25.4))
            # half of a flat ring with 1/2 in of trim at most, Ø 2·(12 + grip) [derived]
            assert not piece.blank.straight
            assert piece.preform_mm == 0
            assert 12 + grip_in - 0.01 <= spans[0] <= 12.5 + grip_in + 0.01
            assert 2 * (12 + grip_in) - 0.01 <= spans[1] <= 2 * (12 + grip_in) + 0.3
    first, then = plan.removal
    sections = {s.id: s.patches for s in plan.sections}
    assert (sections[first.section], sections[then.section]) == (("cap",), ("skirt",))
    assert then.after == (first.section,)


def test_a_seam_is_not_worth_it_where_it_costs_more_than_the_roll_it_saves():
    _, plan = planned("seam-or-roll.json")
    assert len(pieces_of(plan, "cap | skirt")) == 2
    assert [p.stock for p in plan.purchases if "roll" in p.stock] == [
        "24 ga aluminium roll 14 in x 10 ft"
    ]


def test_the_same_seam_is_worth_it_where_metal_is_dear():
    _, plan = planned(DEAR)
    assert len(pieces_of(plan, "cap | skirt")) == 3
    assert [p.stock for p in plan.purchases if "roll" in p.stock] == [
        "24 ga aluminium roll 8 in x 10 ft"
    ]


def test_a_round_hatch_in_a_flat_face_takes_one_straight_strip():
    _, plan = planned("round-hatch.json")
    (piece,) = pieces_of(plan, "hatch | deck")
    xs, ys = zip(*piece.blank.outline_mm, strict=True)
    assert piece.blank.straight
    assert max(xs) - min(xs) == pytest.approx((20 * 3.14159265 + 0.5) * 25.4, abs=0.01)
    assert max(ys) - min(ys) == pytest.approx(25.4)
    assert piece.mounting == "standing"
    assert {(p.gauge, p.metal) for p in plan.pieces} == {(22, "galvanised")}


def test_an_undercut_wall_comes_off_sideways_after_the_rail_has_dropped():
    _, plan = planned("trough.json")
    patches = {s.id: s.patches for s in plan.sections}
    steps = {patches[step.section]: (at, step) for at, step in enumerate(plan.removal)}
    assert set(steps) == {("trough.floor",), ("trough.wall",), ("rail",)}
    at_wall, wall = steps["trough.wall",]
    at_rail, rail = steps["rail",]
    assert wall.pull == pytest.approx((0, -1, 0))
    assert rail.pull == pytest.approx((0, 0, -1))
    assert at_rail < at_wall
    assert rail.section in wall.after
    assert wall.drawn_first == ("trough.wall | rail",)
    assert wall.draft_deg == pytest.approx(80)
    assert treatment(plan, "trough.floor | trough.wall") == "witness"
    assert treatment(plan, "trough.wall | rail") == "pinched"


def test_a_mirrored_pair_shares_its_templates():
    _, plan = planned("mirrored-hatches.json")
    assert len(plan.pieces) == 9
    assert sum(p.template_of is None for p in plan.pieces) == 5
    by_id = {p.id: p for p in plan.pieces}
    for piece in plan.pieces:
        if piece.template_of is None:
            continue
        other = by_id[piece.template_of]
        assert other.template_of is None
        assert (piece.mounting, piece.gauge) == (other.mounting, other.gauge)
        assert {piece.run, other.run} in (
            {"hatch-left | deck.left", "hatch-right | deck.right"},
            {"deck.left | open"},
        )
