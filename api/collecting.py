"""Python's search for garbage in processes that only plan."""

from __future__ import annotations

import gc


def collect_seldom() -> None:
    """Look for garbage far less often, and never among what is there by now.

    A plan is hundreds of thousands of objects that live until it is made, and hardly any of them
    refer to one another in circles: looking for such circles took a tenth of the time.
    """
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)
