"""CSV and workbook, read back by the standard library and by openpyxl's reader."""

from __future__ import annotations

import csv
import io
import zipfile

import openpyxl
import pytest

from api.papers.list_files import csv_bytes, safe_text, workbook_bytes
from api.papers.lists import ListColumn, Listing

EVIL = (
    "=1+1",
    "+1",
    "-2",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    " =1",
    "\u00a0+1",
    "＝1+1",
    '=HYPERLINK("http://x")',
    "#N/A",
)


def rows_of(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"))))


def sheet_rows(content: bytes, title: str) -> list[dict[str, object]]:
    sheet = openpyxl.load_workbook(io.BytesIO(content))[title]
    head, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(head, row, strict=True)) for row in rows]


def test_the_shopping_list_adds_up_to_the_plans_money(files, plan):
    rows = rows_of(files["lists/shopping.csv"])
    metal = sum(float(row["price (USD)"]) for row in rows if row["group"] == "Metal")
    joints = sum(
        float(row["price (USD)"]) for row in rows if row["group"] == "Joints and finishing"
    )
    assert metal == pytest.approx(plan.cost.metal)
    assert joints == pytest.approx(plan.cost.joints)
    paid = [row for row in rows if row["item"] == "to pay"]
    assert float(paid[0]["price (USD)"]) == pytest.approx(plan.cost.metal + plan.cost.joints)


def test_the_workbook_says_the_same_as_the_csv_files(files):
    for name, title in (
        ("shopping", "Shopping list"),
        ("cutting", "Cut list"),
        ("pieces-by-section", "Pieces by section"),
        ("pieces-by-edge", "Pieces by edge"),
        ("hours", "Hours"),
    ):
        one = rows_of(files[f"lists/{name}.csv"])
        two = sheet_rows(files["lists.xlsx"], title)
        assert len(one) == len(two)
        for left, right in zip(one, two, strict=True):
            for key, text in left.items():
                value = right[key]
                if isinstance(value, int | float):
                    assert float(text) == pytest.approx(value, abs=1e-5)
                else:
                    assert text == (value or "")


def test_every_blank_is_cut_once_and_the_areas_add_up(files, plan):
    rows = rows_of(files["lists/cutting.csv"])
    assert sorted(row["piece"] for row in rows) == sorted(piece.id for piece in plan.pieces)
    assert sum(float(row["area (mm²)"]) for row in rows) == pytest.approx(
        sum(piece.blank.area_mm2 for piece in plan.pieces)
    )


def test_a_pinched_piece_stands_under_both_its_sections(files):
    rows = rows_of(files["lists/pieces-by-section.csv"])
    under = [row["section"][:9] for row in rows if row["piece"] == "lid | frame #1"]
    assert under == ["Section A", "Section C"]


def test_edges_name_bolts_and_pieces(files):
    rows = {row["edge"]: row for row in rows_of(files["lists/pieces-by-edge.csv"])}
    assert rows["lid | frame"]["pieces"] == "P1"
    assert rows["lid | frame"]["bolts"] == "6"
    assert rows["lid | frame"]["packer"] == "0.109 in"  # 2.77 mm / 25.4


def test_the_hours_add_up(files, plan):
    rows = rows_of(files["lists/hours.csv"])
    assert sum(float(row["minutes"]) for row in rows[:-1]) == pytest.approx(plan.minutes)
    assert float(rows[-1]["minutes"]) == pytest.approx(plan.minutes)


def test_the_work_asks_for_gloves_eyes_lungs_and_a_hoist(files):
    things = {row["item"] for row in rows_of(files["lists/shopping.csv"])}
    for word in ("gloves", "glasses", "respirator", "hoist", "blocks"):
        assert any(word in thing for thing in things), word


@pytest.mark.parametrize("text", EVIL)
def test_text_that_looks_like_a_formula_stays_text(text):
    listing = Listing("x", "X", (ListColumn("name"), ListColumn("n", "number")), ((text, 1.5),))
    (row,) = rows_of(csv_bytes(listing))
    assert row["name"].strip()[0] not in "=+-@＝＋－＠"
    sheet = openpyxl.load_workbook(io.BytesIO(workbook_bytes((listing,), "t", "p")))["X"]
    assert sheet["A2"].data_type == "s"
    assert sheet["B2"].data_type == "n"


def test_a_name_in_any_script_comes_back_whole():
    name = "Люк | палуба, דלת, باب, 甲板, Überhang"
    listing = Listing("x", "X", (ListColumn("name"),), ((name,),))
    assert rows_of(csv_bytes(listing))[0]["name"] == name
    assert sheet_rows(workbook_bytes((listing,), "t", "p"), "X")[0]["name"] == name


def test_commas_quotes_and_line_breaks_stay_in_their_cell():
    listing = Listing("x", "X", (ListColumn("a"), ListColumn("b")), (('5", wide', "two\nlines"),))
    (row,) = rows_of(csv_bytes(listing))
    assert row == {"a": '5", wide', "b": safe_text("two\nlines")}


def test_a_workbook_holds_no_time(files):
    with zipfile.ZipFile(io.BytesIO(files["lists.xlsx"])) as archive:
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert b"1980-01-01T00:00:00Z" in archive.read("docProps/core.xml")
