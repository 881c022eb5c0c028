"""The command `splitplan papers`: a plan's papers for the bench, in a folder."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from api.files import FileError, read_limited
from api.limits import LARGEST_PLAN_BYTES, LARGEST_SCENARIO_BYTES
from api.plan_files import read_plan
from api.tables import plain, wrap

if TYPE_CHECKING:
    from api.engine import Engine
    from solver.data.job import Job
    from solver.data.plan import Plan

DONE, BAD_INPUT = 0, 2


def add_papers_command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    **settings: Any,  # noqa: ANN401
) -> argparse.ArgumentParser:
    """Add the command to a parser's commands; ``settings`` go to the parser."""
    words = "write templates, nests, lists and order of work for the bench"
    parser: argparse.ArgumentParser = commands.add_parser(
        "papers",
        help=words,
        description=f"{words[0].upper()}{words[1:]}.",
        allow_abbrev=False,
        **settings,
    )
    parser.add_argument("plan", metavar="PLAN", type=Path)
    parser.add_argument(
        "--output", metavar="FOLDER", type=Path, required=True, help="the folder to write to"
    )
    parser.add_argument(
        "--scenario",
        metavar="FILE",
        type=Path,
        help="its scenario: tells tipping, marks, and stock sizes that names do not",
    )
    parser.add_argument(
        "--paper",
        choices=("a4", "letter"),
        help="default: letter for a plan in inches, else a4",
    )
    parser.add_argument(
        "--long", action="store_true", help="full size on long pages, for a wide printer"
    )
    parser.add_argument(
        "--date", type=_date, default="", metavar="TEXT", help="printed as given; default none"
    )
    parser.add_argument("--force", action="store_true", help="replace papers that are there")
    return parser


def run_papers(
    args: argparse.Namespace,
    engine: Engine | None = None,
    out: TextIO | None = None,
) -> int:
    """Write the papers of a plan and return the exit code.

    ``engine`` reads the scenario.  Raises FileError and ScenarioErrors, for the caller to tell.
    """
    from api.papers.all_papers import Choices, paper_files
    from api.papers.folder import refuse_folder, write_papers

    refuse_folder(args.output, force=args.force)
    plan = read_plan(args.plan, limit=LARGEST_PLAN_BYTES)
    if plan.cost is None:
        raise FileError(
            f'{args.plan} is a plan that is "{plan.status}": it has nothing to print; plan again'
        )
    job = _job(args.scenario, plan, engine)
    choices = Choices(paper=args.paper, long_page=args.long, date=args.date)
    try:
        files = paper_files(plan, job, choices)
    except (KeyError, IndexError, ValueError) as fault:
        # a plan that splitplan wrote never comes here; one that was changed by hand may
        raise FileError(
            f"{args.plan} does not hold together ({type(fault).__name__}: "
            f"{plain(str(fault))[:160]}); run `splitplan check` on it"
        ) from fault
    about = {"format": "splitplan papers 1", "plan": plan.id, "title": plan.title}
    write_papers(args.output, files, about, force=args.force)
    stream = out if out is not None else sys.stdout
    told = f"{len(files)} files in {plain(str(args.output))}; begin with index.html"
    stream.write("\n".join(wrap(told)) + "\n")
    return DONE


def _job(path: Path | None, plan: Plan, engine: Engine | None) -> Job | None:
    if path is None:
        return None
    if engine is None:
        from api.real_engine import real_engine

        engine = real_engine()
    from solver.data.digest import digest_of

    job = engine.read(engine.parse(read_limited(path, limit=LARGEST_SCENARIO_BYTES)))
    if digest_of(job) != plan.scenario_digest:
        raise FileError(
            f"{path} is not the scenario of this plan (digest {digest_of(job)}, the plan says "
            f"{plain(plan.scenario_digest)}): plan again, or leave --scenario out"
        )
    return job


def _date(text: str) -> str:
    from api.papers.all_papers import MOST_DATE

    if len(text) > MOST_DATE or plain(text) != text:
        raise argparse.ArgumentTypeError(f"{text!r}: give at most {MOST_DATE} plain letters")
    return text
