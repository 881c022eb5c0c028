"""In which order sheet metals are nested: the ones with few blanks are soon done."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from solver.data.until import FOREVER
from solver.planner import rounds


def test_metals_of_few_blanks_come_first_and_nests_stay_in_order_of_metals(
    monkeypatch: Any,
) -> None:
    """Metal 0 has five pieces, metal 1 one, metal 2 three: time may end over the five."""
    monkeypatch.setattr(rounds, "stock_order", lambda _: [])
    nested: list[tuple[int, list[str]]] = []

    def nest(sheet: int, pieces: list[str], *_: object) -> str:
        nested.append((sheet, pieces))
        return f"nest {sheet}"

    options = [
        SimpleNamespace(sheet=0, pieces=["a", "b"]),
        SimpleNamespace(sheet=2, pieces=["f", "g", "h"]),
        SimpleNamespace(sheet=0, pieces=["c", "d", "e"]),
        SimpleNamespace(sheet=1, pieces=["i"]),
    ]
    parts: Any = SimpleNamespace(
        options=options,
        sheets=[SimpleNamespace(items=()) for _ in range(3)],
        job=SimpleNamespace(stock=()),
    )
    answer: Any = SimpleNamespace(options=range(4), bought=())
    limits: Any = SimpleNamespace(until=FOREVER)
    nester: Any = SimpleNamespace(nest=nest)
    nests: list[Any] = list(rounds.nest_choice(parts, nester, answer, 20, limits))
    assert nested == [(1, ["i"]), (2, ["f", "g", "h"]), (0, ["a", "b", "c", "d", "e"])]
    assert nests == ["nest 0", "nest 1", "nest 2"]
