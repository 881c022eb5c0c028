"""The piece list says of each piece what it is cut from, how large, how held and why."""

from hand_made_plan import impossible_plan, lid_plan

from api.piece_list import piece_table
from api.tables import columns


def test_every_piece_stands_with_metal_size_and_mounting():
    lines = piece_table(lid_plan()).splitlines()
    # Half of 80.57 in and 1/2 in to trim; 1 in of stand and 3/4 in of grip.
    assert any(
        " ".join(line.split()) == "P1 24 ga aluminium 40-13/16 in 1-3/4 in pinched"
        for line in lines
    )
    # A quarter of 126.85 in and 1/2 in to trim; 1 in of stand and 1-1/2 in of grip.
    assert any(
        " ".join(line.split()) == "P6 22 ga galvanised 32-3/16 in 2-1/2 in clamped"
        for line in lines
    )


def test_the_reason_for_the_gauge_stands_below_its_piece():
    text = piece_table(lid_plan())
    assert "26 ga aluminium would lean 0.15 in under a brush, more than 1/8 in." in " ".join(
        text.split()
    )
    assert "pre-form 4 in; clamp every 6 in." in text
    assert "Template of P1, turned over." in text


def test_the_run_of_a_piece_is_named_unless_its_id_does():
    text = piece_table(lid_plan())
    assert "Run lid | frame." in text
    piece = lid_plan().pieces[0].model_copy(update={"id": "lid | frame #1"})
    assert "Run " not in piece_table(lid_plan(pieces=(piece,)))


def test_long_ids_keep_to_80_columns_and_are_never_cut():
    name = "a-very-long-patch-name.upper | another-long-patch-name.lower (aft) #12"
    piece = lid_plan().pieces[0].model_copy(update={"id": name})
    text = piece_table(lid_plan(pieces=(piece, lid_plan().pieces[2])))
    assert max(columns(line) for line in text.splitlines()) <= 80
    assert f"  {name}\n" in text
    assert "40-13/16 in" in text


def test_a_plan_without_pieces_says_so():
    assert piece_table(impossible_plan()) == "One lid in a frame: no pieces (impossible)\n"
