"""What the checker finds in a plan made from what is there: each test breaks one thing."""

import sys
from functools import cache
from pathlib import Path

import pytest

from solver.checker import check_plan
from solver.checker.claims import check_claims
from solver.data.line import Line, Stretch
from solver.data.plan import Plan
from solver.data.work import WorkRecord, work_of
from solver.planner.plan_job import plan_job
from solver.planner.rerun_job import rerun_job

sys.path.insert(0, str(Path(__file__).parents[1] / "planner"))

from small_jobs import INCH, edge, job, run, straight

FOLDED = {"return_mm": 12.7}


def lines(a, b, c, *, folded=False):
    """Three lines in inches, one of them curved easy way so tightly that it is pre-formed."""
    tight = 1 / (3 * INCH)
    edges = [
        edge("a", straight(a * INCH), split="forbidden", **(FOLDED if folded else {})),
        edge("b", straight(b * INCH), split="forbidden"),
        edge("c", Line((Stretch(c * INCH, tight, tight),)), split="forbidden"),
    ]
    return job(edges, [run(e.id, e) for e in edges])


NEW = lines(50, 30, 20)


@cache
def rerun():
    """Kept: b and c; trimmed: a, 10 in shorter; all cut, b fitted, the roll begun."""
    record = WorkRecord(cut="all", fitted=("b #1",), change_price=5.0)
    plan = rerun_job(plan_job(lines(60, 30, 20)), NEW, record)
    assert check_plan(NEW, plan).ok
    return plan


@cache
def begun():
    """One line is still to be cut, from what is left of the roll."""
    new = lines(50, 33, 20)
    plan = rerun_job(plan_job(lines(60, 30, 20)), new, WorkRecord(cut="all"))
    assert any(nest.rest_of for nest in plan.nests)
    assert check_plan(new, plan).ok
    return new, plan


def broken(plan, **changes):
    """The plan with parts of its account of what was there replaced."""
    return plan.model_copy(update={"rerun": plan.rerun.model_copy(update=changes)})


def source(plan, how):
    return next(one for one in plan.rerun.sources if one.how == how)


def with_source(plan, of, changes):
    one = source(plan, of)
    changed = one.model_copy(update=changes)
    return broken(plan, sources=tuple(changed if s is one else s for s in plan.rerun.sources))


def rules(plan, of=NEW):
    return {fault.rule for fault in check_plan(of, plan).faults}


def sentences(plan, of=NEW):
    return " ".join(fault.sentence for fault in check_plan(of, plan).faults)


def test_the_plan_that_is_broken_below_is_what_it_should_be():
    plan = rerun()
    assert {s.old: s.how for s in plan.rerun.sources} == {
        "a #1": "trimmed",
        "b #1": "kept",
        "c #1": "kept",
    }
    assert plan.nests == ()


def test_a_piece_serves_once():
    plan = rerun()
    twice = with_source(plan, "trimmed", {"old": "b #1"})
    assert "serves 2 pieces" in sentences(twice)


def test_a_piece_that_is_there_is_used_or_scrapped():
    plan = rerun()
    lost = broken(plan, sources=tuple(s for s in plan.rerun.sources if s.how != "trimmed"))
    assert {"reuse", "placed once"} <= rules(lost)


def test_nothing_is_made_from_what_is_not_there():
    plan = rerun()
    gone = broken(plan, existing=tuple(e for e in plan.rerun.existing if e.piece.id != "a #1"))
    assert "is there 0 times" in sentences(gone)


def test_what_is_spoiled_is_not_there():
    assert "is spoiled" in sentences(broken(rerun(), spoiled=("a #1",)))


def test_a_piece_that_is_there_is_not_cut_from_stock_too():
    new, plan = begun()
    nest = plan.nests[0]
    again = nest.placed[0].model_copy(update={"piece": source(plan, "kept").piece})
    twice = plan.model_copy(
        update={"nests": (nest.model_copy(update={"placed": (*nest.placed, again)}),)}
    )
    assert "placed once" in rules(twice, new)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"x_mm": 300.0}, "lie outside"),
        ({"y_mm": 2.0}, "lie outside"),
        ({"turn_deg": 1.0}, "lie outside"),
        ({"cut_mm": 300.0}, "of border are to be cut"),
        ({"cut_mm": 0.0}, "of border are to be cut"),
        ({"folds": 1}, "folds are spared"),
        ({"slits": 1}, "slits are spared"),
        ({"v_notches": 2}, "V-notches are spared"),
        ({"folds": -1}, "less than nothing"),
        ({"how": "moved"}, "it is moved as it is"),
        ({"how": "kept"}, "its blank is another"),
    ],
)
def test_a_trimmed_piece_lies_within_and_spares_what_is_stated(changes, words):
    assert words in sentences(with_source(rerun(), "trimmed", changes))


def replaced_piece(plan, name, **changes):
    existing = tuple(
        one.model_copy(update={"piece": one.piece.model_copy(update=changes)})
        if one.piece.id == name
        else one
        for one in plan.rerun.existing
    )
    return broken(plan, existing=existing)


@pytest.mark.parametrize(
    ("name", "changes", "words"),
    [
        ("a #1", {"thickness_mm": 0.4}, "that is aluminium 0.4000 mm"),
        ("a #1", {"metal": "galvanised"}, "that is galvanised"),
        ("a #1", {"preform_mm": 50.0}, "bent to its own line"),
        ("a #1", {"bends_mm": (100.0,)}, "bent to its own line"),
        ("c #1", {"preform_mm": 50.0}, "are pre-formed"),
        ("b #1", {"mounting": "pinched"}, "that was pinched"),
        ("b #1", {"bends_mm": (100.0,)}, "is bent elsewhere"),
    ],
)
def test_what_is_there_must_be_what_is_wanted(name, changes, words):
    assert words in sentences(replaced_piece(rerun(), name, **changes))


def test_a_kept_piece_has_its_own_name_and_place():
    plan = rerun()
    kept = source(plan, "kept").piece
    pieces = tuple(p.model_copy(update={"id": "x #1"}) if p.id == kept else p for p in plan.pieces)
    renamed = with_source(plan.model_copy(update={"pieces": pieces}), "kept", {"piece": "x #1"})
    assert "another name" in sentences(renamed)
    b = next(e.piece for e in plan.rerun.existing if e.piece.id == "b #1")
    elsewhere = b.spans[0].model_copy(update={"edge": "a"})
    moved = replaced_piece(plan, "b #1", spans=(elsewhere,))
    assert "made for other parts of edges" in sentences(moved)


def test_a_kept_piece_that_is_not_fitted_is_still_to_be_fitted():
    plan = rerun()
    loose = broken(
        plan,
        existing=tuple(one.model_copy(update={"fitted": False}) for one in plan.rerun.existing),
    )
    assert {"minutes", "total minutes", "cost"} <= rules(loose)


def test_changes_to_what_is_fitted_are_counted_and_priced():
    plan = rerun()
    assert plan.rerun.changes == 0
    assert {"changes", "cost"} <= rules(broken(plan, changes=1))
    assert "changes" in rules(broken(plan, change_price=-1.0))


def test_a_built_section_is_a_section_of_the_plan():
    plan = rerun()
    assert {"built sections"} <= rules(broken(plan, built=(("lid",),)))


def test_what_is_on_hand_is_what_may_be_taken():
    new, plan = begun()
    nest = plan.nests[0]
    whole = nest.model_copy(update={"rest_of": None})
    assert {"rest", "purchase", "on hand"} <= rules(
        plan.model_copy(update={"nests": (whole,)}), new
    )
    stranger = nest.model_copy(update={"rest_of": "nest 9"})
    assert "rest" in rules(plan.model_copy(update={"nests": (stranger,)}), new)


def test_a_begun_unit_lacks_what_was_cut_from_it():
    new, plan = begun()
    nest = plan.nests[0]
    fuller = nest.model_copy(update={"gone_mm": nest.gone_mm[1:]})
    assert {"rest", "nest area"} <= rules(plan.model_copy(update={"nests": (fuller,)}), new)


def test_a_new_blank_keeps_the_gap_from_what_was_cut_before():
    new, plan = begun()
    nest = plan.nests[0]
    ring = nest.gone_mm[0]
    low = min(ring)
    on_it = nest.placed[0].model_copy(update={"x_mm": low[0], "y_mm": low[1], "turn_deg": 0.0})
    doubled = nest.model_copy(update={"placed": (on_it, *nest.placed[1:])})
    assert "cutting gap" in rules(plan.model_copy(update={"nests": (doubled,)}), new)


def test_an_account_of_broken_outlines_is_told_and_not_judged():
    plan = rerun()
    blank = plan.rerun.existing[0].piece.blank.model_copy(update={"outline_mm": ((0, 0), (1, 1))})
    name = plan.rerun.existing[0].piece.id
    report = check_plan(NEW, replaced_piece(plan, name, blank=blank))
    assert not report.ok
    assert report.cost is None


def test_a_folded_piece_turned_over_folds_to_the_other_hand():
    old_job, new = lines(60, 30, 20, folded=True), lines(50, 30, 20, folded=True)
    plan = rerun_job(plan_job(old_job), new, WorkRecord(cut="all"))
    trimmed = source(plan, "trimmed")
    assert trimmed.folds == 1
    assert check_plan(new, plan).ok
    existing = tuple(
        one.model_copy(update={"piece": other_hand(one.piece)})
        if one.piece.id == trimmed.old
        else one
        for one in plan.rerun.existing
    )
    assert "a fold of it lies inside" in sentences(broken(plan, existing=existing), new)


def other_hand(piece):
    hand = {"left": "right", "right": "left"}
    folds = tuple(f.model_copy(update={"hand": hand[f.hand]}) for f in piece.blank.folds)
    return piece.model_copy(update={"blank": piece.blank.model_copy(update={"folds": folds})})


def test_a_plan_of_a_rerun_reads_back_as_it_was_written():
    plan = rerun()
    assert Plan.model_validate_json(plan.model_dump_json()) == plan


# --- the account of what was there, against the old plan and the record ------------------------


@cache
def account():
    """An old plan, the record of its work, the new job, and the plan made with what is there."""
    old, new = plan_job(lines(60, 30, 20)), lines(50, 33, 20)
    record = WorkRecord(cut=("a #1", "b #1"), fitted=("b #1",), spoiled=("c #1",))
    plan = rerun_job(old, new, record)
    assert {one.piece.id for one in plan.rerun.existing} == {"a #1", "b #1"}
    assert check_claims(new, old, work_of(record, old), plan) == ()
    return new, old, work_of(record, old), plan


def claims(plan, **changes):
    new, old, work, _ = account()
    faults = check_claims(new, old, work, broken(plan, **changes) if changes else plan)
    return " ".join(f"{fault.place} {fault.sentence}" for fault in faults)


def test_an_account_names_its_plan_and_all_that_is_there():
    plan = account()[3]
    one, other = plan.rerun.existing
    assert "not" in claims(plan, old_plan="another")
    assert '"b #1" was cut' in claims(plan, existing=(one,))
    unfitted = other.model_copy(update={"fitted": False})
    assert '"b #1" was cut' in claims(plan, existing=(one, unfitted))
    made_up = one.model_copy(update={"piece": one.piece.model_copy(update={"id": "z"})})
    assert '"z" is told to be there' in claims(plan, existing=(one, other, made_up))
    longer = one.piece.model_copy(update={"to_mm": one.piece.to_mm + 1})
    assert '"a #1" was cut' in claims(
        plan, existing=(one.model_copy(update={"piece": longer}), other)
    )
    assert "rerun.spoiled" in claims(plan, spoiled=())


def test_an_account_has_the_metal_that_is_left():
    plan = account()[3]
    (rest,) = plan.rerun.rests
    assert '"light al" 1 are told to be there; 0 are' in claims(plan, on_hand={"light al": 1})
    full = rest.model_copy(update={"gone_mm": rest.gone_mm[1:]})
    assert "lacks other blanks" in claims(plan, rests=(full,))
    other = rest.model_copy(update={"id": "nest 8"})
    assert "is told to be begun, and is not" in claims(plan, rests=(other,))


def test_an_account_does_not_make_sections_up():
    assert "is not built" in claims(account()[3], built=(("lid", "frame"),))


def test_names_stay_with_their_pieces():
    plan = account()[3]
    kept = next(p for p in plan.pieces if p.id == "c #1")
    renamed = plan.model_copy(
        update={
            "pieces": tuple(
                p.model_copy(update={"id": "c #9"}) if p is kept else p for p in plan.pieces
            )
        }
    )
    assert 'is "c #1" under another name' in claims(renamed)
    taken = plan.model_copy(
        update={
            "pieces": tuple(
                p.model_copy(update={"id": "b #1"}) if p.run == "a" else p for p in plan.pieces
            )
        }
    )
    assert "has the name of another piece" in claims(taken)
