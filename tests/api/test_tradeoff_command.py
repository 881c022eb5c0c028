"""`splitplan tradeoff`: the table, the plot in the terminal and as a picture, files and JSON."""

import io
import json
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest
from hand_made_plan import impossible_plan, lid_plan, whole_plan

from api.command_line import main
from api.solve_apart import SolveError, tradeoff_apart
from api.tables import columns
from api.trade_plot import plot_lines, plot_svg, point_name
from api.trade_table import trade_text
from api.trading import TradeOffAnswer, TradeOffAsked, TradePoint, trade_off_here
from solver.intake.job_of import read_job

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def point(metal, hours, **more):
    given = {
        "plan": "p",
        "metal": metal,
        "minutes": 60 * hours,
        "waste_kg": 4.5359237,
        "cost": 500.0 + metal,
        "sections": 2,
        "pieces": 6,
        "supported": True,
        "least_minutes": None,
        "least_metal": None,
        "hour_price": None,
    }
    return TradePoint(**given | more)


THREE = (
    point(10.0, 8.0, hour_price=10.0, least_minutes=480.0),
    point(20.0, 7.0, hour_price=40.0, supported=False, least_minutes=400.0),
    point(60.0, 6.0),
)


def answer(points=THREE, plans=None):
    plans = plans or (lid_plan(), whole_plan(), lid_plan(id="third"))
    return TradeOffAnswer(plans=plans, points=points, waste=False, asked=9, nested=5)


def test_the_table_tells_what_an_hour_costs_and_what_is_proven():
    text = trade_text(answer())
    assert max(columns(line) for line in text.splitlines()) <= 80
    lines = text.splitlines()
    (first,) = [line for line in lines if line.startswith("   1 ")]
    # 480 proven minutes of 480: nothing is quicker for this money; 4.5359237 kg are 10 lb
    for fact in ("10.00", "8.00", "510.00", "10.0", "8.00 h: it"):
        assert fact in first
    (second,) = [line for line in lines if line.strip().startswith("2'")]
    assert "40.00" in second
    assert "6.67 h" in second
    assert "it" not in second
    assert "no price of an hour makes it the best" in text
    assert "not proven" in text


def test_the_plot_has_more_money_above_and_fewer_hours_left():
    lines = plot_lines(THREE, "USD")
    assert max(len(line) for line in lines) <= 80
    rows = {
        name: k for k, line in enumerate(lines) for name in "123" if f"{name}" in _plotted(line)
    }
    assert rows["3"] < rows["2"] < rows["1"]
    places = {
        name: _plotted(line).index(name)
        for line in lines
        for name in "123"
        if name in _plotted(line)
    }
    assert places["3"] < places["2"] < places["1"]
    assert "60.00" in lines[1]
    assert "6.00 h" in lines[-1]
    assert lines[-1].rstrip().endswith("8.00 h")


def _plotted(line):
    return line.partition("|")[2]


def test_points_beyond_nine_have_letters():
    assert [point_name(k) for k in (0, 8, 9, 23)] == ["1", "9", "a", "o"]


@pytest.mark.parametrize("points", [THREE, THREE[:1]])
def test_the_picture_is_sound_xml_with_every_point_inside(points):
    root = ElementTree.fromstring(plot_svg(points, 'A <"title"> & more', "USD"))
    circles = root.findall(".//{*}circle")
    assert len(circles) == len(points)
    wide, high = float(root.get("width")), float(root.get("height"))
    for circle in circles:
        assert 0 < float(circle.get("cx")) < wide
        assert 0 < float(circle.get("cy")) < high
    assert root.find(".//{*}title").text.startswith('A <"title"> & more')


# -- command ---------------------------------------------------------------------------------------


@pytest.fixture
def run(make_engine):
    def command(*arguments, given=None, seen=None):
        def tradeoff(scenario, **how):
            if seen is not None:
                seen.update(how)
            return given or answer()

        out, err = io.StringIO(), io.StringIO()
        engine = make_engine(tradeoff=tradeoff)
        code = main([str(one) for one in arguments], engine=engine, out=out, err=err)
        return code, out.getvalue(), err.getvalue()

    return command


def test_seconds_seed_and_waste_reach_the_planner(run, scenario_file):
    seen = {}
    arguments = ["--seconds", "9", "--seed", "2", "--waste"]
    code, out, _ = run("tradeoff", scenario_file, *arguments, seen=seen)
    assert code == 0
    assert (seen["seconds"], seen["seed"], seen["waste"]) == (9, 2, True)
    assert "UNBEATEN PLANS (USD)" in out


def test_plans_and_picture_are_kept_and_not_overwritten(run, scenario_file, tmp_path):
    folder, picture = tmp_path / "plans", tmp_path / "plot.svg"
    keep = ["--output", folder, "--svg", picture]
    code, out, _ = run("tradeoff", scenario_file, *keep)
    assert code == 0
    assert str(picture) in out
    assert json.loads((folder / "option-1.json").read_text())["id"] == "lid-by-hand"
    assert (folder / "option-3.json").exists()
    ElementTree.fromstring(picture.read_text())
    code, _, err = run("tradeoff", scenario_file, *keep)
    assert code == 2
    assert "--force" in err


def test_json_holds_plans_and_points(run, scenario_file):
    _, out, _ = run("tradeoff", scenario_file, "--json")
    told = TradeOffAnswer.model_validate_json(out)
    assert [p.metal for p in told.points] == [10.0, 20.0, 60.0]


def test_where_no_plan_is_possible_the_reason_is_told(run, scenario_file):
    given = answer((), (impossible_plan(),))
    code, out, _ = run("tradeoff", scenario_file, given=given)
    assert code == 1
    assert "NO PLAN IS POSSIBLE" in out


def test_a_request_without_a_scenario_or_with_a_strange_key_is_refused():
    assert TradeOffAsked.model_validate({"scenario": {}}).seconds == 60
    for bad in ({}, {"scenario": {}, "second": 3}, {"scenario": {}, "seconds": 0}):
        with pytest.raises(ValueError, match="validation error"):
            TradeOffAsked.model_validate(bad)


def test_a_child_finds_the_same_plans_as_this_process():
    scenario = json.loads((SCENARIOS / "seam-or-roll.json").read_text(encoding="utf-8"))
    here = trade_off_here(read_job(scenario))
    heard = []
    apart = tradeoff_apart(scenario, waste=False, seconds=None, seed=0, on_progress=heard.append)
    assert apart == here
    assert heard
    assert len(here.points) == 2


def test_a_child_that_answers_something_else_is_a_fault_of_the_program():
    command = ("python3", "-c", "print('{\"plans\": []}', flush=True); input()")
    with pytest.raises(SolveError, match="something else"):
        tradeoff_apart({}, waste=False, seconds=1, seed=0, command=command)
