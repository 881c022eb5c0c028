"""A what-if changes what it says and nothing else; what cannot be asked is told with a remedy."""

from dataclasses import fields, replace

import pytest
from small_jobs import ALUMINIUM, GALVANISED, LIGHT_ALUMINIUM, UP, edge, job, run, straight

from solver.data.errors import ScenarioErrors
from solver.data.job import Job, Patch
from solver.planner.what_if import (
    WhatIf,
    asked,
    joined_at,
    pinned,
    split_at,
    symmetric,
    with_crew,
    with_lift_limit,
    with_most_sections,
    without_stock,
)

OFFCUT = replace(GALVANISED, id="zn offcut", form="offcut", width_mm=203.2, length_mm=600.0)


def two_sided() -> Job:
    """A deck in two mirrored halves with a hatch that meets both, and an open edge each."""
    line = straight(600.0)
    edges = (
        edge("deck.left | deck.right (fore)", line, "deck.left", "deck.right"),
        edge("deck.left | deck.right (aft)", line, "deck.left", "deck.right"),
        edge("hatch | deck.left", line, "hatch", "deck.left"),
        edge("hatch | deck.right", line, "hatch", "deck.right", standing="forbidden"),
        edge("deck.left | open", line, "deck.left", "open"),
    )
    patches = (
        Patch("deck.left", "deck", 300_000.0, (UP,), twin="deck.right"),
        Patch("deck.right", "deck", 300_000.0, (UP,), twin="deck.left", pin="trailer"),
        Patch("hatch", "hatch", 100_000.0, (UP,), twin="hatch"),
    )
    runs = [run("R1", edges[2]), run("R2", edges[3]), run("R3", edges[4])]
    return job(edges, runs, (LIGHT_ALUMINIUM, ALUMINIUM, GALVANISED, OFFCUT), patches)


def changed(before: object, after: object) -> set[str]:
    """Names of the fields of two dataclasses that differ."""
    return {
        one.name for one in fields(before) if getattr(before, one.name) != getattr(after, one.name)
    }


def refusal(ask) -> str:
    with pytest.raises(ScenarioErrors) as errors:
        ask()
    (problem,) = errors.value.problems
    return str(problem)


def test_a_pin_changes_the_pin_of_its_patch_alone():
    before = two_sided()
    after = pinned(before, "hatch", "shed")
    assert changed(before, after) == {"patches"}
    assert after.patch_of["hatch"] == replace(before.patch_of["hatch"], pin="shed")
    assert after.patches[:2] == before.patches[:2]


def test_a_pin_replaces_the_one_of_the_scenario():
    assert pinned(two_sided(), "deck.right", "shed").patch_of["deck.right"].pin == "shed"


@pytest.mark.parametrize(
    ("change", "split"), [(split_at, "required"), (joined_at, "forbidden")], ids=["split", "join"]
)
@pytest.mark.parametrize("name", ["hatch | deck.left", "deck.left | hatch", "deck.left|hatch"])
def test_split_and_join_change_one_edge_whichever_side_is_named_first(change, split, name):
    before = two_sided()
    after = change(before, name)
    assert changed(before, after) == {"edges"}
    assert after.edge_of["hatch | deck.left"] == replace(
        before.edge_of["hatch | deck.left"], split=split
    )
    assert sum(a != b for a, b in zip(before.edges, after.edges, strict=True)) == 1


def test_crew_limit_and_sections_change_one_figure_each():
    before = two_sided()
    crew = with_crew(before, 4)
    assert (changed(before, crew), changed(before.shop, crew.shop)) == ({"shop"}, {"crew"})
    assert crew.shop.crew == 4
    limit = with_lift_limit(before, "120 lb")
    assert changed(before.shop, limit.shop) == {"lift_limit_kg"}
    # 1 lb is 0.45359237 kg by definition (international yard and pound, 1959).
    assert limit.shop.lift_limit_kg == pytest.approx(120 * 0.45359237)
    most = with_most_sections(before, 3)
    assert (changed(before, most), changed(before.rules, most.rules)) == (
        {"rules"},
        {"most_sections"},
    )
    assert most.rules.most_sections == 3


@pytest.mark.parametrize(
    ("named", "left"),
    [
        ("24 ga aluminium", ["al sheet", "zn sheet", "zn offcut"]),
        ("24 GA Aluminium", ["al sheet", "zn sheet", "zn offcut"]),
        ("aluminium", ["zn sheet", "zn offcut"]),
        ("al sheet", ["light al", "zn sheet", "zn offcut"]),
        ("rolls", ["al sheet", "zn sheet", "zn offcut"]),
        # 8 in = 203.2 mm: the roll; an offcut is no width that is bought.
        ("8 in", ["al sheet", "zn sheet", "zn offcut"]),
        # 3 ft = 914.4 mm: both sheets.
        ("3 ft", ["light al", "zn offcut"]),
    ],
)
def test_stock_is_left_out_by_item_gauge_metal_form_or_width(named, left):
    before = two_sided()
    after = without_stock(before, [named])
    assert changed(before, after) == {"stock"}
    assert [item.id for item in after.stock] == left


def test_what_is_left_out_twice_by_two_names_is_no_mistake():
    after = without_stock(two_sided(), ["8 in", "24 ga aluminium"])
    assert [item.id for item in after.stock] == ["al sheet", "zn sheet", "zn offcut"]


def test_symmetric_asks_for_a_symmetric_split_alone():
    before = two_sided()
    after = symmetric(before)
    assert (changed(before, after), changed(before.rules, after.rules)) == (
        {"rules"},
        {"symmetric_split"},
    )


def test_nothing_asked_is_the_same_job():
    assert asked(two_sided(), WhatIf()) == two_sided()
    assert not WhatIf().asks


def test_everything_asked_at_once_is_each_in_turn():
    what_if = WhatIf(
        pins=(("hatch", "shed"), ("deck.left", "trailer")),
        splits=("hatch | deck.left",),
        joins=("deck.left | deck.right (aft)",),
        crew=3,
        lift_limit="50 kg",
        most_sections=2,
        without=("aluminium",),
        symmetric=True,
    )
    each = pinned(pinned(two_sided(), "hatch", "shed"), "deck.left", "trailer")
    each = joined_at(split_at(each, "hatch | deck.left"), "deck.left | deck.right (aft)")
    each = with_most_sections(with_lift_limit(with_crew(each, 3), "50 kg"), 2)
    assert asked(two_sided(), what_if) == symmetric(without_stock(each, ["aluminium"]))
    assert what_if.asks


def without_twins() -> Job:
    made = two_sided()
    return replace(made, patches=tuple(replace(patch, twin=None) for patch in made.patches))


def crossing_forbidden() -> Job:
    made = two_sided()
    first = replace(made.edges[0], witness="forbidden")
    return replace(made, edges=(first, *made.edges[1:]))


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: pinned(two_sided(), "hatsch", "a"), """pin: 'hatsch': did you mean "hatch"?"""),
        (lambda: pinned(two_sided(), "hatch", " "), "give a label"),
        (
            lambda: split_at(two_sided(), "hatch | deck.lefft"),
            """split: 'hatch | deck.lefft': did you mean "hatch | deck.left"?""",
        ),
        (lambda: joined_at(two_sided(), "zzz"), "join: 'zzz': edges here: \"deck.left | deck."),
        (
            lambda: split_at(two_sided(), "deck.right | deck.left"),
            'say which: "deck.left | deck.right (fore)" or "deck.left | deck.right (aft)"',
        ),
        (lambda: split_at(two_sided(), "deck.left | open"), "an open edge"),
        (lambda: joined_at(two_sided(), "hatch | deck.right"), "standing metal is forbidden"),
        (
            lambda: split_at(crossing_forbidden(), "deck.left | deck.right (fore)"),
            "a witness line is forbidden",
        ),
        (lambda: with_crew(two_sided(), 0), "crew: 0: from 1 to 50"),
        (lambda: with_lift_limit(two_sided(), "120"), "lift-limit: '120' has no unit"),
        (lambda: with_lift_limit(two_sided(), "120 pounds"), 'write it as "120 lb"'),
        (lambda: with_lift_limit(two_sided(), "0 kg"), "more than 0"),
        (lambda: with_most_sections(two_sided(), 0), "most-sections: 0"),
        (
            lambda: with_most_sections(
                replace(two_sided(), rules=replace(two_sided().rules, fewest_sections=3)), 2
            ),
            "at least 3",
        ),
        (
            lambda: without_stock(two_sided(), ["24 ga aluminum"]),
            """without: '24 ga aluminum': did you mean "24 ga aluminium"?""",
        ),
        (lambda: without_stock(two_sided(), ["9 in"]), "no roll or sheet has this width"),
        (lambda: without_stock(two_sided(), ["24"]), '"24 in" for a width, "24 ga aluminium"'),
        (lambda: without_stock(two_sided(), ["aluminium", "galvanised"]), "nothing to cut"),
        (lambda: symmetric(without_twins()), "no patch has a mirrored twin"),
        (
            lambda: asked(
                two_sided(),
                WhatIf(splits=("hatch | deck.left",), joins=("deck.left | hatch",)),
            ),
            "asked to be split too",
        ),
        (
            lambda: asked(two_sided(), WhatIf(pins=(("hatch", "a"), ("hatch", "b")))),
            'pinned to "a" and "b"',
        ),
    ],
)
def test_what_cannot_be_asked_is_told_with_place_value_and_remedy(ask, words):
    assert words in refusal(ask)


def test_all_that_cannot_be_asked_is_told_at_once():
    what_if = WhatIf(pins=(("x", "y"),), joins=("x | y",), crew=0, without=("9 in", "7 in"))
    with pytest.raises(ScenarioErrors) as errors:
        asked(two_sided(), what_if)
    places = [problem.place for problem in errors.value.problems]
    assert places == ["pin", "join", "crew", "without", "without"]
