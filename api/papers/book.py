"""A book of pages: what a paper is written on, before it becomes a PDF.

Places on a page are millimetres from its lower left corner.  Everything is black, in a few
line weights and two greys, so that a cheap printer and a copy of a copy stay legible.  User text is
drawn letter by letter and never read as mark-up.  The same book gives the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from reportlab.pdfgen.canvas import Canvas

from api.papers.lettering import BOLD, REGULAR, fit, load_fonts, visual, width_pt

MM = 72.0 / 25.4
"""Points in a millimetre."""

Point = tuple[float, float]
Side = Literal["left", "middle", "right"]
Draw = Callable[[Canvas], None]

MARGIN_MM = 14.0
FOOT_MM = 11.0
"""Height of the foot line above the margin's lower edge."""

SLIM_LEFT_MM, SLIM_RIGHT_MM, SLIM_TOP_MM, SLIM_BOTTOM_MM = 15.0, 9.0, 13.0, 17.0
"""Edges of the room on a page at full size; the check square stands left of it and below."""

HEAVY, PLAIN, FINE, HAIR = 0.6, 0.35, 0.2, 0.1
"""Line weights in mm: a cut; other lines of a drawing; rules of a table; dimensions and grids."""

GREY = 0.45
PALE = 0.92

PAPERS: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height in mm: ISO 216 A4, and 8-1/2 x 11 in."""


@dataclass
class Page:
    """One page; its drawing waits in order until the book is written."""

    wide_mm: float
    high_mm: float
    marks: list[Draw] = field(default_factory=list)

    def line(
        self,
        points: Sequence[Point],
        *,
        weight: float = PLAIN,
        dash: Sequence[float] = (),
        closed: bool = False,
        grey: float = 0.0,
        fill: float | None = None,
    ) -> None:
        """Draw a polyline, or a ring; dashes are in mm, greys from 0 (black) to 1 (white)."""

        def draw(canvas: Canvas) -> None:
            canvas.setLineWidth(weight * MM)
            canvas.setDash([one * MM for one in dash] if dash else [])
            canvas.setStrokeGray(grey)
            if fill is not None:
                canvas.setFillGray(fill)
            path = canvas.beginPath()
            path.moveTo(points[0][0] * MM, points[0][1] * MM)
            for x, y in points[1:]:
                path.lineTo(x * MM, y * MM)
            if closed:
                path.close()
            canvas.drawPath(path, stroke=1 if weight > 0 else 0, fill=0 if fill is None else 1)
            canvas.setDash([])
            canvas.setStrokeGray(0)
            canvas.setFillGray(0)

        self.marks.append(draw)

    def box(
        self,
        x: float,
        y: float,
        wide: float,
        high: float,
        *,
        weight: float = FINE,
        fill: float | None = None,
    ) -> None:
        """Draw a rectangle from its lower left corner."""
        ring = ((x, y), (x + wide, y), (x + wide, y + high), (x, y + high))
        self.line(ring, weight=weight, closed=True, fill=fill)

    def words(
        self,
        text: str,
        x: float,
        y: float,
        *,
        size: float = 9.0,
        bold: bool = False,
        side: Side = "left",
        turn_deg: float = 0.0,
        room_mm: float | None = None,
        grey: float = 0.0,
        clear: bool = False,
    ) -> None:
        """Write a line of text at its baseline; ``size`` is in points, ``room_mm`` cuts it short.

        ``clear`` puts white behind it, so that it can be read across lines.
        """
        font = BOLD if bold else REGULAR
        kept = text if room_mm is None else fit(text, room_mm * MM, size, font)
        shown, wide = visual(kept, font), width_pt(kept, size, font)

        def draw(canvas: Canvas) -> None:
            canvas.saveState()
            canvas.translate(x * MM, y * MM)
            if turn_deg:
                canvas.rotate(turn_deg)
            left = {"left": 0.0, "middle": -wide / 2, "right": -wide}[side]
            if clear:
                canvas.setFillGray(1)
                canvas.rect(left - 1, -0.22 * size, wide + 2, 1.02 * size, stroke=0, fill=1)
            canvas.setFillGray(grey)
            canvas.setFont(font, size)
            canvas.drawString(left, 0, shown)
            canvas.restoreState()

        self.marks.append(draw)

    def clipped(self, x: float, y: float, wide: float, high: float, inner: Page) -> None:
        """Show what another page holds inside a rectangle of this one, and nothing outside it."""

        def draw(canvas: Canvas) -> None:
            canvas.saveState()
            path = canvas.beginPath()
            path.rect(x * MM, y * MM, wide * MM, high * MM)
            canvas.clipPath(path, stroke=0, fill=0)
            for mark in inner.marks:
                mark(canvas)
            canvas.restoreState()

        self.marks.append(draw)


@dataclass
class Book:
    """Pages with one title; heads and feet are put on when it is written."""

    title: str
    subtitle: str
    plan_id: str
    date: str = ""
    foot: str = ""
    """What every page says at its foot besides plan and number."""
    paper: str = "a4"
    pages: list[Page] = field(default_factory=list)
    true_size: bool = False
    """Whether the book must be printed without scaling: its heads are small, to leave room."""

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of a page."""
        return PAPERS[self.paper]

    def page(self, *, lying: bool = False, size_mm: tuple[float, float] | None = None) -> Page:
        """Add a page, upright or lying on its long side, or of a size of its own."""
        wide, high = size_mm or self.size_mm
        made = Page(high, wide) if lying else Page(wide, high)
        self.pages.append(made)
        return made

    def top_mm(self, page: Page) -> float:
        """Return the height below which a page is free."""
        return page.high_mm - MARGIN_MM - 13.0

    def written(self) -> bytes:
        """Return the book as a PDF that is the same for the same book."""
        load_fonts()
        stream = io.BytesIO()
        canvas = Canvas(stream, pageCompression=1, invariant=1, initialFontName=REGULAR)
        canvas.setTitle(f"{visual(self.title)}: {self.subtitle}")
        canvas.setAuthor("splitplan")
        canvas.setSubject(f"plan {self.plan_id}")
        if self.true_size:
            canvas.setViewerPreference("PrintScaling", "None")
        for number, page in enumerate(self.pages, start=1):
            canvas.setPageSize((page.wide_mm * MM, page.high_mm * MM))
            whole = Page(page.wide_mm, page.high_mm)
            self._head(whole)
            self._foot(whole, number)
            for mark in (*whole.marks, *page.marks):
                mark(canvas)
            canvas.showPage()
        canvas.save()
        return stream.getvalue()

    def _head(self, page: Page) -> None:
        if self.true_size:
            y = page.high_mm - SLIM_TOP_MM + 2.5
            page.words(self.subtitle, SLIM_LEFT_MM, y, size=9, bold=True, room_mm=90)
            right = page.wide_mm - SLIM_RIGHT_MM
            page.words(self.title, right, y, size=7.5, side="right", room_mm=90)
            return
        y = page.high_mm - MARGIN_MM - 4.0
        right = page.wide_mm - MARGIN_MM
        room = (right - MARGIN_MM) * 0.6
        page.words(self.subtitle, MARGIN_MM, y, size=13, bold=True, room_mm=room)
        page.words(self.title, right, y, size=9, side="right", room_mm=(right - MARGIN_MM) * 0.4)
        page.line(((MARGIN_MM, y - 2.6), (right, y - 2.6)), weight=PLAIN)

    def _foot(self, page: Page, number: int) -> None:
        left = f"plan {self.plan_id}" + (f"  ·  {self.date}" if self.date else "")
        count = f"page {number} of {len(self.pages)}"
        if self.true_size:
            right = page.wide_mm - SLIM_RIGHT_MM
            # the number first: a long date is cut before it is
            page.words(f"{count}  ·  {left}", right, 7.0, size=7.5, side="right", room_mm=74)
            return
        y = MARGIN_MM - 3.0
        right = page.wide_mm - MARGIN_MM
        page.line(((MARGIN_MM, y + 3.4), (right, y + 3.4)), weight=HAIR)
        page.words(left, MARGIN_MM, y, size=7.5, room_mm=70)
        page.words(self.foot, page.wide_mm / 2, y, size=7.5, side="middle", room_mm=90)
        page.words(count, right, y, size=7.5, side="right")
