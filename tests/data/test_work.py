"""The record of the work: what may stand in it, and all that is wrong with one at once."""

import json
from functools import cache

import pytest

from solver.data.errors import ScenarioErrors
from solver.data.plan import (
    BlankPlan,
    Cost,
    HowMade,
    NestPlan,
    Piece,
    Placed,
    Plan,
    Proof,
    Purchase,
    Reason,
    Section,
    Span,
)
from solver.data.work import NOTHING, WorkRecord, read_record, work_of

PROOF = Proof(bound=None, gap=None, covers="", purchase_bound=None, purchase_gap=None,
              purchase_covers="")  # fmt: skip
MADE = HowMade(version="0", seed=0, seconds=None, time_cut=False, rounds=0, libraries={})


def piece(name):
    blank = BlankPlan(
        outline_mm=((0, 0), (100, 0), (100, 25), (0, 25)),
        root_length_mm=100,
        above_mm=25,
        below_mm=0,
        area_mm2=2500,
        straight=True,
    )
    span = Span(edge="e", from_mm=0, to_mm=100, backward=False)
    return Piece(
        id=name, run="e", from_mm=0, to_mm=100, spans=(span,), trim_mm=0, mounting="standing",
        metal="aluminium", gauge=24, thickness_mm=0.5, stand_mm=25, grip_mm=0, return_mm=0,
        visible=False, blank=blank, reason=Reason(rule="only stock", sentence="x"), mass_kg=0.1,
    )  # fmt: skip


def nest(name, stock, *pieces, bought=True):
    placed = tuple(
        Placed(piece=p, x_mm=0, y_mm=30 * i, turn_deg=0, flipped=False)
        for i, p in enumerate(pieces)
    )
    return NestPlan(id=name, stock=stock, bought=bought, placed=placed, offcuts=(), scrap_mm2=0.0)


def section(name):
    return Section(
        id=name, patches=(name,), area_mm2=1, mass_kg=1, extent_mm=None, centre_mm=None, people=1,
        lift_basis="",
    )  # fmt: skip


@cache
def plan():
    """Four pieces: two on a bought roll, one on another, one on an offcut from the shelf."""
    return Plan(
        id="p1", title="t", length_unit="in", currency="USD", scenario_digest="d",
        status="stopped", goal="cheapest", proof=PROOF, made=MADE,
        cost=Cost(metal=28, joints=0, labor=0, total=28, waste_kg=0, objective=28),
        sections=(section("A"), section("B")),
        pieces=tuple(piece(f"e #{n}") for n in (1, 2, 3, 4)),
        purchases=(
            Purchase(stock="roll", buy=2, from_hand=0, unit_price=14, price=28),
            Purchase(stock="shelf", buy=0, from_hand=1, unit_price=0, price=0),
        ),
        nests=(
            nest("nest 1", "roll", "e #1", "e #2"),
            nest("nest 2", "roll", "e #3"),
            nest("nest 3", "shelf", "e #4", bought=False),
        ),
    )  # fmt: skip


def work(**given):
    return work_of(WorkRecord(**given), plan())


def problems(call):
    with pytest.raises(ScenarioErrors) as caught:
        call()
    return [(p.place, p.value, p.remedy) for p in caught.value.problems]


def test_nothing_is_done_where_nothing_is_said():
    done = work_of(NOTHING, plan())
    assert not done.begun
    assert done.bought == {}


def test_what_is_cut_is_cut_from_what_is_bought():
    # one roll is begun for e #1; the shelf's offcut needs no buying
    assert work(cut=("e #1", "e #4")).bought == {"roll": 1}
    assert work(cut=("e #1", "e #3")).bought == {"roll": 2}


def test_all_stands_for_every_name():
    done = work(cut="all", bought="all", built="all")
    assert done.cut == {"e #1", "e #2", "e #3", "e #4"}
    assert done.bought == {"roll": 2}
    assert done.built == ("A", "B")


def test_what_is_fitted_is_cut():
    done = work(fitted=("e #2",))
    assert done.cut == {"e #2"}
    assert done.fitted == {"e #2"}


def test_what_is_spoiled_is_gone_although_everything_was_cut():
    done = work(cut="all", spoiled=("e #2",))
    assert "e #2" not in done.cut
    assert done.bought["roll"] == 2


def test_more_may_be_bought_than_is_cut_from():
    assert work(cut=("e #1",), bought={"roll": 5}).bought == {"roll": 5}


def test_everything_wrong_comes_at_once_with_place_value_and_remedy():
    found = problems(
        lambda: work(
            plan="p2",
            cut=("e #1", "e #3", "e#2"),
            fitted=("e #2",),
            spoiled=("e #2", "f"),
            gone=("nest 7",),
            built=("C",),
            bought={"roll": 1},
        )
    )
    assert [place for place, _, _ in found] == [
        "plan",
        "cut[2]",
        "spoiled[1]",
        "gone[0]",
        "built[0]",
        "fitted",
        "bought.roll",
    ]
    told = {place: (value, remedy) for place, value, remedy in found}
    assert told["cut[2]"] == ('there is no piece "e#2" in the old plan', 'did you mean "e #2"?')
    assert told["bought.roll"][1] == "give 2 or more"
    assert '"p1"' in told["plan"][0]
    assert all(value and remedy for _, value, remedy in found)


@pytest.mark.parametrize(
    ("content", "place", "words"),
    [
        ("{", "the record", "write JSON"),
        ("[]", "the record", "write an object"),
        ('{"cutt": []}', "cutt", 'did you mean "cut"?'),
        ('{"cut": "some"}', "cut", '"all"'),
        ('{"cut": [1]}', "cut", "list of piece ids"),
        ('{"bought": {"roll": 1.5}}', "bought", "whole numbers"),
        ('{"bought": [1]}', "bought", "whole numbers"),
        ('{"bolts_bought": -1}', "bolts_bought", "from 0 to"),
        ('{"change_price": -2}', "change_price", "from 0 to"),
        ('{"change_price": "dear"}', "change_price", "from 0 to"),
        ('{"format": "other"}', "format", "splitplan work 1"),
    ],
)
def test_a_record_of_the_wrong_form_says_what_is_right(content, place, words):
    ((found, _, remedy),) = problems(lambda: read_record(content))
    assert found == place
    assert words in remedy


def test_several_faults_of_form_come_at_once():
    found = problems(lambda: read_record('{"cut": 3, "gone": "x", "colour": 1, "built": [2]}'))
    assert {place for place, _, _ in found} == {"cut", "gone", "colour", "built"}


def test_numbers_of_no_size_are_refused():
    assert problems(lambda: read_record('{"change_price": NaN}'))
    assert problems(lambda: read_record('{"change_price": 1e400}'))
    assert problems(lambda: work(bought={"roll": -1}))
    assert problems(lambda: work(bought={"roll": 10**9}))


def test_a_record_reads_back_as_it_was_written():
    record = WorkRecord(cut=("e #1",), bought={"roll": 1}, built="all", change_price=3.5)
    assert read_record(record.model_dump_json()) == record
    assert read_record(json.loads(record.model_dump_json())) == record


def test_an_answer_without_pieces_is_no_plan_to_go_on_with():
    none = plan().model_copy(update={"cost": None, "status": "no answer"})
    ((place, value, _),) = problems(lambda: work_of(NOTHING, none))
    assert (place, value) == ("the old plan", "is no answer")
