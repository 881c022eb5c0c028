"""One side is written, the other follows: y changes sign, paths are walked from the other end."""

import copy

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scenario_cases import changed, problems_of, rows_of, scenario
from shapely import Polygon

from solver.geometry.blanks import blank_of
from solver.intake import job_from_scenario
from solver.intake.mirror import mirrored_edge, mirrored_patch, walked_back
from solver.intake.names import read_edge_name, swapping

CAMPER = scenario("camper")
JOB = job_from_scenario(CAMPER)
SWAP = swapping({"left": "right", "L": "R"})


def test_whole_words_swap_and_nothing_else():
    assert SWAP("rail-left.front") == "rail-right.front"
    assert SWAP("window-right") == "window-left"
    assert SWAP("L12") == "R12"
    assert SWAP("leftover") == "leftover"
    assert SWAP("Lid") == "Lid"
    assert SWAP("a.left (Left L)") == "a.right (Left R)"


@given(st.text(alphabet="leftrighLR.-12 ", max_size=20))
@settings(max_examples=200, derandomize=True)
def test_swapping_twice_is_nothing(name):
    assert SWAP(SWAP(name)) == name


def test_edges_have_one_spelling():
    assert read_edge_name("a|b").id == "a | b"
    assert read_edge_name("  a.x  |  b c ( aft )").id == "a.x | b c (aft)"
    assert read_edge_name("a | b | c") is None
    assert read_edge_name("a | b (x) y") is None


@pytest.mark.parametrize("edge", JOB.edges, ids=lambda edge: edge.id)
def test_mirroring_twice_is_the_same_edge(edge):
    twice = mirrored_edge(mirrored_edge(edge, SWAP), SWAP)
    assert (twice.id, twice.first, twice.second) == (edge.id, edge.first, edge.second)
    assert (twice.start_mark, twice.end_mark) == (edge.start_mark, edge.end_mark)
    assert twice.line == edge.line
    assert twice.facings == edge.facings
    assert [n.at_mm for n in twice.notches] == pytest.approx([n.at_mm for n in edge.notches])


def test_mirroring_a_patch_twice_is_the_same_patch():
    for patch in JOB.patches:
        assert mirrored_patch(mirrored_patch(patch, SWAP), SWAP) == patch


def test_walking_back_twice_is_the_same_walk():
    for edge in JOB.edges:
        there = walked_back(walked_back(edge))
        assert (there.first, there.second, there.return_to) == (
            edge.first,
            edge.second,
            edge.return_to,
        )
        assert there.line == edge.line


def test_every_edge_of_a_side_has_its_twin():
    for edge in JOB.edges:
        twin = JOB.edge_of[edge.twin]
        assert twin.twin == edge.id
        assert twin.length_mm == pytest.approx(edge.length_mm)
        assert (twin.stand_mm, twin.grip_mm, twin.visible) == (
            edge.stand_mm,
            edge.grip_mm,
            edge.visible,
        )
        assert JOB.patch_of[edge.first].twin == twin.first
        assert edge.open or JOB.patch_of[edge.second].twin == twin.second


@pytest.mark.parametrize(
    "name",
    ["side-left.front | rail-left.front", "nose | rail-left.front", "rail-left.front | open"],
)
def test_twin_edges_are_cut_from_one_template_turned_over(name):
    # the outline of a twin, turned over and laid with its end on the other's start, is the outline
    edge = JOB.edge_of[name]
    twin = JOB.edge_of[edge.twin]
    end = min(edge.length_mm - 5.0, 700.0)
    one = blank_of(edge.line, 5.0, end, 25.4, 19.05)
    other = blank_of(twin.line, twin.length_mm - end, twin.length_mm - 5.0, 25.4, 19.05)
    ends, twin_ends = ([complex(*b.root_mm[0]), complex(*b.root_mm[-1])] for b in (one, other))
    turned = [z.conjugate() for z in twin_ends]
    spin = (ends[1] - ends[0]) / (turned[0] - turned[1])
    assert abs(spin) == pytest.approx(1)
    laid = [
        (w.real, w.imag)
        for w in (spin * (complex(*p).conjugate() - turned[1]) + ends[0] for p in other.outline_mm)
    ]
    apart = Polygon(laid).symmetric_difference(Polygon(one.outline_mm)).area
    assert apart < 1e-3 * one.area_mm2


def test_stations_count_from_the_other_end():
    edge = JOB.edge_of["door-left.upper | side-left.front"]
    twin = JOB.edge_of["door-right.upper | side-right.front"]
    assert edge.notches[0].at_mm == pytest.approx(12 * 25.4)
    assert twin.notches[0].at_mm == pytest.approx(edge.length_mm - 12 * 25.4)
    assert (twin.start_mark, twin.end_mark) == ("R14", "R15")


def test_facings_boxes_and_toward_change_sides():
    left, right = JOB.patch_of["rail-left.top"], JOB.patch_of["rail-right.top"]
    assert right.box_mm[0][1] == -left.box_mm[1][1]
    assert {f[1] for f in right.facings} == {-f[1] for f in left.facings}
    nose = JOB.edge_of["nose | rail-right.front"]
    assert nose.facings == ((0.0, -1.0, 0.0),)


def test_a_twin_that_is_written_wins_whole():
    data = copy.deepcopy(CAMPER)
    data["patches"]["door-right.lower"] = {"area": "3 ft2", "faces": "right"}
    name = "none.window-right | door-right.upper"
    data["edges"][name] = {"rectangle": [20, 17], "radius": 3, "kind": "window"}
    job = job_from_scenario(data)
    assert job.patch_of["door-right.lower"].area_mm2 == pytest.approx(3 * 304.8**2)
    window = job.edge_of[name]
    assert window.length_mm < job.edge_of["none.window-left | door-left.upper"].length_mm
    assert window.twin is None
    assert job.edge_of["none.window-left | door-left.upper"].twin is None
    assert len(job.edges) == 57


def test_a_written_twin_in_the_other_order_of_names_is_still_the_twin():
    data = copy.deepcopy(CAMPER)
    data["edges"]["rail-right.front | nose"] = {
        "path": ["R2", {"up": 60, "radius": 42.98}, 10, "R1"],
        "toward": "left",
    }
    job = job_from_scenario(data)
    assert len(job.edges) == 57
    edge = job.edge_of["rail-right.front | nose"]
    assert edge.twin == "nose | rail-left.front"


def test_a_patch_across_the_plane_is_symmetric_or_one_sided():
    box = [[65, -8, 53], [81.5, 10, 54]]
    data = changed(CAMPER, "patches", "vent", "box", to=box)
    (row,) = rows_of(data)
    assert row[0] == 'patches "vent".box'
    job = job_from_scenario({**data, "one_sided": ["vent"]})
    assert job.patch_of["vent"].twin is None
    assert job.edge_of["vent | roof.mid"].twin is None


def test_a_one_sided_patch_with_a_side_in_its_name_gets_no_twin():
    data = copy.deepcopy(CAMPER)
    data["patches"]["step-left"] = {"area": 20, "faces": "left"}
    data["edges"]["step-left | door-left.lower"] = {"rectangle": [5, 4]}
    data["one_sided"] = ["step-left"]
    job = job_from_scenario(data)
    assert len(job.patches) == 25
    assert len(job.edges) == 58


def test_an_edge_across_the_plane_has_marks_that_are_each_others():
    data = changed(CAMPER, "edges", "nose | cap", "path", to=["R2", 52, "L3"])
    assert any("each other's" in problem.value for problem in problems_of(data))
