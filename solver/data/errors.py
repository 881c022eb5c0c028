"""What is wrong with a scenario: where it stands, what stands there, and what to write instead."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

Key = str | int

_NAMED = {"patches", "edges", "kinds", "near"}
_LONGEST_VALUE = 120
_LONGEST_NAME = 80
_MOST_PROBLEMS = 200
_MOST_TYPOS = 8
_HINT_WORK = 1_000_000
"""Pairs of letters that are compared in search of what was meant: some tenths of a second."""


@dataclass(frozen=True)
class Problem:
    """One thing to mend: its place in words, the value found, the remedy, and its JSON Pointer."""

    place: str
    value: str
    remedy: str
    pointer: str = ""

    def __str__(self) -> str:
        return f"{self.place}: {self.value}: {self.remedy}"


class ScenarioErrors(Exception):  # noqa: N818 - it is a list of them
    """All problems of one scenario; ``left_out`` counts those beyond the first 200."""

    def __init__(self, problems: Iterable[Problem], left_out: int = 0) -> None:
        self.problems = tuple(problems)
        self.left_out = left_out
        lines = [str(problem) for problem in self.problems]
        if left_out:
            lines.append(f"and {left_out} more like these")
        super().__init__("\n".join(lines))


@dataclass
class Problems:
    """Collects problems so that all can be raised at once; equal ones count once."""

    found: list[Problem] = field(default_factory=list)
    left_out: int = 0
    hint_work: int = 0

    def add(self, keys: Sequence[Key], value: object, remedy: str) -> None:
        """Add the problem at a path of keys; ``value`` is clipped."""
        if self.full:
            self.left_out += 1
            return
        problem = Problem(place(keys), clip(str(value)), remedy, pointer(keys))
        if problem not in self.found:
            self.found.append(problem)

    def hint(self, word: str, known: Iterable[str]) -> str:
        """Return ``did you mean "x"?``, or nothing where no known word is near."""
        names = [name for name in known if abs(len(name) - len(word)) <= _MOST_TYPOS]
        self.hint_work += len(word) * sum(len(name) for name in names)
        return did_you_mean(word, names) if self.hint_work <= _HINT_WORK else ""

    @property
    def full(self) -> bool:
        """Whether more problems are only counted."""
        return len(self.found) >= _MOST_PROBLEMS

    def raise_any(self) -> None:
        """Raise ScenarioErrors if anything was found."""
        if self.found:
            raise ScenarioErrors(self.found, self.left_out)


def place(keys: Sequence[Key]) -> str:
    """Return a path as a builder reads it: ``edges "lid | frame".stand`` or ``.loop[1].left``."""
    text = ""
    for index, key in enumerate(keys):
        if isinstance(key, int):
            text += f"[{key}]"
        elif index and keys[index - 1] in _NAMED and index <= 3:
            text += f' "{clip(key, _LONGEST_NAME)}"'
        else:
            text += f".{clip(key, _LONGEST_NAME)}" if text else clip(key, _LONGEST_NAME)
    return text or "the file"


def pointer(keys: Sequence[Key]) -> str:
    """Return a path as a JSON Pointer (RFC 6901)."""
    return "".join("/" + str(key).replace("~", "~0").replace("/", "~1") for key in keys)


def clip(text: str, longest: int = _LONGEST_VALUE) -> str:
    """Return a text short enough to print."""
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that was probably meant."""
    if len(word) > _LONGEST_NAME:
        return None
    folded = {name.casefold(): name for name in known if abs(len(name) - len(word)) <= _MOST_TYPOS}
    matches = difflib.get_close_matches(word.casefold(), list(folded), n=1, cutoff=0.7)
    return folded[matches[0]] if matches else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return ``did you mean "radius"?``, or nothing."""
    match = nearest(word, known)
    return f'did you mean "{match}"?' if match is not None else ""
