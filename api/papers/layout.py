"""Blocks that flow down pages, and tables whose heads are repeated."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from api.papers.book import FINE, FOOT_MM, HAIR, MARGIN_MM, MM, PALE, Book, Page, Side
from api.papers.lettering import BOLD, REGULAR, broken

LINE = 1.32
"""Height of a line of text over its size."""


def line_mm(size: float) -> float:
    """Return the height of a line of text of a size in points."""
    return LINE * size / MM


@dataclass
class Flow:
    """A place on the last page of a book that moves down, and to a new page when it is full."""

    book: Book
    lying: bool = False
    page: Page = field(init=False)
    y: float = field(init=False)
    on_new_page: Callable[[], None] | None = None

    def __post_init__(self) -> None:
        self.turn()

    @property
    def left(self) -> float:
        """Left edge of what is written."""
        return MARGIN_MM

    @property
    def wide(self) -> float:
        """Width of what is written."""
        return self.page.wide_mm - 2 * MARGIN_MM

    @property
    def room(self) -> float:
        """Height left on this page."""
        return self.y - MARGIN_MM - FOOT_MM + 4.0

    def turn(self) -> None:
        """Begin a new page."""
        self.page = self.book.page(lying=self.lying)
        self.y = self.book.top_mm(self.page)
        if self.on_new_page is not None:
            self.on_new_page()

    def need(self, high_mm: float) -> bool:
        """Turn the page if less than this height is left; return whether it was turned."""
        if self.room >= high_mm:
            return False
        self.turn()
        return True

    def skip(self, high_mm: float) -> None:
        """Leave white space."""
        self.y -= high_mm

    def heading(self, text: str, *, size: float = 11.0, keep_mm: float = 20.0) -> None:
        """Write a heading that stays with what follows."""
        self.need(line_mm(size) + keep_mm)
        self.y -= line_mm(size) * 0.9
        self.page.words(text, self.left, self.y, size=size, bold=True, room_mm=self.wide)
        self.y -= 1.6

    def text(
        self,
        text: str,
        *,
        size: float = 9.0,
        bold: bool = False,
        indent: float = 0.0,
        mark: str = "",
        wide: float | None = None,
    ) -> None:
        """Write a paragraph; ``mark`` stands before its first line."""
        room = (wide or self.wide) - indent
        for number, line in enumerate(broken(text, room * MM, size, BOLD if bold else REGULAR)):
            self.need(line_mm(size))
            self.y -= line_mm(size)
            if mark and number == 0:
                self.page.words(mark, self.left + indent - 5.0, self.y, size=size)
            self.page.words(line, self.left + indent, self.y, size=size, bold=bold)

    def tick(self, x: float, size: float = 3.4) -> None:
        """Draw an empty box to tick beside the line just written."""
        self.page.box(x, self.y - 0.6, size, size, weight=0.3)


@dataclass(frozen=True)
class Column:
    """A column of a table: its head, its share of the width, the side its text keeps to."""

    head: str
    share: float
    side: Side = "left"


def table(
    flow: Flow,
    columns: Sequence[Column],
    rows: Sequence[Sequence[str]],
    *,
    size: float = 8.5,
    ticks: bool = False,
    total: bool = False,
) -> None:
    """Write a table; long cells take several lines.

    ``ticks`` puts an empty box before each row, ``total`` sets the last row in bold.
    """
    lead = 6.5 if ticks else 0.0
    scale = (flow.wide - lead) / sum(column.share for column in columns)
    widths = [column.share * scale for column in columns]
    pad = 1.2

    def place(index: int, column: Column) -> float:
        left = flow.left + lead + sum(widths[:index])
        return {
            "left": left + pad,
            "middle": left + widths[index] / 2,
            "right": left + widths[index] - pad,
        }[column.side]

    def head() -> None:
        flow.y -= line_mm(size) + 1.0
        flow.page.box(flow.left, flow.y - 1.5, flow.wide, line_mm(size) + 1.6, weight=0, fill=PALE)
        for index, column in enumerate(columns):
            flow.page.words(
                column.head,
                place(index, column),
                flow.y,
                size=size - 0.5,
                bold=True,
                side=column.side,
                room_mm=widths[index] - pad,
            )
        flow.y -= 1.6
        flow.page.line(((flow.left, flow.y), (flow.left + flow.wide, flow.y)), weight=FINE)

    flow.need(line_mm(size) * 3 + 6)
    head()
    for number, row in enumerate(rows):
        bold = total and number == len(rows) - 1
        cells = [
            broken(cell, (widths[i] - 2 * pad) * MM, size, BOLD if bold else REGULAR)
            for i, cell in enumerate(row)
        ]
        lines = max(len(cell) for cell in cells)
        high = lines * line_mm(size) + 1.5
        if flow.need(high):
            head()
        top = flow.y
        for index, (column, cell) in enumerate(zip(columns, cells, strict=True)):
            y = top - 0.4
            for text in cell:
                y -= line_mm(size)
                flow.page.words(
                    text, place(index, column), y + 0.7, size=size, bold=bold, side=column.side
                )
        if ticks:
            flow.page.box(flow.left + 1.0, top - line_mm(size) - 0.2, 3.4, 3.4, weight=0.3)
        flow.y = top - high
        flow.page.line(
            ((flow.left, flow.y), (flow.left + flow.wide, flow.y)), weight=HAIR, grey=0.5
        )
    flow.y -= 2.0
