"""Gauge: gap, upright, clamp pitch and bend radius hold for every piece; stated reasons are true.

The formulas are those of the trade: w = 1.82·P·h²/(E·t³) for the lean, and
c = (192·E·I·d/P)^(1/3), I = b·t³/12, for the pitch of clamps; t is the core, the gap and the bend
radius go by the total thickness.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from solver.checker.pieces import clamps_on
from solver.checker.reading import PieceReading, Reading
from solver.checker.report import Fault
from solver.data.job import Rules, StockItem
from solver.rules.metals import metal_named

_MM = 1e-6

RULES = ("gap", "upright", "clamp pitch", "bend radius")


def lean_mm(sheet: StockItem, stand_mm: float, rules: Rules) -> float:
    """How far a free edge leans under the brush."""
    modulus = metal_named(sheet.metal).youngs_modulus_mpa
    return 1.82 * rules.brush_load_n * stand_mm**2 / (modulus * sheet.core_mm**3)


def widest_pitch_mm(sheet: StockItem, rules: Rules, *, visible: bool) -> float:
    """Widest clamp pitch of a sheet on an open edge."""
    lift = rules.clamp_lift_visible_mm if visible else rules.clamp_lift_hidden_mm
    inertia = rules.clamp_width_mm * sheet.core_mm**3 / 12
    modulus = metal_named(sheet.metal).youngs_modulus_mpa
    return math.cbrt(192 * modulus * inertia * lift / rules.clamp_load_n)


def least_radius_mm(sheet: StockItem) -> float:
    """Least inside radius of a square fold."""
    metal = metal_named(sheet.metal)
    if sheet.thickness_mm <= metal.sharp_bend_to_mm + _MM:
        return 0.0
    return metal.bend_radius_ratio * sheet.thickness_mm


def refused(piece: PieceReading, sheet: StockItem, rules: Rules) -> dict[str, str]:
    """Give the rules that this sheet breaks on this piece's edges, each with its figures."""
    found: dict[str, str] = {}
    if piece.profile.treatment == "pinched" and sheet.thickness_mm > rules.joint_gap_mm + _MM:
        found["gap"] = (
            f"{sheet.metal_label} is {sheet.thickness_mm:.3f} mm thick; "
            f"the joint gap is {rules.joint_gap_mm:.3f}"
        )
    stand = piece.stand_mm
    lean = lean_mm(sheet, stand, rules)
    most = rules.lean_visible_mm if piece.visible else rules.lean_hidden_mm
    if lean > most + _MM:
        found["upright"] = (
            f"{sheet.metal_label} standing {stand:.2f} mm leans {lean:.3f} mm; "
            f"{most:.3f} is allowed"
        )
    if piece.profile.treatment == "clamped":
        pitch = widest_pitch_mm(sheet, rules, visible=piece.visible)
        if pitch < rules.smallest_clamp_pitch_mm - _MM:
            found["clamp pitch"] = (
                f"{sheet.metal_label} needs a clamp every {pitch:.1f} mm; "
                f"{rules.smallest_clamp_pitch_mm:.1f} is the least"
            )
    if (piece.folded or piece.bends_mm) and rules.bend_radius_mm < least_radius_mm(sheet) - _MM:
        found["bend radius"] = (
            f"{sheet.metal_label} folds over no less than {least_radius_mm(sheet):.3f} mm; "
            f"the bend radius is {rules.bend_radius_mm:.3f}"
        )
    return found


def gauges(reading: Reading) -> Iterator[Fault]:
    """The metal of every piece keeps the four rules."""
    for piece in reading.pieces:
        for rule, sentence in refused(piece, piece.sheet, reading.job.rules).items():
            yield Fault(rule, piece.place, sentence)


def clamp_pitches(reading: Reading) -> Iterator[Fault]:
    """A clamped piece states a pitch that holds it down; others state none."""
    rules = reading.job.rules
    for piece in reading.pieces:
        pitch = piece.piece.clamp_pitch_mm
        if piece.profile.treatment != "clamped":
            if pitch is not None:
                yield Fault(
                    "clamp pitch", piece.place, f"is not clamped, and has a pitch of {pitch}"
                )
            continue
        widest = widest_pitch_mm(piece.sheet, rules, visible=piece.visible)
        if pitch is None:
            yield Fault("clamp pitch", piece.place, "is clamped without a pitch")
        elif pitch > widest + _MM or pitch < min(rules.smallest_clamp_pitch_mm, widest) - _MM:
            yield Fault(
                "clamp pitch",
                piece.place,
                f"has clamps every {pitch:.2f} mm; "
                f"{rules.smallest_clamp_pitch_mm:.2f} to {widest:.2f} is right",
            )


def clamp_counts(reading: Reading) -> Iterator[Fault]:
    """A clamped piece states how many clamps hold it."""
    for piece in reading.pieces:
        wanted = clamps_on(piece)
        if piece.piece.clamps != wanted:
            yield Fault(
                "clamps", piece.place, f"states {piece.piece.clamps} clamps; {wanted} hold it"
            )


def reasons(reading: Reading) -> Iterator[Fault]:
    """The stated reason for a metal is one that holds.

    A gauge rule must rule out some sheet of the same metal that is thinner, or any that is lighter;
    "price" needs another sheet that would do, "only stock" that no lighter one would.
    """
    rules = reading.job.rules
    sheets = {item.sheet_metal: item for item in reading.job.stock}
    for piece in reading.pieces:
        own, rule = piece.sheet, piece.piece.reason.rule
        others = [sheet for key, sheet in sheets.items() if key != own.sheet_metal]
        lighter = [
            sheet
            for sheet in others
            if sheet.mass_kg_m2 < own.mass_kg_m2
            or (sheet.metal == own.metal and sheet.thickness_mm < own.thickness_mm)
        ]
        if rule in RULES:
            true = any(rule in refused(piece, sheet, rules) for sheet in lighter)
        elif rule == "price":
            true = any(not refused(piece, sheet, rules) for sheet in others)
        else:
            true = all(refused(piece, sheet, rules) for sheet in lighter)
        if not true:
            yield Fault("reason", piece.place, f'"{rule}" is not what holds its metal')
