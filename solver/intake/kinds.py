"""Kinds: what many edges have in common is written once.

``every`` applies to every edge, then ``open``, ``part line`` or ``inner`` by what lies on its two
sides, then the edge's own ``kind``, then what the edge itself says.  Bolts are merged key by key.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from solver.data.scenario import KINDS_THAT_APPLY, Bolts, Carried

EVERY = "every"
AUTOMATIC = tuple(name for name in KINDS_THAT_APPLY if name != EVERY)


def automatic_kind(first_part: str | None, second_part: str | None, *, is_open: bool) -> str:
    """Return "open", "part line" (a part ends here) or "inner" (the same part on both sides)."""
    if is_open:
        return "open"
    return "inner" if first_part == second_part else "part line"


def kinds_for(kinds: Mapping[str, Carried], automatic: str, own: str | None) -> tuple[str, ...]:
    """Return the names of the kinds that apply, weakest first."""
    names = [name for name in (EVERY, automatic) if name in kinds]
    if own is not None and own in kinds and own not in names:
        names.append(own)
    return tuple(names)


def merged(layers: Sequence[Carried]) -> Carried:
    """Return what holds when later layers overrule earlier ones."""
    values: dict[str, Any] = {}
    bolts: dict[str, Any] = {}
    for layer in layers:
        for name in Carried.model_fields:
            value = getattr(layer, name)
            if value is None or name == "note":
                continue
            if isinstance(value, Bolts):
                bolts |= {n: v for n, v in value if v is not None and n != "note"}
            else:
                values[name] = value
    if bolts:
        values["bolts"] = Bolts().model_copy(update=bolts)
    return Carried().model_copy(update=values)
