"""Nests of curved blanks: soon laid bit by bit, and those of large jobs bettered so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from solver.data.job import Job
from solver.data.until import Until
from solver.nests.dropping import KnownPoses
from solver.nests.many_blanks import MORE_ROUNDS, ROUNDS, ManyBlanks
from solver.planner.nesting import Key, Nester, SheetNest, in_order, key_of, shape_of
from solver.planner.piece_options import PieceOption
from solver.planner.sheets import Sheet

FEWEST, FEWEST_OF_LARGE = 12, 20
"""Blanks of one sheet metal from which on they are laid bit by bit."""
FEW = 50
"""Up to so many of a job that is not large are laid so for a soon plan: with any more effort they
are searched as a whole too."""
MOST_AS_A_WHOLE, EFFORT_AS_A_WHOLE = 100, 60
"""Up to so many are searched as a whole once there is as much effort: it finds cheaper stock, but
only after the master has learned from others."""
STEPS, STEPS_OF_FEW = 3, 1
"""Times that some units are laid anew for each step of effort."""
CURVED = 0.2
"""Share of their area that is curved: lanes of straight blanks are nested well as a whole."""


class LargeNester(Nester):
    """Nests as `Nester` does, but for sheet metals with many curved blanks."""

    def __init__(self, job: Job, sheets: Sequence[Sheet], seed: int, *, large: bool) -> None:
        super().__init__(job, sheets, seed)
        self._fewest = FEWEST_OF_LARGE if large else FEWEST
        self._few, self._most = (0, 0) if large else (FEW, MOST_AS_A_WHOLE)
        self._many: dict[Key, ManyBlanks] = {}
        self._poses: KnownPoses = {}

    def nest(
        self,
        sheet: int,
        pieces: Sequence[PieceOption],
        start: Mapping[str, int] | None,
        effort: int,
        until: Until,
    ) -> SheetNest:
        """Return the cheapest stock found for these pieces of one sheet metal."""
        if len(pieces) < self._fewest or not _curved(pieces):
            return super().nest(sheet, pieces, start, effort, until)
        ordered = in_order(pieces)
        key = key_of(sheet, ordered)
        shapes = tuple(shape_of(str(i), piece) for i, piece in enumerate(ordered))
        stocks = self.stocks_of(sheet)
        few = len(pieces) <= self._few
        if key not in self._many:
            holders = {
                str(i): frozenset(self.job.stock[item].id for item in piece.fits)
                for i, piece in enumerate(ordered)
            }
            blanks = ManyBlanks(
                shapes, holders, stocks, self.job.rules.cutting_gap_mm, self.seed, self._poses
            )
            blanks.lay(until, ROUNDS + MORE_ROUNDS if few else ROUNDS)
            self._many[key] = blanks
        blanks = self._many[key]
        if blanks.units is None:
            return super().nest(sheet, pieces, start, effort, until)
        steps = STEPS_OF_FEW if few else STEPS
        blanks.improve(steps * effort - blanks.bettered, until)
        late = until.over()
        laid = SheetNest(sheet, ordered, shapes, stocks, blanks.purchase(cut_short=late))
        soon = effort < (1 if few else EFFORT_AS_A_WHOLE)
        if soon or late or len(pieces) > self._most:
            known = self._known.get(key)
            return laid if known is None or laid.bought.price <= known.bought.price else known
        self.remember(key, laid)
        return super().nest(sheet, pieces, start, effort, until)


def _curved(pieces: Sequence[PieceOption]) -> bool:
    area = sum(piece.blank.area_mm2 for piece in pieces)
    curved = sum(piece.blank.area_mm2 for piece in pieces if not piece.blank.straight)
    return curved >= CURVED * area
