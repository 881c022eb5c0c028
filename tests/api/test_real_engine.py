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

ROOT = Path(__file__).parents[2]
LID_FILE = ROOT / "scenarios" / "lid.json"


def run(*arguments):
    out, err = io.StringIO(), io.StringIO()
    code = main([str(one) for one in arguments], out=out, err=err)
    return code, out.getvalue(), err.getvalue()


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


def test_the_description_of_the_api_holds_the_real_schemas():
    api = post_and_get("GET", "/v1/openapi.json").json()
    assert "edges" in api["components"]["schemas"]["Scenario"]["properties"]


def post_and_get(method, path, **request):
    async def one():
        transport = httpx.ASGITransport(app=create_app(real_engine()))
        async with httpx.AsyncClient(
            transport=transport, base_url="http://127.0.0.1", timeout=60
        ) as client:
            return await client.request(method, path, **request)

    return asyncio.run(one())


def test_a_scenario_with_mistakes_is_answered_with_pointers():
    broken = {**LID, "edges": {**LID["edges"], "lid | frame": {"rectangle": [24, -18]}}}
    answer = post_and_get("POST", "/v1/plans", json=broken)
    assert answer.status_code == 422
    assert any(
        error["pointer"].startswith("/edges/lid | frame/rectangle")
        for error in answer.json()["errors"]
    )


pytestmark = pytest.mark.filterwarnings("error")
