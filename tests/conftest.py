"""What is compiled is compiled once, before workers begin, not by each of them at a time."""

from __future__ import annotations

import pytest

from solver.nests.ready import compile_all, is_compiled


def pytest_configure(config: pytest.Config) -> None:
    """Compile in the process that starts the workers."""
    if not hasattr(config, "workerinput") and not is_compiled():
        compile_all()
