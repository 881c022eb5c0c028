"""The query of a request: numbers within limits, every parameter at fault told at once."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from api.http.problems import RefusalError
from api.limits import (
    DEFAULT_COUNT,
    DEFAULT_DIFFER,
    DEFAULT_REQUEST_SECONDS,
    LARGEST_SEED,
    LONGEST_REQUEST_SECONDS,
    MOST_JOINTS,
    MOST_OPTIONS,
)
from api.service.records import STATES


@dataclass(frozen=True)
class Parameter:
    """One number that a request may bring: whole from ``least`` on, or any above it."""

    name: str
    description: str
    whole: bool
    least: int
    most: float
    default: float

    @property
    def remedy(self) -> str:
        """Which values it takes."""
        if self.whole:
            return f"a whole number from {self.least} to {self.most:.0f}"
        return f"more than {self.least} and at most {self.most:g}"

    def value(self, text: str) -> float | None:
        """Return the number that a text says; None where it takes no such value."""
        if not text.isascii() or len(text) > 20 or (self.whole and not text.isdigit()):
            return None
        try:
            number = float(text)
        except ValueError:
            return None
        above = number >= self.least if self.whole else number > self.least
        return number if math.isfinite(number) and above and number <= self.most else None

    def described(self) -> dict[str, Any]:
        """Return its description in OpenAPI."""
        least = "minimum" if self.whole else "exclusiveMinimum"
        number = int if self.whole else float
        return {
            "name": self.name,
            "in": "query",
            "description": self.description,
            "schema": {
                "type": "integer" if self.whole else "number",
                least: self.least,
                "maximum": number(self.most),
                "default": number(self.default),
            },
        }


PARAMETERS = {
    one.name: one
    for one in (
        Parameter(
            "seconds",
            "Time to look for better plans, for all of them, more than 0 and at most "
            f"{LONGEST_REQUEST_SECONDS:g} (default {DEFAULT_REQUEST_SECONDS:g})",
            whole=False,
            least=0,
            most=LONGEST_REQUEST_SECONDS,
            default=DEFAULT_REQUEST_SECONDS,
        ),
        Parameter(
            "seed",
            "A whole number; the same seed gives the same plan (default 0)",
            whole=True,
            least=0,
            most=LARGEST_SEED,
            default=0,
        ),
        Parameter(
            "count",
            f"How many plans, at most {MOST_OPTIONS} (default {DEFAULT_COUNT})",
            whole=True,
            least=1,
            most=MOST_OPTIONS,
            default=DEFAULT_COUNT,
        ),
        Parameter(
            "differ",
            "Joints by which each plan differs from the others, left and right counting alike "
            f"(default {DEFAULT_DIFFER})",
            whole=True,
            least=1,
            most=MOST_JOINTS,
            default=DEFAULT_DIFFER,
        ),
    )
}


MOST_ON_PAGE = 200
PAGE_PARAMETERS = {
    one.name: one
    for one in (
        Parameter(
            "limit",
            f"How many, at most {MOST_ON_PAGE} (default 50)",
            whole=True,
            least=1,
            most=MOST_ON_PAGE,
            default=50,
        ),
        Parameter(
            "before",
            "Where the page begins, as the link to it says",
            whole=True,
            least=1,
            most=2**53,
            default=2**53,
        ),
    )
}
GROUP_PATTERN = "^[A-Za-z0-9._-]{0,64}$"


def read_page(
    items: Iterable[tuple[str, str]],
    *,
    kinds: Sequence[str] = (),
    known: Sequence[str] = ("limit", "before", "state", "kind", "group"),
) -> dict[str, Any]:
    """Return what a page of jobs is asked for; raises RefusalError with everything at fault.

    The values are of ``limit``, ``before``, ``state``, ``kind`` and ``group``, None where not said.
    """
    values: dict[str, Any] = dict.fromkeys(known)
    words = {"state": STATES, "kind": tuple(kinds)}
    errors: list[dict[str, str]] = []
    if known:
        values["limit"] = PAGE_PARAMETERS["limit"].default
    seen: set[str] = set()
    for name, text in items:
        remedy = None
        if name not in known:
            remedy = f"only {', '.join(known)} are known" if known else "none is known here"
        elif name in seen:
            remedy = "give it once"
        elif name in PAGE_PARAMETERS:
            number = PAGE_PARAMETERS[name].value(text)
            remedy = PAGE_PARAMETERS[name].remedy if number is None else None
            values[name] = None if number is None else int(number)
        elif name in words:
            remedy = None if text in words[name] else f"one of {', '.join(words[name])}"
            values[name] = text
        else:
            remedy = None if re.fullmatch(GROUP_PATTERN, text) else "letters, digits, . _ -"
            values[name] = text
        seen.add(name)
        if remedy is not None:
            errors.append({"parameter": name[:40], "remedy": remedy})
    if errors:
        raise _at_fault(errors)
    return values


def _at_fault(errors: Sequence[dict[str, str]]) -> RefusalError:
    words = "1 parameter is" if len(errors) == 1 else f"{len(errors)} parameters are"
    return RefusalError("invalid-parameter", f"{words} at fault.", errors=errors)


def read_query(items: Iterable[tuple[str, str]], known: Sequence[str]) -> dict[str, float]:
    """Return the values of the known parameters; raises RefusalError with every one at fault."""
    errors: list[dict[str, str]] = []
    values = {name: PARAMETERS[name].default for name in known}
    seen: set[str] = set()
    for name, text in items:
        if name not in known:
            only = ", ".join(known[:-1]) + f" and {known[-1]}"
            errors.append({"parameter": name[:40], "remedy": f"only {only} are known"})
        elif name in seen:
            errors.append({"parameter": name, "remedy": "give it once"})
        else:
            seen.add(name)
            value = PARAMETERS[name].value(text)
            if value is None:
                errors.append({"parameter": name, "remedy": PARAMETERS[name].remedy})
            else:
                values[name] = value
    if errors:
        raise _at_fault(errors)
    return values
