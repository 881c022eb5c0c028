"""The order of work: what is done when, with pieces, bolts and minutes.

An order in which every flashing can still be reached: metal that stands inside one section goes on
while that section is alone; metal in a joint goes in as the joint is made, before the bolts are
drawn up; metal across several sections when the last of them stands; metal on open edges last,
because an open edge is always reached.  Sections are set up in the reverse of the order in which
they come off, so that each has the place that it needs.

The minutes of each operation in the plan are shared among its steps, by the work that each step
asks for, so that the steps add up to the plan's hours.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from api.papers.facts import Facts
from api.papers.tipping_words import tipping_lines
from api.summary import direction
from solver.data.job import FOOT_MM, Minutes
from solver.data.plan import Piece
from solver.rules.exposure import LAST_WORD
from solver.rules.minutes import snip_minutes_per_mm
from solver.rules.reach import FUNCTIONAL_REACH_SOURCE


@dataclass(frozen=True)
class Step:
    """One step: what is done, what to heed, with what, and how long."""

    title: str
    lines: tuple[str, ...] = ()
    pieces: tuple[str, ...] = ()
    """Numbers of pieces."""
    bolts: int = 0
    minutes: float = 0.0
    """As planned, without the allowance; 0 where the plan does not count it."""


@dataclass(frozen=True)
class Chapter:
    """Steps of one kind, and the cautions that go with them."""

    title: str
    steps: tuple[Step, ...]
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Shares:
    """Shares out the plan's minutes by the work that pieces, edges and sections ask for."""

    facts: Facts

    @cached_property
    def rate(self) -> Minutes:
        return self.facts.job.shop.minutes if self.facts.job is not None else Minutes()

    @cached_property
    def planned(self) -> dict[str, float]:
        total: dict[str, float] = defaultdict(float)
        for line in self.facts.plan.hours:
            total[line.operation] += line.minutes
        return dict(total)

    def of_pieces(self, operation: str, pieces: Iterable[Piece]) -> float:
        """Return the share of an operation that falls to some pieces."""
        weights = self._weights[operation]
        whole = math.fsum(weights.values())
        if whole <= 0:
            return 0.0
        part = math.fsum(weights[piece.id] for piece in pieces)
        return self.planned.get(operation, 0.0) * part / whole

    @cached_property
    def _weights(self) -> dict[str, dict[str, float]]:
        rate = self.rate
        ask: dict[str, Callable[[Piece], float]] = {
            "template": lambda p: (
                0.0
                if p.template_of is not None
                else rate.template_per_piece
                + rate.template_per_foot * p.blank.root_length_mm / FOOT_MM
            ),
            "snips": lambda p: (
                _perimeter_mm(p)
                * snip_minutes_per_mm(
                    p.metal,
                    p.thickness_mm,
                    rate.snips_aluminium_per_foot,
                    rate.snips_galvanised_per_foot,
                )
            ),
            "deburr": _perimeter_mm,
            # a fold runs along the blank, a bend across it
            "fold": lambda p: (
                len(p.blank.folds)
                * (rate.fold_per_piece + rate.fold_per_foot * p.blank.root_length_mm / FOOT_MM)
                + len(p.bends_mm)
                * (
                    rate.fold_per_piece
                    + rate.fold_per_foot * (p.blank.above_mm + p.blank.below_mm) / FOOT_MM
                )
            ),
            "slits": lambda p: float(len(p.blank.slits_mm)),
            "V-notches": lambda p: float(len(p.blank.v_notches_mm)),
            "notches": lambda p: float(p.blank.notch_count),
            "pre-form": lambda p: p.preform_mm,
            "fit": lambda p: (
                rate.fit_per_piece + rate.fit_per_foot * (p.to_mm - p.from_mm) / FOOT_MM
            ),
            "clamps": lambda p: float(p.clamps),
            "hold standing": lambda p: p.to_mm - p.from_mm if p.mounting == "standing" else 0.0,
        }
        return {
            operation: {piece.id: weigh(piece) for piece in self.facts.plan.pieces}
            for operation, weigh in ask.items()
        }


CUTTING = ("template", "snips", "deburr", "slits", "V-notches", "notches", "fold", "pre-form")
FITTING = ("fit", "clamps", "hold standing")


def _perimeter_mm(piece: Piece) -> float:
    ring = np.asarray(piece.blank.outline_mm)
    return float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum())


def order_of_work(facts: Facts) -> tuple[Chapter, ...]:
    """Return all chapters; their minutes add up to the plan's, the allowance apart."""
    shares = _Shares(facts)
    planned = shares.planned
    chapters = [_metal(facts, shares)]
    chapters += _assembly(facts, shares)
    chapters.append(_finish(facts, planned))
    chapters.append(_laminate(facts))
    chapters.append(_removal(facts, planned))
    told = math.fsum(step.minutes for chapter in chapters for step in chapter.steps)
    left = math.fsum(planned.values()) - told
    if left > 0.5:
        chapters.append(
            Chapter("Other work", (Step("Work that belongs to no step above", minutes=left),))
        )
    return tuple(chapters)


def _metal(facts: Facts, shares: _Shares) -> Chapter:
    steps = []
    first = shares.planned.get("set up a metal", 0.0)
    if first:
        metals = dict.fromkeys(facts.metal(piece) for piece in facts.plan.pieces)
        steps.append(Step(f"Set out tools and stock for {', '.join(metals)}", minutes=first))
    for number, nest in enumerate(facts.plan.nests, start=1):
        pieces = [facts.pieces[one.piece] for one in nest.placed]
        folded = [facts.number[p.id] for p in pieces if p.blank.folds]
        bent = [facts.number[p.id] for p in pieces if p.bends_mm]
        formed = [facts.number[p.id] for p in pieces if facts.sizes.nearest(p.preform_mm) > 0]
        lines = [f"Cutting paper {number}; number each piece and mark up and start on it."]
        if folded:
            lines.append(f"Slit and notch before folding; fold {', '.join(folded)}.")
        if bent:
            lines.append(f"Bend {', '.join(bent)} round corners, as the setting out shows.")
        if formed:
            lines.append(f"Pre-form {', '.join(formed)}.")
        steps.append(
            Step(
                f"Lay out, cut and deburr from {nest.stock}",
                tuple(lines),
                _numbers(facts, pieces),
                minutes=math.fsum(shares.of_pieces(name, pieces) for name in CUTTING),
            )
        )
    return Chapter(
        "Metal",
        tuple(steps),
        ("Sharp edges: cut-resistant gloves and eye protection; deburr before carrying.",),
    )


def _numbers(facts: Facts, pieces: Iterable[Piece]) -> tuple[str, ...]:
    return tuple(facts.number[piece.id] for piece in pieces)


@dataclass(frozen=True)
class Insertion:
    """When each flashing goes in."""

    alone: dict[str, tuple[Piece, ...]]
    """Standing pieces that lie in one section, by section: before it is set up."""
    joining: dict[str, tuple[Piece, ...]]
    """Pieces that go in when a section is set up, by that section."""
    last: tuple[Piece, ...]
    """Clamped on open edges, when all sections stand."""
    unknown: tuple[Piece, ...]
    """Their sections are not known: wherever their edge is reached."""


def setting_up(facts: Facts) -> tuple[str, ...]:
    """Return the sections in the order in which they are set up: the last to come off first."""
    order = [step.section for step in reversed(facts.plan.removal)]
    return (*order, *(s.id for s in facts.plan.sections if s.id not in order))


def insertion_order(facts: Facts) -> Insertion:
    """Return when each flashing goes in, so that each can still be reached."""
    order = setting_up(facts)
    alone: dict[str, list[Piece]] = defaultdict(list)
    joining: dict[str, list[Piece]] = defaultdict(list)
    last: list[Piece] = []
    unknown: list[Piece] = []
    for piece in facts.plan.pieces:
        sections = facts.sections_of_piece(piece)
        if piece.mounting == "clamped":
            last.append(piece)
        elif not sections:
            unknown.append(piece)
        elif piece.mounting == "standing" and len(sections) == 1:
            alone[sections[0]].append(piece)
        else:
            joining[max(sections, key=order.index)].append(piece)
    return Insertion(
        {name: tuple(pieces) for name, pieces in alone.items()},
        {name: tuple(pieces) for name, pieces in joining.items()},
        tuple(last),
        tuple(unknown),
    )


def _assembly(facts: Facts, shares: _Shares) -> list[Chapter]:
    insertion = insertion_order(facts)

    def fitting(pieces: Iterable[Piece]) -> float:
        return math.fsum(shares.of_pieces(name, pieces) for name in FITTING)

    per_section = shares.planned.get("sections", 0.0) / max(len(facts.plan.sections), 1) / 2
    chapters = []
    alone = [
        Step(
            f"Section {name}: stand the flashings on it while it is alone",
            ("Reached from all sides now; hold each at its foot and check the up arrow.",),
            _numbers(facts, pieces),
            minutes=fitting(pieces),
        )
        for name in setting_up(facts)
        if (pieces := insertion.alone.get(name, ()))
    ]
    flanges = shares.planned.get("mold flanges", 0.0)
    before = [
        Step(
            "Make the mold flanges along joints and open edges, drill for bolts",
            minutes=flanges,
        )
    ] * (flanges > 0)
    if before or alone:
        chapters.append(Chapter("Sections by themselves", (*before, *alone)))
    steps = []
    standing: list[str] = []
    for name in setting_up(facts):
        edges = [
            edge
            for edge in facts.plan.edges
            if edge.joint
            and name in facts.sections_of_edge(edge.edge)
            and set(facts.sections_of_edge(edge.edge)) - {name} <= set(standing)
        ]
        bolts = sum(edge.bolts for edge in edges)
        pieces = insertion.joining.get(name, ())
        lines = [_lift_line(facts, name)]
        if standing and edges:
            beside = sorted({s for e in edges for s in facts.sections_of_edge(e.edge)} - {name})
            lines.append(f"Set it beside {', '.join(beside)}; bolts loose.")
            lines += _gap_lines(facts, [edge.edge for edge in edges])
        if pieces:
            pinched = [p for p in pieces if p.mounting == "pinched"]
            if pinched:
                lines.append("Slide the flashings into the open joints, packers beside them.")
            if len(pinched) < len(pieces):
                lines.append("Then the standing ones that run on over this joint.")
        steps.append(
            Step(
                f"Set up section {name}",
                tuple(lines),
                _numbers(facts, pieces),
                bolts,
                per_section + fitting(pieces),
            )
        )
        standing.append(name)
    if insertion.unknown:
        steps.append(
            Step(
                "Flashings whose sections the plan does not tell",
                ("Insert each before its edge is closed in; --scenario tells where.",),
                _numbers(facts, insertion.unknown),
                minutes=fitting(insertion.unknown),
            )
        )
    bolts = sum(edge.bolts for edge in facts.plan.edges)
    if bolts:
        steps.append(
            Step(
                "Tighten all bolts",
                (
                    "From the middle of each joint to its ends, twice; the metal must not creep.",
                    "Check the gap at each bolt; a joint that will not close has a packer doubled.",
                ),
                bolts=bolts,
                minutes=shares.planned.get("bolts", 0.0),
            )
        )
    if insertion.last:
        clamps = sum(piece.clamps for piece in insertion.last)
        steps.append(
            Step(
                f"Clamp the flashings on the open edges, {clamps} clamps",
                ("One clamp at each end first, then evenly between; open edges stay in reach.",),
                _numbers(facts, insertion.last),
                minutes=fitting(insertion.last),
            )
        )
    chapters.append(
        Chapter(
            "Assemble the mold",
            tuple(steps),
            (
                "Lifting: agree on who calls; nobody stands under a load; block every section "
                "before letting go. Fingers stay out of joints.",
            ),
        )
    )
    return chapters


def _lift_line(facts: Facts, name: str) -> str:
    section = facts.section[name]
    who = "by hoist" if section.people is None else f"by {section.people} people"
    who = who.replace("by 1 people", "by one person")
    return f"Lift {who}: {section.lift_basis}."


def _gap_lines(facts: Facts, edges: list[str]) -> list[str]:
    """Return the gap of each kind of joint: metal and packer."""
    groups: dict[str, list[str]] = defaultdict(list)
    for name in edges:
        edge = facts.edge_plan[name]
        pieces = facts.pieces_on.get(name, ())
        metal = facts.pieces[pieces[0]].thickness_mm if pieces else 0.0
        inches = facts.sizes.inches

        def thick(mm: float, inches: bool = inches) -> str:
            return f"{mm / 25.4:.3f} in" if inches else f"{mm:.2f} mm"

        filled = [f"metal {thick(metal)}"] * (metal > 0)
        filled += [f"packer {thick(edge.packer_mm)}"] * (edge.packer_mm > 0)
        groups[f"Gap {thick(metal + edge.packer_mm)} ({' and '.join(filled)})"].append(name)
    return [f"{gap}: {', '.join(names)}." for gap, names in groups.items()]


def _finish(facts: Facts, planned: dict[str, float]) -> Chapter:
    seams = ", ".join(f"{facts.number[a]}–{facts.number[b]}" for a, b in facts.meeting)
    counts = {line.operation: line.count for line in facts.plan.hours}
    amounts = {amount.item: amount for amount in facts.plan.amounts}
    steps = []
    if planned.get("seams"):
        lines = (f"Between {seams}.",) if seams else ()
        title = f"Tape {counts['seams']:.0f} seams, butted, never lapped"
        steps.append(Step(title, lines, minutes=planned["seams"]))
    if planned.get("taped corners"):
        lines = ()
        if facts.job is not None and facts.job.corners:
            lines = ("At the marks " + ", ".join(mark for mark, _ in facts.job.corners) + ".",)
        title = f"Tape {counts['taped corners']:.0f} corners where runs end together"
        steps.append(Step(title, lines, minutes=planned["taped corners"]))
    if planned.get("release wax"):
        steps.append(
            Step(
                "Release wax on the mold and on both faces of the metal",
                ("Every coat dry before the next.",),
                minutes=planned["release wax"],
            )
        )
    if planned.get("fillet"):
        litres = amounts.get("fillet wax or clay")
        lines = ()
        if litres is not None:
            radius = facts.rules.fillet_radius_mm
            words = f"{radius / 25.4:.3f} in" if facts.sizes.inches else f"{radius:.1f} mm"
            lines = (f"Radius {words}; about {litres.amount * 1000:.0f} ml in all.",)
        steps.append(
            Step("Fillet every root that will be laminated", lines, minutes=planned["fillet"])
        )
    return Chapter(
        "Seams, wax, fillets",
        tuple(steps),
        ("Wax and solvent vapour: open doors; no flame.",),
    )


def reach_cautions(facts: Facts) -> tuple[str, ...]:
    """Return the plan's own words on patches that are reached only when a section is tipped."""
    told = []
    for text in facts.plan.cautions:
        if "can be reached" in text:
            # its source and the last word stand in the same step already
            short = text.replace(f" ({FUNCTIONAL_REACH_SOURCE})", "")
            short = short.removesuffix(f"; {LAST_WORD.rstrip('.').lower()}")
            told.append(f"{short[:1].upper()}{short[1:]}.")
    return tuple(told)


def _laminate(facts: Facts) -> Chapter:
    return Chapter(
        "Laminate",
        (
            Step(
                "Tip and block the mold so that every root is reached",
                (*reach_cautions(facts), *tipping_lines(facts)),
            ),
            Step(
                "Laminate each part up both sides of the metal and trim to it",
                ("The laminate itself is not in this plan: neither its minutes nor its resin.",),
            ),
            Step("Let it cure before the first bolt is touched"),
        ),
        (
            *(
                text
                for text in facts.plan.cautions
                if any(word in text for word in ("styrene", "brush", "fillets of"))
            ),
            "Dust: cut and grind cured laminate wet or under extraction, with dust filters on.",
        ),
    )


def _removal(facts: Facts, planned: dict[str, float]) -> Chapter:
    per_section = planned.get("sections", 0.0) / max(len(facts.plan.sections), 1) / 2
    steps = []
    gone: set[str] = set()
    blocked = {step.section: set(step.after) for step in facts.plan.removal}
    clamps = sum(piece.clamps for piece in facts.plan.pieces)
    if clamps:
        steps.append(Step(f"Take off the clamps, {clamps} of them, and count them"))
    for step in facts.plan.removal:
        gone.add(step.section)
        freed = [
            name
            for name, after in blocked.items()
            if step.section in after and after <= gone and name not in gone
        ]
        lines = [f"Pull {direction(step.pull)}, draft {step.draft_deg:.0f}°."]
        drawn = [
            facts.number[p] for edge in step.drawn_first for p in facts.pieces_on.get(edge, ())
        ]
        if drawn:
            lines.insert(
                0,
                f"First draw the metal {', '.join(dict.fromkeys(drawn))}: it lies across the pull.",
            )
        if step.after:
            lines.append(f"Only after {', '.join(step.after)}.")
        if freed:
            lines.append(f"Frees {', '.join(freed)}.")
        lines.append(_lift_line(facts, step.section))
        edges = [
            edge
            for edge in facts.plan.edges
            if edge.joint
            and step.section in facts.sections_of_edge(edge.edge)
            and not (set(facts.sections_of_edge(edge.edge)) - {step.section}) & gone
        ]
        bolts = sum(edge.bolts for edge in edges)
        steps.append(Step(f"Take off section {step.section}", tuple(lines), (), bolts, per_section))
    witness = planned.get("witness lines", 0.0)
    if witness:
        lines_left = [edge.edge for edge in facts.plan.edges if edge.treatment == "witness"]
        steps.append(Step("Sand witness lines", (", ".join(lines_left) + ".",), minutes=witness))
    return Chapter(
        "Take the sections off",
        tuple(steps),
        tuple(
            text
            for text in facts.plan.cautions
            if "Lifting and tipping" in text or "overhangs" in text
        ),
    )
