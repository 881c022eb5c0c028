"""PDF pages rendered by pdfium (not the library that wrote them) and measured in pixels."""

from __future__ import annotations

import io
import math
import re
from fractions import Fraction
from itertools import pairwise

import numpy as np
import paper_plans
import pypdfium2 as pdfium
import pytest
import shapely

from api.drawing.shapes import box_of
from api.drawing.strips import Strip
from api.papers.all_papers import Choices, paper_files
from api.papers.book import Book
from api.papers.facts import Facts
from api.papers.full_size import FullSize, full_size_book, long_book

DPI = 300
PX = DPI / 25.4


def render(content: bytes, page: int, dpi: int = DPI) -> np.ndarray:
    """Return a page as darkness, rows from the bottom up, so that y grows upward."""
    document = pdfium.PdfDocument(io.BytesIO(content))
    picture = document[page].render(scale=dpi / 72, grayscale=True).to_numpy()
    document.close()
    return np.asarray(picture).reshape(picture.shape[0], picture.shape[1])[::-1] < 140


def dark_near(dark: np.ndarray, x_mm: float, y_mm: float, reach_px: int = 3) -> bool:
    x, y = round(x_mm * PX), round(y_mm * PX)
    window = dark[max(y - reach_px, 0) : y + reach_px + 1, max(x - reach_px, 0) : x + reach_px + 1]
    return bool(window.any())


@pytest.fixture(scope="module", params=["in", "mm"])
def full(request) -> FullSize:
    facts = Facts(paper_plans.small_plan(length_unit=request.param))
    paper = "letter" if request.param == "in" else "a4"
    return full_size_book(facts, Book("t", "Full size", "p", paper=paper))


@pytest.fixture(scope="module")
def pages(full) -> list[np.ndarray]:
    content = full.book.written()
    return [render(content, number) for number in range(len(full.book.pages))]


def longest_run(dark: np.ndarray) -> int:
    """Length of the longest unbroken dark run in any row of a picture, in pixels."""
    best = 0
    for row in dark[dark.sum(axis=1) > 500]:
        edges = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(np.int8), [0]))))
        best = max(best, int((edges[1::2] - edges[::2]).max()))
    return best


def test_the_check_square_of_every_page_measures_true_both_ways(full, pages):
    side_mm = 101.6 if full.book.paper == "letter" else 100.0
    for dark in pages:
        corner = dark[: round(125 * PX), : round(125 * PX)]
        # the two sides stand at x = 9 and y = 11.5 mm
        level = corner[round(10.5 * PX) : round(12.5 * PX)]
        upright = corner[:, round(8 * PX) : round(10 * PX)].T
        assert longest_run(level) / PX == pytest.approx(side_mm, abs=0.3)
        assert longest_run(upright) / PX == pytest.approx(side_mm, abs=0.3)


def test_a_blank_that_fits_a_page_measures_true(full, pages):
    (one,) = [laid for laid in full.laid if laid.sheet.count == 1]
    placed = [one.sheet.pose.point(p) for p in one.sheet.piece.blank.outline_mm]
    low_x, low_y, high_x, high_y = box_of(placed)
    x0, y0 = round((one.x_mm + 0.5) * PX), round((one.y_mm + 0.5) * PX)
    # no caption below this height, nothing else in this window
    window = pages[one.page][
        y0 : round((one.y_mm + high_y + 1.0) * PX), x0 : round((one.x_mm + high_x + 1.5) * PX)
    ]
    rows, columns = np.flatnonzero(window.any(axis=1)), np.flatnonzero(window.any(axis=0))
    # the pen is 0.33 mm wide: half of it stands out on either side
    assert (columns[-1] - columns[0] + 1) / PX == pytest.approx(high_x - low_x + 0.33, abs=0.2)
    assert (rows[-1] - rows[0] + 1) / PX == pytest.approx(high_y - low_y + 0.33, abs=0.2)


def inside(laid, point) -> bool:
    x, y = laid.sheet.pose.point(point)
    return 0.6 < x < laid.sheet.wide_mm - 0.6 and 0.6 < y < laid.sheet.high_mm - 0.6


def outline_points(laid_all) -> list[tuple[float, float]]:
    ring = shapely.LinearRing(laid_all[0].sheet.piece.blank.outline_mm)
    return [ring.interpolate(s).coords[0] for s in np.arange(0.0, ring.length, 4.0)]


def test_sheets_joined_show_the_whole_outline_in_its_place(full, pages):
    many = [laid for laid in full.laid if laid.sheet.count > 1]
    assert len(many) >= 3
    for point in outline_points(many):
        shown = [laid for laid in many if inside(laid, point)]
        assert shown, f"{point} is on no sheet"
        for laid in shown:
            assert dark_near(pages[laid.page], *laid.place(point)), (point, laid.sheet.number)


def test_neighbouring_sheets_show_the_same_crosses_and_lie_level_on_them(full, pages):
    many = sorted(
        (laid for laid in full.laid if laid.sheet.count > 1), key=lambda laid: laid.sheet.number
    )
    for one, two in pairwise(many):
        (join,) = [a for a in one.sheet.joins if a in two.sheet.joins]
        for end in join.ends:
            assert inside(one, end)
            assert inside(two, end)
            assert dark_near(pages[one.page], *one.place(end))
            assert dark_near(pages[two.page], *two.place(end))
        # laid cross on cross, a point between them comes to lie on itself: both are at one scale
        spans = [math.dist(*(laid.place(end) for end in join.ends)) for laid in (one, two)]
        assert spans == pytest.approx([math.dist(*join.ends)] * 2)


def test_neighbouring_sheets_overlap(full):
    many = sorted(
        (laid for laid in full.laid if laid.sheet.count > 1), key=lambda laid: laid.sheet.number
    )
    for one, two in pairwise(many):
        both = [p for p in outline_points(many) if inside(one, p) and inside(two, p)]
        assert len(both) >= 4


def test_sheets_on_one_page_never_lie_over_each_other(full):
    for number in range(len(full.book.pages)):
        cells = [
            shapely.box(laid.x_mm, laid.y_mm, laid.x_mm + w, laid.y_mm + h)
            for laid in full.laid
            if laid.page == number
            for w, h in [laid.sheet.cell_mm]
        ]
        page = full.book.pages[number]
        assert shapely.union_all(cells).area == pytest.approx(sum(c.area for c in cells))
        assert all(shapely.box(0, 0, page.wide_mm, page.high_mm).contains(cell) for cell in cells)


def test_straight_blanks_are_not_printed_at_full_size(full):
    assert {laid.sheet.piece.id for laid in full.laid} == {"lid | frame #1", "lid | hatch #2"}


def test_what_no_offsets_tell_comes_first(full):
    first, last = full.pages_of["lid | hatch #2"]
    assert last <= full.needed_pages
    assert full.pages_of["lid | frame #1"][0] > full.needed_pages
    assert first == 1


def test_a_long_page_holds_a_template_whole_at_full_size(facts):
    full = long_book(facts, Book("t", "Full size", "p", paper="letter"))
    long = next(laid for laid in full.laid if laid.sheet.piece.id == "lid | frame #1")
    content = full.book.written()
    document = pdfium.PdfDocument(io.BytesIO(content))
    wide, high = document[long.page].get_size()
    low_x, low_y, high_x, high_y = box_of(
        [long.sheet.pose.point(p) for p in long.sheet.piece.blank.outline_mm]
    )
    assert wide * 25.4 / 72 > high_x - low_x
    assert high * 25.4 / 72 > high_y - low_y
    document.close()
    dark = render(content, long.page, dpi=150)
    ring = shapely.LinearRing(long.sheet.piece.blank.outline_mm)
    for s in np.arange(0.0, ring.length, 10.0):
        x, y = long.place(ring.interpolate(s).coords[0])
        px = 150 / 25.4
        spot = dark[round(y * px) - 2 : round(y * px) + 3, round(x * px) - 2 : round(x * px) + 3]
        assert spot.any()


def test_full_size_asks_the_viewer_not_to_scale(full):
    assert b"/PrintScaling /None" in full.book.written()


def test_the_same_plan_gives_the_same_bytes(plan, files):
    again = paper_files(plan.model_copy(), None, Choices())
    assert list(again) == list(files)
    assert {name for name in files if files[name] != again[name]} == set()


def test_papers_carry_the_date_only_if_one_is_given(plan, files):
    dated = paper_files(plan, None, Choices(date="3 May"))

    def text(content: bytes) -> str:
        document = pdfium.PdfDocument(io.BytesIO(content))
        words = document[0].get_textpage().get_text_range()
        document.close()
        return words

    assert "3 May" in text(dated["shopping.pdf"])
    assert "3 May" not in text(files["shopping.pdf"])
    assert "0123456789ab" in text(files["shopping.pdf"])
    assert "page 1 of" in text(files["shopping.pdf"])


def page_words(full: FullSize, *pages: int) -> str:
    document = pdfium.PdfDocument(io.BytesIO(full.book.written()))
    words = " ".join(document[one].get_textpage().get_text_range() for one in pages)
    document.close()
    return re.sub(r"\s+", " ", words)


def test_a_template_tells_where_it_goes_which_way_up_and_how_it_is_folded(full):
    (one,) = [laid for laid in full.laid if laid.sheet.count == 1]
    words = page_words(full, one.page)
    for text in (
        "P5",
        "26 ga aluminium",
        "lid | hatch #2",
        "Edge: lid | hatch",
        "Stretch-out length",
        "looks toward hatch",
        "P5 up",
        "Fold 90° toward hatch, toward you as drawn",
        "start",
        "end",
        "Print at 100 %",
        "Check square",
    ):
        assert text in words, text


def test_a_template_is_marked_for_its_mirrored_twin(full):
    first = next(laid for laid in full.laid if laid.sheet.count > 1 and laid.sheet.number == 1)
    words = page_words(full, first.page)
    assert "Mirrored twin P2 (lid | frame #2): the same template" in words


def test_notches_slits_and_v_notches_carry_their_stations(full):
    words = page_words(full, *range(len(full.book.pages)))
    inches = full.book.paper == "letter"
    unit = 25.4 if inches else 1.0

    def read(text: str) -> float:
        return float(sum(Fraction(part) for part in text.split("-"))) * unit

    told = [
        read(word)
        for word in words.split()
        if re.fullmatch(r"[0-9]+(-[0-9]+/[0-9]+|\.[0-9]+)?", word)
    ]
    # bolts and V-notches as asked for; half a mark, and what is lost in reading an outline
    for asked in (100.0, 300.0, 500.0, 700.0, 60.0, 90.0, 120.0):
        assert min(abs(one - asked) for one in told) <= (25.4 / 32 if inches else 0.25) + 0.3


def test_no_join_of_sheets_lies_in_a_notch(full):
    notches = [(at - 6.35, at + 6.35) for at in (100.0, 300.0, 500.0, 700.0)]
    strip = Strip(next(laid for laid in full.laid if laid.sheet.count > 1).sheet.piece.blank)
    joins = {join for laid in full.laid for join in laid.sheet.joins}
    assert joins
    for join in joins:
        at = strip.station_of(join.ends[0])
        assert all(not a - 4.0 < at < b + 4.0 for a, b in notches), at
