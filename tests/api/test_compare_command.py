"""Plans side by side: totals, what differs by id, and what the evidence leaves open."""

import io
import json
from dataclasses import replace

import pytest
from hand_made_plan import impossible_plan, lid_plan, whole_plan

from api.command_line import main
from api.compare_table import compare_text
from api.comparing import CompareAsked, compared, comparison_json
from api.tables import columns
from solver.planner.compare import FIGURES, WEIGHED, compare


def text_of(*plans, whole=False):
    names = [f"{chr(97 + k)}.json" for k in range(len(plans))]
    return compare_text(compare(plans), names, length_unit=plans[0].length_unit, whole=whole)


def bounded(plan, bound):
    gap = (plan.cost.objective - bound) / plan.cost.objective
    proof = plan.proof.model_copy(update={"bound": bound, "gap": gap})
    return plan.model_copy(update={"proof": proof})


def dearer(plan, metal):
    """Return the plan with more money for metal."""
    cost = plan.cost
    more = {name: getattr(cost, name) + metal for name in ("metal", "total", "objective")}
    return plan.model_copy(update={"cost": cost.model_copy(update=more)})


def differences(comparison, first=0, second=1):
    return {d.figure: d for d in comparison.differences if (d.first, d.second) == (first, second)}


# -- as data ---------------------------------------------------------------------------------------


def test_totals_are_those_of_the_plans():
    lid, whole = lid_plan(), whole_plan()
    comparison = compare([lid, whole])
    for column, plan in zip(comparison.columns, (lid, whole), strict=True):
        assert column.totals.cost == plan.cost.total
        assert column.totals.minutes == plan.minutes
        assert column.totals.pieces == len(plan.pieces)
        assert column.totals.sections == len(plan.sections)
        assert column.totals.seams == 6
    # the second costs 14 more, all of it metal
    told = differences(comparison)
    assert told["cost"].amount == pytest.approx(14)
    assert told["metal"].amount == pytest.approx(14)
    assert told["labor"].amount == pytest.approx(0)


def test_the_lids_border_is_a_joint_in_one_plan_only():
    comparison = compare([lid_plan(), whole_plan()])
    (joint,) = comparison.joints
    assert joint.edge == "lid | frame"
    assert joint.joint == (True, False)
    (mounting,) = comparison.mountings
    assert mounting.treatment == ("pinched", "standing")


def test_a_plan_compared_with_itself_differs_in_nothing():
    comparison = compare([lid_plan(), lid_plan()])
    assert all(d.amount == 0 for d in comparison.differences)
    for told in ("joints", "mountings", "metals", "pieces", "purchases"):
        assert getattr(comparison, told) == ()
    assert "Nothing differs" in text_of(lid_plan(), lid_plan())


def test_the_other_way_round_says_the_same_with_signs_turned():
    one, other = bounded(lid_plan(), 489.0), bounded(dearer(whole_plan(), 3.0), 470.0)
    there, back = compare([one, other]), compare([other, one])
    for a, b in zip(there.differences, back.differences, strict=True):
        assert (a.figure, a.amount, a.decided) == (b.figure, -b.amount, b.decided)
    for told, values in (
        ("joints", "joint"),
        ("mountings", "treatment"),
        ("metals", "metals"),
        ("pieces", "facts"),
        ("purchases", "units"),
    ):
        turned = [(*_id(d), tuple(reversed(getattr(d, values)))) for d in getattr(back, told)]
        assert turned == [(*_id(d), getattr(d, values)) for d in getattr(there, told)]


def _id(difference):
    return [
        getattr(difference, key) for key in ("edge", "piece", "stock") if hasattr(difference, key)
    ]


def test_a_third_plan_changes_nothing_between_the_first_two():
    one, other = lid_plan(), whole_plan()
    two, three = compare([one, other]), compare([one, other, dearer(one, 5.0)])
    assert differences(two) == differences(three)
    assert {d.amount for d in differences(three, 1, 2).values()} != {0.0}


def test_what_the_bounds_tell_apart_is_decided():
    # 490.86 and 504.86: decided once no plan like the second can cost less than the first
    one = bounded(lid_plan(), 485.0)
    assert differences(compare([one, bounded(whole_plan(), 495.0)]))["objective"].decided
    assert not differences(compare([one, bounded(whole_plan(), 490.0)]))["objective"].decided
    none = whole_plan().model_copy(
        update={"proof": whole_plan().proof.model_copy(update={"bound": None, "gap": None})}
    )
    assert not differences(compare([one, none]))["cost"].decided


def test_parts_of_the_cost_are_decided_beyond_both_gaps_together():
    # gaps of 5.86 and 4.86 leave 10.72 open: 14 of metal is more, 9 would be less
    one = bounded(lid_plan(), 485.0)
    assert differences(compare([one, bounded(whole_plan(), 500.0)]))["metal"].decided
    nearer = bounded(dearer(whole_plan(), -5.0), 495.0)
    assert not differences(compare([one, nearer]))["metal"].decided


def test_counts_are_facts_and_other_goals_or_currencies_decide_nothing():
    told = differences(compare([lid_plan(), whole_plan(currency="EUR")]))
    assert {name for name, d in told.items() if d.decided is None} == set(WEIGHED)
    assert all(told[name].decided for name in FIGURES if name not in WEIGHED)
    told = differences(compare([lid_plan(), whole_plan(goal="least hours")]))
    assert told["cost"].decided is None


def test_a_piece_cut_longer_is_told_with_both_sizes():
    plan = lid_plan()
    first = plan.pieces[0]
    blank = first.blank.model_copy(update={"root_length_mm": first.blank.root_length_mm + 25.4})
    longer = plan.model_copy(
        update={"pieces": (first.model_copy(update={"blank": blank}), *plan.pieces[1:])}
    )
    (piece,) = compare([plan, longer]).pieces
    assert piece.piece == first.id
    a, b = piece.facts
    assert b.root_length_mm - a.root_length_mm == pytest.approx(25.4)
    # a tenth of a millimetre is nothing that a tape shows
    same = first.blank.model_copy(update={"root_length_mm": first.blank.root_length_mm + 0.05})
    alike = plan.model_copy(
        update={"pieces": (first.model_copy(update={"blank": same}), *plan.pieces[1:])}
    )
    assert compare([plan, alike]).pieces == ()


def test_fewer_than_two_plans_are_no_comparison():
    with pytest.raises(ValueError, match="two or more"):
        compare([lid_plan()])


# -- in words --------------------------------------------------------------------------------------


def test_two_plans_in_one_table_of_80_columns():
    text = text_of(lid_plan(), whole_plan())
    assert max(columns(line) for line in text.splitlines()) <= 80
    for fact in (
        "TOTALS (USD)",
        "B - A",
        "490.86",
        "504.86",
        "+14.00",
        'A joint; B whole: "lid | frame"',
        'A pinched; B standing: "lid | frame"',
        "22 lb by 1",
    ):
        assert fact in text


def test_what_is_not_decided_is_marked():
    open_ = text_of(bounded(lid_plan(), 485.0), bounded(whole_plan(), 490.0))
    assert "~ not decided by the evidence" in open_
    closed = text_of(bounded(lid_plan(), 490.86), bounded(whole_plan(), 504.86))
    assert "~" not in closed


def test_six_plans_still_fit_and_all_names_are_told_where_wanted():
    plans = [dearer(lid_plan(), 1000.0 * k) for k in range(6)]
    text = text_of(*plans)
    assert max(columns(line) for line in text.splitlines()) <= 80
    assert "5,491" in text  # without cents
    assert "F" in text.splitlines()[0]
    metric = text_of(lid_plan(length_unit="mm"), whole_plan(length_unit="mm"))
    assert "lb" not in metric


def test_different_scenarios_are_told_and_answers_without_a_plan_stand_by_themselves():
    other = whole_plan(scenario_digest="0" * 12)
    assert "different scenarios" in text_of(lid_plan(), other)
    text = text_of(lid_plan(), impossible_plan())
    assert "impossible" in text
    assert "490.86" in text


# -- command and request ---------------------------------------------------------------------------


def run(*arguments):
    out, err = io.StringIO(), io.StringIO()
    code = main([str(one) for one in arguments], engine=object(), out=out, err=err)
    return code, out.getvalue(), err.getvalue()


@pytest.fixture
def files(tmp_path):
    paths = []
    for name, plan in (("a", lid_plan()), ("b", whole_plan())):
        path = tmp_path / f"{name}.json"
        path.write_text(plan.model_dump_json())
        paths.append(path)
    return paths


def test_compare_prints_the_table_or_json(files):
    code, out, _ = run("compare", *files)
    assert code == 0
    assert "+14.00" in out
    code, out, _ = run("compare", *files, "--json")
    assert code == 0
    told = json.loads(out)
    assert [c["totals"]["pieces"] for c in told["columns"]] == [6, 6]
    assert told["joints"] == [{"edge": "lid | frame", "joint": [True, False]}]


def test_one_plan_too_few_or_a_file_that_is_none_is_an_error_with_a_remedy(files, tmp_path):
    code, _, err = run("compare", files[0])
    assert code == 2
    assert "two or more" in err
    code, _, err = run("compare", files[0], tmp_path / "none.json")
    assert code == 2
    assert "none.json" in err
    code, _, err = run("compare", *[files[0]] * 7)
    assert code == 2
    assert "at most 6" in err


def test_a_request_says_the_same_as_the_command(files):
    asked = CompareAsked.model_validate({"plans": [json.loads(path.read_text()) for path in files]})
    assert json.loads(comparison_json(compared(asked))) == json.loads(
        run("compare", *files, "--json")[1]
    )
    assert replace(compared(asked), columns=()).columns == ()
