"""Functions compiled to machine code (numba), kept on disk from run to run.

They are kept under the text of all modules here that compile anything, since compiled functions
take others into themselves: a change in one of them compiles all anew.  Where no folder can be
written to, each process compiles for itself.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from llvmlite.binding import get_host_cpu_name

Function = TypeVar("Function", bound=Callable[..., object])


def compiled(function: Function) -> Function:
    """A function of numbers and arrays, compiled when it is first called; other threads go on.

    Dividing by zero gives infinity; indexes are not checked.
    """
    return _compile(function, {})


def compiled_within(function: Function) -> Function:
    """The same for one that only compiled functions call: quicker to compile."""
    return _compile(function, {"no_cpython_wrapper": True, "no_cfunc_wrapper": True})


def _compile(function: Function, without: dict[str, Any]) -> Function:
    kept = KEPT_IN is not None
    made = numba.njit(cache=kept, error_model="numpy", nogil=True, **without)(function)
    return cast(Function, made)


def place_to_keep(here: Path) -> Path | None:
    """Folder for what the modules in one compile to on this machine, None where none can be had.

    It is made beside them, else among what the user keeps.
    """
    digest = hashlib.sha256()
    for what in (sys.version, numba.__version__, get_host_cpu_name()):
        digest.update(what.encode())
    for path in sorted(here.glob("*.py")):
        text = path.read_bytes()
        if b"@compiled" in text:
            digest.update(text)
    name = f"compiled-{digest.hexdigest()[:12]}"
    own = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")
    for folder in (here / "__pycache__" / name, Path(own) / "splitplan" / name):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=folder):
                return folder
        except OSError:
            continue
    return None


KEPT_IN = place_to_keep(Path(__file__).parent)
if KEPT_IN is not None:
    numba.config.CACHE_DIR = str(KEPT_IN)  # type: ignore[attr-defined]
