"""`splitplan options`, and what-ifs on it and on `splitplan plan`."""

import io
import json
import os
import signal

import pytest
from hand_made_plan import impossible_plan, lid_plan, whole_plan

from api.command_line import main
from solver.data.plan import Plan

TWO = (lid_plan(), whole_plan())


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


def finding(plans, seen=None):
    def options(scenario, **how):
        if seen is not None:
            seen.update(how, scenario=scenario)
        return plans

    return options


def never(scenario, **how):
    raise AssertionError("the planner was started")


def test_options_prints_the_table(run, scenario_file):
    code, out, _ = run("options", scenario_file)
    assert code == 0
    assert "1  490.86  52.00" in out
    assert "2  504.86  66.00" in out
    assert "2 of 4 options" in out


def test_count_difference_seconds_seed_and_goal_reach_the_planner(run, make_engine, scenario_file):
    seen = {}
    engine = make_engine(options=finding(TWO, seen))
    arguments = ["--count", "3", "--differ", "5", "--seconds", "9", "--seed", "2", "--goal", "x"]
    run("options", scenario_file, *arguments, engine=engine)
    assert (seen["count"], seen["differ_by"]) == (3, 5)
    assert (seen["seconds"], seen["seed"]) == (9, 2)
    assert seen["scenario"]["goal"] == "x"


@pytest.mark.parametrize(
    ("plans", "code", "words"),
    [
        (TWO, 0, "OPTIONS"),
        ((impossible_plan(),), 1, "NO PLAN IS POSSIBLE"),
        ((), 3, "NO ANSWER in the time given"),
        ((lid_plan(status="no answer", cost=None),), 3, "NO ANSWER in the time given"),
    ],
    ids=["two", "impossible", "none", "no answer"],
)
def test_the_exit_code_tells_whether_there_is_an_option(
    run, make_engine, scenario_file, plans, code, words
):
    ended, out, _ = run("options", scenario_file, engine=make_engine(options=finding(plans)))
    assert ended == code
    assert words in out


def test_json_gives_plans_and_table(run, scenario_file):
    code, out, _ = run("options", scenario_file, "--json")
    answer = json.loads(out)
    assert code == 0
    assert [Plan.model_validate(plan) for plan in answer["options"]] == list(TWO)
    assert [row["plan"] for row in answer["table"]] == ["lid-by-hand", "whole-by-hand"]
    assert answer["symmetry"] is None


def test_each_option_is_kept_in_its_own_file(run, scenario_file, tmp_path):
    folder = tmp_path / "kept"
    code, out, _ = run("options", scenario_file, "--output", folder)
    assert code == 0
    assert "option-1.json to option-2.json" in out
    kept = [Plan.model_validate_json((folder / f"option-{k}.json").read_bytes()) for k in (1, 2)]
    assert kept == list(TWO)
    assert sorted(path.name for path in folder.iterdir()) == ["option-1.json", "option-2.json"]


def test_options_that_were_kept_are_never_overwritten_unasked(
    run, make_engine, scenario_file, tmp_path
):
    (tmp_path / "option-4.json").write_text("mine")
    engine = make_engine(options=never)
    code, _, err = run("options", scenario_file, "--output", tmp_path, engine=engine)
    assert code == 2
    assert "--force" in err
    code, out, _ = run("options", scenario_file, "--output", tmp_path, "--force")
    assert code == 0
    # Two were found: the fourth is none of them, and stays.
    assert "From before, no option of these: option-4.json" in out
    assert (tmp_path / "option-4.json").read_text() == "mine"


@pytest.mark.parametrize("place", ["lid.json", "nowhere/kept"])
def test_a_folder_that_cannot_be_is_refused_before_the_work(
    run, make_engine, scenario_file, tmp_path, place
):
    engine = make_engine(options=never)
    code, _, err = run("options", scenario_file, "--output", tmp_path / place, engine=engine)
    assert code == 2
    assert str(tmp_path) in err


def test_ctrl_c_keeps_the_options_so_far(run, make_engine, scenario_file, tmp_path):
    def options(scenario, *, should_stop, on_wait, **how):
        os.kill(os.getpid(), signal.SIGINT)
        on_wait()
        return TWO[:1] if should_stop() else TWO

    engine = make_engine(options=options)
    code, out, err = run("options", scenario_file, "--output", tmp_path / "kept", engine=engine)
    assert code == 0
    assert "the options so far are kept" in err
    assert "1 of 4 options: stopped before the next one" in out
    assert (tmp_path / "kept" / "option-1.json").exists()


def test_stopping_before_the_first_option_is_told_as_such(run, make_engine, scenario_file):
    def options(scenario, **how):
        os.kill(os.getpid(), signal.SIGINT)
        return ()

    code, out, _ = run("options", scenario_file, engine=make_engine(options=options))
    assert code == 3
    assert "STOPPED before the first plan" in out
    assert "in the time given" not in out


def test_stopping_before_the_first_plan_never_blames_the_time(run, make_engine, scenario_file):
    def plan(scenario, **how):
        os.kill(os.getpid(), signal.SIGINT)
        return lid_plan(status="no answer", cost=None)

    code, out, _ = run("plan", scenario_file, engine=make_engine(plan))
    assert code == 3
    assert "STOPPED before the first plan" in out
    assert "in the time given" not in out


@pytest.mark.parametrize("command", ["plan", "options"])
def test_what_ifs_reach_the_planner_as_the_resolved_scenario(
    run, make_engine, scenario_file, command
):
    asked = []

    def resolved(job):
        asked.append(job)
        return {"form": "resolved"}

    seen = {}

    def plan(scenario, **how):
        seen["scenario"] = scenario
        return lid_plan()

    engine = make_engine(plan, options=finding(TWO, seen), resolved=resolved)
    what_ifs = [
        *("--pin", "lid=shed", "--pin", "frame=yard"),
        *("--split", "frame | lid"),
        *("--crew", "3", "--lift-limit", "120 lb", "--most-sections", "2"),
        *("--without", "8 in"),
    ]
    code, _, err = run(command, scenario_file, *what_ifs, engine=engine)
    assert (code, seen["scenario"]) == (0, {"form": "resolved"}), err
    (job,) = asked
    assert [patch.pin for patch in job.patches] == ["shed", "yard"]
    assert job.edge_of["lid | frame"].split == "required"
    assert job.shop.crew == 3
    assert job.shop.lift_limit_kg == pytest.approx(54.431, abs=1e-3)
    assert job.rules.most_sections == 2
    assert [item.id for item in job.stock] == ["sheet-1"]


def test_a_join_reaches_the_planner(run, make_engine, scenario_file):
    asked = []
    engine = make_engine(resolved=lambda job: asked.append(job) or {"form": "resolved"})
    assert run("plan", scenario_file, "--join", "lid | frame", engine=engine)[0] == 0
    assert asked[0].edge_of["lid | frame"].split == "forbidden"


@pytest.mark.parametrize("command", ["plan", "options"])
@pytest.mark.parametrize(
    ("what_if", "words"),
    [
        (["--pin", "lidd=a"], """--pin: 'lidd': did you mean "lid"?"""),
        (["--split", "lid | fame"], 'did you mean "lid | frame"?'),
        (["--join", "frame | open"], "an open edge"),
        (["--lift-limit", "heavy"], "--lift-limit: 'heavy' is no mass"),
        (["--without", "24 ga aluminum"], 'did you mean "24 ga aluminium"?'),
        (["--most-sections", "0"], "--most-sections: 0"),
        (["--symmetric"], "--symmetric: no two sides alike"),
    ],
)
def test_what_cannot_be_asked_is_told_before_the_work(
    run, make_engine, scenario_file, command, what_if, words
):
    engine = make_engine(never, options=never)
    code, out, err = run(command, scenario_file, *what_if, engine=engine)
    assert (code, out) == (2, "")
    assert words in " ".join(err.split())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["options"], "SCENARIO"),
        (["options", "x.json", "--count", "0"], "from 1 to 12"),
        (["options", "x.json", "--count", "13"], "from 1 to 12"),
        (["options", "x.json", "--differ", "0"], "from 1 to"),
        (["options", "x.json", "--differ", "two"], "whole number"),
        (["plan", "x.json", "--pin", "lid"], "PATCH=LABEL"),
        (["plan", "x.json", "--crew", "-1"], "whole number"),
    ],
)
def test_wrong_usage_ends_with_2_and_a_remedy(run, capsys, arguments, words):
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert words in " ".join((err + capsys.readouterr().err).split())


def test_the_scenario_of_a_what_if_is_kept_where_it_is_asked_for(run, scenario_file, tmp_path):
    kept = tmp_path / "asked.json"
    code, out, _ = run("plan", scenario_file, "--crew", "3", "--scenario-output", kept)
    assert code == 0
    assert json.loads(kept.read_text())["form"] == "resolved"
    assert "Its scenario kept in" in out
    again = run("plan", scenario_file, "--crew", "3", "--scenario-output", kept)
    assert again[0] == 2
    assert "--force" in again[2]


def test_a_kept_plan_of_a_what_if_says_which_scenario_it_belongs_to(run, scenario_file, tmp_path):
    plan = tmp_path / "plan.json"
    assert "--scenario-output" not in run("plan", scenario_file, "--output", plan)[1]
    out = run("plan", scenario_file, "--crew", "3", "--output", plan, "--force")[1]
    assert "--scenario-output" in out


def test_plan_and_scenario_are_not_kept_in_one_file(run, scenario_file, tmp_path):
    both = ["--output", tmp_path / "x.json", "--scenario-output", tmp_path / "x.json"]
    code, _, err = run("plan", scenario_file, *both)
    assert code == 2
    assert "two files" in err


def test_the_help_of_options_and_plan_names_every_what_if_in_80_columns(run, capsys):
    for command in ("plan", "options"):
        assert run(command, "--help")[0] == 0
        text = capsys.readouterr().out
        for word in ("pin", "split", "join", "crew", "lift-limit", "most-sections", "without"):
            assert f"--{word} " in text
        assert "--symmetric" in text
        assert max(len(line) for line in text.splitlines()) <= 80
