"""The commands and the service with the solver that is shipped, on the lid."""

import asyncio
import io
import json
from pathlib import Path

import httpx
import jsonschema
import pytest

from api.command_line import main
from api.http.app import create_app
from api.http.examples import EXAMPLES, LID
from api.real_engine import real_engine
from api.service.assembly import service_of
from api.service.settings import Settings
from api.summary import SCREEN_LINES
from api.tables import columns
from solver.data.plan import Plan

ROOT = Path(__file__).parents[2]
LID_FILE = ROOT / "scenarios" / "lid.json"
TWO_HATCHES = ROOT / "scenarios" / "mirrored-hatches.json"


def run(*arguments):
    out, err = io.StringIO(), io.StringIO()
    code = main([str(one) for one in arguments], out=out, err=err)
    return code, out.getvalue(), err.getvalue()


@pytest.fixture(scope="module")
def post_and_get(tmp_path_factory):
    """One request to a service with the real planner in its children, without a network."""
    folder = tmp_path_factory.mktemp("service") / "store"
    service = service_of(real_engine(), Settings(folder=folder, workers=1))
    app = create_app(service)

    def ask(method, path, **request):
        async def one():
            transport = httpx.ASGITransport(app=app)
            async with httpx.AsyncClient(
                transport=transport, base_url="http://127.0.0.1:8765", timeout=60
            ) as client:
                return await client.request(method, path, **request)

        return asyncio.run(one())

    service.start()
    yield ask
    service.close()


def test_show_prints_both_runs_with_their_lengths():
    code, out, _ = run("show", LID_FILE)
    assert code == 0
    # 2·(24 + 18) - 8·2 + 4π = 80.57 in; 2·(36 + 30) - 8·3 + 6π = 126.85 in.
    assert "80-9/16 in" in out
    assert "126-7/8 in" in out


def test_the_schemas_take_the_forms_that_they_are_for():
    schema = json.loads(run("schema")[1])
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(json.loads(LID_FILE.read_text()))
    for example in EXAMPLES.values():
        jsonschema.Draft202012Validator(schema).validate(example["value"])
    resolved_schema = json.loads(run("schema", "resolved")[1])
    jsonschema.Draft202012Validator.check_schema(resolved_schema)
    resolved = json.loads(run("resolve", LID_FILE)[1])
    jsonschema.Draft202012Validator(resolved_schema).validate(resolved)


def test_the_resolved_form_is_understood_as_the_scenario_is(tmp_path):
    resolved = tmp_path / "resolved.json"
    assert run("resolve", LID_FILE, "--output", resolved)[0] == 0
    assert run("show", resolved) == run("show", LID_FILE)


def test_a_goal_that_is_not_known_is_told_with_its_place():
    code, _, err = run("plan", LID_FILE, "--goal", "cheepest")
    assert code == 2
    assert "goal" in err
    assert "cheapest" in err


def test_a_misspelt_key_names_the_one_that_was_meant(tmp_path):
    path = tmp_path / "lid.json"
    path.write_text(LID_FILE.read_text().replace('"radius": 2', '"radus": 2'))
    code, _, err = run("show", path)
    assert code == 2
    assert 'edges "lid | frame".radus' in err
    assert 'did you mean "radius"?' in err


def test_the_description_of_the_api_holds_the_real_schemas(post_and_get):
    api = post_and_get("GET", "/v1/openapi.json").json()
    assert "edges" in api["components"]["schemas"]["Scenario"]["properties"]


def test_a_scenario_with_mistakes_is_answered_with_pointers(post_and_get):
    broken = {**LID, "edges": {**LID["edges"], "lid | frame": {"rectangle": [24, -18]}}}
    answer = post_and_get("POST", "/v1/plans", json=broken)
    assert answer.status_code == 422
    assert any(
        error["pointer"].startswith("/edges/lid | frame/rectangle")
        for error in answer.json()["errors"]
    )


def test_the_lid_is_planned_kept_and_found_sound(tmp_path):
    kept = tmp_path / "plan.json"
    code, out, err = run("plan", LID_FILE, "--seconds", "5", "--output", kept)
    assert code == 0, err
    # Goods that any plan must buy: metal for the frame's outer border, 126.85 in round, which an
    # open edge cannot do without.
    assert "22 ga galvanised" in out
    assert "Local codes and licensed practice decide." in out
    summary = out.splitlines()[:-1]  # the last line is the path of the kept plan, never broken
    assert max(columns(line) for line in summary) <= 80
    assert len(out.splitlines()) <= SCREEN_LINES
    assert run("check", LID_FILE, kept)[0] == 0
    assert "22 ga galvanised" in run("pieces", kept)[1]


def test_a_plan_with_a_false_total_is_found_out(tmp_path):
    kept = tmp_path / "plan.json"
    assert run("plan", LID_FILE, "--seconds", "5", "--quiet", "--output", kept)[0] == 0
    plan = json.loads(kept.read_text())
    plan["cost"]["total"] += 1
    kept.write_text(json.dumps(plan))
    code, out, _ = run("check", LID_FILE, kept)
    assert code == 1
    assert "1 fault" in out or "faults:" in out


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_example_posts_as_it_is_and_the_plan_keeps_its_schema(name, post_and_get):
    answer = post_and_get("POST", "/v1/plans?seconds=5", json=EXAMPLES[name]["value"])
    assert answer.status_code == 200
    plan = answer.json()
    jsonschema.Draft202012Validator(Plan.model_json_schema()).validate(plan)
    assert plan["title"] == EXAMPLES[name]["value"]["title"]
    assert bool(plan["impossible"]) == (name == "too-heavy")
    assert (plan["status"] == "impossible") == (name == "too-heavy")


def test_the_resolved_form_posts_too(post_and_get):
    resolved = json.loads(run("resolve", LID_FILE)[1])
    answer = post_and_get("POST", "/v1/plans?seconds=5", json=resolved)
    assert answer.status_code == 200
    assert answer.json()["pieces"]


def test_options_of_a_small_scenario_are_kept_and_each_found_sound(tmp_path):
    folder = tmp_path / "kept"
    arguments = ["--count", "3", "--differ", "1", "--seconds", "12", "--output", folder]
    code, out, err = run("options", TWO_HATCHES, *arguments)
    assert code == 0, err
    assert "option 1/3" in err
    assert max(columns(line) for line in out.splitlines()[:-1]) <= 80
    plans = [Plan.model_validate_json(path.read_bytes()) for path in sorted(folder.iterdir())]
    assert len(plans) == 3
    costs = [plan.cost.objective for plan in plans]
    assert costs == sorted(costs)
    assert all(f"{plan.cost.total:,.2f}" in out for plan in plans)
    assert "splits that differ by 1 joint or more" in plans[1].proof.covers
    for path in folder.iterdir():
        assert run("check", TWO_HATCHES, path)[0] == 0


def test_a_plan_of_a_what_if_is_sound_for_the_scenario_that_is_kept_with_it(tmp_path):
    plan, asked = tmp_path / "plan.json", tmp_path / "asked.json"
    what_if = ["--split", "deck.right | deck.left", "--seconds", "8", "--quiet"]
    kept = ["--output", plan, "--scenario-output", asked]
    assert run("plan", TWO_HATCHES, *what_if, *kept)[0] == 0
    made = Plan.model_validate_json(plan.read_bytes())
    assert {edge.edge: edge.joint for edge in made.edges}["deck.left | deck.right"]
    assert run("check", asked, plan)[0] == 0
    # The same question asked of what was kept changes nothing.
    again = run("plan", asked, "--seconds", "8", "--quiet", "--json")[1]
    assert json.loads(again)["scenario_digest"] == made.scenario_digest


def test_symmetry_is_told_with_its_cost():
    what_if = ["--symmetric", "--split", "hatch-left | deck.left", "--seconds", "16", "--quiet"]
    code, out, err = run("plan", TWO_HATCHES, *what_if)
    assert code == 0, err
    assert len(out.splitlines()) <= SCREEN_LINES
    # One hatch is to come off by itself: symmetry takes the joint round the other one too.
    said = " ".join(out.partition("SYMMETRY costs ")[2].split())
    assert float(said.split(" USD")[0]) > 0
    assert "that is proven." in said


def test_options_post_to_the_service_with_their_table(post_and_get):
    scenario = json.loads(TWO_HATCHES.read_text())
    answer = post_and_get("POST", "/v1/options?seconds=10&count=2&differ=1", json=scenario)
    assert answer.status_code == 200
    told = answer.json()
    first, second = told["table"]
    assert [first["plan"], second["plan"]] == [plan["id"] for plan in told["options"]]
    assert first["objective"] <= second["objective"]
    assert second["joints_made"]
