"""The commands that plan: one plan, or options beside one another, with what-ifs on both."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypedDict

from api.engine import Engine
from api.files import FileError, read_limited, refuse_taken, write_whole
from api.interrupts import STOPPING, STOPPING_OPTIONS, Interrupts
from api.limits import LARGEST_SCENARIO_BYTES
from api.option_files import keep_options, option_file, refuse_folder
from api.option_table import (
    OptionsAnswer,
    Symmetry,
    options_text,
    rows_of,
    symmetry_lines,
    symmetry_of,
)
from api.outcome import Streams, plans_code
from api.progress_line import ProgressLine
from api.summary import SCREEN_LINES, no_plan_words, summarise
from api.tables import plain, wrap
from api.what_if_words import job_asked, what_if_of
from solver.data.job import Job
from solver.data.plan import Plan, Progress

SYMMETRY_LINES = 2
"""Lines that the cost of symmetry takes beneath a summary."""


def read_scenario(path: Path, engine: Engine) -> dict[str, Any]:
    """Return a scenario file as JSON values; raises ScenarioErrors, FileError."""
    return engine.parse(read_limited(path, limit=LARGEST_SCENARIO_BYTES))


def plan_command(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    """Make one plan."""
    if options.output is not None:
        refuse_taken(options.output, force=options.force)
    asked = _asked(options, engine)
    compare = options.symmetric and not options.json
    share = 0.5 if compare else 1.0
    with listen(options, streams, asked.job.currency) as listening:
        plan = engine.plan(
            asked.scenario,
            seconds=_share(options.seconds, share),
            seed=options.seed,
            **({"explain": True} if options.explain_purchase else {}),
            **listening.told(),
        )
        symmetry = None
        if compare and plan.cost is not None:
            symmetry = _symmetry(plan, asked, options, engine, listening, share)
    if options.output is not None:
        write_whole(options.output, plan.model_dump_json(indent=1) + "\n", force=options.force)
    _keep_scenario(options, asked, engine)
    if options.json:
        streams.out.write(plan.model_dump_json(indent=1) + "\n")
        return plans_code([plan])
    beneath = [] if symmetry is None else symmetry_lines(symmetry, plain(plan.currency))
    kept = [] if options.output is None else [f"Plan kept in {plain(str(options.output))}"]
    kept += _scenario_words(options, asked)
    lines = None if options.full else SCREEN_LINES - len(kept) - len(beneath)
    streams.out.write(summarise(plan, asked.job, lines=lines, stopped=listening.stopped))
    streams.out.writelines(f"{line}\n" for line in [*beneath, *kept])
    return plans_code([plan])


def options_command(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    """Find plans that differ in their joints, and put them beside one another."""
    if options.output is not None:
        refuse_folder(options.output, options.count, force=options.force)
    asked = _asked(options, engine)
    symmetric = asked.job.rules.symmetric_split
    share = options.count / (options.count + 1) if symmetric else 1.0
    with listen(options, streams, asked.job.currency, STOPPING_OPTIONS) as listening:
        plans = engine.options(
            asked.scenario,
            count=options.count,
            differ_by=options.differ,
            seconds=_share(options.seconds, share),
            seed=options.seed,
            **listening.told(),
        )
        symmetry = None
        if symmetric and plans and plans[0].cost is not None:
            symmetry = _symmetry(plans[0], asked, options, engine, listening, 1 - share)
    found = [plan for plan in plans if plan.cost is not None]
    kept: list[str] = []
    if options.output is not None and found:
        kept = _keep(options, found)
    _keep_scenario(options, asked, engine)
    if options.json:
        answer = OptionsAnswer(options=plans, table=rows_of(plans, asked.job), symmetry=symmetry)
        streams.out.write(answer.model_dump_json(indent=1) + "\n")
    elif found:
        text = options_text(
            found,
            asked.job,
            asked=options.count,
            differ_by=options.differ,
            stopped=listening.stopped,
            symmetry=symmetry,
            whole=options.full,
        )
        streams.out.write(text)
        streams.out.writelines(f"{line}\n" for line in [*kept, *_scenario_words(options, asked)])
    elif plans:
        streams.out.write(summarise(plans[0], asked.job, stopped=listening.stopped))
    else:
        lines = no_plan_words(None, stopped=listening.stopped)
        streams.out.writelines(f"{line}\n" for line in lines)
    return plans_code(plans)


@dataclass(frozen=True)
class _Asked:
    """A scenario with its goal and what-ifs: as JSON values for the planner, and as a job."""

    scenario: dict[str, Any]
    job: Job
    changed: bool
    """Whether a plan of it is no plan of the file."""


def _asked(options: argparse.Namespace, engine: Engine) -> _Asked:
    """Read a scenario with all that is asked; raises ScenarioErrors, FileError."""
    target = options.scenario_output
    if target is not None:
        refuse_taken(target, force=options.force)
        if options.output is not None and target.absolute() == options.output.absolute():
            raise FileError(f"{target} is named for the plan and for the scenario: name two files")
    scenario = read_scenario(options.scenario, engine)
    if options.goal is not None:
        scenario = engine.with_goal(scenario, options.goal)
    job = engine.read(scenario)
    what_if = what_if_of(options)
    if what_if.asks:
        job = job_asked(engine, job, what_if)
        scenario = engine.resolved(job)
    return _Asked(scenario, job, what_if.asks or options.goal is not None)


def _share(seconds: float | None, share: float) -> float | None:
    return None if seconds is None else seconds * share


class _Told(TypedDict):
    on_progress: Callable[[Progress], None] | None
    should_stop: Callable[[], bool]
    should_quit: Callable[[], bool]
    on_wait: Callable[[], None]


class _Listening:
    """What the builder hears while plans are made, and how a Ctrl-C is passed on."""

    def __init__(
        self,
        interrupts: Interrupts,
        stream: Streams,
        currency: str,
        *,
        stopping: str,
        quiet: bool,
    ) -> None:
        self._interrupts = interrupts
        self._stopping = stopping
        self._progress = ProgressLine(stream.err, currency)
        self._quiet = quiet
        self._answered = False

    @property
    def stopped(self) -> bool:
        """Whether the builder asked to stop."""
        return self._interrupts.stop()

    def told(self, about: str = "") -> _Told:
        """Return what a planner is given to be listened to; ``about`` stands before its phases."""

        def update(progress: Progress) -> None:
            self._progress.update(progress.model_copy(update={"phase": about + progress.phase}))

        return {
            "on_progress": None if self._quiet else update,
            "should_stop": self._interrupts.stop,
            "should_quit": self._interrupts.quit,
            "on_wait": self._wait,
        }

    def finish(self) -> None:
        """Leave a clean line."""
        self._progress.finish()

    def _wait(self) -> None:
        if self._interrupts.stop() and not self._answered:
            self._answered = True
            self._progress.say(self._stopping)
        if not self._quiet:
            self._progress.tick()


@contextmanager
def listen(
    options: argparse.Namespace, streams: Streams, currency: str, stopping: str = STOPPING
) -> Iterator[_Listening]:
    """Listen to Ctrl-C and tell the progress while plans are made."""
    with Interrupts() as interrupts:
        listening = _Listening(
            interrupts, streams, currency, stopping=stopping, quiet=options.quiet
        )
        try:
            yield listening
        finally:
            listening.finish()


def _symmetry(
    plan: Plan,
    asked: _Asked,
    options: argparse.Namespace,
    engine: Engine,
    listening: _Listening,
    share: float,
) -> Symmetry | None:
    """Plan the same job without symmetry and compare; None where the builder stopped."""
    if listening.stopped:
        return None
    free = replace(asked.job, rules=replace(asked.job.rules, symmetric_split=False))
    best = engine.plan(
        engine.resolved(free),
        seconds=_share(options.seconds, share),
        seed=options.seed,
        **listening.told("without symmetry: "),
    )
    return symmetry_of(plan, best)


def _keep(options: argparse.Namespace, found: list[Plan]) -> list[str]:
    """Keep the options in their folder; return what to say of it."""
    folder: Path = options.output
    left = keep_options(folder, found, options.count, force=options.force)
    names = plain(str(option_file(folder, 1)))
    if len(found) > 1:
        names += f" to option-{len(found)}.json"
    words = [f"Plans kept in {names}"]
    if left:
        words.append(f"From before, no option of these: {', '.join(one.name for one in left)}")
    return words


def _keep_scenario(options: argparse.Namespace, asked: _Asked, engine: Engine) -> None:
    if options.scenario_output is not None:
        content = json.dumps(engine.resolved(asked.job), indent=1, allow_nan=False)
        write_whole(options.scenario_output, content + "\n", force=options.force)


def _scenario_words(options: argparse.Namespace, asked: _Asked) -> list[str]:
    if options.scenario_output is not None:
        return [f"Its scenario kept in {plain(str(options.scenario_output))}"]
    if options.output is not None and asked.changed:
        return wrap(
            "It belongs to the scenario as asked here, which `check` needs: "
            "keep that with --scenario-output FILE.",
            rest="  ",
        )
    return []
