"""The command ``splitplan compare``."""

from __future__ import annotations

import argparse
from pathlib import Path

from api.compare_table import compare_text
from api.comparing import MOST_COMPARED, comparison_json
from api.engine import Engine
from api.files import FileError
from api.limits import LARGEST_PLAN_BYTES
from api.outcome import DONE, Streams
from api.plan_files import read_plan
from solver.planner.compare import compare


def add_compare_arguments(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument(
        "plans",
        metavar="PLAN",
        type=Path,
        nargs="+",
        help=f"two plans or more, at most {MOST_COMPARED}, of one scenario or of several",
    )
    parser.add_argument("--json", action="store_true", help="print the comparison as JSON")
    parser.add_argument("--full", action="store_true", help="name all that differs")


def compare_command(options: argparse.Namespace, engine: Engine, streams: Streams) -> int:
    """Put plans side by side."""
    del engine
    if not 2 <= len(options.plans) <= MOST_COMPARED:
        raise FileError(
            f"{len(options.plans)} plan named: name two or more, at most {MOST_COMPARED}"
            if len(options.plans) == 1
            else f"{len(options.plans)} plans named: name at most {MOST_COMPARED}"
        )
    plans = [read_plan(path, limit=LARGEST_PLAN_BYTES) for path in options.plans]
    comparison = compare(plans)
    if options.json:
        streams.out.write(comparison_json(comparison, indent=1) + "\n")
        return DONE
    names = [str(path) for path in options.plans]
    text = compare_text(comparison, names, length_unit=plans[0].length_unit, whole=options.full)
    streams.out.write(text)
    return DONE
