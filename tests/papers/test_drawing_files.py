"""DXF and SVG read back: ezdxf's recovering reader, ElementTree, shapely."""

from __future__ import annotations

import io
import json
import math
import re
import xml.etree.ElementTree as ElementTree

import ezdxf
import pytest
import shapely
from ezdxf import recover

from api.papers.facts import Facts

OWN_LAYERS = {"cut", "fold", "slit", "v-notch", "mold line", "clamp", "stock", "roll end", "offcut"}


def read_dxf(content: bytes):
    document, audit = recover.read(io.BytesIO(content))
    assert not audit.errors
    return document


def rings(document, layer: str) -> list[shapely.Polygon]:
    found = document.modelspace().query(f'LWPOLYLINE[layer=="{layer}"]')
    return [shapely.Polygon([(x, y) for x, y, *_ in line.get_points()]) for line in found]


def test_every_blank_comes_back_from_dxf_with_area_and_outline_length_to_a_hundredth(files, facts):
    names = [name for name in files if re.fullmatch(r"drawings/piece-.*\.dxf", name)]
    assert len(names) == len(facts.plan.pieces)
    for name, piece in zip(names, facts.plan.pieces, strict=True):
        (ring,) = rings(read_dxf(files[name]), "cut")
        own = shapely.Polygon(piece.blank.outline_mm)
        assert ring.area == pytest.approx(piece.blank.area_mm2, abs=0.01)
        assert ring.length == pytest.approx(own.length, abs=0.01)


def test_dxf_is_r2010_in_millimetres_and_every_outline_is_closed(files):
    for name, content in files.items():
        if name.endswith(".dxf"):
            document = read_dxf(content)
            assert document.dxfversion == ezdxf.DXF2010
            # $INSUNITS 4 is millimetres, $MEASUREMENT 1 metric (DXF reference, header variables)
            assert document.header["$INSUNITS"] == 4
            assert document.header["$MEASUREMENT"] == 1
            assert all(
                line.closed for line in document.modelspace().query('LWPOLYLINE[layer=="cut"]')
            )


def test_dxf_has_layers_of_our_own_names_only(files):
    for name, content in files.items():
        if name.endswith(".dxf"):
            used = {entity.dxf.layer for entity in read_dxf(content).modelspace()}
            assert used <= OWN_LAYERS | {"words"}


def test_folds_slits_and_v_notches_stand_on_their_layers(files, plan):
    counted = {"fold": 0, "slit": 0, "v-notch": 0}
    for name, content in files.items():
        if re.fullmatch(r"drawings/piece-.*\.dxf", name):
            space = read_dxf(content).modelspace()
            for layer in counted:
                counted[layer] += len(space.query(f'LWPOLYLINE[layer=="{layer}"]'))
    assert counted == {
        "fold": sum(len(piece.blank.folds) for piece in plan.pieces),
        "slit": sum(len(piece.blank.slits_mm) for piece in plan.pieces),
        "v-notch": sum(len(piece.blank.v_notches_mm) for piece in plan.pieces),
    }


def test_a_nest_in_dxf_holds_all_blanks_inside_the_stock_and_none_over_another(files, plan):
    (name,) = [one for one in files if re.fullmatch(r"drawings/nest-.*\.dxf", one)]
    document = read_dxf(files[name])
    (sheet,) = rings(document, "stock")
    blanks = rings(document, "cut")
    assert sheet.area == pytest.approx(36 * 48 * 25.4**2, rel=1e-9)
    assert sum(ring.area for ring in blanks) == pytest.approx(
        sum(piece.blank.area_mm2 for piece in plan.pieces), abs=0.05
    )
    assert sheet.buffer(1e-6).contains(shapely.union_all(blanks))
    assert shapely.union_all(blanks).area == pytest.approx(
        sum(ring.area for ring in blanks), abs=1e-3
    )


def test_svg_measures_true_on_its_sheet(files, facts):
    names = [name for name in files if re.fullmatch(r"drawings/piece-.*\.svg", name)]
    for name, piece in zip(names, facts.plan.pieces, strict=True):
        root = ElementTree.fromstring(files[name])
        _, _, wide, high = map(float, root.get("viewBox").split())
        # one unit of the drawing is one millimetre of the sheet (SVG 2, 8.2)
        assert root.get("width") == f"{wide:.4f}mm"
        assert root.get("height") == f"{high:.4f}mm"
        (path,) = [one for one in root.findall(".//{*}path") if one.get("class") == "cut"]
        numbers = list(map(float, re.findall(r"-?[0-9.]+", path.get("d"))))
        ring = shapely.Polygon(list(zip(numbers[::2], numbers[1::2], strict=True)))
        assert path.get("d").endswith("Z")
        assert ring.area == pytest.approx(piece.blank.area_mm2, abs=0.2)
        assert ring.length == pytest.approx(
            shapely.Polygon(piece.blank.outline_mm).length, abs=0.01
        )


def test_json_holds_the_same_outlines(files, plan):
    told = json.loads(files["drawings/drawings.json"])
    assert told["unit"] == "mm"
    named = {one["name"]: one for one in told["drawings"].values()}
    for piece in plan.pieces:
        (cut,) = [path for path in named[piece.id]["paths"] if path["meaning"] == "cut"]
        assert [tuple(point) for point in cut["points"]] == list(piece.blank.outline_mm)


def test_names_that_hurt_xml_and_dxf_are_shown_harmless(plan):
    from api.drawing.blank import blank_drawing
    from api.drawing.svg import svg_bytes
    from api.papers.dxf_files import dxf_bytes

    bad = plan.pieces[0].model_copy(update={"id": 'a<script>&"\n%%c\x00\u202e#1'})
    drawing = blank_drawing(bad, bad.id)
    root = ElementTree.fromstring(svg_bytes(drawing))
    assert not list(root.findall(".//{*}script"))
    words = read_dxf(dxf_bytes(drawing)).modelspace().query("TEXT")
    assert len(words) == 1
    assert "\n" not in words[0].dxf.text


def test_a_strip_is_read_back_from_its_outline(facts: Facts):
    from paper_plans import NOTCHES

    strip = facts.strips["lid | frame #1"]
    assert shapely.LineString(strip.root).length == pytest.approx(832.7, abs=0.1)
    # stations and sizes as asked, within the chord tolerance of the outline (0.05 mm) and its slope
    assert [notch.at_mm for notch in strip.notches] == pytest.approx(
        [notch.at_mm for notch in NOTCHES], abs=0.1
    )
    assert [notch.wide_mm for notch in strip.notches] == pytest.approx([12.7] * 4, abs=0.1)
    assert [notch.deep_mm for notch in strip.notches] == pytest.approx([19.05] * 4, abs=0.1)
    assert facts.strips["lid | hatch #1"].slit_stations_mm == pytest.approx((200, 240, 280))


@pytest.mark.parametrize("radius", [None, 700.0, -700.0])
@pytest.mark.parametrize("grip", [0.0, 38.1])
@pytest.mark.parametrize(("start", "end"), [(0.0, 250.0), (350.0, 600.0), (200.0, 420.0)])
def test_a_stretch_cut_lower_is_read_back_where_it_reaches_an_end_too(radius, grip, start, end):
    from paper_plans import Notch, arc, blank_plan, straight

    from api.drawing.strips import Strip

    line = straight(600.0) if radius is None else arc(600.0, radius)
    step = Notch((start + end) / 2, end - start, 9.5, "free")
    strip = Strip(blank_plan(line, 25.4, grip, notches=(step,)))
    (found,) = strip.notches
    assert found.side == "free"
    # the outline leaves the true curve by 0.05 mm, the sides of a step lean with it
    assert (found.from_mm, found.to_mm) == pytest.approx((start, end), abs=0.5)
    assert found.deep_mm == pytest.approx(9.5, abs=0.1)
    (x, y), _ = strip.end_frame
    # a chord is 2·R·sin(L / 2R)
    chord = 600.0 if radius is None else 2 * 700.0 * math.sin(600.0 / 1400.0)
    assert math.hypot(x, y) == pytest.approx(chord, abs=0.5)
