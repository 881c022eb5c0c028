"""From bytes or text to plain values: JSON with limits, and nothing in it that could surprise.

Whatever is in the file, this ends within a second: size, nesting and the number of values are
bounded before anything costs more than a pass over the text.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Mapping
from typing import Any

from solver.data.errors import Key, Problem, Problems, ScenarioErrors, clip
from solver.data.units import shown

LARGEST_BYTES = 1 << 20
DEEPEST = 16
MOST_VALUES = 60_000
MOST_IN_ONE = 4000
LONGEST_TEXT = 2000
LARGEST_NUMBER = 1e9
_MOST_DIGITS = 40

_STRING_OR_BRACKET = re.compile(r'"(?:[^"\\]|\\.)*"?|[\[\]{}]|[,:]', re.DOTALL)
_TURNS_TEXT_ROUND = frozenset(
    "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
)
_UNSEEN = frozenset("\ufeff\u00ad\u2060\u200b\u2061\u2062\u2063\u2064\u180e")


class _Object(dict[str, Any]):
    """An object of the file that remembers keys written twice."""

    twice: tuple[str, ...] = ()


class _Bad:
    """A number that is none, kept until its place is known."""

    def __init__(self, text: str, remedy: str) -> None:
        self.text = clip(text, 40)
        self.remedy = remedy


def read_tree(raw: bytes | str) -> dict[str, Any]:
    """Return the object that a file holds.

    Raises ScenarioErrors for anything but one JSON object of UTF-8 text within the limits.
    """
    text = _text(raw)
    _check_shape(text)
    try:
        tree = json.loads(
            text,
            object_pairs_hook=_object,
            parse_float=_float,
            parse_int=_int,
            parse_constant=lambda name: _Bad(name, "write a number"),
        )
    except json.JSONDecodeError as fault:
        raise _refusal(
            f"line {fault.lineno}, column {fault.colno}",
            _around(text, fault.pos),
            _syntax_remedy(fault, text),
        ) from None
    return checked_tree(tree)


def checked_tree(tree: object) -> dict[str, Any]:
    """Return a tree of values that came from elsewhere, after the same checks as `read_tree`.

    Raises ScenarioErrors.
    """
    problems = Problems()
    count = _Count(MOST_VALUES)
    plain = _plain(tree, (), problems, count)
    problems.raise_any()
    if not isinstance(plain, dict):
        raise _refusal("the file", _what(tree), 'a scenario is one object: { "patches": … }')
    return plain


def _what(tree: object) -> str:
    if isinstance(tree, list | tuple):
        return "a list"
    return "text" if isinstance(tree, str) else f"only {shown(tree)}"


def _refusal(place: str, value: str, remedy: str) -> ScenarioErrors:
    return ScenarioErrors((Problem(place, clip(value), remedy),))


def _too_many() -> ScenarioErrors:
    return _refusal("the file", f"more than {MOST_VALUES:,} values", "leave out what is not needed")


def _text(raw: bytes | str) -> str:
    if len(raw) > LARGEST_BYTES:
        size = f"more than {LARGEST_BYTES:,} bytes"
        raise _refusal("the file", size, "leave out what is not needed")
    if isinstance(raw, str):
        return raw.removeprefix("\ufeff")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = raw.count(b"\n", 0, fault.start) + 1
        raise _refusal(
            f"line {line}",
            f"byte {raw[fault.start]:#04x} is no UTF-8",
            "save the file with the encoding UTF-8",
        ) from None


def _check_shape(text: str) -> None:
    depth = values = 0
    for found in _STRING_OR_BRACKET.finditer(text):
        sign = found[0][0]
        if sign in "[{":
            depth += 1
            if depth > DEEPEST:
                line = text.count("\n", 0, found.start()) + 1
                raise _refusal(
                    f"line {line}", f"nested {depth} deep", f"nest at most {DEEPEST} deep"
                )
        elif sign in "]}":
            depth -= 1
        elif sign == ",":
            values += 1
            if values > MOST_VALUES:
                raise _too_many()


def _object(pairs: list[tuple[str, Any]]) -> _Object:
    made = _Object(pairs)
    if len(made) < len(pairs):
        seen: set[str] = set()
        twice: dict[str, None] = {}
        for key, _ in pairs:
            if key in seen:
                twice[key] = None
            seen.add(key)
        made.twice = tuple(twice)
    return made


def _float(text: str) -> float | _Bad:
    value = float(text) if len(text) <= _MOST_DIGITS else float("inf")
    if abs(value) > LARGEST_NUMBER:
        return _Bad(text, "numbers have at most 40 digits and stay below 1 000 000 000")
    return value


def _int(text: str) -> int | _Bad:
    if len(text) > 11 or abs(int(text)) > LARGEST_NUMBER:
        return _Bad(text, "numbers stay below 1 000 000 000")
    return int(text)


class _Count:
    def __init__(self, left: int) -> None:
        self.left = left


def _plain(value: object, keys: tuple[Key, ...], problems: Problems, count: _Count) -> object:
    count.left -= 1
    if count.left < 0 or len(keys) > DEEPEST:
        raise _refusal(
            "the file", f"more than {MOST_VALUES:,} values", "leave out what is not needed"
        )
    if isinstance(value, Mapping | list | tuple) and len(value) > MOST_IN_ONE:
        problems.add(keys, f"{len(value):,} of them", f"at most {MOST_IN_ONE:,} in one place")
        return value
    if isinstance(value, Mapping):
        for key in getattr(value, "twice", ()):
            remedy = "keep one"
            if keys == ("edges",):
                remedy += '; two lines between the same patches take a label: "a | b (aft)"'
            problems.add((*keys, _shown_key(key)), "written twice", remedy)
        made = {}
        for key, item in value.items():
            if not isinstance(key, str):
                problems.add(keys, repr(key), "a key is text")
                continue
            _check_text(key, (*keys, _shown_key(key)), problems)
            made[key] = _plain(item, (*keys, key), problems, count)
        return made
    if isinstance(value, list | tuple):
        return [_plain(item, (*keys, index), problems, count) for index, item in enumerate(value)]
    if isinstance(value, str):
        _check_text(value, keys, problems)
    elif isinstance(value, _Bad):
        problems.add(keys, value.text, value.remedy)
        return 0
    elif isinstance(value, int | float) and not abs(value) <= LARGEST_NUMBER:
        problems.add(keys, clip(repr(value), 40), "numbers stay below 1 000 000 000")
        return 0
    return value


def _check_text(text: str, keys: tuple[Key, ...], problems: Problems) -> None:
    if len(text) > LONGEST_TEXT:
        remedy = f"text has at most {LONGEST_TEXT:,} characters"
        problems.add(keys, f"{len(text):,} characters", remedy)
        return
    if text.isascii() and text.isprintable():
        return
    for sign in text:
        kind = unicodedata.category(sign)
        if kind in ("Cc", "Cs", "Zl", "Zp") or sign in _TURNS_TEXT_ROUND or sign in _UNSEEN:
            if sign in "\n\t" and keys and keys[-1] == "note":
                continue
            name = "half of a character" if kind == "Cs" else "a control character"
            name = "a character that turns text round" if sign in _TURNS_TEXT_ROUND else name
            name = "a character that is not seen" if sign in _UNSEEN else name
            problems.add(keys, f"U+{ord(sign):04X} in the text", f"take out {name}")
            return


def _shown_key(key: str) -> str:
    """Return a key that can be printed whatever is in it."""
    return "".join(
        sign if sign.isprintable() and sign not in _TURNS_TEXT_ROUND else f"<U+{ord(sign):04X}>"
        for sign in key[:200]
    )


def _around(text: str, position: int) -> str:
    line = text[max(0, text.rfind("\n", 0, position) + 1, position - 30) : position + 20]
    return _shown_key(line.split("\n")[0].strip()) or "nothing"


def _syntax_remedy(fault: json.JSONDecodeError, text: str) -> str:
    before = text[: fault.pos].rstrip()
    if not text.strip():
        return 'the file is empty; write one object: { "patches": … }'
    if not text[fault.pos :].strip():
        return "the file ends too early: something is open, or the rest is lost"
    if before.endswith(",") and text[fault.pos : fault.pos + 1] in "]}":
        return "take out the comma before it"
    if "property name" in fault.msg:
        return "keys stand in double quotes; take out a comma before a closing brace"
    if "delimiter" in fault.msg:
        return f"{fault.msg[0].lower()}{fault.msg[1:]}: put it before this"
    if "Extra data" in fault.msg:
        return "a file holds one object; take out what follows it"
    return f"{fault.msg[0].lower()}{fault.msg[1:]}"
