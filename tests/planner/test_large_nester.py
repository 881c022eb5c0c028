"""Many curved blanks are laid bit by bit, and searched as a whole once there is effort for it."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import pytest
from small_jobs import LIGHT_ALUMINIUM, Prepared, edge, job, run

from solver.data.line import Line, Stretch
from solver.data.until import FOREVER, Until
from solver.nests import many_blanks
from solver.nests.shapes import Layout
from solver.planner import large_nester, nesting
from solver.planner.large_nester import LargeNester
from solver.planner.nesting import key_of
from solver.planner.piece_options import PieceOption

EFFORT = large_nester.EFFORT_AS_A_WHOLE
FEW, MANY = 13, 14
"""Blanks that lie at first on more rolls than their area would take."""


def arcs(count: int) -> tuple[Prepared, list[PieceOption]]:
    """Runs of one edge each, curved the hard way, and a piece of one metal for each."""
    edges = [
        edge(f"e{k}", Line((Stretch(400.0 + 20 * k, 0.0, 0.0, 1 / 900.0, 1 / 900.0),)))
        for k in range(count)
    ]
    runs = [run(f"R{k}", one) for k, one in enumerate(edges)]
    made = Prepared(job(edges, runs, [LIGHT_ALUMINIUM]))
    pieces = [made.some(pieces=1, run=k)[0].pieces[0] for k in range(count)]
    assert all(not piece.blank.straight for piece in pieces)
    return made, pieces


@pytest.fixture
def searched(monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, Layout | None]]:
    """Efforts and layouts that searches as a whole began from."""
    noted: list[tuple[int, Layout | None]] = []
    purchase = nesting.purchase

    def noting(*asked: Any, effort: int, known: Layout | None = None, **more: Any) -> Any:
        noted.append((effort, known))
        return purchase(*asked, effort=min(effort, 1), known=known, **more)

    monkeypatch.setattr(nesting, "purchase", noting)
    monkeypatch.setattr(large_nester, "STEPS", 0)  # they would soon lie on the fewest
    monkeypatch.setattr(large_nester, "STEPS_OF_FEW", 0)
    monkeypatch.setattr(many_blanks, "LAYOUTS", 1)
    monkeypatch.setattr(many_blanks, "DRAWN", 1)
    monkeypatch.setattr(large_nester, "FEW", FEW)
    monkeypatch.setattr(large_nester, "FEWEST", MANY)
    monkeypatch.setattr(large_nester, "FEWEST_OF_LARGE", MANY)
    return noted


def test_what_was_laid_bit_by_bit_is_searched_further_as_a_whole(
    searched: list[tuple[int, Layout | None]],
) -> None:
    made, pieces = arcs(MANY)
    nester = LargeNester(made.job, made.sheets, 0, large=False)
    soon = nester.nest(0, pieces, None, EFFORT - 1, FOREVER)
    assert soon.complete
    assert searched == []
    later = nester.nest(0, pieces, None, EFFORT, FOREVER)
    ((effort, known),) = searched
    assert effort == EFFORT
    assert known is not None
    assert known.complete
    assert later.complete
    assert later.bought.price <= soon.bought.price


def test_those_of_a_large_job_and_too_many_are_laid_bit_by_bit_alone(
    searched: list[tuple[int, Layout | None]], monkeypatch: pytest.MonkeyPatch
) -> None:
    made, pieces = arcs(MANY)
    assert (
        LargeNester(made.job, made.sheets, 0, large=True)
        .nest(0, pieces, None, EFFORT, FOREVER)
        .complete
    )
    monkeypatch.setattr(large_nester, "MOST_AS_A_WHOLE", FEW)
    assert (
        LargeNester(made.job, made.sheets, 0, large=False)
        .nest(0, pieces, None, EFFORT, FOREVER)
        .complete
    )
    assert searched == []


def test_few_blanks_are_soon_laid_and_searched_as_a_whole_with_any_more_effort(
    searched: list[tuple[int, Layout | None]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(large_nester, "FEW", MANY)
    monkeypatch.setattr(large_nester, "MORE_ROUNDS", 0)
    made, pieces = arcs(MANY)
    nester = LargeNester(made.job, made.sheets, 0, large=False)
    soon = nester.nest(0, pieces, None, 0, FOREVER)
    assert soon.complete
    assert searched == []
    later = nester.nest(0, pieces, None, 1, FOREVER)
    assert searched == [(1, soon.bought.layout)]
    assert later.complete


def test_what_a_search_found_is_not_forgotten_where_the_next_has_no_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made, pieces = arcs(MANY)
    nester = LargeNester(made.job, made.sheets, 0, large=False)
    soon = nester.nest(0, pieces, None, 0, FOREVER)
    cheap = replace(soon, bought=replace(soon.bought, price=soon.bought.price / 2))
    nester.remember(key_of(0, soon.pieces), cheap)
    late = nester.nest(0, pieces, None, 5, Until(time.monotonic() - 1.0))
    assert late.bought.price == cheap.bought.price


def test_fewest_blanks_begin_from_what_is_known_of_them(
    searched: list[tuple[int, Layout | None]],
) -> None:
    made, pieces = arcs(FEW)
    nester = LargeNester(made.job, made.sheets, 0, large=False)
    first = nester.nest(0, pieces, None, 0, FOREVER)
    nester.nest(0, pieces, None, 5, FOREVER)
    assert searched == [(0, None), (5, first.bought.layout)]
