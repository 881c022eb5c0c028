"""A summary fits one screen and says what to buy, cut, lift and mind."""

import math

import pytest
from hand_made_plan import impossible_plan, lid_job, lid_plan, unanswered_plan

from api.summary import SCREEN_LINES, direction, duration, metal_words, summarise
from api.tables import columns
from solver.data.plan import PERHAPS_FEWER, PullStep, Section


def test_summary_fits_a_screen_of_80_columns():
    text = summarise(lid_plan(), lid_job())
    assert max(columns(line) for line in text.splitlines()) <= 80
    assert len(text.splitlines()) <= SCREEN_LINES


@pytest.mark.parametrize(
    "fact",
    [
        "1  roll, 24 ga aluminium, 8 in x 10 ft     14.00",
        "1  sheet, 22 ga galvanised, 36 in x 48 in  38.00",
        "14 bolts 5/16 x 1-1/4 in",
        # 15 of the 21 clamps are on hand, so 6 are bought.
        "6 clamps",
        # Small amounts of fillet are measured in a cup.
        "; 200 ml",
        # 8.4 + 36 + 2.35 + 3.6 + 0.6
        "50.95",
        "6 pieces from 5 templates, 6 seams",
        # Two pieces round the lid, 80.57 in, each 1/2 in longer to trim: 82 whole inches.
        "2 pieces  24 ga aluminium   6 ft 10 in  2 pinched",
        # Four pieces round the frame, 126.85 in, and 2 in to trim: 128.85 in, in whole inches 129.
        "4 pieces  22 ga galvanised  10 ft 9 in  4 clamped",
        # 359.3 min of operations and 15 % allowance: 413.2 min.
        "6 h 53 min",
        "total          490.86",
        "no plan below  482.03  gap 1.8 %",
        "seams anywhere legal",
        "no nest below   52.00  gap 0.0 %",
        # 6.4 kg / 0.45359 = 14.1 lb.
        "lid     14 lb  1 person  up     90.0  lid",
        "SECTIONS in the order they come off; assemble in reverse",
        "after lid, which blocks its pull until off",
        "Boxes are missing",
        "Sharp edges",
        "Lifting",
        "Resin and dust",
        "Local codes and licensed practice decide.",
    ],
)
def test_summary_tells(fact):
    assert fact in summarise(lid_plan(), lid_job())


def test_each_shop_buys_in_its_own_units():
    inches, metric = summarise(lid_plan()), summarise(lid_plan(length_unit="mm"))
    # 6.71 ft = 2.045 m; 0.5 m² = 5.38 ft².
    assert "6.71 ft packer" in inches
    assert "5.38 ft² release wax" in inches
    assert "2.05 m packer" in metric
    assert "0.5 m² release wax" in metric


def test_metal_sold_by_thickness_is_called_as_it_is_sold():
    assert metal_words("aluminium", None, 0.019 * 25.4) == "0.019 in aluminium"
    assert metal_words("galvanised", None, 0.75) == "0.75 mm galvanised"
    assert metal_words("galvanised", 22, 0.853) == "22 ga galvanised"


def test_summary_without_the_job_names_the_stock_by_its_id():
    text = summarise(lid_plan())
    assert "roll-1" in text
    assert "sheet-1" in text


def test_metric_scenarios_read_in_metric_units():
    text = summarise(lid_plan(length_unit="mm"), lid_job("mm"))
    assert "203.2 mm x 3.048 m" in text
    assert "6.4 kg" in text
    assert "lb" not in text


def test_stock_on_hand_is_not_counted_as_bought():
    [roll, sheet] = lid_plan().purchases
    text = summarise(
        lid_plan(purchases=(roll, sheet.model_copy(update={"buy": 0, "from_hand": 1, "price": 0}))),
        lid_job(),
    )
    assert "sheet, 22 ga galvanised, 36 in x 48 in  on hand" in text


def test_a_goal_with_weights_shows_the_figure_that_it_minimises():
    cost = lid_plan().cost.model_copy(update={"objective": 123.45})
    assert "weighted       123.45" in summarise(lid_plan(goal="least metal", cost=cost), lid_job())


def _many_sections(count):
    sections = tuple(
        Section(
            id=f"section-{k:02d}",
            patches=(f"patch-{k:02d}", f"other-patch-{k:02d}"),
            area_mm2=1e6,
            mass_kg=20.0 + k,
            extent_mm=None,
            centre_mm=None,
            people=None if k == 3 else 2,
            lift_basis="",
        )
        for k in range(count)
    )
    removal = tuple(
        PullStep(
            section=section.id,
            pull=(0.0, 0.96592583, 0.25881905),
            draft_deg=3.4,
            draft_set_by=(),
            after=tuple(other.id for other in sections[max(0, k - 2) : k]),
            drawn_first=("a | b",),
        )
        for k, section in enumerate(sections)
    )
    return sections, removal


def test_a_screen_has_40_lines_and_one_of_them_is_the_prompts():
    assert SCREEN_LINES < 40


def test_eight_sections_and_many_cautions_still_fit_the_screen():
    sections, removal = _many_sections(8)
    cautions = tuple(f"caution {k}: {'something to mind, ' * 8}" for k in range(30))
    plan = lid_plan(sections=sections, removal=removal, cautions=cautions)
    text = summarise(plan, lid_job())
    assert len(text.splitlines()) <= SCREEN_LINES
    assert max(columns(line) for line in text.splitlines()) <= 80
    for section in sections:
        assert section.id in text
    assert "hoist" in text
    assert "left 15 up" in text
    assert "more cautions: --full prints all" in text
    assert "Local codes and licensed practice decide." in text
    # what the bound covers is for those who ask for everything
    assert "PROOF" not in text
    assert "PROOF" in summarise(plan, lid_job(), lines=None)


def test_forty_sections_are_cut_on_a_screen_and_whole_in_full():
    sections, removal = _many_sections(40)
    plan = lid_plan(sections=sections, removal=removal)
    short = summarise(plan, lid_job())
    assert len(short.splitlines()) <= SCREEN_LINES
    assert "more sections: --full prints all" in short
    full = summarise(plan, lid_job(), lines=None)
    assert all(section.id in full for section in sections)
    # The patches of a section are what tells the builder which one it is.
    assert all(patch in full for section in sections for patch in section.patches)


def test_a_full_summary_tells_what_goes_first_where_the_mass_is_and_who_says_so():
    [frame, lid] = lid_plan().sections
    # 254 mm are 10 in, 304.8 mm are 12 in, 101.6 mm are 4 in.
    lid = lid.model_copy(
        update={"centre_mm": (254.0, -304.8, 101.6), "extent_mm": (609.6, 457.2, 25.4)}
    )
    [first, second] = lid_plan().removal
    first = first.model_copy(update={"drawn_first": ("lid | frame",)})
    plan = lid_plan(sections=(frame, lid), removal=(first, second))
    full = summarise(plan, lid_job(), lines=None)
    for fact in (
        'draw first the metal across its pull: "lid | frame"',
        "centre of mass about 10 in front, 12 in right, 4 in up",
        "extent 24 in x 18 in x 1 in (front x left x up)",
        "after lid, which blocks its pull until off",
        "lift: NIOSH",
        "least draft at lid",
    ):
        assert fact in full
    assert full.index("  lid  ") < full.index("  frame")
    short = summarise(plan, lid_job())
    assert 'draw first the metal across its pull: "lid | frame"' in short
    assert "centre of mass" not in short
    assert "NIOSH" not in short


def test_a_screen_too_short_for_names_still_shows_order_and_drawn_metal():
    sections, removal = _many_sections(8)
    text = summarise(lid_plan(sections=sections, removal=removal), lid_job(), lines=36)
    assert "* metal first (--full)" in text
    [row] = [line for line in text.splitlines() if line.startswith("  section-02")]
    assert "*section..." in row


def test_hours_under_names_that_the_summary_does_not_know_are_still_counted():
    plan = lid_plan()
    odd = plan.hours[0].model_copy(update={"operation": "polish", "minutes": 61.0})
    text = summarise(lid_plan(hours=(odd,), minutes=61.0), lid_job())
    assert "other     1 h 01 min" in text


def test_an_impossible_job_names_the_requirements_that_clash():
    text = summarise(impossible_plan(), lid_job())
    assert "NO PLAN IS POSSIBLE" in text
    assert 'section limit 5 kg, but "frame" alone weighs 9.8 kg' in text
    assert "shop.lift_limit" in text


def test_requirements_that_were_not_shown_to_be_fewest_are_not_called_so():
    assert "Each is needed for that" in summarise(impossible_plan(), lid_job())
    unsure = impossible_plan().model_copy(update={"notes": (PERHAPS_FEWER,)})
    text = " ".join(summarise(unsure, lid_job()).split())
    assert "Each is needed for that" not in text
    assert PERHAPS_FEWER in text


def test_what_was_assumed_is_told_with_the_cautions():
    note = 'metal with a return hooks under the laminate and leaves with it: "lid | frame"'
    text = " ".join(summarise(lid_plan(notes=(note,)), lid_job(), lines=None).split())
    assert note in text


def test_no_answer_is_not_called_impossible():
    text = summarise(unanswered_plan(), lid_job())
    assert "NO ANSWER" in text
    assert "--seconds" in text
    assert "IMPOSSIBLE" not in text


def test_stopping_before_the_first_plan_is_told_as_such():
    assert "STOPPED before the first plan" in summarise(unanswered_plan("stopped"), lid_job())
    text = summarise(unanswered_plan(), lid_job(), stopped=True)
    assert "STOPPED before the first plan" in text
    assert "in the time given" not in text


def test_work_without_a_time_limit_never_blames_the_time():
    made = lid_plan().made.model_copy(update={"seconds": None})
    text = summarise(unanswered_plan().model_copy(update={"made": made}), lid_job())
    assert "NO ANSWER" in text
    assert "in the time given" not in text


def test_names_cannot_steer_the_terminal():
    text = summarise(
        lid_plan(title="lid\x1b[2J\u202eevil", cautions=("bell \a",)), lid_job(), lines=None
    )
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "\a" not in text


def test_wide_letters_keep_to_80_columns():
    title = "蓋" * 60
    text = summarise(lid_plan(title=title, cautions=(title,)), lid_job())
    assert max(columns(line) for line in text.splitlines()) <= 80


@pytest.mark.parametrize(
    ("pull", "words"),
    [
        ((0, 0, 1), "up"),
        ((-1, 0, 0), "rear"),
        # tan 10 deg = 0.1763
        ((0, 0.98480775, 0.17364818), "left 10 up"),
        ((0.5, -0.70710678, 0.5), "right 35 front 35 up"),
        # Less than half a degree is no lean that anyone could see.
        ((0.001, 0, -0.9999995), "down"),
    ],
)
def test_pulls_read_as_the_scenario_writes_directions(pull, words):
    assert direction(pull) == words


@pytest.mark.parametrize("noise_deg", [-1e-9, 0.0, 1e-9])
def test_half_a_degree_of_lean_reads_the_same_on_every_machine(noise_deg):
    for half in (32.5, 33.5):
        lean = math.radians(half + noise_deg)
        words = direction((0.0, math.cos(lean), math.sin(lean)))
        assert words.split()[1:] == [str(int(half) + 1), "up"]


@pytest.mark.parametrize(
    ("minutes", "words"), [(0.4, "0 min"), (59.6, "1 h 00 min"), (605, "10 h 05 min")]
)
def test_minutes_read_as_hours(minutes, words):
    assert duration(minutes) == words
