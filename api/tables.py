"""Text tables and wrapped text for a terminal of 80 columns, without colour.

Everything that comes from a scenario or a plan goes through `plain` first, so that no name can
steer the terminal or turn the reading direction.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from typing import Literal

WIDTH = 80
"""Columns that every text of splitplan keeps to."""

Side = Literal["left", "right"]

_UNSAFE = frozenset({"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"})
"""Unicode categories of controls, invisible marks (bidirectional ones too), what is no letter
anywhere, and line separators."""


def plain(text: str) -> str:
    """Return the text with every control, invisible or line-breaking character as "?"."""
    if text.isascii() and text.isprintable():
        return text
    return "".join("?" if unicodedata.category(one) in _UNSAFE else one for one in text)


def columns(text: str) -> int:
    """Return how many columns a terminal gives the text (wide letters count two)."""
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.combining(one) else 2 if unicodedata.east_asian_width(one) in "WF" else 1
        for one in text
    )


def clip(text: str, width: int) -> str:
    """Return the text cut to the width, with "..." where something is missing."""
    if columns(text) <= width:
        return text
    kept = ""
    for one in text:
        if columns(kept + one) > width - 3:
            break
        kept += one
    return kept.rstrip() + "..."[: max(width, 0)]


def pad(text: str, width: int, side: Side = "left") -> str:
    """Return the text filled with blanks to the width, set to one side."""
    blanks = " " * max(width - columns(text), 0)
    return text + blanks if side == "left" else blanks + text


def wrap(
    text: str, *, first: str = "", rest: str = "", width: int = WIDTH, divide: bool = True
) -> list[str]:
    """Return the text in lines that fit the width; a word longer than a line is divided.

    ``first`` begins the first line, ``rest`` the others.  Without ``divide`` long words stay whole:
    a path that may be copied.
    """
    return wrap_words(plain(text).split(), first=first, rest=rest, width=width, divide=divide)


def wrap_words(
    words: Iterable[str],
    *,
    first: str = "",
    rest: str = "",
    width: int = WIDTH,
    divide: bool = True,
) -> list[str]:
    """Return words in lines that fit the width, as `wrap`; a word may hold blanks (a name)."""
    lines: list[str] = []
    line, empty = first, True
    for word in map(plain, words):
        while True:
            room = width - columns(line) - (0 if empty else 1)
            if columns(word) <= room or (empty and not divide):
                line, empty = line + ("" if empty else " ") + word, False
                break
            if not empty:
                lines.append(line)
                line, empty = rest, True
                continue
            taken = max(room, 1)
            while taken > 1 and columns(word[:taken]) > room:
                taken -= 1
            lines.append(line + word[:taken])
            line, word = rest, word[taken:]
            if not word:
                break
    if not empty or not lines:
        lines.append(line)
    return [one.rstrip() for one in lines]


def table(
    rows: Iterable[Sequence[str]],
    *,
    head: Sequence[str] | None = None,
    sides: Sequence[Side] | None = None,
    indent: str = "  ",
    width: int = WIDTH,
    give: int = 0,
    gap: int = 2,
) -> list[str]:
    """Return rows as lines with aligned columns, ``gap`` blanks between; empty columns vanish.

    ``give`` is the column that is clipped where a line would be wider than the width.
    """
    cells = [[plain(cell) for cell in row] for row in rows]
    if head is not None:
        cells.insert(0, list(head))
    if not cells:
        return []
    count = max(len(row) for row in cells)
    for row in cells:
        row.extend([""] * (count - len(row)))
    widths = [max(columns(row[place]) for row in cells) for place in range(count)]
    over = columns(indent) + sum(size + gap for size in widths if size) - gap - width
    if over > 0:
        widths[give] = max(widths[give] - over, 3)
    chosen: Sequence[Side] = sides if sides is not None else ["left"] * count
    return [
        clip(
            indent
            + (" " * gap)
            .join(
                pad(clip(cell, size), size, side)
                for cell, size, side in zip(row, widths, chosen, strict=True)
                if size
            )
            .rstrip(),
            width,
        )
        for row in cells
    ]


def beside(left: Sequence[str], right: Sequence[str], *, at: int) -> list[str]:
    """Return two blocks of lines next to each other, the right one beginning at column ``at``."""
    height = max(len(left), len(right))
    both = zip(
        [*left, *[""] * (height - len(left))],
        [*right, *[""] * (height - len(right))],
        strict=True,
    )
    return [(pad(clip(one, at - 2), at) + other).rstrip() for one, other in both]
