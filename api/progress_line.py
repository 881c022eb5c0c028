"""Progress on stderr: one line that rewrites itself on a terminal, few plain lines elsewhere."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from typing import TextIO

from api.tables import WIDTH, clip, columns, plain
from solver.data.plan import Progress

SPARSE_SECONDS = 5.0
"""Least time between two lines where stderr is no terminal and the phase stays the same."""

PHASE_SECONDS = 0.5
"""Least time between two lines for two phases there: what is over at once is not told."""

TICK_SECONDS = 0.25
"""Least time between two rewritings on a terminal."""


def progress_text(progress: Progress, seconds: float, currency: str) -> str:
    """Return one line: seconds, best cost, proven bound, gap, phase."""
    words = [f"{seconds:7.1f} s"]
    if progress.best is None:
        words.append("no plan yet")
    else:
        words.append(f"best {progress.best:,.2f} {currency}")
    if progress.bound is not None:
        words.append(f"bound {progress.bound:,.2f}")
    if progress.gap is not None:
        words.append(f"gap {100 * progress.gap:.1f} %")
    words.append(plain(progress.phase))
    return "  ".join(words)


class ProgressLine:
    """What the builder sees while the planner works."""

    def __init__(
        self,
        stream: TextIO,
        currency: str,
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._stream = stream
        self._currency = currency
        self._clock = clock
        self._terminal = stream.isatty()
        self._began = clock()
        self._last: Progress | None = None
        self._shown_at: float | None = None
        self._shown_width = 0

    def update(self, progress: Progress) -> None:
        """Take what the planner reports; on a terminal news are shown at once."""
        before, self._last = self._last, progress
        news = before is None or before.phase != progress.phase
        better = before is None or before.best != progress.best
        if self._terminal:
            due = news or better or self._waited(TICK_SECONDS)
        else:
            due = (news and self._waited(PHASE_SECONDS)) or self._waited(SPARSE_SECONDS)
        if due:
            self._show(progress)

    def tick(self) -> None:
        """Keep the seconds running on a terminal while nothing is reported."""
        if self._terminal and self._last is not None and self._waited(TICK_SECONDS):
            self._show(self._last)

    def say(self, text: str) -> None:
        """Print a line of its own, such as the answer to Ctrl-C."""
        self.finish()
        self._stream.write(text + "\n")
        self._stream.flush()

    def finish(self) -> None:
        """Clear the rewritten line, so that what follows starts on a clean one."""
        if self._terminal and self._shown_width:
            self._stream.write("\r" + " " * self._shown_width + "\r")
            self._stream.flush()
            self._shown_width = 0

    def _waited(self, seconds: float) -> bool:
        return self._shown_at is None or self._clock() - self._shown_at >= seconds

    def _show(self, progress: Progress) -> None:
        self._shown_at = self._clock()
        # The planner's own clock starts later than the builder's.
        seconds = max(progress.seconds, self._shown_at - self._began)
        text = progress_text(progress, seconds, self._currency)
        if not self._terminal:
            self._stream.write(clip(text, WIDTH) + "\n")
        else:
            room = shutil.get_terminal_size((WIDTH, 24)).columns - 1
            text = clip(text, min(room, WIDTH))
            self._stream.write("\r" + text + " " * max(self._shown_width - columns(text), 0))
            self._shown_width = columns(text)
        self._stream.flush()
