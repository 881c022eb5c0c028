"""What a nest page says of offcuts and of what there is to cut."""

from api.papers.nest_pages import cut_words, offcut_words
from api.papers.shop_sizes import shop_sizes
from solver.data.plan import NestPlan, Offcut

INCHES = shop_sizes("in", 25.4 / 16)
INCH = 25.4


def ring(*points):
    return tuple((x * INCH, y * INCH) for x, y in points)


def nest(cut_in, edge_in):
    return NestPlan(
        id="nest 1", stock="roll", bought=True, placed=(), offcuts=(), scrap_mm2=0.0,
        cut_mm=cut_in * INCH, edge_mm=edge_in * INCH,
    )  # fmt: skip


def test_a_rectangle_to_keep_is_told_by_its_sides_and_place():
    kept = Offcut(outline_mm=ring((4, 2), (34, 2), (34, 10), (4, 10)), area_mm2=1.0)
    assert offcut_words(INCHES, kept) == "30 in by 8 in, from 4 along and 2 up"


def test_an_outline_to_keep_is_told_by_its_box_and_the_rectangle_that_it_holds():
    outline = ring((4, 2), (34, 2), (34, 10))
    held = ring((19, 2), (34, 2), (34, 6), (19, 6))
    kept = Offcut(outline_mm=outline, area_mm2=1.0, holds_mm=held)
    assert offcut_words(INCHES, kept) == (
        "as drawn, within 30 in by 8 in, from 4 along and 2 up; it holds 15 in by 4 in"
    )


def test_what_lies_on_the_metals_own_edge_is_told_apart_from_what_is_cut():
    assert cut_words(INCHES, nest(150.0, 90.5)) == (
        " To cut: 12 ft 6 in of outline; 7 ft 6-1/2 in more lie on the metal's own edge."
    )
    assert cut_words(INCHES, nest(60.0, 0.0)) == " To cut: 60 in of outline."
    older = nest(60.0, 0.0).model_copy(update={"cut_mm": None, "edge_mm": None})
    assert cut_words(INCHES, older) == ""
