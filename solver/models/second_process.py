"""Another Python process that does a part of the work of this one."""

from __future__ import annotations

import os
import subprocess
import sys


def second_process(code: str, *, talks: bool = False) -> subprocess.Popen[bytes] | None:
    """Start a process that runs ``code``; None where none can be had.

    ``talks``: its input and output are pipes to this process, else it hears and says nothing.
    """
    # it finds the modules where this process did
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    pipe = subprocess.PIPE if talks else subprocess.DEVNULL
    try:
        return subprocess.Popen(
            [sys.executable, "-c", code],
            env=env,
            stdin=pipe,
            stdout=pipe,
            stderr=subprocess.DEVNULL,
        )
    except OSError:
        return None
