"""The command that plans again with what an old plan left."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from api.engine import Engine
from api.files import FileError, read_limited, refuse_taken, write_whole
from api.limits import LARGEST_PLAN_BYTES, LARGEST_SCENARIO_BYTES
from api.outcome import Streams, plans_code
from api.plan_files import read_plan
from api.planning import listen, read_scenario
from api.rerun_summary import rerun_summary
from api.rerunning import judged, record_after
from api.tables import plain
from solver.data.errors import ScenarioErrors
from solver.data.plan import Plan
from solver.data.work import WorkRecord

LARGEST_RECORD_BYTES = LARGEST_SCENARIO_BYTES
MOST_MONEY = 1e6


def add_rerun_arguments(
    parser: argparse.ArgumentParser, seconds: Callable[[str], float], seed: Callable[[str], int]
) -> None:
    """Give the command its arguments; ``seconds`` and ``seed`` read theirs from text."""
    parser.add_argument("old_plan", metavar="OLD_PLAN", type=Path, help="the plan begun (JSON)")
    parser.add_argument("scenario", metavar="SCENARIO", type=Path, help="as it is now (JSON)")
    parser.add_argument(
        "--done",
        metavar="FILE",
        type=Path,
        help="record of the work: what is bought, cut, fitted, spoiled, built (JSON)",
    )
    parser.add_argument("--seconds", type=seconds, metavar="S", help="time to look for plans")
    parser.add_argument(
        "--seed", type=seed, default=0, metavar="N", help="same seed, same plan (default 0)"
    )
    parser.add_argument("--goal", metavar="NAME", help="what to minimise")
    parser.add_argument(
        "--change-price",
        type=_money,
        metavar="MONEY",
        help="weight of each fitted piece that does not stay, instead of the record's",
    )
    parser.add_argument("--quiet", action="store_true", help="no progress on stderr")
    parser.add_argument("--json", action="store_true", help="print the plan as JSON, no summary")
    parser.add_argument("--full", action="store_true", help="name every piece")
    parser.add_argument("--output", metavar="FILE", type=Path, help="keep the new plan (JSON)")
    parser.add_argument(
        "--done-output", metavar="FILE", type=Path, help="keep the record to go on with"
    )
    parser.add_argument("--force", action="store_true", help="overwrite what is kept there")


def _money(text: str) -> float:
    try:
        amount = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no money") from None
    if not 0 <= amount <= MOST_MONEY:
        raise argparse.ArgumentTypeError(f"{text} is out of range: give 0 to {MOST_MONEY:g}")
    return amount


def rerun_command(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    """Plan again with what is there."""
    for target in (options.output, options.done_output):
        if target is not None:
            refuse_taken(target, force=options.force)
    old = read_plan(options.old_plan, limit=LARGEST_PLAN_BYTES)
    record = _record(options)
    asked = _judged(options, old, record)
    scenario = read_scenario(options.scenario, engine)
    if options.goal is not None:
        scenario = engine.with_goal(scenario, options.goal)
    job = engine.read(scenario)
    with listen(options, streams, job.currency) as heard:
        plan = engine.rerun(
            scenario,
            old_plan=old.model_dump(mode="json"),
            record=asked.model_dump(mode="json"),
            seconds=options.seconds,
            seed=options.seed,
            **heard.told(),
        )
    if options.output is not None:
        write_whole(options.output, plan.model_dump_json(indent=1) + "\n", force=options.force)
    if options.done_output is not None and plan.cost is not None:
        after = record_after(plan).model_dump_json(indent=1) + "\n"
        write_whole(options.done_output, after, force=options.force)
    if options.json:
        streams.out.write(plan.model_dump_json(indent=1) + "\n")
        return plans_code([plan])
    streams.out.write(rerun_summary(plan, job, full=options.full, stopped=heard.stopped))
    if options.output is not None:
        streams.out.write(f"Plan kept in {plain(str(options.output))}\n")
    if options.done_output is not None and plan.cost is not None:
        streams.out.write(f"Record kept in {plain(str(options.done_output))}\n")
    return plans_code([plan])


def _record(options: argparse.Namespace) -> dict[str, Any]:
    if options.done is None:
        record: dict[str, Any] = {}
    else:
        content = read_limited(options.done, limit=LARGEST_RECORD_BYTES)
        try:
            values = json.loads(content)
        except (ValueError, RecursionError) as error:
            raise FileError(f"{options.done} is no JSON ({error}); write a work record") from None
        if not isinstance(values, dict):
            raise FileError(f'{options.done} is no object; write a work record: {{"cut": [...]}}')
        record = values
    if options.change_price is not None:
        record = {**record, "change_price": options.change_price}
    return record


def _judged(options: argparse.Namespace, old: Plan, record: dict[str, Any]) -> WorkRecord:
    """Return the record; raises ScenarioErrors, which are told of the record's file."""
    try:
        return judged(old, record)
    except ScenarioErrors:
        if options.done is not None:
            options.scenario = options.done  # the file that the problems are in
        raise
