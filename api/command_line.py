"""The command line: what each command of ``splitplan`` does, and its exit codes."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as installed_version
from pathlib import Path
from typing import Any, TextIO, TypeAlias

from api.compare_command import add_compare_arguments, compare_command
from api.engine import Engine
from api.files import FileError, write_whole
from api.http.serve_options import add_serve_options
from api.limits import (
    DEFAULT_COUNT,
    DEFAULT_DIFFER,
    LARGEST_PLAN_BYTES,
    LARGEST_SEED,
    LONGEST_SECONDS,
    MOST_JOINTS,
    MOST_OPTIONS,
)
from api.offcut_lines import offcut_entries
from api.outcome import BAD_INPUT, DONE, FAILED, INTERRUPTED, NOT_SO, Streams
from api.papers.command import add_papers_command, run_papers
from api.piece_list import piece_table
from api.plan_files import read_plan
from api.planning import options_command, plan_command, read_scenario
from api.rerun_command import add_rerun_arguments, rerun_command
from api.rerun_summary import rerun_summary
from api.solve_apart import SolveError, SolveQuitError
from api.summary import SCREEN_LINES, count_words, summarise
from api.tables import WIDTH, plain, wrap
from api.trade_command import add_tradeoff_arguments, tradeoff_command
from api.what_if_words import add_what_ifs
from solver.data.digest import digest_of
from solver.data.errors import ScenarioErrors
from solver.data.plan import Plan
from solver.data.work import WorkRecord

_EPILOG = """\
exit codes:
  0    done; "plan", "options": there is a plan, proven or not, or several
  1    "plan", "options": no plan is possible; "check": the plan has faults
  2    wrong usage, a scenario or plan that cannot be read, a file in the way
  3    no plan yet: the time ran out, or Ctrl-C came, before the first one
  4    splitplan failed: its checker refused its plan, or its planner ended
  130  interrupted twice: left at once, nothing kept

Lengths are shown in the scenario's own unit. Local codes and licensed practice
decide.
"""


def main(
    arguments: Sequence[str] | None = None,
    *,
    engine: Engine | None = None,
    out: TextIO | None = None,
    err: TextIO | None = None,
) -> int:
    """Run one command and return its exit code; the codes are listed by ``--help``.

    ``engine`` stands in for the solver in tests.
    """
    streams = Streams(
        out if out is not None else sys.stdout, err if err is not None else sys.stderr
    )
    for stream in (streams.out, streams.err):
        reconfigure: Callable[..., None] | None = getattr(stream, "reconfigure", None)
        if reconfigure is not None:  # a terminal without UTF-8 shows "?" instead of failing
            reconfigure(errors="replace")
    try:
        options = _parser().parse_args(arguments)
    except SystemExit as leaving:  # argparse leaves by itself after --help and on wrong usage
        return int(leaving.code or 0)
    if engine is None:
        from api.real_engine import real_engine

        engine = real_engine()
    try:
        code: int = options.run(options, engine, streams)
        streams.out.flush()
    except ScenarioErrors as errors:
        return _tell_problems(errors, options, streams)
    except FileError as trouble:
        return _tell(streams, BAD_INPUT, str(trouble))
    except SolveError as failure:
        return _tell(streams, FAILED, f"{_FAILURES.get(failure.kind, 'failed')}: {failure}")
    except SolveQuitError:
        return _tell(streams, INTERRUPTED, "interrupted: no plan was kept")
    except KeyboardInterrupt:
        return _tell(streams, INTERRUPTED, "interrupted")
    except BrokenPipeError:  # the reader of our output left, as `head` does
        _drop_output()
        return DONE
    except OSError as trouble:  # a full disk, most of all
        _drop_output()
        remedy = "make room, or send it elsewhere"
        return _tell(streams, BAD_INPUT, f"not all was written: {trouble.strerror}: {remedy}")
    return code


def _drop_output() -> None:
    """Lose what is still to be written, so that leaving does not fail as well."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


_FAILURES = {
    "refused": "the checker refused the plan, which is a fault in splitplan; it is not shown",
    "crashed": "the planner ended, which is a fault in splitplan",
    "hung": "the planner hung",
}


def version() -> str:
    """Return the installed version."""
    try:
        return installed_version("splitplan")
    except PackageNotFoundError:
        return "0 (not installed)"


Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"
Run: TypeAlias = Callable[[argparse.Namespace, Engine, Streams], int]


class _Help(argparse.RawDescriptionHelpFormatter):
    """Help of a width that does not depend on the terminal."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=24, width=WIDTH - 2)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="splitplan",
        description="Plan mold splits, flashings, what metal to buy and how to cut it.",
        epilog=_EPILOG,
        formatter_class=_Help,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"splitplan {version()}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    plan = _command(commands, "plan", "make a plan from a scenario", plan_command)
    _planning(plan)
    _output(plan, "keep the plan in this file (JSON)")
    plan.add_argument("--json", action="store_true", help="print the plan as JSON, no summary")
    plan.add_argument("--full", action="store_true", help="a summary of any length, nothing cut")
    plan.add_argument(
        "--explain-purchase",
        action="store_true",
        help="say what the plan would cost without each metal and each width that it buys",
    )
    add_what_ifs(plan)

    several = _command(
        commands, "options", "plans that differ in their joints, in one table", options_command
    )
    _planning(several)
    several.add_argument(
        "--count",
        type=_from_1_to(MOST_OPTIONS),
        default=DEFAULT_COUNT,
        metavar="N",
        help=f"how many plans, at most {MOST_OPTIONS} (default {DEFAULT_COUNT})",
    )
    several.add_argument(
        "--differ",
        type=_from_1_to(MOST_JOINTS),
        default=DEFAULT_DIFFER,
        metavar="N",
        help="joints by which each differs from the others, left and right counting alike "
        f"(default {DEFAULT_DIFFER})",
    )
    _output(several, "keep the plans in this folder: option-1.json ...", metavar="FOLDER")
    several.add_argument("--json", action="store_true", help="print plans and table as JSON")
    several.add_argument("--full", action="store_true", help="name every joint that differs")
    add_what_ifs(several)

    again = _command(
        commands,
        "rerun",
        "plan again with what an old plan left: cut, bought, built",
        rerun_command,
    )
    add_rerun_arguments(again, _seconds, _seed)

    trade = _command(
        commands, "tradeoff", "plans that nothing beats in metal and hours", tradeoff_command
    )
    add_tradeoff_arguments(trade, _seconds, _seed)

    beside = _command(commands, "compare", "put plans beside one another", compare_command)
    add_compare_arguments(beside)

    check = _command(commands, "check", "check a plan against its scenario", _check)
    check.add_argument("scenario", metavar="SCENARIO", type=Path)
    check.add_argument("plan", metavar="PLAN", type=Path)
    check.add_argument("--json", action="store_true", help="print the faults as JSON")

    show = _command(commands, "show", "print what was understood of a scenario", _show)
    show.add_argument("scenario", metavar="SCENARIO", type=Path)

    resolve = _command(
        commands, "resolve", "spell a scenario out: every edge, millimetres, as JSON", _resolve
    )
    resolve.add_argument("scenario", metavar="SCENARIO", type=Path)
    _output(resolve, "write it to this file instead of stdout")

    schema = _command(commands, "schema", "print a JSON Schema, for editors and programs", _schema)
    schema.add_argument(
        "which", nargs="?", choices=("scenario", "resolved", "plan", "work"), default="scenario"
    )
    _output(schema, "write it to this file instead of stdout")

    pieces = _command(commands, "pieces", "list every piece of a plan", _pieces)
    pieces.add_argument("plan", metavar="PLAN", type=Path)
    pieces.add_argument("--json", action="store_true", help="print the pieces as JSON")

    offcuts = _command(
        commands, "offcuts", "print a plan's offcuts as a scenario takes them", _offcuts
    )
    offcuts.add_argument("plan", metavar="PLAN", type=Path)
    _output(offcuts, "write them to this file instead of stdout")

    summary = _command(commands, "summary", "print the summary of a kept plan", _summary)
    summary.add_argument("plan", metavar="PLAN", type=Path)
    summary.add_argument(
        "--scenario", metavar="FILE", type=Path, help="its scenario, to say the stock in words"
    )
    summary.add_argument("--full", action="store_true", help="any length, nothing cut")

    papers = add_papers_command(commands, formatter_class=_Help)
    papers.set_defaults(run=_papers, json=False)

    serve = _command(commands, "serve", "keep and do jobs over HTTP", _serve)
    add_serve_options(serve)
    return parser


def _command(commands: Commands, name: str, words: str, run: Run) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=words,
        description=f"{words[0].upper()}{words[1:]}.",
        formatter_class=_Help,
        allow_abbrev=False,
    )
    parser.set_defaults(run=run, json=False)
    return parser


def _planning(parser: argparse.ArgumentParser) -> None:
    """Give a command what every search for plans takes."""
    parser.add_argument("scenario", metavar="SCENARIO", type=Path, help="the scenario (JSON)")
    parser.add_argument(
        "--seconds",
        type=_seconds,
        metavar="S",
        help="time to look for better plans; without it until the gap is closed enough",
    )
    parser.add_argument(
        "--seed", type=_seed, default=0, metavar="N", help="same seed, same plan (default 0)"
    )
    parser.add_argument(
        "--goal", metavar="NAME", help="what to minimise, instead of the scenario's"
    )
    parser.add_argument("--quiet", action="store_true", help="no progress on stderr")
    parser.add_argument(
        "--scenario-output",
        metavar="FILE",
        type=Path,
        help="keep the scenario with its goal and what-ifs, spelled out, for `check`",
    )


def _output(parser: argparse.ArgumentParser, words: str, metavar: str = "FILE") -> None:
    parser.add_argument("--output", metavar=metavar, type=Path, help=words)
    parser.add_argument("--force", action="store_true", help="overwrite what is kept there")


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of seconds") from None
    if not 0 < seconds <= LONGEST_SECONDS:
        raise argparse.ArgumentTypeError(
            f"{text} is out of range: give more than 0 and at most {LONGEST_SECONDS:g} seconds"
        )
    return seconds


def _seed(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 10 or int(text) > LARGEST_SEED:
        raise argparse.ArgumentTypeError(f"{text!r}: give a whole number from 0 to {LARGEST_SEED}")
    return int(text)


def _from_1_to(most: int) -> Callable[[str], int]:
    def whole(text: str) -> int:
        known = text.isascii() and text.isdigit() and len(text) <= 6
        if not known or not 1 <= int(text) <= most:
            raise argparse.ArgumentTypeError(f"{text!r}: give a whole number from 1 to {most}")
        return int(text)

    return whole


def _check(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    job = engine.read(read_scenario(options.scenario, engine))
    plan = read_plan(options.plan, limit=LARGEST_PLAN_BYTES)
    faults = engine.faults(job, plan)
    belongs = plan.scenario_digest == digest_of(job)
    if not belongs and not options.json:
        text = (
            f"This plan was made for another scenario ({plan.scenario_digest}, not "
            f"{digest_of(job)}); it is judged by this one all the same."
        )
        streams.out.write("\n".join(wrap(text)) + "\n")
    if options.json:
        report = {
            "ok": not faults,
            "same_scenario": belongs,
            "faults": [asdict(fault) for fault in faults],
        }
        streams.out.write(json.dumps(report, indent=1) + "\n")
    elif not faults:
        counted = count_words(len(plan.pieces), "piece")
        counted += f" and {count_words(len(plan.sections), 'section')}"
        if plan.cost is None:
            counted = f"a plan without pieces ({plan.status})"
        streams.out.write(f"No fault found in {counted}: every rule that is checked holds.\n")
    else:
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        streams.out.write(f"{count}:\n")
        for fault in faults:
            text = f"{fault.place}: {fault.sentence} (rule: {fault.rule})"
            streams.out.write("\n".join(wrap(text, first="  ", rest="    ")) + "\n")
    return NOT_SO if faults else DONE


def _show(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    job = engine.read(read_scenario(options.scenario, engine))
    text = engine.describe(job)
    streams.out.write(text if text.endswith("\n") else text + "\n")
    return DONE


def _resolve(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    job = engine.read(read_scenario(options.scenario, engine))
    return _emit(json.dumps(engine.resolved(job), indent=1, allow_nan=False), options, streams)


def _schema(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    schemas: dict[str, Callable[[], dict[str, Any]]] = {
        "scenario": engine.scenario_schema,
        "resolved": engine.resolved_schema,
        "plan": Plan.model_json_schema,
        "work": WorkRecord.model_json_schema,
    }
    return _emit(json.dumps(schemas[options.which](), indent=1), options, streams)


def _emit(text: str, options: argparse.Namespace, streams: Streams) -> int:
    """Print a text, or keep it in the file of --output."""
    if options.output is None:
        streams.out.write(text + "\n")
    else:
        write_whole(options.output, text + "\n", force=options.force)
    return DONE


def _pieces(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    plan = read_plan(options.plan, limit=LARGEST_PLAN_BYTES)
    if options.json:
        pieces = [piece.model_dump(mode="json") for piece in plan.pieces]
        streams.out.write(json.dumps(pieces, indent=1) + "\n")
    else:
        streams.out.write(piece_table(plan))
    return DONE


def _offcuts(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    plan = read_plan(options.plan, limit=LARGEST_PLAN_BYTES)
    stock = {"stock": {"offcuts": offcut_entries(plan)}}
    return _emit(json.dumps(stock, indent=1), options, streams)


def _papers(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    return run_papers(options, engine, streams.out)


def _summary(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    plan = read_plan(options.plan, limit=LARGEST_PLAN_BYTES)
    job = None
    if options.scenario is not None:
        job = engine.read(read_scenario(options.scenario, engine))
    if plan.rerun is not None:
        streams.out.write(rerun_summary(plan, job, full=options.full))
    else:
        streams.out.write(summarise(plan, job, lines=None if options.full else SCREEN_LINES))
    return DONE


def _serve(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    from api.http.command import run_serve

    return run_serve(options, engine, streams)


def _tell(streams: Streams, code: int, text: str) -> int:
    streams.err.write("\n".join(wrap(f"splitplan: {text}", rest="  ", divide=False)) + "\n")
    return code


def _tell_problems(errors: ScenarioErrors, options: argparse.Namespace, streams: Streams) -> int:
    count = len(errors.problems) + errors.left_out
    words = "1 thing to mend" if count == 1 else f"{count} things to mend"
    if options.json:
        listed = [asdict(problem) for problem in errors.problems]
        streams.out.write(json.dumps({"problems": listed, "count": count}, indent=1) + "\n")
    streams.err.write(f"splitplan: {plain(str(options.scenario))}: {words}\n")
    for problem in errors.problems:
        text = f"{problem.place}: {problem.value}: {problem.remedy}"
        streams.err.write("\n".join(wrap(text, first="  ", rest="      ")) + "\n")
    if errors.left_out:
        streams.err.write(f"  and {errors.left_out} more like these\n")
    return BAD_INPUT


if __name__ == "__main__":
    sys.exit(main())
