"""Minutes by operation, counted from the finished plan with the shop's rates."""

from __future__ import annotations

from collections.abc import Iterator

from solver.checker.pieces import clamps_on, preforming_mm
from solver.checker.quantities import filleted_mm, flange_mm, seam_count
from solver.checker.reading import Reading, bolt_places_mm
from solver.checker.report import Fault
from solver.checker.reuse import built_mm, left_of
from solver.checker.seams import seams_that_show
from solver.checker.tolerances import near
from solver.data.job import FOOT_MM
from solver.rules.minutes import snip_minutes_per_mm

Work = dict[str, tuple[float, float]]
"""Count and minutes by operation, before the allowance."""


def work(reading: Reading) -> Work:
    """Every operation of the plan."""
    return {**_bench_work(reading), **_fitting_work(reading), **_mold_work(reading)}


def _bench_work(reading: Reading) -> Work:
    """Making the pieces."""
    rate = reading.job.shop.minutes
    todo = [(piece, left_of(reading, piece)) for piece in reading.pieces]
    metals = {piece.sheet.sheet_metal for piece, left in todo if left.from_stock}
    templates_mm = [piece.length_mm + piece.piece.trim_mm for piece, left in todo if left.template]
    folded_mm = [
        piece.length_mm + piece.piece.trim_mm for piece, left in todo for _ in range(left.folds)
    ]
    folded_mm += [
        piece.piece.blank.above_mm + piece.piece.blank.below_mm
        for piece, left in todo
        for _ in (piece.bends_mm if left.bends else ())
    ]
    border_ft = sum(left.border_mm for _, left in todo) / FOOT_MM
    snips = sum(
        left.border_mm
        * snip_minutes_per_mm(
            piece.piece.metal,
            piece.sheet.thickness_mm,
            rate.snips_aluminium_per_foot,
            rate.snips_galvanised_per_foot,
        )
        for piece, left in todo
    )
    slits = sum(left.slits for _, left in todo)
    v_notches = sum(left.v_notches for _, left in todo)
    notches = sum(left.notches for _, left in todo)
    return {
        "set up a metal": (len(metals), len(metals) * rate.setup_per_gauge),
        "template": (
            len(templates_mm),
            len(templates_mm) * rate.template_per_piece
            + sum(templates_mm) / FOOT_MM * rate.template_per_foot,
        ),
        "snips": (border_ft, snips),
        "deburr": (border_ft, border_ft * rate.deburr_per_foot),
        "fold": (
            len(folded_mm),
            len(folded_mm) * rate.fold_per_piece + sum(folded_mm) / FOOT_MM * rate.fold_per_foot,
        ),
        "slits": (slits, slits * rate.slit),
        "V-notches": (v_notches, v_notches * rate.v_notch),
        "notches": (notches, notches * rate.notch),
    }


def _fitting_work(reading: Reading) -> Work:
    """Fitting the pieces on the mold."""
    rate, job = reading.job.shop.minutes, reading.job
    todo = [(piece, left_of(reading, piece)) for piece in reading.pieces]
    to_fit = [piece for piece, left in todo if left.fit]
    preform_ft = sum(preforming_mm(piece) for piece, left in todo if left.preform) / FOOT_MM
    fitted_ft = sum(piece.length_mm for piece in to_fit) / FOOT_MM
    standing_ft = sum(p.length_mm for p in to_fit if p.profile.treatment == "standing") / FOOT_MM
    seams = seam_count(reading)
    showing = sum(seams_that_show(reading, run) for run in reading.runs)
    clamps = sum(clamps_on(piece) for piece in to_fit)
    corners = len(job.corners)
    count = len(to_fit)
    return {
        "pre-form": (preform_ft, preform_ft * rate.preform_per_foot),
        "fit": (count, count * rate.fit_per_piece + fitted_ft * rate.fit_per_foot),
        "seams": (seams, seams * rate.seam + showing * job.rules.seam_visible_minutes),
        "taped corners": (corners, corners * rate.taped_corner),
        "clamps": (clamps, clamps * rate.clamp),
        "hold standing": (standing_ft, standing_ft * rate.standing_per_foot),
    }


def _mold_work(reading: Reading) -> Work:
    """Building, bolting, waxing and handling the mold."""
    rate = reading.job.shop.minutes
    bolts = sum(len(bolt_places_mm(edge)) for edge in reading.joints)
    fillet_ft = filleted_mm(reading) / FOOT_MM
    metal_ft = sum(edge.length_mm for edge in reading.metal_edges) / FOOT_MM
    flange_ft = (flange_mm(reading) - built_mm(reading)) / FOOT_MM
    witness_ft = (
        sum(edge.length_mm for edge in reading.joints if not reading.job.carries_metal(edge))
        / FOOT_MM
    )
    sections = len(reading.plan.sections)
    return {
        "bolts": (bolts, bolts * rate.bolt),
        "fillet": (fillet_ft, fillet_ft * rate.fillet_per_foot_side),
        "release wax": (metal_ft, metal_ft * rate.release_wax_per_foot),
        "mold flanges": (flange_ft, flange_ft * rate.mold_flange_per_foot),
        "witness lines": (witness_ft, witness_ft * rate.witness_per_foot),
        "sections": (sections, sections * rate.per_section),
    }


def all_minutes(reading: Reading) -> float:
    """All operations with the allowance."""
    neat = sum(minutes for _, minutes in work(reading).values())
    return neat * (1 + reading.job.shop.minutes.allowance)


def labor_cost(reading: Reading) -> float:
    """Money for all minutes."""
    return all_minutes(reading) / 60 * reading.job.shop.labor_rate_per_hour


IN_FEET = (
    "snips",
    "deburr",
    "pre-form",
    "hold standing",
    "fillet",
    "release wax",
    "mold flanges",
    "witness lines",
)
"""Operations whose count is a length; the others count pieces of what they are named after."""


def hours(reading: Reading) -> Iterator[Fault]:
    """Each operation takes the minutes that are stated, and none is left out."""
    counted = work(reading)
    stated: Work = {}
    for line in reading.plan.hours:
        if line.operation not in counted:
            yield Fault(
                "minutes", f'operation "{line.operation}"', f"is none of {', '.join(counted)}"
            )
        if (line.operation in IN_FEET) != (line.unit == "ft"):
            yield Fault("minutes", f'operation "{line.operation}"', f'is counted in "{line.unit}"')
        old = stated.get(line.operation, (0.0, 0.0))
        stated[line.operation] = (old[0] + line.count, old[1] + line.minutes)
    for operation, (count, minutes) in counted.items():
        said = stated.get(operation, (0.0, 0.0))
        if not near(said[1], minutes) or not near(said[0], count):
            yield Fault(
                "minutes",
                f'operation "{operation}"',
                f"{said[0]:.4f} take {said[1]:.4f} minutes as stated; "
                f"{count:.4f} take {minutes:.4f}",
            )


def total_minutes(reading: Reading) -> Iterator[Fault]:
    """The plan's minutes are all operations with the allowance."""
    minutes = all_minutes(reading)
    if not near(reading.plan.minutes, minutes):
        yield Fault(
            "total minutes",
            "plan",
            f"states {reading.plan.minutes:.4f} minutes; it is {minutes:.4f}",
        )
