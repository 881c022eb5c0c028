"""Bends round sharp corners: on drawings, in the setting out, in the cut list and in the minutes.

The job is a strip that stands round a square corner of an open edge: 300 mm, a turn, 200 mm.
"""

from __future__ import annotations

import csv
import io
import math
import re

import ezdxf.recover
import paper_plans
import pypdfium2 as pdfium
import pytest

from api.papers.all_papers import Choices, paper_files
from api.papers.captions import bend_lines
from api.papers.facts import Facts
from api.papers.templates import entries
from api.papers.work import order_of_work
from solver.data.job import Edge, Job, Patch, Run, RunEdge
from solver.data.line import Corner, Line, Stretch
from solver.data.plan import HoursLine, Plan

AT_MM = 300.0


def bent_plan(**more) -> Plan:
    """The small plan, its clamped strip bent once and nothing folded in it."""
    plan = paper_plans.small_plan()
    pieces = tuple(
        piece.model_copy(update={"bends_mm": (AT_MM,)}) if piece.mounting == "clamped" else piece
        for piece in plan.pieces
    )
    return plan.model_copy(update={"pieces": pieces, **more})


def job_with_corner(turn_deg: float) -> Job:
    up = (0.0, 0.0, 1.0)
    line = Line((Stretch(300.0), Stretch(300.0)), (Corner(300.0, turn_deg),))
    return Job(
        "t",
        "in",
        "USD",
        (Patch("frame", "frame", 1e6, (up,)),),
        (Edge("frame | open", "frame", "open", line, None, None),),
        (Run("frame | open", (RunEdge("frame | open", False),), False),),
    )


def strip_of(plan: Plan):
    return next(piece for piece in plan.pieces if piece.bends_mm)


def test_a_bend_is_a_line_square_across_the_strip_on_its_own_layer():
    plan = bent_plan()
    files = paper_files(plan, None, Choices())
    piece = strip_of(plan)
    (name,) = [n for n in files if re.fullmatch(r"drawings/piece-.*frame-open.*\.dxf", n)]
    document, audit = ezdxf.recover.read(io.BytesIO(files[name]))
    assert not audit.errors
    (line,) = document.modelspace().query('LWPOLYLINE[layer=="bend"]')
    ends = [(x, y) for x, y, *_ in line.get_points()]
    blank = piece.blank
    assert ends[0] == pytest.approx((AT_MM, -blank.below_mm), abs=1e-6)
    assert ends[1] == pytest.approx((AT_MM, blank.above_mm), abs=1e-6)


def test_the_setting_out_and_the_cut_list_name_each_bend():
    files = paper_files(bent_plan(), None, Choices())
    document = pdfium.PdfDocument(io.BytesIO(files["setting-out.pdf"]))
    words = " ".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    # 300 mm is 11.811 in; the nearest sixteenth is 11-13/16
    assert "from the start at: 11-13/16" in re.sub(r"\s+", " ", words)
    rows = csv.DictReader(io.StringIO(files["lists/cutting.csv"].decode("utf-8-sig")))
    assert {row["piece"]: row["bends"] for row in rows}["frame | open #1"] == "1"


@pytest.mark.parametrize(("turn", "way"), [(90.0, "90° away from you"), (-45.0, "45° toward you")])
def test_the_scenario_tells_how_far_and_which_way(turn, way):
    # a turn to the left goes away from who looks: the left hand lies behind the drawing
    plan = bent_plan()
    (line,) = bend_lines(Facts(plan, job_with_corner(turn)), strip_of(plan))
    assert way in line


def test_without_the_scenario_the_paper_says_where_it_stands():
    plan = bent_plan()
    (line,) = bend_lines(Facts(plan), strip_of(plan))
    assert "scenario" in line
    assert "°" not in line


def test_strips_bent_at_different_stations_are_not_told_to_be_alike():
    plan = paper_plans.small_plan()
    straight = next(piece for piece in plan.pieces if piece.mounting == "clamped")
    pieces = tuple(
        straight.model_copy(update={"id": f"a #{n}", "bends_mm": (at,)})
        for n, at in enumerate((AT_MM, AT_MM, 200.0), start=1)
    )
    plan = plan.model_copy(update={"pieces": pieces, "nests": ()})
    assert [1 + len(entry.alike) for entry in entries(Facts(plan))] == [2, 1]


def test_minutes_of_bends_go_to_the_stock_that_is_bent():
    folded = HoursLine(operation="fold", count=1, unit="folds", minutes=2.4)
    plan = bent_plan()
    pieces = tuple(
        piece.model_copy(update={"blank": piece.blank.model_copy(update={"folds": ()})})
        for piece in plan.pieces
    )
    hours = tuple(one for one in plan.hours if one.operation != "fold")
    plan = plan.model_copy(update={"pieces": pieces, "hours": (*hours, folded)})
    told = order_of_work(Facts(plan))
    assert "Other work" not in [chapter.title for chapter in told]
    (cutting,) = [s for c in told for s in c.steps if s.title.startswith("Lay out")]
    assert any("Bend P3" in line for line in cutting.lines)
    assert math.fsum(s.minutes for c in told for s in c.steps) == pytest.approx(
        math.fsum(line.minutes for line in plan.hours)
    )
