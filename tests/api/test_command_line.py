"""Each command does what --help says and ends with the exit code that stands there."""

import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import pytest
from hand_made_plan import SCENARIO, impossible_plan, lid_plan, unanswered_plan

from api.command_line import main
from api.solve_apart import SolveError, SolveQuitError
from solver.data.plan import Plan, Progress


@pytest.fixture
def run(make_engine):
    """Run a command with the engine made by hand; give code, stdout and stderr."""

    def command(*arguments, engine=None):
        out, err = io.StringIO(), io.StringIO()
        code = main(
            [str(one) for one in arguments], engine=engine or make_engine(), out=out, err=err
        )
        return code, out.getvalue(), err.getvalue()

    return command


@pytest.fixture
def plan_file(tmp_path):
    path = tmp_path / "plan.json"
    path.write_text(lid_plan().model_dump_json())
    return path


def answering(plan):
    return lambda scenario, **how: plan


def test_plan_prints_the_summary(run, scenario_file):
    code, out, _ = run("plan", scenario_file)
    assert code == 0
    assert "BUY (USD)" in out
    assert "Local codes and licensed practice decide." in out


@pytest.mark.parametrize(
    ("plan", "code"),
    [
        (lid_plan(status="proven"), 0),
        (lid_plan(status="within gap"), 0),
        (lid_plan(status="stopped"), 0),
        (impossible_plan(), 1),
        (unanswered_plan("stopped"), 3),
        (unanswered_plan("no answer"), 3),
    ],
    ids=["proven", "within gap", "stopped", "impossible", "stopped early", "no answer"],
)
def test_exit_code_tells_whether_there_is_a_plan(run, make_engine, scenario_file, plan, code):
    assert run("plan", scenario_file, engine=make_engine(answering(plan)))[0] == code


@pytest.mark.parametrize("kind", ["refused", "crashed", "hung"])
def test_a_planner_that_fails_is_told_and_no_plan_shown(run, make_engine, scenario_file, kind):
    def fail(scenario, **how):
        raise SolveError(kind, "piece P1 covers nothing")

    code, out, err = run("plan", scenario_file, engine=make_engine(fail))
    assert (code, out) == (4, "")
    assert "piece P1 covers nothing" in " ".join(err.split())


def test_seconds_seed_and_goal_reach_the_planner(run, make_engine, scenario_file):
    seen = {}

    def remember(scenario, **how):
        seen.update(how, goal=scenario["goal"])
        return lid_plan()

    engine = make_engine(remember)
    run("plan", scenario_file, "--seconds", "7.5", "--seed", "3", "--goal", "light", engine=engine)
    assert (seen["seconds"], seen["seed"], seen["goal"]) == (7.5, 3, "light")


def test_output_keeps_the_plan_and_still_prints_the_summary(run, scenario_file, tmp_path):
    kept = tmp_path / "kept.json"
    code, out, _ = run("plan", scenario_file, "--output", kept)
    assert code == 0
    assert Plan.model_validate_json(kept.read_bytes()) == lid_plan()
    assert "BUY (USD)" in out
    assert "Plan kept in" in out


def test_an_output_file_that_exists_is_refused_before_the_work(
    run, make_engine, scenario_file, plan_file
):
    def never(scenario, **how):
        raise AssertionError("the planner was started")

    before = plan_file.read_bytes()
    code, _, err = run("plan", scenario_file, "--output", plan_file, engine=make_engine(never))
    assert code == 2
    assert "--force" in err
    assert plan_file.read_bytes() == before
    assert run("plan", scenario_file, "--output", plan_file, "--force")[0] == 0


def test_json_prints_the_plan_alone(run, scenario_file):
    code, out, _ = run("plan", scenario_file, "--json")
    assert code == 0
    assert Plan.model_validate_json(out) == lid_plan()


def test_progress_goes_to_stderr_and_quiet_silences_it(run, make_engine, scenario_file):
    def report(scenario, *, on_progress, **how):
        if on_progress is not None:
            on_progress(Progress(phase="pieces", seconds=1.5, best=500.0, bound=480.0, gap=0.04))
        return lid_plan()

    _, out, err = run("plan", scenario_file, engine=make_engine(report))
    assert "1.5 s  best 500.00 USD  bound 480.00  gap 4.0 %  pieces" in err
    assert "1.5 s" not in out
    assert run("plan", scenario_file, "--quiet", engine=make_engine(report))[2] == ""


def _interrupted_planner(times, seen):
    """A planner that is interrupted, then works on until it is told to stop or to quit."""

    def plan(scenario, *, should_stop, should_quit, on_wait, **how):
        for _ in range(times):
            os.kill(os.getpid(), signal.SIGINT)
        late = time.monotonic() + 5
        while time.monotonic() < late:
            on_wait()
            if should_quit():
                raise SolveQuitError
            if should_stop():
                seen.append("stop")
                return lid_plan(status="stopped")
        raise AssertionError("the interrupt was not heard")

    return plan


def test_ctrl_c_once_keeps_the_best_plan_so_far(run, make_engine, scenario_file, tmp_path):
    seen = []
    before = signal.getsignal(signal.SIGINT)
    kept = tmp_path / "kept.json"
    engine = make_engine(_interrupted_planner(1, seen))
    code, out, err = run("plan", scenario_file, "--output", kept, engine=engine)
    assert (code, seen) == (0, ["stop"])
    assert "the best plan so far is kept" in err
    assert "stopped, best so far" in out
    assert kept.exists()
    assert signal.getsignal(signal.SIGINT) is before


def test_ctrl_c_twice_quits_without_a_plan(run, make_engine, scenario_file, tmp_path):
    kept = tmp_path / "kept.json"
    engine = make_engine(_interrupted_planner(2, []))
    code, out, err = run("plan", scenario_file, "--output", kept, engine=engine)
    assert (code, out) == (130, "")
    assert "no plan was kept" in err
    assert not kept.exists()


def test_all_problems_of_a_scenario_are_told_with_place_and_remedy(run, tmp_path):
    path = tmp_path / "empty.json"
    path.write_text("{}")
    code, out, err = run("plan", path)
    assert (code, out) == (2, "")
    assert 'the file: no patches: add "patches"' in err


def test_problems_can_be_had_as_json(run, tmp_path):
    path = tmp_path / "empty.json"
    path.write_text("{}")
    code, out, _ = run("plan", path, "--json")
    assert code == 2
    assert json.loads(out)["problems"][0]["pointer"] == "/patches"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "COMMAND"),
        (["plan"], "FILE"),
        (["plan", "missing.json"], "is not there"),
        (["plan", "x.json", "--seconds", "0"], "more than 0"),
        (["plan", "x.json", "--seconds", "nan"], "more than 0"),
        (["plan", "x.json", "--seconds", "soon"], "no number"),
        (["plan", "x.json", "--seed", "-1"], "whole number"),
        (["plan", "x.json", "--seed", "9999999999"], "whole number"),
        (["plan", "x.json", "--sec", "3"], "unrecognized"),
        (["fold"], "invalid choice"),
        (["schema", "house"], "invalid choice"),
        (["serve", "--port", "0"], "1 to 65535"),
        (["serve", "--host", "0.0.0.0"], "this machine"),
        (["serve", "--host", "example.org"], "this machine"),
    ],
)
def test_wrong_usage_ends_with_2_and_a_remedy(run, capsys, arguments, words):
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert words in " ".join((err + capsys.readouterr().err).split())


def test_help_documents_every_exit_code_and_command_in_80_columns(run, capsys):
    assert run("--help")[0] == 0
    text = capsys.readouterr().out
    for word in ("0  ", "1  ", "2  ", "3  ", "4  ", "130  "):
        assert word in text
    for word in (
        "plan",
        "options",
        "check",
        "show",
        "resolve",
        "schema",
        "pieces",
        "summary",
        "serve",
    ):
        assert f"\n    {word}" in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_version_names_the_program(run, capsys):
    assert run("--version")[0] == 0
    assert capsys.readouterr().out.startswith("splitplan ")


def test_check_of_a_sound_plan_ends_with_0(run, scenario_file, plan_file):
    code, out, _ = run("check", scenario_file, plan_file)
    assert code == 0
    assert "No fault found in 6 pieces and 2 sections:" in out


def test_check_names_every_fault_and_ends_with_1(run, make_engine, scenario_file, plan_file):
    engine = make_engine(faults=[("gap", "N1", 'pieces "P1" and "P2" lie 0.4 mm apart')])
    code, out, _ = run("check", scenario_file, plan_file, engine=engine)
    assert code == 1
    assert 'N1: pieces "P1" and "P2" lie 0.4 mm apart (rule: gap)' in out
    code, out, _ = run("check", scenario_file, plan_file, "--json", engine=engine)
    assert code == 1
    assert json.loads(out)["faults"][0]["rule"] == "gap"


@pytest.mark.parametrize("content", ["", "{}", "[1]", '{"format": "other"}', "{" * 5000, "\0"])
def test_a_file_that_is_no_plan_is_refused_with_a_reason(run, tmp_path, content):
    path = tmp_path / "plan.json"
    path.write_text(content)
    code, out, err = run("pieces", path)
    assert (code, out) == (2, "")
    assert "is no plan that this version can read" in " ".join(err.split())


def test_a_plan_with_an_infinite_cost_is_refused(run, tmp_path):
    path = tmp_path / "plan.json"
    path.write_text(lid_plan().model_dump_json().replace('"metal":52.0', '"metal":1e999', 1))
    assert run("pieces", path)[0] == 2


def test_pieces_lists_and_gives_json(run, plan_file):
    code, out, _ = run("pieces", plan_file)
    assert code == 0
    assert "24 ga aluminium" in out
    code, out, _ = run("pieces", plan_file, "--json")
    assert [piece["id"] for piece in json.loads(out)] == ["P1", "P2", "P3", "P4", "P5", "P6"]


def test_summary_of_a_kept_plan_equals_the_one_when_it_was_made(run, scenario_file, plan_file):
    made = run("plan", scenario_file)[1]
    assert run("summary", plan_file, "--scenario", scenario_file)[1] == made


def test_show_prints_what_was_understood(run, scenario_file):
    assert run("show", scenario_file) == (0, "One lid in a frame: 2 edges\n", "")


def test_resolve_prints_or_keeps_the_resolved_form(run, scenario_file, tmp_path):
    code, out, _ = run("resolve", scenario_file)
    assert code == 0
    assert json.loads(out)["form"] == "resolved"
    kept = tmp_path / "resolved.json"
    assert run("resolve", scenario_file, "--output", kept) == (0, "", "")
    assert json.loads(kept.read_text()) == json.loads(out)
    assert run("resolve", scenario_file, "--output", kept)[0] == 2


def test_the_plan_schema_is_valid_and_takes_a_plan(run):
    code, out, _ = run("schema", "plan")
    assert code == 0
    schema = json.loads(out)
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(lid_plan().model_dump(mode="json"))


@pytest.mark.parametrize("which", ["scenario", "resolved"])
def test_the_scenario_schemas_are_printed(run, which):
    code, out, _ = run("schema", which)
    assert code == 0
    jsonschema.Draft202012Validator(json.loads(out)).validate(SCENARIO)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_is_told_in_one_line():
    run = "import sys; from api.command_line import main; sys.exit(main(['schema']))"
    command = [sys.executable, "-c", run]
    with Path("/dev/full").open("w") as full:
        left = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert left.returncode == 2
    assert left.stderr.startswith("splitplan: not all was written: No space left on device")
    assert "Traceback" not in left.stderr
    assert "Exception" not in left.stderr
