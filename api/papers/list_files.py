"""Lists as CSV and as a workbook, safe to open: a text stays a text, whatever it begins with."""

from __future__ import annotations

import csv
import io
import re
import zipfile

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from api.papers.lists import Cell, Listing
from api.tables import plain

_FORMULA = re.compile(r"^\s*[=+\-@\t\r＝＋－＠]")
"""What a spreadsheet may take for the beginning of a formula; some pass over blanks before it."""

_STILL = (1980, 1, 1, 0, 0, 0)
"""Time of every entry in a workbook, the earliest that its container can hold."""


def safe_text(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula: an apostrophe before what looks so.

    Controls and invisible marks become "?".
    """
    starts = _FORMULA.match(text) is not None
    return ("'" if starts else "") + plain(text)


def csv_bytes(listing: Listing) -> bytes:
    """Return a list as CSV (RFC 4180): UTF-8 with its mark, so that every name is read."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow([safe_text(column.head) for column in listing.columns])
    for row in listing.rows:
        writer.writerow([_csv_cell(cell) for cell in row])
    return ("\ufeff" + stream.getvalue()).encode()


def _csv_cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return safe_text(cell)
    return repr(round(cell, 6)) if isinstance(cell, float) else str(cell)


def workbook_bytes(listings: tuple[Listing, ...], title: str, plan_id: str) -> bytes:
    """Return all lists as one workbook, a sheet each; the same lists give the same bytes."""
    book = Workbook()
    book.remove(book.worksheets[0])
    book.properties.creator = "splitplan"
    book.properties.title = plain(title)
    book.properties.subject = f"plan {plan_id}"
    for listing in listings:
        sheet = book.create_sheet(listing.title.partition(" (")[0][:31])
        for place, column in enumerate(listing.columns, start=1):
            cell = sheet.cell(1, place)
            cell.value = column.head
            cell.data_type = "s"
            cell.font = Font(bold=True)
        for number, row in enumerate(listing.rows, start=2):
            for place, (value, column) in enumerate(
                zip(row, listing.columns, strict=True), start=1
            ):
                if value is None:
                    continue
                cell = sheet.cell(number, place)
                if isinstance(value, str):
                    # set as what it is: neither a formula nor an error nor a date
                    cell.value = plain(value)
                    cell.data_type = "s"
                    cell.quotePrefix = _FORMULA.match(value) is not None
                    cell.alignment = Alignment(wrap_text=True, vertical="top")
                else:
                    cell.value = value
                    cell.number_format = {
                        "money": "#,##0.00",
                        "count": "0",
                        "number": "0" if isinstance(value, int) else "#,##0.00",
                    }.get(column.kind, "General")
        sheet.freeze_panes = "A2"
        for place, column in enumerate(listing.columns, start=1):
            longest = max(
                [len(column.head), *(len(str(row[place - 1] or "")) for row in listing.rows)]
            )
            wide = 14 if column.kind != "text" else min(max(longest + 2, 8), 48)
            sheet.column_dimensions[get_column_letter(place)].width = wide
    stream = io.BytesIO()
    book.save(stream)
    return _still(stream.getvalue())


def _still(content: bytes) -> bytes:
    """Take the time out of a workbook: entry times, created and modified."""
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(made, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "docProps/core.xml":
                data = re.sub(
                    rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*",
                    rb"\g<1>1980-01-01T00:00:00Z",
                    data,
                )
            entry = zipfile.ZipInfo(name, _STILL)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, data)
    return made.getvalue()
