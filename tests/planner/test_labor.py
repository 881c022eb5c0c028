"""Minutes by operation, worked by hand from the shop's rates [practice]."""

from __future__ import annotations

import dataclasses

import pytest
from small_jobs import FOOT, edge, job, one_run, run, straight

from solver.data.job import Edge, Job, Minutes, Patch, Rules, Shop
from solver.planner.labor import (
    UNITS,
    PieceWork,
    added,
    edge_work,
    fillet_sides,
    joint_work,
    labor_cost,
    minutes_of,
    piece_work,
    seam_work,
    template_minutes,
)

PLAIN = PieceWork(
    metal="aluminium",
    thickness_mm=0.51,
    length_mm=3 * FOOT,
    root_length_mm=3.25 * FOOT,
    perimeter_mm=7 * FOOT,
    own_template=False,
    folds=0,
    bends=0,
    width_mm=0.25 * FOOT,
    slits=0,
    v_notches=0,
    notches=0,
    preform_mm=0.0,
    standing=False,
    clamps=0,
)
FLAT = one_run(edge("a", straight(3 * FOOT)))


def minutes(work: dict[str, tuple[float, float]]) -> dict[str, float]:
    """Minutes of the operations that take any."""
    return {name: found for name, (_, found) in work.items() if found}


def test_a_plain_piece_is_snipped_and_deburred_round_its_border_and_fitted_along_its_length() -> (
    None
):
    # 7 ft of border, 3 ft fitted: 7·0.25, 7·0.2, 4 + 3·0.5
    assert minutes(piece_work(FLAT, PLAIN)) == pytest.approx(
        {"snips": 1.75, "deburr": 1.4, "fit": 5.5}
    )


@pytest.mark.parametrize(
    ("asked", "operation", "count", "wanted"),
    [
        ({"own_template": True}, "template", 1, 3 + 3.25 * 0.5),
        ({"folds": 2}, "fold", 2, 2 * (2 + 3.25 * 0.3)),
        # a bend round a sharp corner runs across the strip, 3 in wide
        ({"bends": 2}, "fold", 2, 2 * (2 + 0.25 * 0.3)),
        ({"slits": 7}, "slits", 7, 7 * 0.25),
        ({"v_notches": 5}, "V-notches", 5, 5 * 0.5),
        ({"notches": 3}, "notches", 3, 3 * 0.5),
        ({"preform_mm": 2 * FOOT}, "pre-form", 2, 2 * 1.0),
        ({"standing": True}, "hold standing", 3, 3 * 1.5),
        ({"clamps": 9}, "clamps", 9, 9 * 0.5),
    ],
)
def test_what_a_piece_asks_for_besides_adds_its_own_minutes_and_no_others(
    asked: dict[str, object], operation: str, count: float, wanted: float
) -> None:
    plain = piece_work(FLAT, PLAIN)
    work = piece_work(FLAT, dataclasses.replace(PLAIN, **asked))  # type: ignore[arg-type]
    assert work[operation] == pytest.approx((count, wanted))
    assert minutes_of(work) - minutes_of(plain) == pytest.approx(wanted)


def test_thicker_metal_is_slower_to_snip_in_proportion() -> None:
    # 24 ga aluminium, 0.0201 in, is the heaviest at 0.25 min/ft; 0.0402 in takes twice that.
    # Galvanised of 22 ga, 0.0336 in, takes 0.6.
    heavy = dataclasses.replace(PLAIN, thickness_mm=2 * 0.0201 * 25.4)
    steel = dataclasses.replace(PLAIN, metal="galvanised", thickness_mm=0.0336 * 25.4)
    assert piece_work(FLAT, heavy)["snips"] == pytest.approx((7, 7 * 0.5), rel=1e-3)
    assert piece_work(FLAT, steel)["snips"] == pytest.approx((7, 7 * 0.6), rel=1e-3)


def test_a_template_grows_with_the_root_line_and_what_is_trimmed_of_it() -> None:
    assert template_minutes(FLAT, 3.25 * FOOT) == pytest.approx(4.625)


def test_a_seam_that_shows_takes_longer() -> None:
    assert seam_work(FLAT, visible=False) == {"seams": (1, 3.0)}
    assert seam_work(FLAT, visible=True) == {"seams": (1, 13.0)}
    free = dataclasses.replace(FLAT, rules=Rules(seam_visible_minutes=0.0))
    assert seam_work(free, visible=True) == {"seams": (1, 3.0)}


def test_the_shop_sets_its_own_rates() -> None:
    slow = dataclasses.replace(
        FLAT, shop=Shop(minutes=Minutes(fit_per_piece=10.0, fit_per_foot=0.0))
    )
    assert piece_work(slow, PLAIN)["fit"] == (1, 10.0)


# --- edges and joints -----------------------------------------------------------------------------


def three_kinds() -> Job:
    """An edge with metal, a witness line, an open edge; a window that is not laminated."""
    patches = [
        Patch("lid", "lid", 3e5, ((0, 0, 1),)),
        Patch("lid rear", "lid", 3e5, ((0, 0, 1),)),
        Patch("frame", "frame", 3e5, ((0, 0, 1),)),
        Patch("window", None, 1e5, ((0, 0, 1),)),
    ]
    edges = [
        edge("metal", straight(4 * FOOT)),
        Edge("witness", "lid", "lid rear", straight(2 * FOOT), None, None),
        edge("rim", straight(3 * FOOT), second="open"),
        edge("pane", straight(FOOT), second="window"),
        edge("window rim", straight(FOOT), first="window", second="open"),
    ]
    runs = [run("R1", "metal"), run("R2", "rim"), run("R3", "pane")]
    return job(edges, runs, patches=patches)


def test_a_joint_takes_bolts_and_flanges_and_a_witness_line_only_where_there_is_no_metal() -> None:
    kinds = three_kinds()
    metal, witness = kinds.edge_of["metal"], kinds.edge_of["witness"]
    assert joint_work(kinds, metal, 9) == {
        "bolts": (9, 9 * 0.75),
        "mold flanges": (4, 4 * 12.0),
    }
    assert joint_work(kinds, witness, 5) == {
        "bolts": (5, 5 * 0.75),
        "mold flanges": (2, 2 * 12.0),
        "witness lines": (2, 2 * 6.0),
    }


def test_what_an_edge_takes_in_every_plan() -> None:
    kinds = three_kinds()
    # laminated on both sides: two fillets; an open edge: one, and half a flange
    assert edge_work(kinds, kinds.edge_of["metal"]) == {
        "fillet": (8, 8.0),
        "release wax": (4, 4.0),
    }
    assert edge_work(kinds, kinds.edge_of["rim"]) == {
        "mold flanges": (1.5, 18.0),
        "fillet": (3, 3.0),
        "release wax": (3, 3.0),
    }
    assert edge_work(kinds, kinds.edge_of["witness"]) == {}
    # nothing ends at the rim of a window that is not laminated: no metal, but a flange
    assert edge_work(kinds, kinds.edge_of["window rim"]) == {"mold flanges": (0.5, 6.0)}


def test_fillets_lie_where_something_is_laminated() -> None:
    kinds = three_kinds()
    sides = {name: fillet_sides(kinds, kinds.edge_of[name]) for name in ("metal", "rim", "pane")}
    assert sides == {"metal": 2, "rim": 1, "pane": 1}


# --- sums -----------------------------------------------------------------------------------------


def test_works_add_up_in_the_order_of_the_work_and_leave_out_what_is_nothing() -> None:
    total = added(
        [
            {"clamps": (2, 1.0), "fit": (1, 5.0)},
            {"snips": (3, 0.75), "clamps": (4, 2.0), "slits": (0, 0.0)},
        ]
    )
    assert total == {"snips": (3, 0.75), "fit": (1, 5.0), "clamps": (6, 3.0)}
    assert list(total) == [name for name in UNITS if name in total]
    assert minutes_of(total) == 8.75


def test_every_operation_has_a_unit() -> None:
    everything = dataclasses.replace(
        PLAIN, own_template=True, folds=1, slits=1, v_notches=1, notches=1, preform_mm=1.0,
        standing=True, clamps=1,
    )  # fmt: skip
    kinds = three_kinds()
    works = [piece_work(kinds, everything), seam_work(kinds, visible=True)]
    works += [edge_work(kinds, e) for e in kinds.edges]
    works += [joint_work(kinds, kinds.edge_of["witness"], 1)]
    named = {name for work in works for name in work}
    # the other three are counted once for the whole plan
    assert set(UNITS) - named == {"set up a metal", "taped corners", "sections"}
    assert named <= set(UNITS)


def test_labor_costs_the_minutes_with_the_allowance() -> None:
    # 60 minutes and 15 % at 55 an hour
    assert labor_cost(FLAT, 60.0) == pytest.approx(63.25)
