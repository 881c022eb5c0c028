"""The piece list says of each piece what it is cut from, how large, how held and why."""

from hand_made_plan import impossible_plan, lid_plan

from api.piece_list import piece_table
from api.tables import columns


def test_every_piece_stands_with_metal_size_and_mounting():
    lines = piece_table(lid_plan()).splitlines()
    # Half of 80.57 in and 1/2 in to trim; 1 in of stand and 3/4 in of grip.
    assert any(
        " ".join(line.split()) == "P1 lid | frame 24 ga aluminium 40-13/16 in 1-3/4 in pinched"
        for line in lines
    )
    # A quarter of 126.85 in and 1/2 in to trim; 1 in of stand and 1-1/2 in of grip.
    assert any(
        " ".join(line.split()) == "P6 frame | open 22 ga galvanised 32-3/16 in 2-1/2 in clamped"
        for line in lines
    )


def test_the_reason_for_the_gauge_stands_below_its_piece():
    text = piece_table(lid_plan())
    assert "26 ga aluminium would lean 0.15 in under a brush, more than 1/8 in." in text
    assert "pre-form 4 in; clamp every 6 in." in text
    assert "Template of P1, turned over." in text


def test_long_names_keep_to_80_columns():
    piece = (
        lid_plan()
        .pieces[0]
        .model_copy(update={"run": "a-very-long-patch-name.upper " * 4, "id": "P" * 12})
    )
    text = piece_table(lid_plan(pieces=(piece,)))
    assert max(columns(line) for line in text.splitlines()) <= 80
    assert "..." in text


def test_a_plan_without_pieces_says_so():
    assert piece_table(impossible_plan()) == "One lid in a frame: no pieces (impossible)\n"
