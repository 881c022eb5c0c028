"""Lists on paper."""

from __future__ import annotations

from api.papers.book import Book
from api.papers.layout import Column, Flow, table
from api.papers.lists import Listing, groups_of, shown


def list_book(listings: tuple[Listing, ...], book: Book, notes: tuple[str, ...] = ()) -> Book:
    """Write lists one after another, each on a new page; ``notes`` head the first page."""
    flow: Flow | None = None
    for listing in listings:
        if flow is None:
            flow = Flow(book, lying=False)
            _notes(flow, notes)
        else:
            flow.turn()
        _list(flow, listing)
    return book


def _notes(flow: Flow, notes: tuple[str, ...]) -> None:
    if not notes:
        return
    flow.heading("Assumed, or worth a look", size=9.5, keep_mm=16)
    for text in notes:
        flow.text(text, size=8, indent=5.0, mark="-")
    flow.skip(3.0)


def _list(flow: Flow, listing: Listing) -> None:
    flow.heading(listing.title, size=12)
    flow.skip(1.0)
    kept = [i for i, column in enumerate(listing.columns) if column.share > 0]
    # columns without a single entry are left out
    kept = [i for i in kept if any(row[i] not in (None, "", 0) for row in listing.rows)]
    for head, rows in groups_of(listing):
        used = [i for i in kept if any(row[i] not in (None, "") for row in rows)]
        if head:
            flow.heading(head, size=9.5, keep_mm=16)
        columns = [
            Column(
                listing.columns[i].head,
                listing.columns[i].share,
                "left" if listing.columns[i].kind == "text" else "right",
            )
            for i in used
        ]
        cells = [[shown(row[i], listing.columns[i].kind) for i in used] for row in rows]
        ticks = listing.ticks and head != "Sum"
        table(flow, columns, cells, size=8.2, ticks=ticks, total=head == "Sum" or _has_sum(listing))
        flow.skip(1.5)


def _has_sum(listing: Listing) -> bool:
    return bool(listing.rows) and listing.rows[-1][0] == "all work"
