"""Pieces: stand, grip, return, metal and mass are what the edges and the stock say."""

from __future__ import annotations

import math
from collections.abc import Iterator

from solver.checker.reading import PieceReading, Reading, stands_mm
from solver.checker.report import Fault
from solver.checker.strip import length_curved_tighter_mm
from solver.checker.tolerances import near, station_slack_mm
from solver.rules.metals import metal_named

_LABEL_MM = 5e-5
"""Thicknesses that round to the same four decimals are one metal."""


def widths(reading: Reading) -> Iterator[Fault]:
    """Stand (capped beside other metal), grip and return are those of the edges."""
    for piece in reading.pieces:
        asked = piece.profile
        figures = (
            ("stand", piece.piece.stand_mm, piece.stand_mm),
            ("grip", piece.piece.grip_mm, asked.grip_mm),
            ("return", piece.piece.return_mm, asked.return_mm),
        )
        for rule, stated, wanted in figures:
            if not near(stated, wanted):
                yield Fault(rule, piece.place, f"has a {rule} of {stated:.4f} mm, not {wanted:.4f}")


def visibility(reading: Reading) -> Iterator[Fault]:
    """A piece is visible if any of its edges is."""
    for piece in reading.pieces:
        if piece.piece.visible != piece.visible:
            word = "visible" if piece.visible else "hidden"
            yield Fault("visible", piece.place, f"lies on a {word} line and is stated otherwise")


def metals(reading: Reading) -> Iterator[Fault]:
    """A piece is of a metal, thickness and gauge that the stock has."""
    for piece in reading.pieces:
        thickness = piece.sheet.thickness_mm
        gauges = {
            item.gauge
            for item in reading.job.stock
            if item.metal == piece.piece.metal and abs(item.thickness_mm - thickness) <= _LABEL_MM
        }
        if abs(piece.piece.thickness_mm - thickness) > _LABEL_MM or piece.piece.gauge not in gauges:
            yield Fault(
                "metal",
                piece.place,
                f"is {piece.piece.metal} {piece.piece.thickness_mm:.4f} mm, gauge "
                f"{piece.piece.gauge}; the nearest in stock is {thickness:.4f} mm",
            )


def masses(reading: Reading) -> Iterator[Fault]:
    """Stated masses are area times mass per area."""
    for piece in reading.pieces:
        mass = piece.outline.area * piece.sheet.mass_kg_m2 / 1e6
        if not near(piece.piece.mass_kg, mass):
            yield Fault(
                "piece mass",
                piece.place,
                f"is stated as {piece.piece.mass_kg:.5f} kg, it is {mass:.5f}",
            )


def preforming_mm(piece: PieceReading) -> float:
    """Length that curves easy way tighter than the core springs: R < E·t/(2·yield)."""
    metal = metal_named(piece.piece.metal)
    radius = metal.youngs_modulus_mpa * piece.sheet.core_mm / (2 * metal.yield_mpa)
    return length_curved_tighter_mm(piece.track, 1 / radius)


def preforms(reading: Reading) -> Iterator[Fault]:
    """Length to pre-form is counted where the line curves tighter than the metal springs."""
    for piece in reading.pieces:
        wanted = preforming_mm(piece)
        if abs(piece.piece.preform_mm - wanted) > 1e-3 + 1e-6 * wanted:
            yield Fault(
                "pre-form",
                piece.place,
                f"has {piece.piece.preform_mm:.3f} mm to pre-form; {wanted:.3f} curve tighter "
                "than the metal springs",
            )


def bends(reading: Reading) -> Iterator[Fault]:
    """The sharp corners that a piece is bent round are those of its line."""
    for piece in reading.pieces:
        wanted, stated = piece.bends_mm, piece.piece.bends_mm
        same = len(wanted) == len(stated) and all(
            abs(a - b) <= station_slack_mm(piece.length_mm)
            for a, b in zip(wanted, stated, strict=True)
        )
        if not same:
            yield Fault("bends", piece.place, f"is bent at {stated}; its line turns at {wanted}")


def clamps_on(piece: PieceReading) -> int:
    """Clamps of a piece: one at its start and one for each pitch begun."""
    pitch = piece.piece.clamp_pitch_mm
    if piece.profile.treatment != "clamped" or pitch is None or pitch <= 0:
        return 0
    return math.ceil(piece.length_mm / pitch - 1e-9) + 1


def cautions(reading: Reading) -> Iterator[Fault]:
    """A stand capped below the smallest useful flange, or too much twist, is reported."""
    rules = reading.job.rules
    said = " \n ".join(reading.plan.cautions)
    for run in reading.runs.values():
        for slot in run.edges:
            edge = slot.edge
            stand = min(stand for _, _, stand in stands_mm(reading.job, edge))
            reasons = []
            if stand < edge.stand_mm - 1e-9 and stand < rules.smallest_stand_mm - 1e-9:
                reasons.append(
                    f"its stand is capped at {stand:.2f} mm, below {rules.smallest_stand_mm:.2f}"
                )
            if edge.strain > rules.largest_strain:
                reasons.append(f"its free edge is strained {edge.strain:.4f}")
            if edge.id not in said:
                for reason in reasons:
                    yield Fault(
                        "caution", f'edge "{edge.id}"', f"{reason}, and no caution names it"
                    )
