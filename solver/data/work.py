"""The record of the work: what of a plan is bought, cut, fitted, spoiled and built.

A small JSON file beside the plan.  Pieces, nests and sections are named as the plan names them,
stock as the scenario does.  ``"all"`` stands for every name.  Everything wrong comes at once, each
with its place, the value found and the remedy.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from solver.data.errors import Problems, clip
from solver.data.plan import Plan

Names = tuple[str, ...] | Literal["all"]

MOST_NAMES = 20_000
MOST_UNITS = 100_000
MOST_MONEY = 1e6
DEEPEST = 8


class WorkRecord(BaseModel):
    """What is done of a plan; everything may be left out."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    format: Literal["splitplan work 1"] = "splitplan work 1"
    plan: str | None = Field(default=None, max_length=200, description="id of the plan it is about")
    bought: dict[str, int] | Literal["all"] | None = Field(
        default=None,
        description="whole units bought so far, by stock item; left out: those that pieces are cut "
        'from; "all": all that the plan buys',
    )
    bolts_bought: int = Field(default=0, ge=0, le=MOST_UNITS, description="besides those on hand")
    clamps_bought: int = Field(default=0, ge=0, le=MOST_UNITS, description="besides those on hand")
    cut: Names = Field(default=(), description="pieces cut, folded and ready to fit")
    fitted: Names = Field(default=(), description="pieces in their place on the mold; cut as well")
    spoiled: tuple[str, ...] = Field(default=(), description="pieces cut that are of no use")
    gone: tuple[str, ...] = Field(default=(), description="nests whose leftovers are gone")
    built: Names = Field(default=(), description="sections built, that stay as they are")
    change_price: float | None = Field(
        default=None,
        ge=0,
        le=MOST_MONEY,
        description="money for each fitted piece that does not stay where it is; left out: a "
        "quarter of an hour of labor",
    )


@dataclass(frozen=True)
class Work:
    """A record read against its plan: names spelled out."""

    bought: dict[str, int]
    """Whole units bought, those that pieces are cut from among them."""
    bolts_bought: int
    clamps_bought: int
    cut: frozenset[str]
    """Pieces that are there: cut, fitted ones too, spoiled ones not."""
    fitted: frozenset[str]
    spoiled: frozenset[str]
    gone: frozenset[str]
    built: tuple[str, ...]
    change_price: float | None

    @property
    def begun(self) -> bool:
        """Whether anything at all is done."""
        return bool(
            any(self.bought.values()) or self.cut or self.spoiled or self.built
            or self.bolts_bought or self.clamps_bought or self.gone
        )  # fmt: skip


NOTHING = WorkRecord()
"""The record of a plan that nobody has begun."""


def read_record(content: bytes | str | dict[str, Any]) -> WorkRecord:
    """Return a record from JSON text or JSON values.

    Raises ScenarioErrors with every fault of form.
    """
    problems = Problems()
    values: Any = content
    if not isinstance(content, dict):
        try:
            values = json.loads(content)
        except (ValueError, RecursionError) as error:
            problems.add(["the record"], f"is no JSON ({clip(str(error), 80)})", "write JSON")
            problems.raise_any()
    if not isinstance(values, dict):
        problems.add(["the record"], f"is a {type(values).__name__}", 'write an object: {"cut": …}')
        problems.raise_any()
    try:
        # lists are how JSON writes tuples
        return WorkRecord.model_validate_json(json.dumps(values))
    except (ValidationError, ValueError, RecursionError) as error:
        _tell(error, values, problems)
    problems.raise_any()
    raise AssertionError("a fault without a problem")


def _tell(error: Exception, values: dict[str, Any], problems: Problems) -> None:
    if not isinstance(error, ValidationError):
        problems.add(["the record"], clip(str(error), 80), "write plain numbers and names")
        return
    known = tuple(WorkRecord.model_fields)
    told: set[str] = set()
    for fault in error.errors(include_url=False, include_input=True, include_context=False):
        key = str(fault["loc"][0]) if fault["loc"] else "the record"
        if fault["type"] == "extra_forbidden":
            hint = problems.hint(key, known)
            problems.add(
                [key], "is no key of a record", hint or f"leave it out, or use {', '.join(known)}"
            )
        elif key not in told:
            told.add(key)
            allowed = WorkRecord.model_fields[key].description if key in known else None
            remedy = f"{_ALLOWED.get(key, 'give another')}" + (f" ({allowed})" if allowed else "")
            problems.add([key], clip(json.dumps(values.get(key), default=str), 60), remedy)


_ALLOWED = {
    "format": 'write "splitplan work 1", or leave it out',
    "plan": "give the plan's id as text",
    "bought": 'give whole numbers by stock item, or "all"',
    "bolts_bought": f"give a whole number from 0 to {MOST_UNITS}",
    "clamps_bought": f"give a whole number from 0 to {MOST_UNITS}",
    "cut": 'give a list of piece ids, or "all"',
    "fitted": 'give a list of piece ids, or "all"',
    "spoiled": "give a list of piece ids",
    "gone": "give a list of nest ids",
    "built": 'give a list of section ids, or "all"',
    "change_price": f"give money from 0 to {MOST_MONEY:g}",
}


def work_of(record: WorkRecord, plan: Plan) -> Work:
    """Return a record with all its names found in its plan.

    Raises ScenarioErrors: a plan without pieces, another plan's record, unknown names, pieces both
    spoiled and fitted, fewer units bought than pieces are cut from.
    """
    problems = Problems()
    if plan.cost is None:
        problems.add(["the old plan"], f"is {plan.status}", "give a plan that has pieces")
        problems.raise_any()
    if record.plan is not None and record.plan != plan.id:
        problems.add(
            ["plan"],
            f'is "{record.plan}", and the old plan "{plan.id}"',
            "give the record that belongs to this plan",
        )
    pieces = [piece.id for piece in plan.pieces]
    cut = _names(record.cut, pieces, "cut", "piece", problems)
    fitted = _names(record.fitted, pieces, "fitted", "piece", problems)
    spoiled = _names(record.spoiled, pieces, "spoiled", "piece", problems)
    gone = _names(record.gone, [nest.id for nest in plan.nests], "gone", "nest", problems)
    built = _names(record.built, [s.id for s in plan.sections], "built", "section", problems)
    if record.fitted != "all":
        for name in sorted(fitted & spoiled):
            problems.add(["fitted"], f'"{name}" is spoiled too', "leave it out of one of the two")
    rerun = plan.rerun
    if rerun is not None:  # what was kept is there; what was spoiled must be told anew
        kept = {source.piece for source in rerun.sources if source.how == "kept"}
        cut |= kept
        was = {one.piece.id for one in rerun.existing if one.fitted}
        fitted |= {s.piece for s in rerun.sources if s.how == "kept" and s.old in was}
    fitted -= spoiled
    begun = {
        nest.id
        for nest in plan.nests
        if any(one.piece in cut | fitted | spoiled for one in nest.placed)
    }
    opened = Counter(n.stock for n in plan.nests if n.bought and n.id in begun)
    bought = _bought(record, plan, opened, problems)
    if record.change_price is None and rerun is not None:
        record = record.model_copy(update={"change_price": rerun.change_price})
    problems.raise_any()
    return Work(
        bought=bought,
        bolts_bought=record.bolts_bought + (rerun.bolts_bought if rerun else 0),
        clamps_bought=record.clamps_bought + (rerun.clamps_bought if rerun else 0),
        cut=frozenset((cut | fitted) - spoiled),
        fitted=frozenset(fitted),
        spoiled=frozenset(spoiled),
        gone=frozenset(gone),
        built=tuple(section.id for section in plan.sections if section.id in built),
        change_price=record.change_price,
    )


def _names(given: Names, known: list[str], key: str, kind: str, problems: Problems) -> set[str]:
    if given == "all":
        return set(known)
    found = set(known)
    for index, name in enumerate(given):
        if name not in found:
            hint = problems.hint(name, known)
            some = ", ".join(known[:3]) + (" …" if len(known) > 3 else "")
            problems.add(
                [key, index],
                f'there is no {kind} "{clip(name, 60)}" in the old plan',
                hint or f"name one of its own: {some}",
            )
    return set(given) & found


def _bought(
    record: WorkRecord, plan: Plan, opened: Counter[str], problems: Problems
) -> dict[str, int]:
    planned = {purchase.stock: purchase.buy for purchase in plan.purchases}
    if record.bought == "all":
        return {stock: count for stock, count in planned.items() if count}
    bought = dict(opened)
    for stock, count in (record.bought or {}).items():
        if not 0 <= count <= MOST_UNITS:
            problems.add(["bought", stock], str(count), f"give 0 to {MOST_UNITS}")
        elif count < opened[stock]:
            problems.add(
                ["bought", stock],
                f"{count}, and pieces are cut from {opened[stock]}",
                f"give {opened[stock]} or more",
            )
        bought[stock] = count
    return bought
