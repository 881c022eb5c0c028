"""Whether a job can be true: what the tape says must fit together.

Problems are what cannot be; cautions are what can be but is odd, or was guessed.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from solver.data import scenario as form
from solver.data.errors import Key, Problems
from solver.data.job import INCH_MM, OPEN, Edge, Job, Patch
from solver.data.units import AREA_MM2, LENGTH_MM, format_area
from solver.intake.closing import TURN_SLACK_DEG, Closing, closing_of
from solver.intake.context import Source
from solver.intake.directions import angle_deg, mean_direction
from solver.intake.edges import EdgeSet
from solver.intake.facings import is_flat_loop
from solver.intake.runs import MOST_LINES_AT_A_MARK
from solver.intake.walks import Contradiction, border_gaps

AREA_SLACK = 1.05
"""An area may be measured 5 % too large before it is refused."""
FLAT_AREA_SHARE = 0.05
"""A flat patch inside measured loops should have their area within 5 %."""


@dataclass(frozen=True)
class Places:
    """Where patches and edges stand in the file; what is mirrored stands at its twin's place."""

    patch: Mapping[str, tuple[Key, ...]]
    """Without those whose border could not be read whole."""
    edge: Mapping[str, Source]


def places_of(made: EdgeSet, scenario: form.Scenario) -> Places:
    """Return the places in a file in the builder's form."""
    return Places(
        {name: ("patches", name) for name in scenario.patches if name not in made.unread},
        made.source,
    )


def places_in_resolved(job: Job) -> Places:
    """Return the places in a file in resolved form."""
    return Places(
        {patch.id: ("patches", index) for index, patch in enumerate(job.patches)},
        {
            edge.id: Source(("edges", index), "line", tuple(range(len(edge.line.stretches))))
            for index, edge in enumerate(job.edges)
        },
    )


def check_hands(contradictions: Sequence[Contradiction], made: EdgeSet, problems: Problems) -> None:
    """Report edges that cannot have a patch on the hand that they say; of twins the written one."""
    told: set[tuple[Key, ...]] = set()
    for one in contradictions:
        keys = made.source[one.edge].keys
        if keys not in told:
            problems.add(
                keys,
                f'has "{one.patch}" on the other hand than "{one.beside}" beside it',
                "the first-named patch is on your left: swap the names or walk from the other end",
            )
        told.add(keys)


def check(job: Job, places: Places, problems: Problems) -> None:
    """Add a problem for everything that does not fit together."""
    borders = _borders(job)
    closings = _check_loops(job, places, problems)
    gaps = border_gaps(job.edges)
    _check_marks(job, places, problems)
    _check_borders(job, borders, gaps, places, problems)
    _check_areas(job, borders, gaps, places, problems)
    _check_loop_sides(job, borders, places, closings, problems)
    _check_strain(job, places, problems)


def _borders(job: Job) -> Mapping[str, list[Edge]]:
    borders: dict[str, list[Edge]] = defaultdict(list)
    for edge in job.edges:
        for patch in (edge.first, edge.second):
            if patch != OPEN:
                borders[patch].append(edge)
    return borders


# --- loops ------------------------------------------------------------------------------------


def _check_loops(job: Job, places: Places, problems: Problems) -> dict[str, Closing]:
    closings: dict[str, Closing] = {}
    for edge in job.edges:
        if not edge.line.closed or problems.full:
            continue
        closing = closing_of(edge.line)
        closings[edge.id] = closing
        source = places.edge[edge.id]
        if source.shape not in ("loop", "path", "line"):
            continue
        flat = not any(s.hard_start or s.hard_end for s in edge.line.stretches)
        if flat and abs(closing.turn_deg + 360) <= TURN_SLACK_DEG:
            problems.add(
                source.shape_keys,
                "turns 360 degrees to the right",
                "the enclosed patch is named first and lies on your left: swap the names",
            )
        elif not closing.closes(edge.length_mm) or (
            flat and abs(closing.turn_deg - 360) > TURN_SLACK_DEG
        ):
            gap = closing.gap_mm / float(LENGTH_MM[job.length_unit])
            problems.add(
                source.shape_keys,
                f"turns {closing.turn_deg:.1f} degrees and ends {gap:.2f} from its start",
                _loop_remedy(closing, source, flat=flat),
            )
    return closings


def _loop_remedy(closing: Closing, source: Source, *, flat: bool) -> str:
    if flat and abs(closing.turn_deg - 360) > TURN_SLACK_DEG:
        missing = 360 - closing.turn_deg
        more = "more" if missing > 0 else "less"
        return f"a loop turns 360 degrees to the left: {abs(missing):.1f} {more}"
    items = dict.fromkeys(f"[{source.items[index]}]" for index in closing.along)
    if not items:
        return "the walk does not come back: measure the turns and lengths again"
    return f"the gap runs along {' '.join(items)}: measure there again"


def _check_loop_sides(
    job: Job,
    borders: Mapping[str, list[Edge]],
    places: Places,
    closings: Mapping[str, Closing],
    problems: Problems,
) -> None:
    """Report a patch that lies outside every line of its border: it would have no end."""
    for patch in job.patches:
        keys = places.patch.get(patch.id)
        border = borders[patch.id]
        if keys is None or not border:
            continue
        outside = [e for e in border if is_flat_loop(e) and e.second == patch.id]
        if len(outside) == len(border) and all(
            e.id in closings and closings[e.id].turn_deg > 0 for e in outside
        ):
            only = "its only loop" if len(border) == 1 else "all its loops"
            problems.add(
                keys,
                f"lies outside {only}",
                "name it first, to the left of the bar, or add its outer border",
            )


# --- borders ----------------------------------------------------------------------------------


_MOST_GAPS = 12
"""Marks that one message names."""


def _check_marks(job: Job, places: Places, problems: Problems) -> None:
    meeting: dict[str, list[Edge]] = defaultdict(list)
    for edge in job.edges:
        for mark in dict.fromkeys((edge.start_mark, edge.end_mark)):
            if mark is not None:
                meeting[mark].append(edge)
    for mark, edges in meeting.items():
        if len(edges) > MOST_LINES_AT_A_MARK:
            problems.add(
                places.edge[edges[-1].id].keys,
                f'{len(edges)} lines meet at "{mark}"',
                f"at most {MOST_LINES_AT_A_MARK} can: the same mark is the same spot",
            )


def _check_borders(
    job: Job,
    borders: Mapping[str, list[Edge]],
    gaps_of: Mapping[str, tuple[str, ...]],
    places: Places,
    problems: Problems,
) -> None:
    marks = _uses_of_marks(job)
    for patch, gaps in gaps_of.items():
        keys = places.patch.get(patch)
        if keys is None:
            continue
        remedy = "an edge is missing there, or a mark is misspelt"
        gaps = gaps[:_MOST_GAPS]
        for mark in gaps:
            meant = _meant_mark(mark, gaps, marks)
            if meant is not None:
                remedy += f': did you mean "{meant}" for "{mark}"?'
                break
        problems.add(keys, f"its border does not close at {', '.join(gaps)}", remedy)
    for patch_ in job.patches:
        keys = places.patch.get(patch_.id)
        if keys is not None and not borders[patch_.id]:
            problems.add(
                keys,
                "no edge names it",
                f'add its border, such as "{patch_.id} | {OPEN}"',
            )


def _uses_of_marks(job: Job) -> dict[str, int]:
    uses: dict[str, int] = defaultdict(int)
    for edge in job.edges:
        for mark in (edge.start_mark, edge.end_mark):
            if mark is not None:
                uses[mark] += 1
    return uses


def _meant_mark(mark: str, gaps: Iterable[str], uses: Mapping[str, int]) -> str | None:
    """Return the mark that a mark used once was probably meant to be, among those left open."""
    if uses[mark] != 1:
        return None
    for other in gaps:
        if other != mark and uses[other] >= 1 and _folded(other) == _folded(mark):
            return other
    return None


def _folded(mark: str) -> str:
    """Return a mark with what the eye confuses made equal."""
    text = mark.casefold().replace("o", "0").replace("l", "1").replace("i", "1")
    return text.strip(".'-_+")


# --- areas ------------------------------------------------------------------------------------


def _cap_deg(patch: Patch) -> float:
    """Half-angle of a cone that holds all facings of a patch: how much it is bent."""
    axis = mean_direction(patch.facings)
    if axis is None:
        return 180.0
    return patch.spread_deg + max(angle_deg(axis, facing) for facing in patch.facings)


def largest_area_mm2(border_mm: float, cap_deg: float) -> float:
    """Return the most area that a border of this length can hold.

    A flat one: L²/4π (the isoperimetric inequality).  A surface whose normals stay within ``cap``
    of an axis is a graph over the plane square to it: at most 1/cos(cap) as much [derived].
    """
    if cap_deg >= 89.9:
        return math.inf
    return border_mm**2 / (4 * math.pi) / math.cos(math.radians(cap_deg))


def _check_areas(
    job: Job,
    borders: Mapping[str, list[Edge]],
    gaps: Mapping[str, tuple[str, ...]],
    places: Places,
    problems: Problems,
) -> None:
    for patch in job.patches:
        keys = places.patch.get(patch.id)
        border_mm = sum(edge.length_mm for edge in borders[patch.id])
        if keys is None or not border_mm or patch.id in gaps:
            continue
        most_mm2 = largest_area_mm2(border_mm, _cap_deg(patch))
        if patch.area_mm2 > most_mm2 * AREA_SLACK:
            problems.add(
                (*keys, "area" if isinstance(keys[1], str) else "area_mm2"),
                f"{_bare_area(patch.area_mm2, job.length_unit)} does not fit inside a border "
                f"{border_mm / float(LENGTH_MM[job.length_unit]):.1f} {job.length_unit} long",
                f'check the unit, such as "{_usual_area_unit(job.length_unit)}"',
            )


def _bare_area(area_mm2: float, unit: str) -> str:
    return f"{area_mm2 / float(AREA_MM2[f'{unit}2']):.6g} {unit}2"


def _usual_area_unit(unit: str) -> str:
    return "ft2" if unit in ("in", "ft") else "m2"


def _enclosed_mm2(edge: Edge) -> float | None:
    """Area inside a flat loop, by the divergence theorem; None where it is not flat."""
    if any(s.hard_start or s.hard_end or s.twist_per_mm for s in edge.line.stretches):
        return None
    heading = x = y = area = station_mm = 0.0
    corners = {round(c.station_mm, 6): c.easy_deg for c in edge.line.corners}
    for stretch in edge.line.stretches:
        heading += math.radians(corners.get(round(station_mm, 6), 0.0))
        turn = (stretch.easy_start + stretch.easy_end) / 2 * stretch.length_mm
        pieces = max(1, math.ceil(abs(turn) / 0.05))
        for _ in range(pieces):
            middle = heading + turn / pieces / 2
            dx = stretch.length_mm / pieces * math.cos(middle)
            dy = stretch.length_mm / pieces * math.sin(middle)
            area += (x * dy - y * dx) / 2
            x, y = x + dx, y + dy
            heading += turn / pieces
        station_mm += stretch.length_mm
    return area


# --- strain -----------------------------------------------------------------------------------


def _check_strain(job: Job, places: Places, problems: Problems) -> None:
    for edge in job.edges:
        if edge.strain > 0.5:
            problems.add(
                places.edge[edge.id].shape_keys,
                f"twists so much that the metal would stretch by {edge.strain:.0%}",
                "check the directions at its points",
            )


# --- cautions ---------------------------------------------------------------------------------


def cautions(job: Job) -> tuple[str, ...]:
    """Return what is possible but odd, or was guessed."""
    return (
        *_odd_areas(job),
        *_leaning_walls(job),
        *_missing_boxes(job),
        *_guessed_facings(job),
        *_unlike_twins(job),
    )


def _odd_areas(job: Job) -> Iterable[str]:
    borders = _borders(job)
    for patch in job.patches:
        if len(patch.facings) > 1 or patch.spread_deg or not borders[patch.id]:
            continue
        if not all(is_flat_loop(edge) for edge in borders[patch.id]):
            continue
        inside = [_enclosed_mm2(edge) for edge in borders[patch.id]]
        signs = [1 if edge.first == patch.id else -1 for edge in borders[patch.id]]
        if any(area is None for area in inside):
            continue
        area_mm2 = sum(s * (a or 0.0) for s, a in zip(signs, inside, strict=True))
        if abs(patch.area_mm2 - area_mm2) > FLAT_AREA_SHARE * abs(area_mm2):
            yield (
                f'Patch "{patch.id}" is given {format_area(patch.area_mm2, job.length_unit)}; '
                f"its loops enclose {format_area(area_mm2, job.length_unit)}."
            )


def _leaning_walls(job: Job) -> Iterable[str]:
    """A wall that leans all round, listed as directions, would be judged with the wrong lean."""
    axes = {"up": (0.0, 0.0, 1.0), "front": (1.0, 0.0, 0.0), "left": (0.0, 1.0, 0.0)}
    axes |= {"down": (0.0, 0.0, -1.0), "rear": (-1.0, 0.0, 0.0), "right": (0.0, -1.0, 0.0)}
    for patch in job.patches:
        if len(patch.facings) < 3:
            continue
        for word, axis in axes.items():
            leans = [angle_deg(axis, facing) for facing in patch.facings]
            if max(leans) - min(leans) < 2 and 20 < min(leans) < 89.5:
                yield (
                    f'Patch "{patch.id}" lists directions that all lean {leans[0]:.0f}° from '
                    f'{word}: if it is a wall that goes round, write "faces": "{word}", '
                    f'"spread": {leans[0]:.0f}; their mixtures lean less.'
                )
                break


def _missing_boxes(job: Job) -> Iterable[str]:
    missing = [patch.id for patch in job.patches if patch.box_mm is None]
    if job.shop.largest_section_mm is not None and missing:
        yield (
            f'The size limit of sections is off: "{missing[0]}" has no box'
            + (f", nor have {len(missing) - 1} more." if len(missing) > 1 else ".")
        )


def _guessed_facings(job: Job) -> Iterable[str]:
    able = [e for e in job.edges if not e.open and e.split != "forbidden"]
    boxes = [e.id for e in able if e.facing_source == "boxes"]
    unknown = [e.id for e in able if e.facing_source == "unknown"]
    if boxes:
        yield (
            f"{_edges(boxes)} which way the joint faces is guessed from the boxes, which can be "
            f'44° off: {_quoted(boxes)}. Say "toward".'
        )
    if unknown:
        yield (
            f"{_edges(unknown)} which way the joint faces is not known, so no section is blocked "
            f'there: {_quoted(unknown)}. Say "toward".'
        )


def _edges(ids: Sequence[str]) -> str:
    return "On 1 edge" if len(ids) == 1 else f"On {len(ids)} edges"


def _quoted(ids: Sequence[str], most: int = 3) -> str:
    listed = ", ".join(f'"{name}"' for name in ids[:most])
    return listed if len(ids) <= most else f"{listed} …"


def _unlike_twins(job: Job) -> Iterable[str]:
    patches = {patch.id: patch for patch in job.patches}
    for edge in job.edges:
        if edge.twin != edge.id:
            continue
        own_patches = patches[edge.first].twin == edge.first
        lengths = [stretch.length_mm for stretch in edge.line.stretches]
        if own_patches and edge.start_mark != edge.end_mark and not _even(lengths):
            yield (
                f'Edge "{edge.id}" crosses the mirror plane but its two halves are walked '
                "differently; measure again if they should be alike."
            )


def _even(lengths: Sequence[float]) -> bool:
    return all(
        abs(a - b) <= max(0.01 * (a + b), INCH_MM / 8)
        for a, b in zip(lengths, reversed(lengths), strict=True)
    )
