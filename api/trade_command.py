"""The command ``splitplan tradeoff``."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

from api.engine import Engine
from api.files import refuse_taken, write_whole
from api.interrupts import STOPPING_OPTIONS
from api.option_files import keep_options, option_file, refuse_folder
from api.outcome import Streams, plans_code
from api.planning import listen, read_scenario
from api.summary import no_plan_words, summarise
from api.tables import plain
from api.trade_plot import plot_svg
from api.trade_table import trade_text
from api.trading import DEFAULT_SECONDS
from solver.planner.unbeaten import MOST_PLANS


def add_tradeoff_arguments(
    parser: argparse.ArgumentParser,
    seconds: Callable[[str], float],
    seed: Callable[[str], int],
) -> None:
    """Give the command its arguments."""
    parser.add_argument("scenario", metavar="SCENARIO", type=Path, help="the scenario (JSON)")
    parser.add_argument(
        "--seconds",
        type=seconds,
        default=DEFAULT_SECONDS,
        metavar="S",
        help=f"time for all plans (default {DEFAULT_SECONDS:g})",
    )
    parser.add_argument("--seed", type=seed, default=0, metavar="N", help="default 0")
    parser.add_argument("--goal", metavar="NAME", help="what prices the plans' whole cost")
    parser.add_argument("--waste", action="store_true", help="weigh waste as well")
    parser.add_argument("--svg", metavar="FILE", type=Path, help="keep the plot as a picture")
    parser.add_argument(
        "--output", metavar="FOLDER", type=Path, help="keep the plans: option-1.json ..."
    )
    parser.add_argument("--force", action="store_true", help="overwrite what is kept there")
    parser.add_argument("--json", action="store_true", help="print plans and points as JSON")
    parser.add_argument("--quiet", action="store_true", help="no progress on stderr")


def tradeoff_command(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    """Find the plans that nothing beats in metal and hours."""
    if options.output is not None:
        refuse_folder(options.output, MOST_PLANS, force=options.force)
    if options.svg is not None:
        refuse_taken(options.svg, force=options.force)
    scenario = read_scenario(options.scenario, engine)
    if options.goal is not None:
        scenario = engine.with_goal(scenario, options.goal)
    job = engine.read(scenario)
    with listen(options, streams, job.currency, STOPPING_OPTIONS) as heard:
        answer = engine.tradeoff(
            scenario,
            waste=options.waste,
            seconds=options.seconds,
            seed=options.seed,
            **heard.told(),
        )
    kept: list[str] = []
    if answer.points and options.output is not None:
        keep_options(options.output, answer.plans, MOST_PLANS, force=options.force)
        kept.append(f"Plans kept in {plain(str(option_file(options.output, 1)))} and on")
    if answer.points and options.svg is not None:
        picture = plot_svg(answer.points, job.title, job.currency).decode()
        write_whole(options.svg, picture, force=options.force)
        kept.append(f"Plot kept in {plain(str(options.svg))}")
    if options.json:
        streams.out.write(answer.model_dump_json(indent=1) + "\n")
    elif answer.points:
        streams.out.write(trade_text(answer, stopped=heard.stopped))
        streams.out.writelines(f"{line}\n" for line in kept)
    elif answer.plans:
        streams.out.write(summarise(answer.plans[0], job, stopped=heard.stopped))
    else:
        lines = no_plan_words(None, stopped=heard.stopped)
        streams.out.writelines(f"{line}\n" for line in lines)
    return plans_code(answer.plans)
