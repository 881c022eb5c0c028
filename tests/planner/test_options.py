"""Ways to make a stretch of run, worked by hand: pieces, blanks, metals, minutes and templates."""

from __future__ import annotations

import dataclasses
import math
from itertools import pairwise

import numpy as np
import pytest
from small_jobs import (
    ALUMINIUM,
    FOOT,
    GALVANISED,
    LIGHT_ALUMINIUM,
    Prepared,
    edge,
    hatch,
    job,
    one_run,
    ring,
    run,
    straight,
)

from solver.data.job import EdgeNotch, Goal, Job, Near, Rules
from solver.data.line import Corner, Line, Stretch
from solver.planner.options import StretchOption, option_cost, template_saving

ALL_METALS = (LIGHT_ALUMINIUM, ALUMINIUM, GALVANISED)
AL24, AL20, ZN22 = "24 ga aluminium", "20 ga aluminium", "22 ga galvanised"


def bend(length_mm: float, radius_mm: float, turns: float = 1.0) -> Line:
    curvature = turns / radius_mm
    return Line((Stretch(length_mm, curvature, curvature),))


def of_many_kinds() -> dict[str, Job]:
    """Runs open and closed, folded and flat, curved both ways, across marks and round corners."""
    shut = edge("a", Line((Stretch(700.0),), (Corner(10.0, easy_deg=60.0),)), stand_mm=30.0)
    return {
        "two edges": one_run(
            edge("a", straight(700)), edge("b", straight(900.5)), stock=ALL_METALS
        ),
        "one edge in many pieces": one_run(edge("a", straight(9000.0))),
        "ring": one_run(edge("a", ring(300.0)), stock=ALL_METALS, closed=True),
        "hatch": one_run(edge("a", hatch(250.0)), closed=True),
        "loop of three, two alike": one_run(
            shut, edge("b", straight(333.3)), edge("c", bend(600, 300.0)), closed=True
        ),
        "open": one_run(edge("a", straight(1200), second="open"), stock=ALL_METALS),
        "open, turned out": one_run(
            edge("a", bend(800, 400.0), second="open", flange="out"), stock=ALL_METALS
        ),
        "return on a curve": one_run(edge("a", bend(900, 200.0), return_mm=12.0)),
        "walked backward": job(
            [edge("a", straight(500)), edge("b", bend(500, 150.0))], [run("R1", "-b", "-a")]
        ),
    }


# --- pieces cover what they are to make -----------------------------------------------------------


@pytest.mark.parametrize("kind", of_many_kinds())
def test_the_blanks_of_every_option_together_cover_its_edges_exactly(kind: str) -> None:
    made = Prepared(of_many_kinds()[kind])
    assert made.options
    for option in made.options:
        line = made.lines[option.run]
        total = len(line.edges)
        length = sum(line.edges[(option.first + i) % total].length_mm for i in range(option.count))
        pieces = option.pieces
        assert pieces[-1].to_mm - pieces[0].from_mm == pytest.approx(length, rel=1e-12)
        assert all(a.to_mm == b.from_mm for a, b in pairwise(pieces))
        if not (line.run.closed and option.count == total):
            assert pieces[0].from_mm == line.starts_mm[option.first]
        for piece in pieces:
            root = piece.length_mm + piece.trim_mm
            assert piece.blank.root_length_mm == pytest.approx(root, rel=1e-9)
            assert piece.length_mm <= made.job.rules.longest_piece_mm + 1e-6


@pytest.mark.parametrize("kind", of_many_kinds())
def test_only_the_piece_that_ends_the_run_has_metal_to_trim(kind: str) -> None:
    made = Prepared(of_many_kinds()[kind])
    for option in made.options:
        line = made.lines[option.run]
        reaches_end = option.pieces[-1].to_mm >= line.length_mm - 1e-6
        trims = [piece.trim_mm for piece in option.pieces]
        assert trims[:-1] == [0.0] * (len(trims) - 1)
        assert trims[-1] == (12.7 if reaches_end else 0.0)


@pytest.mark.parametrize("kind", of_many_kinds())
def test_every_blank_lies_on_some_stock_of_its_own_metal(kind: str) -> None:
    made = Prepared(of_many_kinds()[kind])
    for option in made.options:
        for piece in option.pieces:
            assert piece.fits
            assert piece.fits <= piece.might_fit <= set(made.sheets[option.sheet].items)


def test_a_butt_is_counted_by_the_piece_behind_it() -> None:
    # an open run has pieces - 1 of them, a closed one as many as pieces
    open_run = Prepared(one_run(edge("a", straight(3000))))
    closed = Prepared(one_run(edge("a", hatch(250.0)), closed=True))
    for option in open_run.options:
        assert [p.seam_at_start for p in option.pieces] == [
            False,
            *[True] * (len(option.pieces) - 1),
        ]
    assert all(piece.seam_at_start for option in closed.options for piece in option.pieces)


# --- across marks ---------------------------------------------------------------------------------


def stretches(made: Prepared, mounting: str) -> set[tuple[int, int]]:
    return {(o.first, o.count) for o in made.some(mounting)}


def test_a_piece_crosses_a_mark_only_where_the_flashing_stays_the_same() -> None:
    alike = [edge("a", straight(300)), edge("b", straight(400)), edge("c", straight(500))]
    higher = [alike[0], alike[1], dataclasses.replace(alike[2], stand_mm=30.0)]
    assert stretches(Prepared(one_run(*alike)), "pinched") == {
        (0, 1), (0, 2), (0, 3), (1, 1), (1, 2), (2, 1),
    }  # fmt: skip
    for mounting in ("pinched", "standing"):
        found = stretches(Prepared(one_run(*higher)), mounting)
        assert found == {(0, 1), (0, 2), (1, 1), (2, 1)}


def test_a_grip_that_changes_parts_pinched_pieces_but_not_standing_ones() -> None:
    made = Prepared(
        one_run(edge("a", straight(300)), edge("b", straight(400), grip_mm=17.0)),
    )
    assert (0, 2) not in stretches(made, "pinched")
    assert (0, 2) in stretches(made, "standing")


def test_returns_to_opposite_sides_do_not_run_into_one_another() -> None:
    folded = {"return_mm": 10.0}
    one, other = edge("a", straight(300), **folded), edge("b", straight(400), **folded)
    same = Prepared(job([one, other], [run("R1", "a", "b")]))
    # b walked backward has its first patch, and the return, on the other hand
    turned = Prepared(job([one, other], [run("R1", "a", "-b")]))
    assert (0, 2) in stretches(same, "standing")
    assert (0, 2) not in stretches(turned, "standing")


def test_edges_that_must_or_must_not_split_are_made_one_way_only() -> None:
    made = Prepared(
        one_run(
            edge("a", straight(300), split="required"),
            edge("b", straight(300), split="forbidden"),
            edge("c", straight(300), standing="forbidden"),
        )
    )
    assert stretches(made, "pinched") == {(0, 1), (2, 1)}
    assert stretches(made, "standing") == {(1, 1)}


def test_a_loop_may_be_made_in_pieces_over_its_start() -> None:
    edges = [edge("a", straight(300)), edge("b", straight(400)), edge("c", straight(500))]
    edges[1] = dataclasses.replace(edges[1], stand_mm=30.0)
    made = Prepared(one_run(*edges, closed=True))
    (over,) = made.some("pinched", pieces=1, edges=(2, 2))
    (piece,) = over.pieces
    assert (piece.from_mm, piece.to_mm, piece.trim_mm) == (700.0, 1500.0, 12.7)


# --- seams ----------------------------------------------------------------------------------------


def inner_seams(option: StretchOption) -> list[float]:
    return [piece.from_mm for piece in option.pieces[1:]]


def test_seams_keep_off_corners_notches_and_lines_that_may_have_none() -> None:
    # even would be 1000: each of these bans the middle
    near_middle = {
        "corner": edge("a", Line((Stretch(2000.0),), (Corner(990.0, easy_deg=10.0),))),
        "notch": edge("a", straight(2000), notches=(EdgeNotch(990.0, 20.0, 8.0),)),
        "no seam": edge("a", straight(2000), no_seam_mm=((950.0, 1040.0),)),
    }
    keep = {"corner": 50.8, "notch": 10.0 + 25.4, "no seam": 0.0}
    for kind, line in near_middle.items():
        option = Prepared(one_run(line)).one("standing", 2)
        (seam,) = inner_seams(option)
        assert not option.forced
        if kind == "no seam":
            assert not 950 < seam < 1040
        else:
            assert abs(seam - 990.0) >= keep[kind] - 1e-6


def test_bolts_notch_a_deep_grip_and_push_seams_away_only_where_pinched() -> None:
    # bolts of 1000 mm: 50.8 … 949.2 in 6 spaces of 149.73, one of them in the middle
    made = Prepared(one_run(edge("a", straight(1000), grip_mm=19.05)))
    assert inner_seams(made.one("standing", 2)) == [500.0]
    pinched = made.one("pinched", 2)
    (seam,) = inner_seams(pinched)
    assert abs(seam - 500.0) >= 25.4 + 14.2875 / 2 - 1e-6
    assert sum(len(piece.blank.notches) for piece in pinched.pieces) == 7
    assert sum(len(piece.blank.notches) for piece in made.one("standing", 2).pieces) == 0


def test_a_seam_that_has_no_free_place_says_so() -> None:
    notched = edge(
        "a", straight(500), notches=tuple(EdgeNotch(at, 20.0, 8.0) for at in range(0, 501, 50))
    )
    assert Prepared(one_run(notched)).one("standing", 2).forced


def test_a_loop_finds_a_free_place_for_its_seam_between_evenly_spaced_notches() -> None:
    # 24 notches just where 24 evenly spaced starts would be; between them there is room
    length = 2 * math.pi * 382.0
    notches = tuple(EdgeNotch(length * n / 24, 20.0, 8.0) for n in range(24))
    made = Prepared(one_run(edge("a", hatch(382.0), notches=notches), closed=True))
    for pieces in (1, 2):
        option = made.one("standing", pieces)
        assert not option.forced
        for piece in option.pieces:
            gap = piece.from_mm % (length / 24)
            assert min(gap, length / 24 - gap) >= 35.4 - 1e-6


def test_what_lies_on_one_side_of_the_start_of_a_loop_is_near_the_other_too() -> None:
    # a corner 10 mm from the start; seams keep 320 off it, also on the edge across the start
    def seam(corner_mm: float, cornered_first: bool) -> float:
        line = Line((Stretch(600.0),), (Corner(corner_mm, easy_deg=60.0),))
        edges = [edge("a", line, stand_mm=30.0), edge("b", straight(600))]
        rules = Rules(seam_from_corner_mm=320.0, longest_piece_mm=400.0)
        walked = edges if cornered_first else edges[::-1]
        made = Prepared(one_run(*walked, closed=True, rules=rules))
        (option,) = made.some("standing", pieces=2, edges=(int(cornered_first), 1))
        assert not option.forced
        (found,) = inner_seams(option)
        return found

    # behind the start, the corner is near the end of the last edge: pieces of 400 at most
    assert 800.0 <= seam(10.0, cornered_first=True) <= 1210.0 - 320.0
    # before the end, it is near the beginning of the first edge
    assert -10.0 + 320.0 <= seam(590.0, cornered_first=False) <= 400.0


def test_a_seam_where_the_line_shows_is_marked_and_costs_more() -> None:
    shown = Prepared(
        one_run(edge("a", straight(1000), visible=True, stand_mm=20.0), stock=(GALVANISED,))
    )
    hidden = Prepared(one_run(edge("a", straight(1000), stand_mm=20.0), stock=(GALVANISED,)))
    two, plain = shown.one("standing", 2), hidden.one("standing", 2)
    assert [piece.seam_visible for piece in two.pieces] == [False, True]
    assert two.work["seams"] == (1, 3.0 + 10.0)
    assert plain.work["seams"] == (1, 3.0)


def test_no_seam_lies_on_a_line_that_shows_where_that_is_forbidden() -> None:
    edges = (edge("a", straight(900), visible=True, stand_mm=20.0),
             edge("b", straight(900), stand_mm=20.0))  # fmt: skip
    rules = Rules(seams_on_visible="forbidden")
    made = Prepared(one_run(*edges, stock=(GALVANISED,), rules=rules))
    (seam,) = inner_seams(made.one("standing", 2, edges=(0, 2)))
    assert seam >= 900.0 - 1e-6
    assert made.some("standing", pieces=2, edges=(0, 1)) == []


# --- which metal ----------------------------------------------------------------------------------


def test_a_higher_stand_asks_for_heavier_metal() -> None:
    # w = 1.82·P·h2/(E·t3), P 8.896 N, hidden 3.175 mm: 0.51 mm aluminium stands 42.4 mm,
    # 0.81 mm stands 84.8 (E 68948 MPa)
    for stand, metals in ((42.0, {AL24, AL20}), (43.0, {AL20}), (85.5, set())):
        made = Prepared(
            one_run(edge("a", straight(500), stand_mm=stand), stock=(LIGHT_ALUMINIUM, ALUMINIUM))
        )
        assert made.metals("standing") == metals
    assert any("leans" in sentence for sentence in made.refusals.by_edge["a"])


def test_a_line_that_shows_asks_for_heavier_metal() -> None:
    # at 25.4 mm 0.51 aluminium leans 1.14 mm, 0.81 leans 0.285: 1/64 in = 0.397 may show
    shown = Prepared(one_run(edge("a", straight(500), visible=True), stock=ALL_METALS))
    assert shown.metals("standing") == {AL20, ZN22}


def test_clamps_no_nearer_than_four_inches_ask_for_heavier_metal() -> None:
    # c = (192·E·I·d/P)^(1/3), b 31.75, d 1/32 in, P 22.24 N: 0.51 aluminium 54.9 mm, 0.81
    # aluminium 87.2, galvanised with a core of 0.76 117.4; the smallest practical pitch is 101.6
    rim = Prepared(one_run(edge("a", straight(900), second="open"), stock=ALL_METALS))
    assert rim.metals("clamped") == {ZN22}
    assert any("clamp every" in sentence for sentence in rim.refusals.by_edge["a"])
    inner = Prepared(one_run(edge("a", straight(900)), stock=ALL_METALS))
    assert inner.metals("standing") == {AL24, AL20, ZN22}
    # where it shows 1/64 in: 93.2 mm, and nothing on offer is stiff enough
    shown = edge("a", straight(900), second="open", visible=True)
    assert Prepared(one_run(shown, stock=ALL_METALS)).options == ()


def test_clamps_stand_at_both_ends_of_each_piece_and_no_wider_than_their_pitch() -> None:
    # 900/117.4 = 7.67: 8 spaces and one more; in halves 3.83: 4 spaces and one more each
    rim = Prepared(one_run(edge("a", straight(900), second="open"), stock=(GALVANISED,)))
    assert [piece.clamps for piece in rim.one("clamped", 1).pieces] == [9]
    assert [piece.clamps for piece in rim.one("clamped", 2).pieces] == [5, 5]
    assert rim.one("clamped", 1).pieces[0].clamp_pitch_mm == pytest.approx(117.4, abs=0.05)


def test_metal_thicker_than_the_gap_is_not_pinched() -> None:
    thin_gap = Rules(joint_gap_mm=0.6)
    made = Prepared(one_run(edge("a", straight(500)), stock=ALL_METALS, rules=thin_gap))
    assert made.metals("pinched") == {AL24}
    assert made.metals("standing") == {AL24, AL20, ZN22}


def test_a_line_that_no_metal_may_make_has_its_reason_in_words() -> None:
    made = Prepared(one_run(edge("a", straight(500), stand_mm=150.0), stock=ALL_METALS))
    assert made.options == ()
    assert len(made.refusals.by_edge["a"]) == 6  # three metals, two mountings
    assert all(":" in sentence for sentence in made.refusals.by_edge["a"])


def test_a_capped_stand_is_what_is_cut() -> None:
    one = edge("a", straight(500), near=(Near("b", 20.0, 0.0, 500.0),))
    made = Prepared(job([one, edge("b", straight(500))], [run("R1", "a"), run("R2", "b")]))
    for option in made.some("standing"):
        assert all(piece.blank.width_mm == pytest.approx(20.0) for piece in option.pieces)


# --- blanks ---------------------------------------------------------------------------------------


def test_the_blanks_of_a_ring_round_a_body_are_curved() -> None:
    # an annulus from 300 - 25.4 to 300 + 12.7, and 12.7 of straight strip to trim
    made = Prepared(one_run(edge("a", ring(300.0)), stock=(GALVANISED,), closed=True))
    exact = math.pi * (312.7**2 - 274.6**2) + 12.7 * 38.1
    for option in made.some("pinched"):
        assert not any(piece.blank.straight for piece in option.pieces)
        area = sum(piece.blank.area_mm2 for piece in option.pieces)
        # outlines hold the true blank and leave it by 0.05 mm at most
        assert exact - 1e-6 <= area <= exact + 0.05 * sum(p.perimeter_mm for p in option.pieces)


def test_the_blank_of_a_round_hatch_in_a_flat_face_is_straight() -> None:
    made = Prepared(one_run(edge("a", hatch(300.0)), closed=True))
    (piece,) = made.one("pinched", 1).pieces
    assert piece.blank.straight
    assert np.ptp(np.array(piece.blank.outline_mm), axis=0) == pytest.approx(
        (600 * math.pi + 12.7, 38.1)
    )


def test_metal_curved_tighter_than_it_springs_is_formed_first() -> None:
    # E·t/2Y: 68948·0.51/(2·144.8) = 121.4 mm; a curve from 1/100 straightening out over 200 mm is
    # tighter than that for 200·(1 - 100/121.4) = 35.3 mm
    line = Line((Stretch(300.0, 1 / 100, 1 / 100), Stretch(200.0, 1 / 100, 0.0), Stretch(500.0)))
    (piece,) = Prepared(one_run(edge("a", line))).one("standing", 1).pieces
    assert piece.preform_mm == pytest.approx(300.0 + 35.3, abs=0.1)
    wide = Prepared(one_run(edge("a", bend(500, 125.0)))).one("standing", 1)
    assert wide.pieces[0].preform_mm == 0.0


def test_a_strip_is_bent_round_a_sharp_corner_if_its_metal_may_be() -> None:
    # galvanised bends over its own thickness, 0.86 mm, or more; 1/16 in is enough, 0.5 mm is not
    corner = Line((Stretch(600.0),), (Corner(300.0, easy_deg=90.0),))
    bent = Prepared(one_run(edge("a", corner), stock=(GALVANISED,)))
    (piece,) = bent.one("pinched", 1).pieces
    assert piece.bends_mm == (300.0,)
    sharp = Prepared(
        one_run(edge("a", corner), stock=(GALVANISED,), rules=Rules(bend_radius_mm=0.5))
    )
    assert not sharp.options
    plain = Prepared(
        one_run(edge("a", straight(600)), stock=(GALVANISED,), rules=Rules(bend_radius_mm=0.5))
    )
    assert plain.options


def test_a_standing_flashing_has_no_grip_and_a_clamped_one_has() -> None:
    inner = Prepared(one_run(edge("a", straight(500))))
    assert inner.one("standing", 1).pieces[0].blank.width_mm == pytest.approx(25.4)
    assert inner.one("pinched", 1).pieces[0].blank.width_mm == pytest.approx(38.1)


def test_a_folded_ring_is_cut_as_short_as_its_straight_folds_follow_it() -> None:
    # the fold 25.4 inside R 500 lies on R 474.6: 2·acos(1 - 1.5875/474.6) = 9.38 deg, 81.9 mm of
    # root, so at least ceil(1000/81.9) = 13 pieces
    curved = Line((Stretch(1000.0, 0, 0, 1 / 500, 1 / 500),))
    rules = Rules(shortest_piece_mm=30.0)
    made = Prepared(one_run(edge("a", curved, return_mm=12.0), rules=rules))
    fewest = min(len(option.pieces) for option in made.some("standing"))
    assert 13 <= fewest <= 15
    plain = Prepared(one_run(edge("a", curved), rules=rules, stock=(GALVANISED,)))
    assert min(len(option.pieces) for option in plain.some("standing")) == 1


# --- minutes and money by hand --------------------------------------------------------------------


def minutes(option: StretchOption) -> dict[str, float]:
    return {name: found for name, (_, found) in option.work.items()}


def test_the_minutes_of_two_pinched_pieces_worked_by_hand() -> None:
    # 4 ft in two pieces of 609.6 mm, the second with 12.7 to trim, 25.4 + 12.7 = 38.1 wide.
    # Round them: 2·(609.6 + 38.1) = 4.25 ft and 2·(622.3 + 38.1) = 4.3333 ft, 8.5833 ft.
    option = Prepared(one_run(edge("a", straight(4 * FOOT)))).one("pinched", 2)
    assert minutes(option) == pytest.approx(
        {
            "template": 2 * 3 + 0.5 * (2 + 622.3 / FOOT),
            "snips": 8.583333 * 0.25,
            "deburr": 8.583333 * 0.2,
            "fit": 2 * 4 + 4 * 0.5,
            "seams": 3.0,
        },
        rel=1e-6,
    )
    # packers beside 4 ft of metal in a gap of 3.175, tape on a seam, wax on both faces
    waxed = 2 * 38.1 * (609.6 + 622.3) / 1e6
    assert option.money == pytest.approx(4 * 0.35 + 0.1 + 1.2 * waxed)


def test_the_minutes_of_a_standing_return_on_an_outside_curve_worked_by_hand() -> None:
    # A quarter of a circle of R 100, 157.08 mm, turns left; the return lies on the right, outside.
    # Facets within 1/64 in: pitch 2·sqrt(2·100·0.396875 - 0.1575) = 17.80, ceil(8.82) = 9: 8 slits.
    # One fold; tighter than 121 mm, so it is formed first.
    length = 50 * math.pi
    folded = edge("a", bend(length, 100.0), return_mm=12.0, return_to="second")
    option = Prepared(one_run(folded)).one("standing", 1)
    (piece,) = option.pieces
    root_ft = (length + 12.7) / FOOT
    # fold of 0.51 mm over 1/16 in: setback 2.0975, allowance pi/2·(1.5875 + 0.41·0.51) = 2.8221,
    # deduction 1.3729; the blank stands 25.4 + 12 - 1.3729 = 36.027
    width = 25.4 + 12.0 - (2 * 2.0975 - math.pi / 2 * (1.5875 + 0.41 * 0.51))
    assert piece.blank.width_mm == pytest.approx(width)
    round_ft = 2 * (length + 12.7 + width) / FOOT
    assert minutes(option) == pytest.approx(
        {
            "template": 3 + 0.5 * root_ft,
            "snips": round_ft * 0.25,
            "deburr": round_ft * 0.2,
            "fold": 2 + 0.3 * root_ft,
            "slits": 8 * 0.25,
            "pre-form": length / FOOT,
            "fit": 4 + 0.5 * length / FOOT,
            "hold standing": 1.5 * length / FOOT,
        }
    )
    assert option.work["slits"] == (8, 2.0)


def test_a_return_to_the_inside_of_the_curve_is_notched_instead_of_slit() -> None:
    folded = edge("a", bend(50 * math.pi, 100.0), return_mm=12.0, return_to="first")
    work = Prepared(one_run(folded)).one("standing", 1).work
    assert work["V-notches"] == (8, 8 * 0.5)
    assert "slits" not in work


def test_the_minutes_of_a_clamped_and_notched_piece_worked_by_hand() -> None:
    # 3 ft of 22 ga galvanised (0.0336 in = 0.853 mm is the plain rate of 0.6 min/ft; 0.86 is more);
    # two notches of 20 x 8 lengthen the border by 2·8 each; 914.4/117.4 = 7.8: 8 + 1 clamps
    notches = (EdgeNotch(200.0, 20.0, 8.0), EdgeNotch(500.0, 20.0, 8.0))
    rim = edge("a", straight(3 * FOOT), second="open", notches=notches)
    option = Prepared(one_run(rim, stock=(GALVANISED,))).one("clamped", 1)
    round_ft = (2 * (914.4 + 12.7 + 38.1) + 4 * 8.0) / FOOT
    assert option.work["snips"][0] == pytest.approx(round_ft)
    assert 0.6 <= option.work["snips"][1] / round_ft <= 0.6 * 0.86 / 0.85
    assert option.work["notches"] == (2, 2 * 0.5)
    assert option.work["clamps"] == (9, 9 * 0.5)
    assert minutes(option)["deburr"] == pytest.approx(round_ft * 0.2)
    assert "hold standing" not in option.work


def test_the_cost_of_an_option_is_its_minutes_at_the_shop_rate_and_its_money() -> None:
    made = Prepared(one_run(edge("a", straight(4 * FOOT))))
    option = made.one("pinched", 2)
    worked = sum(minutes(option).values()) * 1.15 / 60 * 55
    assert option_cost(made.job, option) == pytest.approx(worked + option.money)
    weighted = dataclasses.replace(made.job, goal=Goal(labor=2.0, joints=3.0))
    assert option_cost(weighted, option) == pytest.approx(2 * worked + 3 * option.money)
    (first, _) = option.pieces
    # a template of 2 ft: 3 + 0.5·2 = 4 minutes
    assert template_saving(made.job, first) == pytest.approx(4 * 1.15 / 60 * 55)


# --- twins ----------------------------------------------------------------------------------------


def mirrored(left: str, right: str, *, closed: bool = False, line: Line | None = None) -> Job:
    """Two runs that mirror each other; walked from its other end a twin is the same line."""
    walked = line or Line((Stretch(700.0), Stretch(300.0, 1 / 250, 1 / 250)), (), closed)
    turned = Line(tuple(reversed(walked.stretches)), (), walked.closed)
    notch = EdgeNotch(480.0, 30.0, 8.0)
    back = dataclasses.replace(notch, at_mm=walked.length_mm - 480.0)
    edges = [
        edge("l", walked, "lid", "left", twin="r", notches=(notch,)),
        edge("r", turned, "lid", "right", twin="l", notches=(back,)),
    ]
    return job(edges, [run("L", left, closed=closed), run("R", right, closed=closed)])


@pytest.mark.parametrize(("left", "right"), [("l", "r"), ("-l", "-r"), ("l", "-r"), ("-l", "r")])
@pytest.mark.parametrize("pieces", [1, 2, 3])
def test_mirrored_pieces_share_a_template_whichever_way_the_runs_are_walked(
    left: str, right: str, pieces: int
) -> None:
    made = Prepared(mirrored(left, right))
    one = made.one("pinched", pieces, run=0)
    other = made.one("pinched", pieces, run=1)
    turned = left.startswith("-") == right.startswith("-")
    whole = made.lines[0].length_mm
    mine = [(p.from_mm, p.to_mm) for p in one.pieces]
    theirs = [(p.from_mm, p.to_mm) for p in other.pieces]
    if turned:
        theirs = [(whole - to, whole - begin) for begin, to in reversed(theirs)]
    assert mine == [pytest.approx(pair) for pair in theirs]
    twins = list(reversed(other.pieces)) if turned else list(other.pieces)
    for piece, twin in zip(one.pieces, twins, strict=True):
        assert piece.twin_template == twin.template
        assert twin.twin_template == piece.template


@pytest.mark.parametrize("radius_mm", [77.7, 250.0, 333.1])
@pytest.mark.parametrize("pieces", [1, 2, 3])
def test_mirrored_loops_share_their_templates_piece_by_piece(radius_mm: float, pieces: int) -> None:
    made = Prepared(mirrored("l", "r", closed=True, line=hatch(radius_mm)))
    one = made.one("standing", pieces, run=0)
    other = made.one("standing", pieces, run=1)
    assert {p.twin_template for p in one.pieces} == {p.template for p in other.pieces}
    assert {p.twin_template for p in other.pieces} == {p.template for p in one.pieces}


def test_templates_are_shared_by_flat_pieces_of_any_thickness_and_folded_ones_of_the_same() -> None:
    flat = one_run(edge("a", straight(500)), stock=(LIGHT_ALUMINIUM, ALUMINIUM))
    folded = one_run(edge("a", straight(500), return_mm=10.0), stock=(LIGHT_ALUMINIUM, ALUMINIUM))
    names = [
        {o.pieces[0].template for o in Prepared(of).some("standing", pieces=1)}
        for of in (flat, folded)
    ]
    assert [len(found) for found in names] == [1, 2]


def test_a_run_without_a_twin_has_templates_of_its_own() -> None:
    made = Prepared(one_run(edge("a", straight(500))))
    assert {piece.twin_template for option in made.options for piece in option.pieces} == {""}
