"""The words of `splitplan serve`; nothing of the service is loaded for them."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

LEAST_MEMORY_MB = 1024


def add_serve_options(parser: argparse.ArgumentParser) -> None:
    """Give the command its options."""
    parser.add_argument("--host", default="127.0.0.1", help="address to listen at (127.0.0.1)")
    parser.add_argument("--port", type=_whole(1, 65535, "a port"), default=8765, help="(8765)")
    parser.add_argument(
        "--data", type=Path, metavar="FOLDER", help="where jobs are kept, for this service alone"
    )
    parser.add_argument(
        "--token-file",
        type=Path,
        metavar="FILE",
        help="a file with a token that every request must bring; needed for a --host that is not "
        "this machine only",
    )
    parser.add_argument(
        "--allow-host",
        action="append",
        default=[],
        metavar="NAME",
        help="a name by which clients reach it (repeatable)",
    )
    parser.add_argument(
        "--workers",
        type=_whole(1, 64, "workers"),
        metavar="N",
        help="solves at once (default: one for each core)",
    )
    parser.add_argument(
        "--memory",
        type=_whole(LEAST_MEMORY_MB, 1 << 20, "megabytes"),
        default=4096,
        metavar="MB",
        help="address space of one solve (4096)",
    )
    parser.add_argument(
        "--store-limit",
        type=_whole(16, 1 << 24, "megabytes"),
        default=8192,
        metavar="MB",
        help="the store never grows beyond this (8192)",
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="a Dask scheduler whose workers solve, tls://host:port (needs splitplan[cluster])",
    )


def _whole(least: int, most: int, what: str) -> Callable[[str], int]:
    def number(text: str) -> int:
        known = text.isascii() and text.isdigit() and len(text) <= 9
        if not known or not least <= int(text) <= most:
            raise argparse.ArgumentTypeError(f"{text!r}: give {what} from {least} to {most}")
        return int(text)

    return number
