"""All papers of a plan, as files by name: same plan, scenario and choices, same bytes."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Literal

from api.drawing.blank import blank_drawing
from api.drawing.nest import nest_drawing
from api.drawing.shapes import Drawing
from api.drawing.svg import svg_bytes
from api.papers.book import Book
from api.papers.dxf_files import dxf_bytes
from api.papers.facts import Facts
from api.papers.full_size import FullSize, full_size_book, long_book
from api.papers.index_page import Listed, index_bytes
from api.papers.list_files import csv_bytes, workbook_bytes
from api.papers.list_pages import list_book
from api.papers.lists import all_lists
from api.papers.names import numbered
from api.papers.nest_pages import cutting_book
from api.papers.templates import entries, setting_out_book
from api.papers.work_pages import work_book
from solver.data.job import Job
from solver.data.plan import Plan

Paper = Literal["a4", "letter"]

MOST_DATE = 40
"""Letters that a date given by the user may have."""


@dataclass(frozen=True)
class Choices:
    """How the papers are made."""

    paper: Paper | None = None
    """None is letter for a shop in inches, else A4."""
    long_page: bool = False
    """Full-size templates whole, on pages as long as they are, for a wide printer."""
    date: str = ""
    """As the user writes it; none is printed if empty."""


def paper_files(plan: Plan, job: Job | None, choices: Choices) -> Mapping[str, bytes]:
    """Return every file by its path in the folder.

    Raises ValueError for a plan without pieces and sections (no answer, impossible).
    """
    if plan.cost is None:
        raise ValueError(f'a plan that is "{plan.status}" has nothing to print')
    facts = Facts(plan, job)
    paper: Paper = choices.paper or ("letter" if facts.sizes.inches else "a4")
    date = choices.date[:MOST_DATE]

    def book(subtitle: str) -> Book:
        return Book(plan.title or "Untitled", subtitle, plan.id, date, paper=paper)

    full_name = "full-size-long.pdf" if choices.long_page else f"full-size-{paper}.pdf"
    full = (long_book if choices.long_page else full_size_book)(facts, book("Full size"))
    lists = all_lists(facts)
    books = {
        "shopping.pdf": list_book(lists[:1], book("Shopping"), plan.notes),
        "cutting.pdf": cutting_book(facts, book("Cutting")),
        "setting-out.pdf": setting_out_book(facts, book("Setting out"), full.pages_of, full_name),
        "order-of-work.pdf": work_book(facts, book("Order of work")),
        "lists.pdf": list_book(lists[1:], book("Lists")),
    }
    if full.laid:
        books[full_name] = full.book
    files = {name: made.written() for name, made in books.items()}
    files["lists.xlsx"] = workbook_bytes(lists, plan.title, plan.id)
    for listing in lists:
        files[f"lists/{listing.name}.csv"] = csv_bytes(listing)
    drawings = drawings_of(facts)
    for name, drawing in drawings.items():
        files[f"drawings/{name}.dxf"] = dxf_bytes(drawing)
        files[f"drawings/{name}.svg"] = svg_bytes(drawing)
    files["drawings/drawings.json"] = json_bytes(facts, drawings)
    files["index.html"] = index_bytes(
        facts,
        _listed(facts, books, full, full_name),
        tuple(
            Listed(path, path.removeprefix("drawings/"))
            for path in files
            if path.startswith("drawings/")
        ),
        (_to_print(books, full, full_name), *_notes(facts, full, full_name)),
        date,
    )
    return files


def drawings_of(facts: Facts) -> Mapping[str, Drawing]:
    """Return the drawing of every piece and nest by a safe name that stays the same."""
    made = {}
    for number, piece in enumerate(facts.plan.pieces, start=1):
        made[numbered("piece", number, piece.id)] = blank_drawing(piece, facts.number[piece.id])
    for number, nest in enumerate(facts.plan.nests, start=1):
        shape = facts.stock_shape(nest)
        made[numbered("nest", number, nest.stock)] = nest_drawing(
            nest, facts.pieces, facts.number, shape
        )
    return made


def json_bytes(facts: Facts, drawings: Mapping[str, Drawing]) -> bytes:
    """Return all drawings as JSON: millimetres, y upward."""
    told = {
        "format": "splitplan drawings 1",
        "plan": facts.plan.id,
        "unit": "mm",
        "drawings": {
            name: {
                "name": drawing.name,
                "paths": [asdict(path) for path in drawing.paths],
                "words": [asdict(word) for word in drawing.words],
            }
            for name, drawing in drawings.items()
        },
    }
    return (json.dumps(told, ensure_ascii=False, allow_nan=False) + "\n").encode(
        "utf-8", errors="replace"
    )


def _listed(
    facts: Facts, books: Mapping[str, Book], full: FullSize, full_name: str
) -> tuple[Listed, ...]:
    def pages(name: str) -> str:
        count = len(books[name].pages)
        return "1 page" if count == 1 else f"{count} pages"

    templates = len(entries(facts))
    listed = [
        Listed(
            "shopping.pdf", "Shopping list", f"{pages('shopping.pdf')}: metal, bolts, protection"
        ),
        Listed("cutting.pdf", "Cutting", f"{pages('cutting.pdf')}: every roll and sheet to scale"),
        Listed(
            "setting-out.pdf",
            "Setting out",
            f"{pages('setting-out.pdf')}: {templates} templates by tape, square and batten",
        ),
    ]
    if full_name in books:
        needed = full.needed_pages
        count = len(books[full_name].pages)
        if needed == count:
            said = "all of them to trace"
        elif needed == 0:
            said = "print none of it unless you would rather trace than measure"
        else:
            said = f"print 1 to {needed}; the others only if you would rather trace than measure"
        listed.append(Listed(full_name, "Full size", f"{pages(full_name)}: {said}"))
    listed += [
        Listed("order-of-work.pdf", "Order of work", f"{pages('order-of-work.pdf')}, to tick off"),
        Listed("lists.pdf", "Lists", f"{pages('lists.pdf')}: cut list, pieces, edges, hours"),
        Listed("lists.xlsx", "All lists as a workbook", "one sheet each (XLSX)"),
    ]
    listed += [
        Listed(
            f"lists/{one.name}.csv", f"{one.title.partition(' (')[0]} (CSV)", "for any spreadsheet"
        )
        for one in all_lists(facts)
    ]
    return tuple(listed)


def _to_print(books: Mapping[str, Book], full: FullSize, full_name: str) -> str:
    """Say how many pages are needed at the bench: all but lists and what need not be traced."""
    count = sum(
        len(made.pages) for name, made in books.items() if name not in ("lists.pdf", full_name)
    )
    count += full.needed_pages
    total = sum(len(made.pages) for made in books.values())
    return (
        f"The bench needs {count} of {total} pages: shopping, cutting, setting out, order of work"
        + (f", and full size up to page {full.needed_pages}." if full.needed_pages else ".")
    )


def _notes(facts: Facts, full: FullSize, full_name: str) -> tuple[str, ...]:
    notes = list(facts.plan.notes)
    if facts.job is None:
        notes.append(
            "Made from the plan alone. With --scenario the papers also tell how the mold tips, the "
            "marks of taped corners, how far and which way bends go, and the size of stock whose "
            "name does not give it."
        )
    if not all(facts.stock_shape(nest).known for nest in facts.plan.nests):
        notes.append("The size of some stock is not known; it is drawn as far as its blanks reach.")
    if not full.laid:
        notes.append(
            "Every blank is straight: tape and square do, and no full-size page is needed."
        )
    elif full_name.endswith("long.pdf"):
        widest = max(min(one.sheet.cell_mm) for one in full.laid)
        notes.append(f"The full-size pages need a roll at least {widest + 30:.0f} mm wide.")
    return tuple(notes)
