"""`splitplan rerun`: what a tired builder reads, what is kept in files, and what is refused."""

import io
import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from api.command_line import main
from api.real_engine import real_engine
from api.rerunning import record_after, rerun
from solver.data.errors import ScenarioErrors
from solver.data.plan import Plan
from solver.data.work import WorkRecord
from solver.intake.job_of import read_job
from solver.planner.plan_job import plan_job

TROUGH = Path(__file__).parents[2] / "scenarios" / "trough.json"


@cache
def old_plan():
    return plan_job(read_job(json.loads(TROUGH.read_text(encoding="utf-8"))))


def longer():
    scenario = json.loads(TROUGH.read_text(encoding="utf-8"))
    for edge in scenario["edges"].values():
        path = edge["path"] if isinstance(edge, dict) else edge
        for place, step in enumerate(path):
            if isinstance(step, int | float):
                path[place] = step + 3
                return scenario
    raise AssertionError


def in_this_process(scenario, *, old_plan, record, seconds, seed, on_progress=None, **_):
    return rerun(old_plan, scenario, record, seconds=seconds, seed=seed, on_progress=on_progress)


@pytest.fixture
def run(tmp_path):
    """Run the command on files in a folder of its own; give code, stdout and stderr."""
    engine = replace(real_engine(), rerun=in_this_process)
    (tmp_path / "old.json").write_text(old_plan().model_dump_json())
    (tmp_path / "same.json").write_bytes(TROUGH.read_bytes())
    (tmp_path / "longer.json").write_text(json.dumps(longer()))

    def command(*arguments, done=None):
        if done is not None:
            (tmp_path / "work.json").write_text(done if isinstance(done, str) else json.dumps(done))
            arguments = (*arguments, "--done", "work.json")
        words = [
            str(tmp_path / one) if str(one).endswith(".json") else str(one) for one in arguments
        ]
        out, err = io.StringIO(), io.StringIO()
        code = main(words, engine=engine, out=out, err=err)
        return code, out.getvalue(), err.getvalue()

    return command


ALL = {"cut": "all", "bought": "all"}


def test_a_changed_section_is_told_in_eighty_columns(run):
    code, out, _ = run("rerun", "old.json", "longer.json", done=ALL)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    heads = ("CHANGE", "BUY NOW", "KEEP", "CUT", "PROOF")
    places = [out.index(f"\n{head}") for head in heads]
    assert places == sorted(places)
    assert "The change costs" in out
    assert "Local codes and licensed practice decide." in out
    assert len(out.splitlines()) <= 40


def test_nothing_changed_is_told_in_a_line(run):
    code, out, _ = run("rerun", "old.json", "same.json", done=ALL)
    assert code == 0
    assert "The change costs nothing." in out
    assert "no metal to buy" in out
    assert "CUT  nothing" in out
    assert f"KEEP  {len(old_plan().pieces)} pieces" in out


def test_pieces_that_come_off_are_priced_as_asked(run):
    fitted = {"fitted": "all"}
    _, out, _ = run("rerun", "old.json", "longer.json", "--change-price", "7.5", done=fitted)
    plan = rerun(old_plan(), longer(), {"fitted": "all", "change_price": 7.5})
    assert plan.rerun.change_price == 7.5
    if plan.rerun.changes:
        assert "weighed at 7.50 each" in out.replace("\n ", "")


def test_plan_and_record_are_kept_to_go_on_with(run, tmp_path):
    arguments = ["--output", "new.json", "--done-output", "next.json"]
    code, out, _ = run("rerun", "old.json", "longer.json", *arguments, done=ALL)
    assert code == 0
    assert "Plan kept in" in out
    assert "Record kept in" in out
    plan = Plan.model_validate_json((tmp_path / "new.json").read_text())
    code, out, _ = run("check", "longer.json", "new.json")
    assert code == 0, out
    code, out, _ = run("summary", "new.json")
    assert (code, "BUY NOW" in out) == (0, True)
    # nothing has changed since: the same pieces, and the change costs nothing
    code, out, _ = run("rerun", "new.json", "longer.json", "--done", "next.json")
    assert code == 0
    assert "The change costs nothing." in out
    record = json.loads((tmp_path / "next.json").read_text())
    assert record["plan"] == plan.id


def test_the_plan_comes_as_json(run):
    code, out, _ = run("rerun", "old.json", "longer.json", "--json", done=ALL)
    assert code == 0
    assert Plan.model_validate_json(out).rerun.old_plan == old_plan().id


def test_a_record_that_does_not_fit_names_its_file_place_and_remedy(run):
    code, out, err = run(
        "rerun", "old.json", "longer.json", done={"cut": ["nobody"], "built": ["Z"]}
    )
    assert (code, out) == (2, "")
    text = " ".join(err.split())
    assert "work.json: 2 things to mend cut[0]: there is no piece" in text
    assert 'there is no section "Z"' in text


@pytest.mark.parametrize(
    ("done", "words"),
    [("{", "is no JSON"), ("[1]", "is no object"), ('{"cutt": []}', 'did you mean "cut"?')],
)
def test_a_record_that_is_none_is_refused(run, done, words):
    code, _, err = run("rerun", "old.json", "longer.json", done=done)
    assert code == 2
    assert words in " ".join(err.split())


def test_a_plan_that_is_none_is_refused(run, tmp_path):
    code, _, err = run("rerun", "same.json", "longer.json")
    assert code == 2
    assert "is no plan that this version can read" in " ".join(err.split())


def test_kept_files_are_not_lost(run, tmp_path):
    (tmp_path / "new.json").write_text("mine")
    code, _, err = run("rerun", "old.json", "longer.json", "--output", "new.json")
    assert code == 2
    assert "new.json" in err
    assert (tmp_path / "new.json").read_text() == "mine"


def test_an_old_plan_that_is_none_is_told_before_any_work():
    with pytest.raises(ScenarioErrors) as caught:
        rerun({}, {}, {})
    assert all(p.place.startswith("old_plan.") for p in caught.value.problems)
    assert all(p.pointer.startswith("/old_plan/") for p in caught.value.problems)


def test_the_record_to_go_on_with_names_what_is_kept():
    plan = rerun(old_plan(), longer(), WorkRecord(fitted="all"))
    after = record_after(plan)
    kept = {s.piece for s in plan.rerun.sources if s.how == "kept"}
    assert set(after.fitted) == kept
    assert after.cut == ()
    assert after.plan == plan.id


def test_a_rerun_is_made_in_a_child_as_well():
    plan = real_engine().rerun(
        longer(),
        old_plan=old_plan().model_dump(mode="json"),
        record=ALL,
        seconds=None,
        seed=0,
    )
    assert plan == rerun(old_plan(), longer(), ALL)
