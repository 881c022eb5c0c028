"""The order of work: nothing is closed in before its metal is in."""

from __future__ import annotations

import io
import math
import re

import numpy as np
import paper_plans
import pypdfium2 as pdfium
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.papers.cut_order import Item, OutlineCut, StraightCut, cut_order
from api.papers.facts import Facts
from api.papers.shop_sizes import shop_sizes
from api.papers.work import insertion_order, order_of_work, setting_up
from solver.data.job import Job, Patch


def steps(facts):
    return [step for chapter in order_of_work(facts) for step in chapter.steps]


def place(facts, begins: str) -> int:
    return next(i for i, step in enumerate(steps(facts)) if step.title.startswith(begins))


def test_minutes_of_the_steps_add_up_to_the_plans_hours(facts):
    told = math.fsum(step.minutes for step in steps(facts))
    assert told == pytest.approx(math.fsum(line.minutes for line in facts.plan.hours))


def test_sections_are_set_up_in_the_reverse_of_their_removal(facts):
    assert setting_up(facts) == ("C", "B", "A")
    assert place(facts, "Set up section C") < place(facts, "Set up section B")
    assert place(facts, "Take off section A") < place(facts, "Take off section B")
    assert place(facts, "Tighten") < place(facts, "Laminate") < place(facts, "Take off section A")


def test_every_piece_goes_in_once_when_it_can_still_be_reached(facts):
    order = insertion_order(facts)
    put = [p.id for group in (*order.alone.values(), *order.joining.values()) for p in group]
    put += [p.id for p in order.last]
    assert sorted(put) == sorted(piece.id for piece in facts.plan.pieces)
    # the joint of lid and frame is made when the lid, which comes off first, is set up last
    assert [p.id for p in order.joining["A"]][:2] == ["lid | frame #1", "lid | frame #2"]
    assert [p.id for p in order.last] == ["frame | open #1"]


def test_clamps_come_after_all_sections_stand(facts):
    assert place(facts, "Clamp") > place(facts, "Set up section A")


def test_bolts_are_counted_where_they_are_put_in_drawn_up_and_taken_out(facts):
    by_title = {step.title: step.bolts for step in steps(facts)}
    assert by_title["Set up section A"] == 11
    assert by_title["Tighten all bolts"] == 11
    assert by_title["Take off section A"] == 11
    assert by_title["Take off section B"] == 0


def test_gap_of_a_joint_is_metal_and_packer(facts):
    lines = steps(facts)[place(facts, "Set up section A")].lines
    # 0.405 + 2.77 mm = 3.175 mm = 1/8 in
    assert any("0.125 in" in line and "packer 0.109 in" in line for line in lines)


def test_removal_says_what_is_drawn_first_and_what_it_frees(facts):
    first = " ".join(steps(facts)[place(facts, "Take off section A")].lines)
    second = " ".join(steps(facts)[place(facts, "Take off section B")].lines)
    assert "Frees B" in first
    assert "draw the metal P1" in second
    assert "Only after A" in second


def test_cautions_and_last_word_are_on_paper(files):
    document = pdfium.PdfDocument(io.BytesIO(files["order-of-work.pdf"]))
    words = " ".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    words = re.sub(r"\s+", " ", words)
    for text in ("Sharp edges", "Lifting", "Dust", "Local codes and licensed practice decide"):
        assert text in words


def test_tipping_goes_by_moments_about_the_nearer_side(plan):
    box = ((0.0, 0.0, 0.0), (2000.0, 1000.0, 800.0))
    up = (0.0, 0.0, 1.0)
    patches = tuple(Patch(name, name, 1e6, (up,), box_mm=box) for name in ("lid", "hatch", "frame"))
    job = Job("t", "mm", "USD", patches, (), ())
    sections = tuple(
        section.model_copy(update={"centre_mm": (1000.0, 500.0, 400.0), "mass_kg": 30.0})
        for section in plan.sections
    )
    plan = plan.model_copy(update={"sections": sections, "length_unit": "mm"})
    facts = Facts(plan, job)
    said = " ".join(steps(Facts(plan, job))[place(facts, "Tip and block")].lines)
    # F h = W b: 90 kg x 9.80665 x 500 / 800 = 551.6 N; atan(500 / 400) = 51.3 degrees [derived]
    assert "552 N" in said
    assert "51°" in said
    # HSE L23: 150 N each to start a push [memory]; 552 / 150 is four people
    assert "at least 4 people" in said
    # 1000 mm across, reached from both sides with 678 mm (MIL-STD-1472G)
    assert "reached from both sides" in said


def test_without_boxes_the_paper_says_that_it_does_not_know(facts):
    said = " ".join(steps(facts)[place(facts, "Tip and block")].lines)
    assert "need the scenario" in said


BOXES = st.lists(st.tuples(st.integers(1, 8), st.integers(1, 6)), min_size=2, max_size=7)


@settings(derandomize=True, max_examples=60)
@given(BOXES)
def test_straight_cuts_pass_through_no_blank_and_part_every_blank(sizes):
    """Blanks in rows of three, a sixteenth apart: such a layout falls apart by straight cuts."""
    inch, gap = 25.4, 25.4 / 16
    items, x, y, high = [], 0.0, 0.0, 0.0
    for n, (wide, tall) in enumerate(sizes):
        if n % 3 == 0 and n:
            x, y, high = 0.0, y + high + gap, 0.0
        items.append(Item(f"P{n}", (x, y, x + wide * inch, y + tall * inch)))
        x += wide * inch + gap
        high = max(high, tall * inch)
    shop = shop_sizes("in", gap)
    groups = [items]
    for step in cut_order(items, shop):
        assert isinstance(step, StraightCut), step
        axis = 0 if step.way == "across" else 1
        at = shop.mm(step.mark)
        for group in groups:
            before = [i for i in group if i.box[axis + 2] <= at + 1e-6]
            after = [i for i in group if i.box[axis] >= at - 1e-6]
            if before and after and len(before) + len(after) == len(group):
                groups.remove(group)
                groups += [before, after]
                break
        else:
            pytest.fail(f"{step} cuts through a blank")
    assert sorted(len(group) for group in groups) == [1] * len(items)


def test_blanks_that_no_straight_cut_parts_are_cut_along_their_outlines():
    pinwheel = [
        Item("P1", (0, 0, 60, 30)),
        Item("P2", (62, 0, 92, 60)),
        Item("P3", (32, 62, 92, 92)),
        Item("P4", (0, 32, 30, 92)),
    ]
    (step,) = cut_order(pinwheel, shop_sizes("mm"))
    assert isinstance(step, OutlineCut)
    assert set(step.names) == {"P1", "P2", "P3", "P4"}


def test_stock_size_is_read_from_a_name_only_if_the_areas_agree(facts):
    nest = facts.plan.nests[0]
    assert facts.stock_shape(nest).length_mm == pytest.approx(48 * 25.4)
    assert facts.stock_shape(nest).known
    other = nest.model_copy(update={"stock": "26 ga aluminium sheet 36 in x 60 in"})
    assert not facts.stock_shape(other).known


def test_who_looks_at_a_blank_sees_the_side_of_the_second_patch(facts):
    # Walking along x with the free edge (y) up, the left hand is up x forward = y x x = -z: away
    # from who looks along -z.  The first-named patch lies on the left hand, so the second is seen.
    left = np.cross((0.0, 1.0, 0.0), (1.0, 0.0, 0.0))
    assert left.tolist() == [0.0, 0.0, -1.0]
    piece = facts.pieces["lid | hatch #1"]
    assert facts.toward(piece) == "hatch"
    assert facts.fold_words(piece, piece.blank.folds[0]).endswith("toward you as drawn")
    back = piece.spans[0].model_copy(update={"backward": True})
    turned = piece.model_copy(update={"spans": (back,)})
    assert facts.toward(turned) == "lid"
    assert "away from you" in facts.fold_words(turned, piece.blank.folds[0])


def test_twin_is_cut_with_the_template_turned_over(plan):
    from api.drawing.twins import twin_lay

    bent = paper_plans.Line(
        (
            paper_plans.Stretch(300.0),
            paper_plans.Stretch(400.0, hard_start=1 / 500, hard_end=1 / 500),
        )
    )
    mirrored = paper_plans.Line(tuple(reversed(bent.stretches)))
    one = paper_plans.piece("a #1", "a", paper_plans.blank_plan(bent, 25.0, 0.0))
    # the mirrored line walked from its other end has the same hard curve in reverse order
    two = paper_plans.piece(
        "b #1", "b", paper_plans.blank_plan(mirrored, 25.0, 0.0, 12.7), trim_mm=12.7
    )
    lay = twin_lay(one, two)
    assert lay.sure
    assert lay.turned_over
    assert lay.add_mm == 12.7
    same = twin_lay(one, one)
    assert same.sure
    assert not same.turned_over


def test_where_reach_asks_for_tipping_the_step_says_so(plan):
    caution = 'patch "lid" is 35 in deep; 26.69 in can be reached: tip section A by 41 degrees'
    plan = plan.model_copy(update={"cautions": (*plan.cautions, caution)})
    said = " ".join(steps(Facts(plan))[place(Facts(plan), "Tip and block")].lines)
    assert "tip section A by 41 degrees" in said


def test_clamps_come_off_before_the_sections(facts):
    assert place(facts, "Take off the clamps, 5") < place(facts, "Take off section A")
