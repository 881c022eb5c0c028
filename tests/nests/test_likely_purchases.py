"""Purchases likely to hold straight blanks, where all cheaper ones are too many to list."""

from dataclasses import replace

import pytest

from solver.nests import likely_purchases as likely
from solver.nests.likely_purchases import likely_purchases
from solver.nests.price_rows import price_rows
from solver.nests.straight_job import cheaper_purchases
from tests.nests.strips_in_inches import GAP, STOCKS, TWELVE, stock, strip

FOUR_KINDS = [*STOCKS, stock(24, 60, 15.0, for_sale=1)]


def spare(rows, stocks, numbers):
    units = [n + kind.on_hand for n, kind in zip(numbers, stocks, strict=True)]
    return min(rows.held @ units / rows.needed) - 1.0


def test_at_any_price_none_has_more_to_spare_than_the_likeliest():
    """Every cheaper purchase listed and looked through."""
    rows = price_rows(TWELVE, FOUR_KINDS, GAP)
    every = cheaper_purchases(FOUR_KINDS, 90.0, rows)
    likeliest = likely_purchases(FOUR_KINDS, 90.0, rows)
    assert {numbers for _, numbers in likeliest} <= {numbers for _, numbers in every}
    for price, numbers in every:
        best = max(spare(rows, FOUR_KINDS, n) for spent, n in likeliest if spent < price + 0.1)
        assert best >= spare(rows, FOUR_KINDS, numbers) - 1e-9


def test_what_cannot_be_had_is_not_among_them():
    rows = price_rows(TWELVE, FOUR_KINDS, GAP)
    found = likely_purchases(FOUR_KINDS, 90.0, rows)
    assert max(numbers[3] for _, numbers in found) == 1
    none = [replace(kind, for_sale=0) for kind in FOUR_KINDS]
    assert likely_purchases(none, 90.0, rows) == []


def test_what_is_on_hand_may_do_without_buying():
    stocks = [stock(14, 120, 17.76, on_hand=9), STOCKS[0]]
    rows = price_rows(TWELVE, stocks, GAP)
    assert likely_purchases(stocks, 20.0, rows)[0] == (0.0, (0, 0))


def test_of_purchases_at_nearly_one_price_the_roomiest_are_kept(monkeypatch):
    rows = price_rows(TWELVE, FOUR_KINDS, GAP)
    every = likely_purchases(FOUR_KINDS, 90.0, rows)
    monkeypatch.setattr(likely, "BANDS", 1)
    monkeypatch.setattr(likely, "IN_A_BAND", 3)
    kept = likely_purchases(FOUR_KINDS, 90.0, rows)
    most = sorted((spare(rows, FOUR_KINDS, n) for _, n in every), reverse=True)[:3]
    held = sorted((spare(rows, FOUR_KINDS, n) for _, n in kept), reverse=True)
    assert held == pytest.approx(most)
    assert kept == sorted(kept)


def test_nothing_is_likely_where_blanks_fit_no_stock_or_nothing_is_cheaper():
    rows = price_rows(TWELVE, FOUR_KINDS, GAP)
    assert likely_purchases(FOUR_KINDS, 1.0, rows) == []
    too_long = price_rows([strip("long", 200, 3)], FOUR_KINDS, GAP)
    assert likely_purchases(FOUR_KINDS, 90.0, too_long) == []
