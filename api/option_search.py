"""While options are sought: which one it is."""

from __future__ import annotations

from collections.abc import Callable

from solver.data.plan import Progress


def numbered(on_progress: Callable[[Progress], None], count: int) -> Callable[[Progress], None]:
    """Return a listener for all options that says which one is being sought.

    What is known of one option says nothing of the next: its best plan and bound are told from its
    own first plan on.  Once all are found the time left goes to any of them.
    """
    number, known = 1, True

    def tell(progress: Progress) -> None:
        nonlocal number, known
        known = known or progress.phase == "better plan"
        unknown = {} if known else {"best": None, "bound": None, "gap": None}
        which = f"option {number}/{count}" if number <= count else "options"
        phase = f"{which}: {progress.phase}"
        on_progress(progress.model_copy(update={"phase": phase, **unknown}))
        if progress.phase == "done":
            number, known = number + 1, False

    return tell
