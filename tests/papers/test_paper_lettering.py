"""Letters on paper: every script that the fonts hold, right-to-left words, and what is missing."""

from __future__ import annotations

import html
import io
import unicodedata
from pathlib import Path

import numpy as np
import paper_plans
import pypdfium2 as pdfium
import pytest
from fontTools.ttLib import TTFont

from api.papers import lettering
from api.papers.all_papers import Choices, paper_files
from api.papers.book import Book
from api.papers.lettering import broken, fit, visual, width_pt


def page_with(text: str):
    book = Book("t", "s", "p")
    page = book.page()
    page.words(text, 30, 150, size=14)
    return book.written()


def page_text(content: bytes, number: int = 0) -> str:
    document = pdfium.PdfDocument(io.BytesIO(content))
    words = document[number].get_textpage().get_text_range()
    document.close()
    return words


def ink(content: bytes) -> int:
    document = pdfium.PdfDocument(io.BytesIO(content))
    picture = document[0].render(scale=1, grayscale=True).to_numpy()
    document.close()
    return int((np.asarray(picture) < 128).sum())


@pytest.mark.parametrize("text", ["Дверь", "Θύρα", "Überhöhe", "Ťažný", "Łódź", "Đường"])
def test_words_of_many_scripts_are_on_the_page_and_can_be_searched(text):
    assert text in unicodedata.normalize("NFC", page_text(page_with(text)))


@pytest.mark.parametrize("text", ["דלת", "باب خلفي"])
def test_right_to_left_words_are_printed_with_all_their_letters(text):
    content = page_with(text)
    shown = unicodedata.normalize("NFKC", page_text(content))
    assert sorted(set(text) - {" "}) == sorted(set(shown) & set(text) - {" "})
    assert ink(content) > ink(page_with("")) + 20


def test_hebrew_stands_from_right_to_left():
    # Unicode Bidirectional Algorithm (UAX 9): a right-to-left word inside left-to-right text
    assert visual("A דלת B") == "A תלד B"


def test_arabic_letters_are_joined():
    # beh initial/medial/final forms are in Arabic Presentation Forms-B (Unicode chart FE70)
    assert all(0xFE70 <= ord(one) <= 0xFEFF for one in visual("باب"))


def test_a_letter_that_no_font_holds_is_a_box_and_not_nothing():
    assert visual("甲板 1") == "□□ 1"


def test_invisible_marks_cannot_turn_a_line():
    assert visual("a\u202eb\x07c") == "a?b?c"


def test_markup_is_printed_as_it_stands():
    assert "<b>lid</b> & frame" in page_text(page_with("<b>lid</b> & frame"))


def test_long_words_and_lines_are_kept_in_their_room():
    text = "edge " * 10 + "x" * 200
    for line in broken(text, 100.0, 9.0):
        assert width_pt(line, 9.0) <= 100.0
    assert "".join(broken(text, 100.0, 9.0)).replace(" ", "") == text.replace(" ", "")
    assert width_pt(fit(text, 60.0, 9.0), 9.0) <= 60.0


def test_all_papers_are_made_for_names_in_any_script_and_of_any_length():
    plan = paper_plans.small_plan()
    evil = ("../../x", "=cmd()", "דלת | باب #1", "甲板 #1", "n" * 300)
    pieces = tuple(
        piece.model_copy(update={"id": name, "template_of": None})
        for piece, name in zip(plan.pieces, evil, strict=True)
    )
    of = dict(zip((piece.id for piece in plan.pieces), evil, strict=True))
    nest = plan.nests[0]
    placed = tuple(one.model_copy(update={"piece": of[one.piece]}) for one in nest.placed)
    plan = plan.model_copy(
        update={
            "pieces": pieces,
            "nests": (nest.model_copy(update={"placed": placed}),),
            "title": "<script>דלת</script>",
        }
    )
    files = paper_files(plan, None, Choices())
    assert all(".." not in name and "\\" not in name and not name.startswith("/") for name in files)
    assert b"<script>" not in files["index.html"]
    assert "&lt;script&gt;דלת" in files["index.html"].decode()


def test_what_the_plan_assumed_heads_the_first_page_and_the_index():
    note = "no stock is given: a small shop's usual rolls and sheets are assumed"
    files = paper_files(paper_plans.small_plan(notes=(note,)), None, Choices())
    assert note in " ".join(page_text(files["shopping.pdf"]).split())
    assert html.escape(note) in files["index.html"].decode()


def test_the_licence_beside_the_fonts_is_the_one_that_they_carry():
    # OpenType name table: 0 is the copyright, 13 the licence; read by fontTools
    folder = Path(lettering.__file__).parent / "fonts"
    said = " ".join((folder / "LICENSE.txt").read_text().split())
    for file in sorted(folder.glob("*.ttf")):
        names = TTFont(str(file))["name"]
        for number in (0, 13):
            own = names.getName(number, 3, 1, 0x409).toUnicode()
            assert " ".join(own.split()) in said, (file.name, number)


def test_names_that_differ_only_in_case_or_in_what_a_file_name_drops_have_files_of_their_own():
    plan = paper_plans.small_plan()
    alike = ("A b #1", "a B #1", "a-b #1", "a|b #1", "=a b #1")
    of = dict(zip((piece.id for piece in plan.pieces), alike, strict=True))
    pieces = tuple(
        piece.model_copy(update={"id": of[piece.id], "template_of": None}) for piece in plan.pieces
    )
    nest = plan.nests[0]
    placed = tuple(one.model_copy(update={"piece": of[one.piece]}) for one in nest.placed)
    nests = (nest.model_copy(update={"placed": placed}),)
    files = paper_files(plan.model_copy(update={"pieces": pieces, "nests": nests}), None, Choices())
    drawn = [name for name in files if name.startswith("drawings/piece-")]
    assert len({name.casefold() for name in drawn}) == 2 * len(alike)
