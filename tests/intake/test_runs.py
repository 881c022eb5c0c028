"""Runs: edges between the same two parts that follow one another at marks."""

import json

import pytest
from scenario_cases import scenario, two_halves

from solver.intake import job_from_scenario

CAMPER = job_from_scenario(scenario("camper"))
DECK = job_from_scenario(scenario("deck-hatch"))


def walked(job, run):
    """Marks along a run, and which part is on the left all the way."""
    marks, lefts = [], set()
    for step in run.edges:
        edge = job.edge_of[step.edge]
        ends = [edge.start_mark, edge.end_mark]
        first, second = job.sides(edge)
        if step.backward:
            ends.reverse()
            first, second = second, first
        assert not marks or marks[-1] == ends[0]
        marks += ends if not marks else ends[1:]
        lefts.add(first)
    return marks, lefts


@pytest.mark.parametrize("job", [CAMPER, DECK], ids=["camper", "deck"])
def test_every_metal_edge_is_in_one_run_and_no_other_edge_is(job):
    used = [step.edge for run in job.runs for step in run.edges]
    assert sorted(used) == sorted(e.id for e in job.edges if job.carries_metal(e))


@pytest.mark.parametrize("job", [CAMPER, DECK], ids=["camper", "deck"])
def test_a_run_keeps_one_part_on_its_left(job):
    for run in job.runs:
        marks, lefts = walked(job, run)
        assert len(lefts) == 1
        if run.closed and marks[0] is not None:
            assert marks[0] == marks[-1]


@pytest.mark.parametrize("job", [CAMPER, DECK], ids=["camper", "deck"])
def test_the_twin_of_a_run_is_made_of_the_twins_of_its_edges(job):
    by_id = {run.id: run for run in job.runs}
    for run in job.runs:
        twin = by_id[run.twin]
        assert twin.twin == run.id
        assert {s.edge for s in twin.edges} == {job.edge_of[s.edge].twin for s in run.edges}
        assert twin.closed == run.closed


def test_a_run_goes_on_past_the_borders_of_patches():
    run = next(r for r in CAMPER.runs if r.id == "side-left.front | rail-left.front")
    assert walked(CAMPER, run) == (["L9", "L10", "L11", "L12", "L13"], {"side-left"})


def test_a_door_is_one_closed_run():
    run = next(r for r in CAMPER.runs if r.id == "door-left.upper | side-left.front")
    assert run.closed
    assert walked(CAMPER, run)[0] == ["L15", "L14", "L17", "L16", "L15"]


def test_two_mirrored_halves_make_one_closed_run():
    run = next(r for r in DECK.runs if r.id == "deck.port | open (aft)")
    assert run.closed
    assert run.twin == run.id
    assert len(run.edges) == 6


def test_three_parts_at_a_mark_end_there_and_the_corner_is_taped():
    corners = dict(CAMPER.corners)
    assert len(corners["L5"]) == 3
    # halfway along the roof's edge only the roof and the rail meet, and nothing ends
    assert "L4" not in corners
    # between the two upper and lower halves of a door only door and side meet
    assert "L14" not in corners


def test_edges_written_from_either_end_make_the_same_run():
    data = two_halves(["A", 10, "B"])
    for patch in ("a.fore", "a.aft"):
        del data["patches"][patch]["part"]
    one = job_from_scenario(data)
    data["edges"]["a.aft | open"] = ["B", 30, "A"]
    other = job_from_scenario(data)
    (run,), (same,) = one.runs, other.runs
    assert run.closed
    assert same.closed
    assert {s.edge for s in run.edges} == {s.edge for s in same.edges}
    walked(other, same)


def crossing(toward):
    """Return four patches of two parts like a chessboard, which meet in one mark."""
    patches = {
        name: {"area": 100, "faces": "up", "part": part}
        for name, part in (("ne", "p"), ("nw", "q"), ("sw", "p"), ("se", "q"))
    }
    edges = {
        "ne | nw": {"path": ["M", 10, "N"], "toward": toward["n"]},
        "nw | sw": {"path": ["M", 10, "W"], "toward": toward["w"]},
        "sw | se": {"path": ["M", 10, "S"], "toward": toward["s"]},
        "se | ne": {"path": ["M", 10, "E"], "toward": toward["e"]},
        "ne | open": ["N", 20, "E"],
        "nw | open": ["W", 20, "N"],
        "sw | open": ["S", 20, "W"],
        "se | open": ["E", 20, "S"],
    }
    return job_from_scenario({"length_unit": "in", "patches": patches, "edges": edges})


def test_where_four_edges_of_two_parts_meet_the_straightest_two_go_through():
    # from the first part to the second: east to west over the line north, and so on round
    job = crossing({"n": "right", "w": "rear", "s": "left", "e": "front"})
    through = [run for run in job.runs if len(run.edges) > 1 and "open" not in run.id]
    assert len(through) == 1
    assert {step.edge for step in through[0].edges} in (
        {"ne | nw", "sw | se"},
        {"nw | sw", "se | ne"},
    )
    assert sum("open" not in run.id for run in job.runs) == 3


def test_other_names_give_the_same_runs():
    renamed = json.loads(
        json.dumps(scenario("camper"))
        .replace("nose", "prow")
        .replace('"L1', '"L7x1')
        .replace('"R1', '"R7x1')
    )
    job = job_from_scenario(renamed)
    assert [len(run.edges) for run in job.runs] == [len(run.edges) for run in CAMPER.runs]
    assert [e.length_mm for e in job.edges] == [e.length_mm for e in CAMPER.edges]
    assert len(job.corners) == len(CAMPER.corners)
    assert [e.id for e in job.edges] == [e.id.replace("nose", "prow") for e in CAMPER.edges]
