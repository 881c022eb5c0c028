"""Names that are safe in any folder, and the short numbers that pieces carry on paper."""

from __future__ import annotations

import re
import unicodedata

_LONGEST = 40


def slug(text: str) -> str:
    """Return a text as part of a file name: lower case letters, digits and single hyphens.

    What has no such letters gives an empty text; the caller puts a number before it, so names
    stay apart and can neither climb out of a folder nor meet a reserved name.
    """
    ascii_text = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", ascii_text.lower()).strip("-")[:_LONGEST].rstrip("-")


def numbered(kind: str, number: int, text: str) -> str:
    """Return "piece-07-lid-frame-1": stable, because numbers follow the plan's own order."""
    tail = slug(text)
    return f"{kind}-{number:02d}" + (f"-{tail}" if tail else "")


def piece_number(number: int) -> str:
    """Return the number by which a piece is called on paper and written on the metal: "P7"."""
    return f"P{number}"
