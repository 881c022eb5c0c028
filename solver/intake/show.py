"""What was understood, in words: so that a mistake is seen before a plan is made.

Text of 80 columns without colour, lengths in the unit of the scenario and in shop fractions.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterator, Sequence

from solver.data.job import Edge, Job, Patch, Run, StockItem, Vector
from solver.data.units import MASS_KG, as_written, format_area
from solver.geometry.lines import smallest_easy_radius_mm, smallest_hard_radii_mm, total_turn_deg
from solver.intake.directions import WORDS, angle_deg

WIDTH = 80
_FLATTEST_MM = 50_000.0
"""A radius beyond 50 m is straight."""
_MOST_FACINGS = 3


def describe(job: Job) -> str:
    """Return the whole job in words, as ``splitplan show`` prints it."""
    lines: list[str] = []
    lines += _heading(job)
    lines += ["", *_patches(job)]
    lines += ["", *_edges(job)]
    lines += ["", *_runs(job)]
    if job.corners:
        lines += ["", *_corners(job)]
    lines += ["", *_stock(job)]
    lines += ["", *_shop(job)]
    if job.notes:
        lines += ["", "Assumed or odd"]
        for note in job.notes:
            lines += _wrapped(note, "  ", "    ")
    return "\n".join(lines) + "\n"


def _heading(job: Job) -> Iterator[str]:
    metal = [edge for edge in job.edges if job.carries_metal(edge)]
    length_mm = sum(edge.length_mm for edge in metal)
    parts = {patch.part for patch in job.patches} - {None}
    yield from _wrapped(job.title or "Untitled", "", "")
    yield from _wrapped(
        f"{_count(len(parts), 'part')}, {_count(len(job.patches), 'patch', 'patches')}, "
        f"{_count(len(job.edges), 'edge')}; {_count(len(metal), 'edge carries', 'edges carry')} "
        f"metal, {_long(length_mm, job.length_unit)} in {_count(len(job.runs), 'run')}.",
        "",
        "",
    )


# --- patches ----------------------------------------------------------------------------------


def _patches(job: Job) -> Iterator[str]:
    yield "Patches"
    by_part: dict[str | None, list[Patch]] = {}
    for patch in job.patches:
        by_part.setdefault(patch.part, []).append(patch)
    for part, patches in by_part.items():
        area_mm2 = sum(patch.area_mm2 for patch in patches)
        title = "not laminated" if part is None else f"part {part}"
        yield _clipped(f"  {title}: {format_area(area_mm2, job.length_unit)}")
        for patch in patches:
            text = f"{patch.id}  {format_area(patch.area_mm2, job.length_unit)}, faces "
            text += _facings(patch.facings)
            if patch.spread_deg:
                text += f", spread {patch.spread_deg:g}°"
            if patch.box_mm is not None:
                low, high = patch.box_mm
                sides = [b - a for a, b in zip(low, high, strict=True)]
                text += ", box " + " x ".join(as_written(s, job.length_unit) for s in sides)
            if patch.pin is not None:
                text += f", pin {patch.pin}"
            text += _twin(patch.id, patch.twin)
            yield from _wrapped(text, "    ", "      ")


def _twin(name: str, twin: str | None) -> str:
    if twin is None:
        return ""
    return ", on the mirror plane" if twin == name else f", twin {twin}"


def _facings(facings: Sequence[Vector]) -> str:
    text = ", ".join(direction_words(facing) for facing in facings[:_MOST_FACINGS])
    more = len(facings) - _MOST_FACINGS
    return text if more <= 0 else f"{text} and {more} more"


def direction_words(direction: Vector) -> str:
    """Return a direction in the words of the scenario: "up", "left 10 up", "up 30 front left"."""
    main = min(WORDS, key=lambda word: angle_deg(direction, WORDS[word]))
    lean = angle_deg(direction, WORDS[main])
    if lean < 0.05:
        return main
    rest = [
        (abs(part), word)
        for axis, part in enumerate(direction)
        for word, vector in WORDS.items()
        if vector[axis] * part > 0.001 and WORDS[main][axis] == 0
    ]
    rest.sort(reverse=True)
    if len(rest) == 2 and rest[0][0] - rest[1][0] > 0.005:
        return "[" + ", ".join(f"{part:.2f}" for part in direction) + "]"
    return f"{main} {lean:.3g} {' '.join(word for _, word in rest)}"


# --- edges ------------------------------------------------------------------------------------


def _edges(job: Job) -> Iterator[str]:
    yield "Edges (walked from mark to mark, the first-named patch on the left)"
    told: set[str] = set()
    for edge in job.edges:
        yield from _wrapped(_edge_title(edge, told), "  ", "    ")
        if edge.twin in told:
            continue
        told.add(edge.id)
        yield from _wrapped(_shape(edge, job.length_unit), "      ", "      ")
        yield from _wrapped(_carried(edge, job), "      ", "      ")


def _edge_title(edge: Edge, told: set[str]) -> str:
    marks = "closed" if edge.start_mark is None else f"{edge.start_mark} to {edge.end_mark}"
    text = f"{edge.id}: {marks}"
    if edge.twin == edge.id:
        return f"{text}, its own twin"
    if edge.twin in told:
        return f"{text}, mirrored from {edge.twin}"
    return text if edge.twin is None else f"{text}, twin {edge.twin}"


def _shape(edge: Edge, unit: str) -> str:
    line = edge.line
    text = f"{as_written(edge.length_mm, unit)} long"
    turns = []
    for way, words in (("easy", ("left", "right")), ("hard", ("up", "down"))):
        turn = total_turn_deg(line, "easy" if way == "easy" else "hard")
        if abs(turn) >= 0.05:
            turns.append(f"{abs(turn):.4g}° {words[0] if turn > 0 else words[1]}")
    text += f", turns {' and '.join(turns)}" if turns else ""
    easy = smallest_easy_radius_mm(line)
    if easy < _FLATTEST_MM:
        text += f", easy-way radius from {as_written(easy, unit)}"
    up, down = smallest_hard_radii_mm(line)
    if min(up, down) < _FLATTEST_MM:
        text += f", hard-way radius from {as_written(min(up, down), unit)}"
    sharp = len(line.corners)
    text += f", {_count(sharp, 'sharp corner')}" if sharp else ""
    text += f", twist strain {edge.strain:.2%}" if edge.strain > 5e-5 else ""
    return text


def _carried(edge: Edge, job: Job) -> str:
    unit = job.length_unit
    if not job.carries_metal(edge):
        first, second = job.sides(edge)
        if first is None or second is None:
            return "no metal: nothing is laminated here"
        witness = "forbidden" if edge.witness == "forbidden" else "to sand"
        text = f"no metal: {first} on both sides; a joint would leave a witness line, {witness}"
        return f"{text}{_split(edge)}; joint faces {_faces(edge)}"
    text = f"stand {as_written(edge.stand_mm, unit)}, grip {as_written(edge.grip_mm, unit)}"
    if edge.return_mm:
        side = edge.first if edge.return_to == "first" else edge.second
        text += f", return {as_written(edge.return_mm, unit)} to {side}"
    if edge.open:
        text += f", clamped, flange {edge.flange}"
    else:
        text += (
            f", bolts {edge.bolts.size} every {as_written(edge.bolts.pitch_mm, unit)}, "
            f"inset {as_written(edge.bolts.inset_mm, unit)}"
        )
    text += ", visible" if edge.visible else ""
    text += _split(edge)
    if edge.standing == "forbidden" and not edge.open:
        text += ", may not stand unsplit"
    for notch in edge.notches:
        text += (
            f", notch {as_written(notch.wide_mm, unit)} x {as_written(notch.deep_mm, unit)}"
            f" at {as_written(notch.at_mm, unit)}"
        )
    for start, end in edge.no_seam_mm:
        text += f", no seam {as_written(start, unit)} to {as_written(end, unit)}"
    for near in edge.near:
        text += f", {as_written(near.gap_mm, unit)} clear of {near.edge}"
        if near.to_mm - near.from_mm < edge.length_mm * (1 - 1e-9):
            text += f" from {as_written(near.from_mm, unit)} to {as_written(near.to_mm, unit)}"
    if not edge.open:
        text += f"; joint faces {_faces(edge)}"
    if edge.kinds:
        text += f"; kinds: {', '.join(edge.kinds)}"
    return text


def _split(edge: Edge) -> str:
    return f", split {edge.split}" if edge.split != "allowed" and not edge.open else ""


def _faces(edge: Edge) -> str:
    if edge.facing_source == "loop":
        return "all round"
    if edge.facing_source == "unknown":
        return "where? (not known)"
    guess = {"boxes": " (guessed from boxes)", "points": " (from points)"}
    return _facings(edge.facings) + guess.get(edge.facing_source, "")


# --- runs -------------------------------------------------------------------------------------


def _runs(job: Job) -> Iterator[str]:
    yield "Runs (what pieces are cut for)"
    for run in job.runs:
        first, second = (_side(side) for side in job.sides(job.edge_of[run.edges[0].edge]))
        length_mm = sum(job.edge_of[step.edge].length_mm for step in run.edges)
        text = f"{first} | {second}: {_marks(job, run)}, {as_written(length_mm, job.length_unit)}"
        text += f", {_count(len(run.edges), 'edge')}"
        if run.twin == run.id:
            text += ", its own twin"
        elif run.twin is not None:
            text += f", twin run {run.twin}"
        yield from _wrapped(text, "  ", "    ")


def _side(part: str | None) -> str:
    return "not laminated" if part is None else part


def _marks(job: Job, run: Run) -> str:
    marks: list[str] = []
    for step in run.edges:
        edge = job.edge_of[step.edge]
        ends = (edge.start_mark, edge.end_mark)
        for mark in reversed(ends) if step.backward else ends:
            if mark is not None and (not marks or marks[-1] != mark):
                marks.append(mark)
    return " ".join(marks) + (" (closed)" if run.closed and marks else "") if marks else "closed"


def _corners(job: Job) -> Iterator[str]:
    yield "Taped corners, where three sides meet and every run ends"
    yield from _wrapped(", ".join(mark for mark, _ in job.corners), "  ", "  ")


# --- stock and shop ---------------------------------------------------------------------------


def _stock(job: Job) -> Iterator[str]:
    yield "Stock"
    groups: dict[tuple[str, str], list[StockItem]] = {}
    for item in job.stock:
        groups.setdefault((item.metal_label, item.form), []).append(item)
    for (label, form), items in groups.items():
        yield from _wrapped(f"{label} {form}: {_sizes(items, job.length_unit)}", "  ", "    ")
    yield _clipped(f"  prices in {job.currency}")


def _sizes(items: Sequence[StockItem], unit: str) -> str:
    long_unit = "ft" if unit == "in" else unit
    widths = sorted({item.width_mm for item in items})
    lengths = sorted({item.length_mm for item in items})
    plain = all(not item.on_hand and item.for_sale is None for item in items)
    if len(items) > 2 and plain and len(items) == len(widths) * len(lengths):
        low, high = (f(item.price for item in items) for f in (min, max))
        return (
            f"{', '.join(as_written(width, unit) for width in widths)} x "
            f"{', '.join(as_written(length, long_unit) for length in lengths)}"
            f", at {low:g} to {high:g}"
        )
    texts = []
    for item in items:
        text = f"{as_written(item.width_mm, unit)} x {as_written(item.length_mm, long_unit)}"
        text += f" at {item.price:g}" if item.for_sale != 0 else ""
        text += f" ({item.on_hand} on hand)" if item.on_hand else ""
        text += f" (at most {item.for_sale})" if item.for_sale else ""
        texts.append(text)
    return "; ".join(texts)


def _shop(job: Job) -> Iterator[str]:
    shop, rules, unit = job.shop, job.rules, job.length_unit
    text = f"crew of {shop.crew}, {shop.labor_rate_per_hour:g} {job.currency} an hour"
    if shop.lift_limit_kg is not None:
        text += f", lifts {_mass(shop.lift_limit_kg, unit)}"
    if shop.largest_section_mm is not None:
        sides = " x ".join(as_written(side, unit) for side in shop.largest_section_mm)
        text += f", sections within {sides}"
    if shop.bolts_on_hand or shop.clamps_on_hand:
        text += f", {shop.bolts_on_hand} bolts and {shop.clamps_on_hand} clamps on hand"
    yield "Shop, rules and goal"
    yield from _wrapped(text, "  ", "    ")
    text = f"draft {rules.draft_deg:g}°"
    if rules.most_sections is not None:
        text += f", at most {_count(rules.most_sections, 'section')}"
    if rules.fewest_sections > 1:
        text += f", at least {rules.fewest_sections} sections"
    if rules.symmetric_split:
        text += ", split alike on both sides"
    if rules.pulls:
        text += f", pulls {_facings(rules.pulls)} only"
    if rules.walls:
        text += f", no room {_facings(rules.walls)}"
    text += f", pieces up to {as_written(rules.longest_piece_mm, unit)}"
    yield from _wrapped(text, "  ", "    ")
    goal = job.goal
    text = f"goal: {goal.name} (metal {goal.metal:g}, joints {goal.joints:g}, labor {goal.labor:g}"
    text += f", waste {goal.waste_per_kg:g} a kilogram)" if goal.waste_per_kg else ")"
    yield from _wrapped(text, "  ", "    ")


# --- text -------------------------------------------------------------------------------------


def _mass(mass_kg: float, unit: str) -> str:
    if unit in ("in", "ft"):
        return f"{mass_kg / float(MASS_KG['lb']):.4g} lb"
    return f"{mass_kg:.4g} kg"


def _long(length_mm: float, unit: str) -> str:
    if unit in ("in", "ft"):
        return f"{math.ceil(length_mm / 304.8 - 1e-9)} ft"
    return f"{length_mm / 1000:.1f} m"


def _count(number: int, one: str, many: str | None = None) -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


_AMOUNT = re.compile(r"(?<=[0-9]) (?=(?:in|ft|mm|cm|m|ft²|m²|lb|kg)\b)")
_TIED = "\u00a0"


def _wrapped(text: str, first: str, later: str) -> list[str]:
    """Break a text into lines, never between a number and its unit."""
    lines = textwrap.wrap(
        _AMOUNT.sub(_TIED, text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=later,
        break_on_hyphens=False,
    )
    return [line.replace(_TIED, " ") for line in lines] or [first]


def _clipped(text: str) -> str:
    return text if len(text) <= WIDTH else f"{text[: WIDTH - 1]}…"
