"""The scenarios of the project: what they mean, counted by hand."""

import json

import jsonschema
import networkx
import pytest
from scenario_cases import SCENARIOS, changed, rows_of, scenario

from solver.intake import (
    describe,
    read_job,
    resolved_of,
    resolved_schema,
    scenario_schema,
)

NAMES = ["lid", "deck-hatch", "camper"]
FOOT2_MM2 = 304.8**2


@pytest.mark.parametrize("name", NAMES)
def test_path_bytes_and_values_give_the_same_job(name):
    path = SCENARIOS / f"{name}.json"
    job = read_job(path)
    assert read_job(str(path)) == job
    assert read_job(path.read_bytes()) == job
    assert read_job(scenario(name)) == job


def test_the_camper_has_11_parts_24_patches_57_edges_and_46_m_of_metal_lines():
    job = read_job(SCENARIOS / "camper.json")
    parts = {patch.part for patch in job.patches} - {None}
    assert (len(parts), len(job.patches), len(job.edges)) == (11, 24, 57)
    metal_mm = sum(edge.length_mm for edge in job.edges if job.carries_metal(edge))
    assert metal_mm == pytest.approx(46_000, rel=0.01)


def test_the_lines_of_the_camper_make_a_body_with_one_opening():
    # Euler: a drawing on a disc with c pieces has marks − lines + areas inside = c; the outside of
    # the disc is the open floor.  A loop is a piece of its own, with one mark where it starts.
    job = read_job(SCENARIOS / "camper.json")
    drawing = networkx.MultiGraph()
    for edge in job.edges:
        ends = (edge.start_mark or edge.id, edge.end_mark or edge.id)
        drawing.add_edge(*ends)
    pieces = networkx.number_connected_components(drawing)
    assert pieces == 1 + 4
    marks, lines = drawing.number_of_nodes(), drawing.number_of_edges()
    assert marks - lines + len(job.patches) == pieces


def test_the_areas_of_the_camper_are_those_of_a_body_of_its_size():
    # 10 ft long, 5 ft wide, 4½ ft high: two sides of about 10 × 4 ft less the rounding, and a
    # hull of about 14½ ft round by 52 in
    job = read_job(SCENARIOS / "camper.json")
    area = dict.fromkeys({p.part for p in job.patches}, 0.0)
    for patch in job.patches:
        area[patch.part] += patch.area_mm2 / FOOT2_MM2
    side = area["side-left"] + area["door-left"] + area["rail-left"] + 3.02
    assert 30 < side < 40
    hull = area["nose"] + area["cap"] + area["roof"] + area["vent"] + area["hatch"] + 3.72
    around_ft = sum(
        job.edge_of[name].length_mm / 304.8
        for name in (
            "nose | rail-left.front",
            "cap | rail-left.front",
            "roof.mid | rail-left.top",
            "roof.rear | rail-left.top",
            "hatch.upper | rail-left.rear",
            "hatch.lower | rail-left.rear",
        )
    )
    assert hull == pytest.approx(around_ft * 52 / 12, rel=0.01)


def test_the_lid_is_as_large_as_its_rectangle():
    # 24 × 18 with corners of 2: 432 − (4 − π)·2² = 428.57 in²; round it 80.57 in
    job = read_job(SCENARIOS / "lid.json")
    assert job.patch_of["lid"].area_mm2 == pytest.approx(428.57 * 25.4**2, rel=2e-3)
    assert job.edge_of["lid | frame"].length_mm == pytest.approx(80.57 * 25.4, rel=1e-4)


def test_the_deck_loops_agree_with_their_areas():
    job = read_job(SCENARIOS / "deck-hatch.json")
    assert job.patch_of["deck.port"].twin == "deck.starboard"
    assert job.edge_of["lid | land"].length_mm == pytest.approx(
        25.4 * (50 + 3 * 3.14159 * (2 * 90 + 2 * 80) / 180 + 21.147), rel=1e-3
    )


@pytest.mark.parametrize("name", NAMES)
def test_scenario_and_resolved_form_satisfy_their_schemas(name):
    jsonschema.Draft202012Validator.check_schema(scenario_schema())
    jsonschema.Draft202012Validator.check_schema(resolved_schema())
    jsonschema.validate(scenario(name), scenario_schema())
    resolved = json.loads(json.dumps(resolved_of(read_job(scenario(name)))))
    jsonschema.validate(resolved, resolved_schema())


@pytest.mark.parametrize("name", NAMES)
def test_the_resolved_form_is_accepted_and_means_the_same(name):
    job = read_job(scenario(name))
    assert read_job(json.dumps(resolved_of(job)).encode()) == job


@pytest.mark.parametrize("name", NAMES)
def test_what_was_understood_fits_80_columns_and_names_every_edge(name):
    job = read_job(scenario(name))
    text = describe(job)
    assert max(len(line) for line in text.splitlines()) <= 80
    flat = " ".join(text.split())
    for edge in job.edges:
        assert edge.id in flat
    for patch in job.patches:
        assert patch.id in flat


def test_what_was_understood_reads_like_the_shop():
    text = describe(read_job(scenario("deck-hatch")))
    flat = " ".join(text.split())
    assert "lid | land: closed, its own twin" in flat
    assert "88-15/16 in long, turns 360° left, easy-way radius from 3 in" in flat
    assert "return 3/8 in to land" in flat
    assert "3/4 in clear of land | coaming.port" in flat
    assert "coaming on both sides; a joint would leave a witness line, forbidden" in flat
    assert "deck | open: A0 P1 P2 F0 S2 S1 A0 (closed), 192 in, 6 edges" in flat
    metric = describe(read_job({**scenario("lid"), "length_unit": "mm"} | METRIC))
    assert "640 mm long" in metric
    assert "0.026 m²" in metric


def test_a_typed_decimal_is_shown_as_it_was_typed():
    odd = scenario("lid")
    name = next(iter(odd["edges"]))
    odd["edges"][name] = odd["edges"][name] | {"stand": 0.6}
    assert "stand 0.6 in" in " ".join(describe(read_job(odd)).split())


METRIC = {
    "patches": {
        "lid": {"area": 25600, "faces": "up"},
        "frame": {"area": "0.05 m2", "faces": "up"},
    },
    "edges": {"lid | frame": {"rectangle": [160, 160]}, "frame | open": {"rectangle": [280, 280]}},
    "stock": {
        "sheets": [{"metal": "aluminium", "thickness": 0.5, "size": [1000, 2000], "price": 30}]
    },
}


@pytest.mark.parametrize(
    ("keys", "value", "place"),
    [
        (("edges", 0, "stand"), 3, "edges[0].stand"),
        (("edges", 0, "first"), "nos", "edges[0].first"),
        (("edges", 0, "stand_mm"), "3", "edges[0].stand_mm"),
        (("edges", 0, "stand_mm"), -3, "edges[0].stand_mm"),
        (("edges", 0, "stand_mm"), 0, "edges[0].stand_mm"),
        (("edges", 0, "line", "stretches"), [], "edges[0].line"),
        (("edges", 0, "facings"), [[1, 1, 0]], "edges[0].facings[0]"),
        (("edges", 0, "no_seam_mm"), [[0, 99999]], "edges[0].no_seam_mm[0]"),
        (("patches", 0, "area_mm2"), 1e9, "patches[0].area_mm2"),
        (("patches", 0, "facings"), [], "patches[0].facings"),
        (("patches", 0, "twin"), "x", "patches[0].twin"),
        (("runs", 0, "edges"), [], "edges[0]"),
        (("stock",), [], "stock"),
        (("length_unit",), "inch", "length_unit"),
        (("goal",), "least metl", "goal"),
    ],
)
def test_mistakes_in_the_resolved_form_are_told_too(keys, value, place):
    data = json.loads(json.dumps(resolved_of(read_job(scenario("camper")))))
    assert place in [row[0] for row in rows_of(changed(data, *keys, to=value))]


def test_the_schema_tells_an_editor_what_may_stand_where():
    validator = jsonschema.Draft202012Validator(scenario_schema())
    lid = scenario("lid")
    assert not list(validator.iter_errors({**lid, "$schema": "scenario.schema.json"}))
    lid["edges"]["lid | frame"]["radus"] = 2
    assert list(validator.iter_errors(lid))
    kinds = scenario_schema()["properties"]["kinds"]["properties"]
    assert set(kinds) == {"every", "open", "part line", "inner"}
    edge = scenario_schema()["$defs"]["Edge"]["properties"]
    for key in ("path", "stand", "near", "toward", "return", "stands_on"):
        assert json.dumps(edge[key]).count("description")
