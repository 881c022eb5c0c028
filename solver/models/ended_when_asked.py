"""Work of a library that looks at its own clock only, and not even often, ended when asked.

Where it may have to end early it runs in a thread that is left behind; it then ends by itself,
about at its time limit.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TypeVar

from solver.data.until import FOREVER, Until

POLL_SECONDS = 0.05

Answer = TypeVar("Answer")


def ended_when_asked(work: Callable[[], Answer], until: Until) -> Answer | None:
    """Return what the work answers, None where it was left behind or failed in its thread."""
    if until.asked is FOREVER.asked and until.moment is None:
        return work()
    answers: list[Answer] = []
    worker = threading.Thread(target=lambda: answers.append(work()), daemon=True)
    worker.start()
    while worker.is_alive() and not until.over():
        worker.join(POLL_SECONDS)
    return answers[0] if answers else None
