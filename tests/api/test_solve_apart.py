"""A plan is made in a child process that may crash, hang or be stopped without harm."""

import io
import json
import os
import subprocess
import sys
import time

import pytest
from hand_made_plan import SCENARIO, lid_job, lid_plan

from api.solve_apart import SolveError, SolveQuitError, options_apart, plan_apart, rerun_apart
from api.solve_child import PlanNotShownError, serve_one
from solver.data.errors import Problem, ScenarioErrors
from solver.data.plan import Progress

PLAN = json.dumps({"plans": [lid_plan().model_dump(mode="json")]})


def child(tmp_path, program):
    """A child that speaks the protocol by itself, without the solver."""
    path = tmp_path / "child.py"
    path.write_text(
        "import json, os, sys, time\n"
        "request = json.loads(sys.stdin.readline())\n"
        "def say(text):\n    sys.stdout.write(text + '\\n'); sys.stdout.flush()\n"
        f"PLAN = {PLAN!r}\n" + program
    )
    return [sys.executable, "-S", "-E", str(path)]


def plan(command, **others):
    return plan_apart(SCENARIO, **{"seconds": 5, "seed": 0, "command": command} | others)


def test_a_rerun_that_is_answered_without_a_plan_is_a_crash_in_words(tmp_path):
    command = child(tmp_path, "say('{\"plans\": []}')\n")
    with pytest.raises(SolveError, match="0 plans for one") as caught:
        rerun_apart(SCENARIO, old_plan={}, record={}, seconds=5, seed=0, command=command)
    assert caught.value.kind == "crashed"


def test_the_plan_and_the_progress_of_the_child_come_through(tmp_path):
    progress = Progress(phase="nests", seconds=1, best=5, bound=4, gap=0.2)
    line = json.dumps({"progress": progress.model_dump(mode="json")})
    seen = []
    made = plan(child(tmp_path, f"say({line!r})\nsay(PLAN)\n"), on_progress=seen.append)
    assert made == lid_plan()
    assert seen == [progress]


def test_the_request_reaches_the_child(tmp_path):
    program = "plan = json.loads(PLAN)\nplan['plans'][0]['title'] = json.dumps(request)\n"
    made = plan(child(tmp_path, program + "say(json.dumps(plan))\n"), seed=9, niceness=3)
    assert json.loads(made.title) == {
        "scenario": SCENARIO,
        "seconds": 5,
        "seed": 9,
        "niceness": 3,
    }


@pytest.mark.parametrize(
    ("program", "kind", "words"),
    [
        ("sys.exit(7)", "crashed", "code 7"),
        ("sys.exit('out of luck')", "crashed", "out of luck"),
        ("os.kill(os.getpid(), 9)", "crashed", "signal 9"),
        ("say('what is no JSON')", "crashed", "no JSON"),
        ("say('[1]')", "crashed", "no JSON object"),
        ("say('{}')", "crashed", "unknown answer"),
        ("say('{\"plans\": [{}]}')", "crashed", "broken"),
        ("say('{\"plans\": []}')", "crashed", "0 plans for one"),
        ('say(\'{"crashed": "ValueError: x"}\')', "crashed", "ValueError: x"),
        ('say(\'{"refused": "P1 lies outside"}\')', "refused", "P1 lies outside"),
    ],
)
def test_a_child_that_fails_is_told_by_kind(tmp_path, program, kind, words):
    with pytest.raises(SolveError, match=words) as failure:
        plan(child(tmp_path, program))
    assert failure.value.kind == kind


def test_the_problems_of_a_scenario_come_through(tmp_path):
    problem = '{"place": "p", "value": "v", "remedy": "r", "pointer": "/p"}'
    program = f'say(\'{{"problems": [{problem}], "left_out": 2}}\')'
    with pytest.raises(ScenarioErrors) as errors:
        plan(child(tmp_path, program))
    assert errors.value.problems == (Problem("p", "v", "r", "/p"),)
    assert errors.value.left_out == 2


def test_a_stop_reaches_the_child_and_its_best_plan_comes_back(tmp_path):
    program = "assert sys.stdin.readline() == 'stop\\n'\nsay(PLAN)\n"
    assert plan(child(tmp_path, program), should_stop=lambda: True) == lid_plan()


def test_a_child_that_hangs_after_a_stop_is_ended(tmp_path):
    with pytest.raises(SolveError, match="did not stop within") as failure:
        plan(child(tmp_path, "time.sleep(60)"), should_stop=lambda: True, grace_seconds=0.2)
    assert failure.value.kind == "hung"


def test_a_child_that_overruns_its_time_is_stopped(tmp_path):
    program = "sys.stdin.readline()\nsay(PLAN)\n"
    assert plan(child(tmp_path, program), seconds=0.1, grace_seconds=0.2) == lid_plan()


def test_quitting_ends_the_child(tmp_path):
    mark = tmp_path / "pid"
    program = f"open({str(mark)!r}, 'w').write(str(os.getpid()))\ntime.sleep(60)\n"
    late = time.monotonic() + 10
    with pytest.raises(SolveQuitError):
        plan(
            child(tmp_path, program),
            should_quit=lambda: (mark.exists() and mark.read_text()) or time.monotonic() > late,
        )
    with pytest.raises(ProcessLookupError):
        os.kill(int(mark.read_text()), 0)


def answers_of(work, *, read=lambda tree: lid_job(), **more):
    """What the child writes, with a planner given by the test."""
    request = {"scenario": SCENARIO, "seconds": 1, "seed": 4, "niceness": 0, **more}
    lines_out = io.BytesIO()
    serve_one(
        read,
        work,
        work,
        io.BytesIO(json.dumps(request).encode() + b"\n"),
        lines_out,
        on_end_of_input=lambda: None,
    )
    return [json.loads(line) for line in lines_out.getvalue().splitlines()]


def test_the_child_answers_with_progress_and_the_plan():
    def work(job, *, seconds, seed, on_progress, should_stop):
        on_progress(Progress(phase="split", seconds=seconds, best=None, bound=None, gap=None))
        return lid_plan(title=f"{job.title} {seed}")

    first, last = answers_of(work)
    assert first["progress"]["phase"] == "split"
    assert last["plans"][0]["title"] == "One lid in a frame 4"


def test_the_child_answers_with_the_options_that_are_asked_for():
    def work(job, *, count, differ_by, seconds, seed, on_progress, should_stop):
        return tuple(lid_plan(title=f"{k} by {differ_by}") for k in range(count))

    (answer,) = answers_of(work, options={"count": 3, "differ_by": 5})
    assert [plan["title"] for plan in answer["plans"]] == ["0 by 5", "1 by 5", "2 by 5"]


def test_options_are_asked_of_the_child_and_may_be_none(tmp_path):
    program = (
        "assert request['options'] == {'count': 2, 'differ_by': 3}\n"
        "say(json.dumps({'plans': json.loads(PLAN)['plans'] * 2}))\n"
    )
    how = {"count": 2, "differ_by": 3, "seconds": 5, "seed": 0}
    made = options_apart(SCENARIO, **how, command=child(tmp_path, program))
    assert made == (lid_plan(), lid_plan())
    none = child(tmp_path, "say('{\"plans\": []}')\n")
    assert options_apart(SCENARIO, **how, command=none) == ()


@pytest.mark.parametrize(
    ("trouble", "key"),
    [
        (PlanNotShownError("P1"), "refused"),
        (ZeroDivisionError("x"), "crashed"),
        (ScenarioErrors([Problem("p", "v", "r")]), "problems"),
    ],
)
def test_the_child_tells_what_went_wrong(capsys, trouble, key):
    def work(job, **how):
        raise trouble

    assert key in answers_of(work)[-1]


def test_the_child_ends_when_its_parent_goes_away():
    done = subprocess.run(
        [sys.executable, "-m", "api.solve_child"], input=b"", capture_output=True, timeout=30
    )
    assert done.returncode != 0
    assert done.stdout == b""
