"""What-ifs on the command line: their words, and a scenario with what they ask."""

from __future__ import annotations

import argparse
from dataclasses import replace

from api.engine import Engine
from solver.data.errors import ScenarioErrors
from solver.data.job import Job
from solver.planner.what_if import WhatIf


def add_what_ifs(parser: argparse.ArgumentParser) -> None:
    """Give a command the words that ask."""
    group = parser.add_argument_group(
        "what if", "the scenario as it would be; its file stays as it is"
    )
    group.add_argument(
        "--pin",
        action="append",
        default=[],
        type=_pin,
        metavar="PATCH=LABEL",
        help="patches of one label stay together, of different labels apart (repeatable)",
    )
    group.add_argument(
        "--split", action="append", default=[], metavar="EDGE", help="a joint here (repeatable)"
    )
    group.add_argument(
        "--join", action="append", default=[], metavar="EDGE", help="no joint here (repeatable)"
    )
    group.add_argument("--crew", type=_whole, metavar="N", help="people to lift")
    group.add_argument(
        "--lift-limit", metavar="MASS", help='the heaviest section, such as "120 lb"'
    )
    group.add_argument("--most-sections", type=_whole, metavar="N", help="at most so many")
    group.add_argument(
        "--without",
        action="append",
        default=[],
        metavar="STOCK",
        help='leave out a gauge ("24 ga aluminium"), a metal, "rolls", a width ("8 in") or an '
        "item of the stock (repeatable)",
    )
    group.add_argument(
        "--symmetric",
        action="store_true",
        help="both sides split alike; tells what that costs, in half of the time",
    )


def what_if_of(options: argparse.Namespace) -> WhatIf:
    """Return what was asked."""
    return WhatIf(
        pins=tuple(options.pin),
        splits=tuple(options.split),
        joins=tuple(options.join),
        crew=options.crew,
        lift_limit=options.lift_limit,
        most_sections=options.most_sections,
        without=tuple(options.without),
        symmetric=options.symmetric,
    )


def job_asked(engine: Engine, job: Job, what_if: WhatIf) -> Job:
    """Return the job as asked; raises ScenarioErrors with the word of each as its place."""
    try:
        return engine.what_if(job, what_if)
    except ScenarioErrors as errors:
        said = [replace(one, place=f"--{one.place}", pointer="") for one in errors.problems]
        raise ScenarioErrors(said, errors.left_out) from None


def _pin(text: str) -> tuple[str, str]:
    patch, equals, label = text.rpartition("=")
    if not equals or not patch or not label.strip():
        raise argparse.ArgumentTypeError(f"{text!r}: write it as PATCH=LABEL")
    return patch.strip(), label.strip()


def _whole(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 6:
        raise argparse.ArgumentTypeError(f"{text!r}: give a whole number")
    return int(text)
