"""The blank of a piece of run: its profile in the flat, folds, slits, V-notches and notches."""

from __future__ import annotations

import numpy as np

from solver.data.job import Job
from solver.data.line import Line, Stretch
from solver.data.plan import Mounting
from solver.geometry.blanks import Blank, BlankError, Fold, Hand, LegCut, Notch, Side, blank_of
from solver.geometry.folds import fold_rise_mm, leg_cuts, leg_faults
from solver.geometry.lines import joined, sub_line
from solver.planner.run_lines import FlashingShape, RunLine
from solver.rules.customary import thickness_words
from solver.rules.flanges import Profile, flat_profile, folded_profile, profile_refusal
from solver.rules.gauges import SheetMetal
from solver.rules.slits import slit_pitch_mm

BlankAndCost = tuple[Blank, float, int]
"""A blank, its perimeter in mm, and how many folds it has."""


def profile_of(job: Job, shape: FlashingShape, mounting: Mounting, metal: SheetMetal) -> Profile:
    """Return the cross-section laid flat; a standing flashing has a foot instead of a grip.

    Raises BlankError where the metal cannot be folded to it.
    """
    rules = job.rules
    grip = rules.standing_foot_mm if mounting == "standing" else shape.grip_mm
    flange = shape.flange if mounting == "clamped" else "along"
    if shape.return_mm <= 0 and flange == "along":
        return flat_profile(shape.stand_mm, grip)
    refusal = profile_refusal(
        metal=metal.metal,
        thickness_mm=metal.thickness_mm,
        stand_mm=shape.stand_mm,
        grip_mm=grip,
        inside_radius_mm=rules.bend_radius_mm,
        return_mm=shape.return_mm,
        flange=flange,
    )
    if refusal is not None:
        raise BlankError((refusal,))
    return folded_profile(
        metal=metal.metal,
        thickness_mm=metal.thickness_mm,
        stand_mm=shape.stand_mm,
        grip_mm=grip,
        inside_radius_mm=rules.bend_radius_mm,
        k=rules.bend_k,
        return_mm=shape.return_mm,
        return_toward=shape.return_hand,
        flange=flange,
    )


class BlankMaker:
    """Makes blanks, each once: metals of one profile share the same blank."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self._made: dict[object, BlankAndCost | BlankError] = {}

    def blank(
        self,
        run: int,
        line: RunLine,
        start_mm: float,
        end_mm: float,
        trim_mm: float,
        mounting: Mounting,
        shape: FlashingShape,
        metal: SheetMetal,
    ) -> BlankAndCost:
        """Return blank, perimeter and folds of the piece between two stations of a run.

        Raises BlankError with every reason why there is none.
        """
        profile = profile_of(self.job, shape, mounting, metal)
        pinched = mounting == "pinched"
        key = (run, start_mm, end_mm, trim_mm, pinched, profile)
        if key not in self._made:
            try:
                self._made[key] = self._make(
                    line, start_mm, end_mm, trim_mm, mounting, profile, shape
                )
            except BlankError as error:
                self._made[key] = error
        made = self._made[key]
        if isinstance(made, BlankError):
            raise made
        return made

    def _make(
        self,
        line: RunLine,
        start_mm: float,
        end_mm: float,
        trim_mm: float,
        mounting: Mounting,
        profile: Profile,
        shape: FlashingShape,
    ) -> BlankAndCost:
        notches = tuple(
            Notch(cut.at_mm, cut.wide_mm, cut.deep_mm, cut.side)
            for cut in line.cutouts(shape, start_mm, end_mm, trim_mm, mounting)
        )
        folds: list[Fold] = []
        cuts: list[LegCut] = []
        faults: list[str] = []
        whole = sub_line(line.line, start_mm, end_mm)
        if trim_mm > 0:
            # the metal to trim is folded with the rest
            whole = joined((whole, Line((Stretch(trim_mm),))))
        for fold in profile.folds:
            toward = _hand(line, fold.toward)
            folds.append(Fold(fold.offset_mm, fold.angle_deg, toward))
            rise = fold_rise_mm(whole, 0.0, whole.length_mm, fold.offset_mm)
            if rise > self.job.rules.fold_chord_tolerance_mm + 1e-9:
                faults.append(
                    f"its fold would rise {thickness_words(rise)} over the piece; a straight fold "
                    f"keeps within {thickness_words(self.job.rules.fold_chord_tolerance_mm)}"
                )
            faults += leg_faults(line.line, start_mm, end_mm, fold.leg_mm, toward)
            side: Side = "grip" if fold.toward == "out" else "free"
            # the leg in the flat, from its fold line to the edge of the blank
            edge = -profile.below_mm if side == "grip" else profile.above_mm
            leg = abs(edge - fold.offset_mm)
            cuts += leg_cuts(line.line, start_mm, end_mm, leg, side, toward, self._pitch)
        if faults:
            raise BlankError(tuple(faults))
        blank = blank_of(
            line.line,
            start_mm,
            end_mm,
            profile.above_mm,
            profile.below_mm,
            folds=tuple(folds),
            notches=notches,
            cuts=tuple(cuts),
            extra_end_mm=trim_mm,
        )
        ring = np.asarray(blank.outline_mm)
        perimeter = float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum())
        return blank, perimeter, len(folds)

    def _pitch(self, radius_mm: float) -> float:
        return slit_pitch_mm(radius_mm, self.job.rules.slit_tolerance_mm)


def _hand(line: RunLine, toward: str) -> Hand:
    """Return the hand of a leg as the run is walked; "out" is away from the part."""
    if toward == "left":
        return "left"
    if toward == "right":
        return "right"
    return "left" if line.backward[0] else "right"
