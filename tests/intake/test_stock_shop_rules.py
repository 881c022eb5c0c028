"""Stock is spelled out; shop, rules and goal keep their defaults where nothing is said."""

from dataclasses import fields

import pytest
from scenario_cases import changed, plate, rows_of, scenario

from solver.data import scenario as form
from solver.data.job import Minutes, Prices, Rules
from solver.intake import job_from_scenario
from solver.intake.shop import GOALS, rule_key

INCH = 25.4


def stock_of(**stock):
    return job_from_scenario(plate(stock=stock)).stock


def test_lists_stand_for_every_mixture():
    items = job_from_scenario(scenario("camper")).stock
    rolls = [item for item in items if item.form == "roll"]
    assert len(rolls) == 2 * 7 * 3
    assert len({item.id for item in items}) == len(items)
    # 6 in × 10 ft is 5 ft² at 1.75
    assert rolls[0].price == pytest.approx(8.75)
    assert {
        (r.gauge, round(r.price / (r.width_mm * r.length_mm) * 304.8**2, 2)) for r in rolls
    } == {
        (24, 1.75),
        (26, 1.45),
    }


def test_prices_may_go_by_piece_area_or_mass():
    sheet = {"metal": "galvanised", "gauge": 24, "size": [36, 48]}
    by_piece, by_area, by_mass = (
        stock_of(sheets=[{**sheet, "price": price}])[0].price for price in (38, "2 /ft2", "1.5 /lb")
    )
    assert (by_piece, by_area) == (38, 24)
    # 24 ga galvanised weighs 1.156 lb/ft² (Longfield, Sheet Metal Drafting, 1921, p. 102)
    assert by_mass == pytest.approx(12 * 1.156 * 1.5, abs=0.01)


def test_a_sheet_lies_along_its_longer_side():
    (item,) = stock_of(sheets=[{"metal": "galvanised", "gauge": 22, "size": [96, 36], "price": 1}])
    assert (item.length_mm, item.width_mm) == pytest.approx((96 * INCH, 36 * INCH))


def test_stock_may_be_sold_by_thickness():
    (item,) = stock_of(
        rolls=[
            {"metal": "aluminum", "thickness": "0.019 in", "width": 14, "length": "50 ft",
             "price": 90}
        ]
    )  # fmt: skip
    assert item.thickness_mm == pytest.approx(0.019 * INCH)
    assert item.gauge is None
    assert item.metal == "aluminium"
    assert item.metal_label == "0.019 in aluminium"


def test_an_offcut_is_on_hand_once_and_may_have_any_outline():
    plain, odd = stock_of(
        offcuts=[
            {"metal": "galvanised", "gauge": 22, "size": [52, 11]},
            {
                "metal": "galvanised",
                "gauge": 22,
                "outline": [[2, 1], [12, 1], [2, 21]],
                "on_hand": 2,
            },
        ]
    )
    assert (plain.on_hand, plain.for_sale, plain.price) == (1, 0, 0)
    assert (odd.length_mm, odd.width_mm, odd.on_hand) == pytest.approx((254, 508, 2))
    assert odd.outline_mm[0] == (0, 0)


def test_the_usual_stock_is_offered_where_none_is_listed():
    job = job_from_scenario(plate())
    assert {item.metal_label for item in job.stock if item.form == "roll"} == {
        "24 ga aluminium",
        "26 ga aluminium",
        "26 ga galvanised",
        "28 ga galvanised",
    }
    # 20–22 ga is seldom sold as roll; a 4 × 8 ft sheet costs 70 to 140 [practice]
    big = [i for i in job.stock if round(i.width_mm * i.length_mm) == round(32 * 304.8**2)]
    assert {item.gauge for item in big} == {20, 22, 24}
    assert all(70 <= item.price <= 140 for item in big)
    rolls = [i for i in job.stock if i.form == "roll" and i.metal == "aluminium"]
    per_ft2 = [i.price / (i.width_mm * i.length_mm) * 304.8**2 for i in rolls]
    assert 1.2 <= min(per_ft2) <= max(per_ft2) <= 2.5
    assert any("usual rolls and sheets" in note for note in job.notes)
    # widths in inches, lengths in feet and sizes in inches as suppliers list them [practice]
    rolls = [item for item in job.stock if item.form == "roll"]
    assert {round(i.width_mm / INCH) for i in rolls} == {6, 8, 10, 12, 14, 20, 24}
    assert {round(i.length_mm / 304.8) for i in rolls} == {10, 25, 50}
    sheets = {
        (round(i.width_mm / INCH), round(i.length_mm / INCH))
        for i in job.stock
        if i.form == "sheet"
    }
    assert sheets == {(24, 36), (36, 48), (36, 96), (48, 96), (48, 120)}


def test_prices_go_with_the_gauges():
    data = changed(scenario("camper"), "stock", "rolls", 0, "price", to=[1, 2, 3])
    (row,) = rows_of(data)
    assert row == (
        "stock.rolls[0].price",
        "3 prices",
        "give one price, or one for each gauge in the same order",
    )


def test_every_rule_of_the_job_can_be_written():
    written = set(form.Rules.model_fields) - {"note"}
    assert written == {rule_key(field.name) for field in fields(Rules)}
    assert set(form.Minutes.model_fields) - {"note"} == {f.name for f in fields(Minutes)}
    assert set(form.Prices.model_fields) - {"note"} == {f.name for f in fields(Prices)}


def test_rules_take_units_and_keep_their_defaults():
    rules = job_from_scenario(
        plate(
            rules={
                "longest_piece": "6 ft",
                "cutting_gap": 0.125,
                "brush_load": "3 lbf",
                "mold": "20 kg/m2",
                "walls": "left",
                "symmetric_split": True,
                "seams_on_visible": "forbidden",
                "standing_foot": "1/2 in",
            }
        )
    ).rules
    assert rules.longest_piece_mm == pytest.approx(72 * INCH)
    assert rules.cutting_gap_mm == pytest.approx(INCH / 8)
    assert rules.brush_load_n == pytest.approx(3 * 4.4482216152605)
    assert rules.mold_kg_m2 == 20
    assert rules.walls == ((0.0, 1.0, 0.0),)
    assert (rules.symmetric_split, rules.seams_on_visible) == (True, "forbidden")
    assert rules.draft_deg == Rules().draft_deg


def test_the_shop_takes_units_and_keeps_its_defaults():
    shop = job_from_scenario(scenario("camper")).shop
    assert shop.lift_limit_kg == pytest.approx(150 * 0.45359237)
    assert shop.largest_section_mm == pytest.approx((110 * INCH, 62 * INCH, 58 * INCH))
    assert (shop.bolts_on_hand, shop.clamps_on_hand, shop.crew) == (80, 60, 3)
    changed_shop = job_from_scenario(
        plate(shop={"minutes": {"seam": 5, "allowance": 0.2}, "prices": {"bolt": 1}})
    ).shop
    assert (changed_shop.minutes.seam, changed_shop.minutes.allowance) == (5, 0.2)
    assert changed_shop.minutes.bolt == Minutes().bolt
    assert changed_shop.prices.bolt == 1


def test_goals_by_name_always_count_labor_and_money():
    for name, goal in GOALS.items():
        assert job_from_scenario(plate(goal=name)).goal == goal
        assert min(goal.metal, goal.joints, goal.labor) > 0
    weights = job_from_scenario(scenario("deck-hatch")).goal
    assert (weights.metal, weights.joints, weights.labor, weights.waste_per_kg) == (1, 1, 1, 0.5)
    by_pound = job_from_scenario(plate(goal={"waste": "1 /lb"})).goal
    assert by_pound.waste_per_kg == pytest.approx(1 / 0.45359237)
