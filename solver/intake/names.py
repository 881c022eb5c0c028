"""Names of edges, and the renaming of everything that has a side."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

Rename = Callable[[str], str]

_EDGE = re.compile(r"\s*([^|()]+?)\s*\|\s*([^|()]+?)\s*(?:\(([^|()]{1,64})\))?\s*")
_WORD = re.compile(r"[^\W\d_]+")

EdgeKey = tuple[str, str, str]


@dataclass(frozen=True)
class EdgeName:
    """The two sides of an edge as written, and the label that tells it from another like it."""

    first: str
    second: str
    label: str = ""

    @property
    def id(self) -> str:
        """The name in its one spelling."""
        label = f" ({self.label})" if self.label else ""
        return f"{self.first} | {self.second}{label}"

    @property
    def key(self) -> EdgeKey:
        """The same for "a | b" and "b | a", which are one edge."""
        low, high = sorted((self.first, self.second))
        return (low, high, self.label)

    def renamed(self, rename: Rename) -> EdgeName:
        """Return the name of the mirrored twin."""
        return EdgeName(rename(self.first), rename(self.second), rename(self.label))


def read_edge_name(text: str) -> EdgeName | None:
    """Read "a | b" or "a | b (label)"; "open" may stand on either side and is put second.

    None where the text is no such name.
    """
    found = _EDGE.fullmatch(text)
    if found is None:
        return None
    first, second, label = found[1], found[2], (found[3] or "").strip()
    return EdgeName(first, second, label)


def swapping(pairs: Mapping[str, str]) -> Rename:
    """Return the renaming that swaps whole words: "rail-left.top" and "rail-right.top", L3 and R3.

    A word is letters between anything else, so "left" never touches "leftover" and "L" touches
    "L12" alone.
    """
    both = {**{b: a for a, b in pairs.items()}, **pairs}

    def rename(name: str) -> str:
        return _WORD.sub(lambda found: both.get(found[0], found[0]), name)

    return rename


def is_word(text: str) -> bool:
    """Whether a text is one word, as `swapping` takes names apart."""
    return _WORD.fullmatch(text) is not None


def default_part(patch: str) -> str:
    """Return the part of a patch that names none: what stands before its first dot."""
    return patch.split(".", 1)[0]


def edge_key(edge_id: str) -> EdgeKey:
    """Return the key of an edge by its id."""
    name = read_edge_name(edge_id)
    assert name is not None
    return name.key
