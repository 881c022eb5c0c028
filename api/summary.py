"""The plan in words on one screen: buy, cut, hours, cost, proof, sections, cautions.

Pure: a plan and, where it is at hand, its job go in; lines of text come out.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Sequence

from api.tables import WIDTH, beside, clip, columns, pad, plain, table, wrap, wrap_words
from solver.data.job import FOOT_MM, POUND_KG, Job, StockItem
from solver.data.plan import (
    PERHAPS_FEWER,
    Amount,
    Cost,
    HoursLine,
    Piece,
    Plan,
    PullStep,
    Section,
    Vector,
)
from solver.data.units import format_length, format_thickness
from solver.rules.exposure import HEALTH_CAUTIONS

SCREEN_LINES = 39
"""Lines of a summary that still fits a screen of 40 with the prompt below it."""

_SECOND_BLOCK = 42
"""Column where the right one of two blocks begins."""

_AFTER_WIDTH = 10
"""Columns of a short summary for the sections that must be off before."""

LOCAL_CODES = "Local codes and licensed practice decide."

USUAL_CAUTIONS = (
    "Sharp edges: gloves and eye protection; deburr every edge before fitting.",
    "Lifting: masses are estimates; nobody stands under a load or pulls alone.",
    "Resin and dust: ventilate, gloves, the right respirator, no open flame.",
)
"""The usual cautions of the trade [practice]; they end every summary."""

_USUAL_IN_PLANS = frozenset(caution.sentence for caution in HEALTH_CAUTIONS)
"""The longer words that plans carry; a screen has the short ones instead."""

_HOURS_GROUPS: dict[str, tuple[str, ...]] = {
    "lay out and cut": (
        "set up a metal",
        "template",
        "snips",
        "deburr",
        "slits",
        "V-notches",
        "notches",
    ),
    "fold and pre-form": ("fold", "pre-form"),
    "fit, seams, corners": ("fit", "seams", "taped corners", "hold standing"),
    "bolts and clamps": ("bolts", "clamps"),
    "fillets and release wax": ("fillet", "release wax"),
    "mold flanges, sections": ("mold flanges", "witness lines", "sections"),
}
"""Operations as the planner names them, gathered for the summary."""

_OTHER_HOURS = "other"

_DIRECTIONS = (("front", "rear"), ("left", "right"), ("up", "down"))


def summarise(
    plan: Plan,
    job: Job | None = None,
    *,
    lines: int | None = SCREEN_LINES,
    stopped: bool = False,
) -> str:
    """Return the summary of a plan, at most 80 columns wide.

    ``job`` names the stock in words.  ``lines`` is the height to keep to: where it is short,
    what the bound covers is left out, patches and cautions are cut to a line each and long
    lists end with what is missing; None prints all, with the basis of each lift and where each
    section's mass is.  ``stopped`` tells that the builder ended the work.
    """
    if plan.status == "impossible":
        return "\n".join(_impossible(plan)) + "\n"
    if plan.cost is None:
        return "\n".join(_no_answer(plan, stopped=stopped)) + "\n"
    top = [
        *_head(plan),
        *_buy(plan, job),
        *_without(plan),
        *_cut(plan, full=lines is None),
        *beside(_hours(plan), _cost(plan, plan.cost), at=_SECOND_BLOCK),
    ]
    usual = [*(f"  {text}" for text in USUAL_CAUTIONS), f"  {LOCAL_CODES}"]
    whole = [
        *top,
        *wrap(_covers(plan), first="PROOF  ", rest="  "),
        *_sections(plan, full=lines is None),
        "CAUTIONS",
    ]
    own = [wrap(text, first="  ! ", rest="    ") for text in plan.cautions]
    if lines is not None:
        own = [
            wrapped
            for wrapped, text in zip(own, plan.cautions, strict=True)
            if text not in _USUAL_IN_PLANS
        ]
    own += [wrap(text, first="  - ", rest="    ") for text in plan.notes]
    text = [*whole, *(line for one in own for line in one), *usual]
    if lines is not None and len(text) > lines:
        text = _short(top, _sections_short(plan), own, usual, lines)
    return "\n".join(text) + "\n"


def _short(
    top: list[str],
    sections: list[str],
    own: list[list[str]],
    usual: list[str],
    lines: int,
) -> list[str]:
    """Put the blocks together within the height: one line a caution, sections before cautions."""
    room = lines - len(top) - 1 - len(usual)
    keep = max(room - (1 if own else 0), 5)
    if len(sections) > keep:
        missing = len(sections) - keep + 1
        sections = [*sections[: keep - 1], f"  ... {missing} more sections: --full prints all"]
    room -= len(sections)
    cautions = [one[0] if len(one) == 1 else clip(one[0] + " " * WIDTH + ".", WIDTH) for one in own]
    if len(cautions) > room:
        missing = len(cautions) - max(room - 1, 0)
        told = f"  ! {count_words(missing, 'more caution')}: --full prints all"
        cautions = [*cautions[: max(room - 1, 0)], told]
    return [*top, *sections, "CAUTIONS", *cautions, *usual]


def metal_words(metal: str, gauge: int | None, thickness_mm: float) -> str:
    """Return a metal as a builder says it: "24 ga aluminium" or "0.032 in aluminium"."""
    if gauge is not None:
        return f"{gauge} ga {metal}"
    return f"{format_thickness(thickness_mm)} {metal}"


def duration(minutes: float) -> str:
    """Return minutes as "9 h 40 min"."""
    whole = round(minutes)
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


def weight(mass_kg: float, length_unit: str) -> str:
    """Return a mass in pounds for a scenario in inches or feet, else in kilograms."""
    if length_unit in ("in", "ft"):
        return f"{mass_kg / POUND_KG:.0f} lb"
    return f"{mass_kg:.0f} kg" if mass_kg >= 10 else f"{mass_kg:.1f} kg"


def crew(people: int | None) -> str:
    """Return who lifts: "1 person", "2 people" or "hoist"."""
    if people is None:
        return "hoist"
    return "1 person" if people == 1 else f"{people} people"


def direction(pull: Vector) -> str:
    """Return a unit vector as "up", "left 10 up" or "left 10 up 5 rear", whole degrees of lean.

    The first word is the main direction; each lean is measured from it toward the next word.
    """
    order = sorted(range(3), key=lambda axis: -abs(pull[axis]))
    main = order[0]
    words = [_side(main, pull[main])]
    for axis in order[1:]:
        lean = math.degrees(math.atan2(abs(pull[axis]), abs(pull[main])))
        # halves go up, though their last digits differ from machine to machine
        whole = math.floor(lean + 0.5 + 1e-6)
        if whole >= 1:
            words.append(f"{whole} {_side(axis, pull[axis])}")
    return " ".join(words)


def money(amount: float) -> str:
    """Return money with two digits and no sign of its own."""
    return f"{amount:,.2f}"


def name_words(names: Sequence[str]) -> list[str]:
    """Return names in quotes with commas between, each a word that a line does not break."""
    return [f'"{name}"' + ("," if name is not names[-1] else "") for name in names]


def removal_pairs(plan: Plan) -> list[tuple[Section, PullStep | None]]:
    """Return the sections in the order in which they come off; unlisted ones last."""
    by_id = {section.id: section for section in plan.sections}
    pairs: list[tuple[Section, PullStep | None]] = [
        (by_id[step.section], step) for step in plan.removal if step.section in by_id
    ]
    listed = {section.id for section, _ in pairs}
    return pairs + [(section, None) for section in plan.sections if section.id not in listed]


def _side(axis: int, amount: float) -> str:
    return _DIRECTIONS[axis][0 if amount >= 0 else 1]


def _head(plan: Plan) -> list[str]:
    status = status_words(plan)
    right = f"goal {plain(plan.goal)}: {status}"
    title = clip(plain(plan.title) or "Plan", WIDTH - len(right) - 2)
    return [title + " " * (WIDTH - columns(title) - columns(right)) + right, "=" * WIDTH]


def status_words(plan: Plan) -> str:
    """Return what the search can say for the plan."""
    gap = plan.proof.gap
    if plan.status == "within gap" and gap is not None:
        return f"within {_percent(gap)} of the bound"
    return {
        "proven": "proven best of its class",
        "stopped": "stopped, best so far",
    }.get(plan.status, plan.status)


def _stock_words(item: StockItem, unit: str) -> str:
    long = unit if item.form != "roll" else _long_unit(unit)
    sizes = f"{width_words(item.width_mm, unit)} x {format_length(item.length_mm, long)}"
    return f"{item.form}, {item.metal_label}, {sizes}"


def width_words(length_mm: float, unit: str) -> str:
    """Return a width: in inches even where the scenario is in feet."""
    return format_length(length_mm, "in" if unit == "ft" else unit)


def _buy(plan: Plan, job: Job | None) -> list[str]:
    rows: list[list[str]] = []
    for purchase in plan.purchases:
        item = job.stock_of.get(purchase.stock) if job is not None else None
        words = _stock_words(item, plan.length_unit) if item is not None else purchase.stock
        if purchase.buy:
            each = f"at {money(purchase.unit_price)}" if purchase.buy > 1 else ""
            rows.append([str(purchase.buy), words, each, money(purchase.price)])
        if purchase.from_hand:
            rows.append([str(purchase.from_hand), words, "on hand", "-"])
    block = [f"BUY ({plain(plan.currency)})"]
    block += table(rows, sides=["right", "left", "right", "right"], give=1)
    if not rows:
        block.append("  no metal: no part ends anywhere")
    bought = _amounts(plan)
    if bought:
        cost = sum(amount.price for amount in plan.amounts)
        text = f"{'; '.join(bought)}: {money(cost)}"
        block += wrap(text, first="  also ", rest="       ")
    return block


def _without(plan: Plan) -> list[str]:
    """Say what the plan would cost without what it buys, where that was asked for."""
    if not plan.without or plan.cost is None:
        return []
    rows = []
    for one in plan.without:
        if one.status == "impossible":
            rows.append([one.what, "no plan is possible", "proven"])
            continue
        low = "" if one.bound is None else _more(one.bound, plan.cost.objective)
        if one.objective is None:
            rows.append([one.what, "no plan was found", low and f"at least {low}"])
            continue
        high = _more(one.objective, plan.cost.objective)
        # where the two agree to the cent, nothing is left open
        shown = "proven" if low == high else low and f"at least {low}"
        rows.append([one.what, f"costs {high} more", shown])
    block = ["WITHOUT BUYING (what is on hand stays)"]
    return block + table(rows, sides=["left", "left", "left"], give=0)


def _more(amount: float, than: float) -> str:
    return money(max(0.0, amount - than))


def _amounts(plan: Plan) -> list[str]:
    """Say what is to be bought besides metal; packers of several thicknesses as one."""
    packers = [one for one in plan.amounts if one.item.startswith("packer ") and one.buy > 0]
    words = []
    for amount in plan.amounts:
        if amount.buy <= 0 or (amount in packers[1:] and len(packers) > 1):
            continue
        if amount in packers and len(packers) > 1:
            factor, unit = shop_unit(amount.unit, plan.length_unit)
            length = factor * sum(one.buy for one in packers)
            words.append(f"{length:.3g} {unit} packers of {len(packers)} thicknesses")
        else:
            words.append(_amount_words(amount, plan.length_unit))
    return words


def shop_unit(unit: str, length_unit: str) -> tuple[float, str]:
    """Return the factor and the unit in which a shop of that length unit buys something."""
    inches = length_unit in ("in", "ft")
    if unit == "ft" and not inches:
        return FOOT_MM / 1000, "m"
    if unit == "m2":
        return (1e6 / FOOT_MM**2, "ft²") if inches else (1.0, "m²")
    return 1.0, unit


def _amount_words(amount: Amount, length_unit: str) -> str:
    if amount.unit == "litres" and amount.buy < 1:
        return f"{max(1000 * amount.buy, 1):.0f} ml {amount.item}"
    factor, unit = shop_unit(amount.unit, length_unit)
    bought = factor * amount.buy
    figure = f"{bought:.3g}" if bought < 100 else f"{bought:,.0f}"
    if amount.item.startswith(amount.unit):  # "14 bolts M8 x 25", not "14 bolts bolts M8 x 25"
        return f"{figure} {amount.item}"
    if amount.unit == "seams":
        return f"{amount.item} for {figure} seams"
    return f"{figure} {unit} {amount.item}"


def _cut(plan: Plan, *, full: bool) -> list[str]:
    """List the pieces by metal; ``full`` adds what there is to cut."""
    if not plan.pieces:
        return []
    by_metal: defaultdict[tuple[str, int | None, float], list[Piece]] = defaultdict(list)
    for piece in plan.pieces:
        by_metal[(piece.metal, piece.gauge, piece.thickness_mm)].append(piece)
    rows = []
    for (metal, gauge, thickness_mm), pieces in sorted(
        by_metal.items(), key=lambda one: (one[0][0], one[0][2])
    ):
        length_mm = sum(piece.blank.root_length_mm for piece in pieces)
        held = Counter(piece.mounting for piece in pieces)
        rows.append(
            [
                count_words(len(pieces), "piece"),
                metal_words(metal, gauge, thickness_mm),
                _sum_words(length_mm, plan.length_unit),
                ", ".join(f"{held[name]} {name}" for name in sorted(held)),
            ]
        )
    templates = sum(1 for piece in plan.pieces if piece.template_of is None)
    seams = _hours_count(plan, "seams")
    corners = _hours_count(plan, "taped corners")
    words = [
        count_words(len(plan.pieces), "piece") + f" from {count_words(templates, 'template')}",
        count_words(seams, "seam"),
    ]
    if corners:
        words.append(count_words(corners, "taped corner"))
    if any(piece.blank.folds for piece in plan.pieces):
        words.append(f"{sum(1 for piece in plan.pieces if piece.blank.folds)} folded")
    return [
        f"CUT  {', '.join(words)}",
        *table(rows, sides=["right", "left", "right", "left"], give=3),
        *(_lengths_to_cut(plan) if full else ()),
    ]


def _lengths_to_cut(plan: Plan) -> list[str]:
    """Say what is cut, and what lies on the metal's own edge; the hours count both."""
    if any(nest.cut_mm is None or nest.edge_mm is None for nest in plan.nests):
        return []
    cut, on_edge = (
        _sum_words(sum(lengths), plan.length_unit)
        for lengths in (
            [nest.cut_mm or 0.0 for nest in plan.nests],
            [nest.edge_mm or 0.0 for nest in plan.nests],
        )
    )
    text = f"{cut} of outline to cut; {on_edge} more lie on the metal's own edge: hours count both"
    return wrap(text, first="  ", rest="    ")


def _long_unit(unit: str) -> str:
    """Return the unit for a sum of lengths: feet and inches, or metres."""
    return "ft" if unit in ("in", "ft") else "m"


def _sum_words(length_mm: float, unit: str) -> str:
    """Return a sum of lengths, rounded up to what a supplier hears: whole inches or centimetres."""
    step_mm = 25.4 if unit in ("in", "ft") else 10.0
    return format_length(math.ceil(length_mm / step_mm - 1e-9) * step_mm, _long_unit(unit))


def count_words(number: float, word: str) -> str:
    """Return "1 seam" or "3 seams"."""
    return f"{number:,.0f} {word}{'' if round(number) == 1 else 's'}"


def _hours_count(plan: Plan, operation: str) -> float:
    """Return how many of something the hours count."""
    return sum(line.count for line in plan.hours if line.operation == operation)


def _group_of(line: HoursLine) -> str:
    for group, operations in _HOURS_GROUPS.items():
        if line.operation in operations:
            return group
    return _OTHER_HOURS


def _hours(plan: Plan) -> list[str]:
    groups: defaultdict[str, float] = defaultdict(float)
    for line in plan.hours:
        groups[_group_of(line)] += line.minutes
    allowance = plan.minutes - sum(groups.values())
    if allowance > 0.5:
        groups["allowance for the rest"] = allowance
    rows = [[name, duration(minutes)] for name, minutes in sorted(groups.items(), key=_longest)]
    rows.append(["all work", duration(plan.minutes)])
    return ["HOURS", *table(rows, sides=["left", "right"], width=_SECOND_BLOCK - 2)]


def _longest(group: tuple[str, float]) -> tuple[bool, float]:
    return (group[0] == "allowance for the rest", -group[1])


def _cost(plan: Plan, cost: Cost) -> list[str]:
    """List what it costs, and what is proven about it."""
    whole = cost.total or 1.0
    parts = (("metal", cost.metal), ("joints", cost.joints), ("labor", cost.labor))
    rows = [[name, money(amount), f"{100 * amount / whole:.0f} %"] for name, amount in parts]
    rows.append(["total", money(cost.total), ""])
    if abs(cost.objective - cost.total) > 0.005:
        rows.append(["weighted", money(cost.objective), ""])
    proof = plan.proof
    if proof.bound is not None and proof.gap is not None:
        rows.append(["no plan below", money(proof.bound), f"gap {_percent(proof.gap)}"])
    if proof.purchase_bound is not None and proof.purchase_gap is not None:
        gap = f"gap {_percent(proof.purchase_gap)}"
        rows.append(["no nest below", money(proof.purchase_bound), gap])
    lines = table(rows, sides=["left", "right", "left"], width=WIDTH - _SECOND_BLOCK)
    return [f"COST ({plain(plan.currency)})", *lines]


def _covers(plan: Plan) -> str:
    proof = plan.proof
    if proof.bound is None:
        return "no bound was proven for the whole cost"
    if not proof.covers.strip():
        return "the bound is proven"
    return f'"no plan below" covers {proof.covers.strip().rstrip(".")}.'


def _percent(share: float) -> str:
    return f"{100 * max(share, 0.0):.1f} %"


def _sections(plan: Plan, *, full: bool) -> list[str]:
    """List the sections in the order of removal, each with what goes before it.

    ``full`` adds where its mass is and on what basis it is lifted.
    """
    if not plan.sections:
        return []
    block = [_ORDER]
    lines, pairs = _section_table(plan), removal_pairs(plan)
    block.append(f"{lines[0]}  patches")
    indent = " " * (columns(lines[0]) + 2)
    for line, (section, step) in zip(lines[1:], pairs, strict=True):
        block += wrap(_grouped(section.patches), first=pad(line, len(indent)), rest=indent)
        for told in _section_notes(section, step, plan.length_unit, full=full):
            block += wrap_words(told, first="      ", rest="        ")
    if full and any(section.centre_mm for section in plan.sections):
        block.append("  Centres of mass: boxes weighted by area, from the scenario's own zero.")
    return block


_ORDER = "SECTIONS in the order they come off; assemble in reverse (draft: least, degrees)"
_ORDER_WITH_METAL = (
    "SECTIONS in the order they come off; assemble in reverse; * metal first (--full)"
)


def _sections_short(plan: Plan) -> list[str]:
    """List the sections in a line each: what must be off before, then the patches as far as fit."""
    if not plan.sections:
        return []
    pairs = removal_pairs(plan)
    lines = _section_table(plan)
    befores = ["after"]
    for _, step in pairs:
        mark = "*" if step is not None and step.drawn_first else ""
        befores.append(mark + clip(",".join(step.after) if step is not None else "", _AFTER_WIDTH))
    wide = max(columns(one) for one in befores)
    patches = ["patches", *(plain(_grouped(section.patches)) for section, _ in pairs)]
    begun = [pad(line, columns(lines[0])) for line in lines]
    block = [
        clip(f"{line}  {pad(before, wide)}  {named}", WIDTH)
        for line, before, named in zip(begun, befores, patches, strict=True)
    ]
    drawn = any(before.startswith("*") for before in befores)
    return [_ORDER_WITH_METAL if drawn else _ORDER, *block]


def _section_table(plan: Plan) -> list[str]:
    rows = [
        [
            section.id,
            weight(section.mass_kg, plan.length_unit),
            crew(section.people),
            direction(step.pull) if step is not None else "",
            f"{step.draft_deg:.1f}" if step is not None else "",
        ]
        for section, step in removal_pairs(plan)
    ]
    return table(
        rows,
        head=["id", "weight", "lift", "pull", "draft"],
        sides=["left", "right", "left", "left", "right"],
        give=0,
    )


def _section_notes(
    section: Section, step: PullStep | None, unit: str, *, full: bool
) -> list[list[str]]:
    """Return what is told of a section, each as words that stay whole."""
    notes: list[list[str]] = []

    def note(text: str, *names: str) -> None:
        notes.append([*text.split(), *names])

    if step is not None and step.after:
        verb = "blocks" if len(step.after) == 1 else "block"
        note(f"after {', '.join(step.after)}, which {verb} its pull until off")
    if step is not None and step.drawn_first:
        note("draw first the metal across its pull:", *name_words(step.drawn_first))
    if full:
        if step is not None and step.draft_set_by:
            note(f"least draft at {', '.join(step.draft_set_by)}")
        if section.extent_mm is not None:
            sizes = " x ".join(format_length(one, unit) for one in section.extent_mm)
            note(f"extent {sizes} (front x left x up)")
        if section.centre_mm is not None:
            note(f"centre of mass about {_place(section.centre_mm, unit)}")
        if section.lift_basis:
            note(f"lift: {section.lift_basis}")
    return notes


def _place(point: Vector, unit: str) -> str:
    """Return a point as "12 in front, 3 in right, 40 in up", in whole inches or centimetres."""
    step_mm, shown = (25.4, "in") if unit in ("in", "ft") else (10.0, "cm")
    return ", ".join(
        f"{format_length(round(abs(amount) / step_mm) * step_mm, shown)} {_side(axis, amount)}"
        for axis, amount in enumerate(point)
    )


def _grouped(patches: tuple[str, ...]) -> str:
    """Return patches with those of one name before the dot together: "roof.mid/rear, nose"."""
    groups: dict[str, list[str]] = {}
    for patch in patches:
        name, dot, rest = patch.partition(".")
        groups.setdefault(name + dot, []).append(rest)
    return ", ".join(name + "/".join(rests) for name, rests in groups.items())


def _impossible(plan: Plan) -> list[str]:
    block = [*wrap(plan.title), "=" * WIDTH, "NO PLAN IS POSSIBLE"]
    said = "These requirements of the scenario cannot all hold. "
    if PERHAPS_FEWER not in plan.notes:
        said += "Each is needed for that: give way in any one of them and plan again."
    block += wrap(said, first="  ", rest="  ")
    for place, requirement in enumerate(plan.impossible, start=1):
        block += wrap(requirement.sentence, first=f"  {place}. ", rest="     ")
        named = ", ".join(requirement.ids)
        rule = f"rule {requirement.rule}" + (f": {named}" if named else "")
        block += wrap(rule, first="     (", rest="      ")
        block[-1] += ")" if columns(block[-1]) < WIDTH else ""
    block += _further(plan)
    return block


def _no_answer(plan: Plan, *, stopped: bool) -> list[str]:
    block = [*wrap(plan.title), "=" * WIDTH, *no_plan_words(plan, stopped=stopped)]
    if plan.proof.bound is not None:
        block.append(
            f"  Proven so far: no plan costs less than {money(plan.proof.bound)} "
            f"{plain(plan.currency)}."
        )
    block += _further(plan)
    return block


def no_plan_words(plan: Plan | None, *, stopped: bool) -> list[str]:
    """Say why there is no plan yet: the builder stopped, the time ran out, or the work did."""
    if stopped or (plan is not None and plan.status == "stopped"):
        said = "STOPPED before the first plan"
    elif plan is not None and plan.made.seconds is None:
        said = "NO ANSWER from the steps of work that are tried without --seconds"
    else:
        said = "NO ANSWER in the time given"
    more = "That does not mean that there is none: give it more time with --seconds."
    return [said, *wrap(more, first="  ", rest="  ")]


def _further(plan: Plan) -> list[str]:
    return [
        line for text in (*plan.notes, *plan.cautions) for line in wrap(text, first="  ", rest="  ")
    ]
