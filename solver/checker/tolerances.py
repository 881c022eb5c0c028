"""How far figures may differ before the checker calls it a fault; each tolerance named once."""

from __future__ import annotations

RELATIVE = 1e-6
"""Of figures that are sums and products of given ones: rounding stays a thousand times below."""

STATION_MM = 1e-6
"""Of stations and lengths, for each mm that is longer than 1 mm taken relatively."""

UNIT = 1e-6
"""Of components of unit vectors and of their products."""

DRAFT_DEG = 1e-3
"""Of stated drafts: a rounding of 1e-10 near 90 degrees already turns by this."""

OUTLINE_MM = 0.25
"""Of outlines: a scribed line is 0.1 to 0.2 mm wide."""

OUTLINE_AREA = 1e-3
"""Of the area of an outline, relatively."""

CHORDS_MM = 0.05
"""Outlines of curved strips may contain the true blank with so much to spare on either side; this
times their border is allowed of their area besides, or narrow ones would be refused."""

STEP_MM = 0.01
"""A stretch shorter than this asks for no step in the free edge: it is rounding of stations."""

GAP_SLACK_MM = 1e-3
"""Of cutting gaps and of the stock's border: far below the kerf of any snips."""

ON_EDGE_MM = 0.05
"""A side this near to the metal's own edge lies on it: below the width of a scribed line."""

EDGE_SLACK_MM = 1.0
"""For each blank, of the length that is said to lie on an edge: far below what a tape shows."""

RIGHT_ANGLE = 1e-4
"""Of the cosine of a corner that is said to be square."""

FOLD_MM = 0.5
"""Of a fold or slit that is there from the one that is wanted."""

REUSE_CUT_MM = 5.0
"""Of the length of border still to be cut of a piece that is there."""

NEST_AREA = 1e-6
"""Of the area of a unit of stock, relatively."""

SPARE_PLACE_MM = 10.0
"""A place for a seam counts as free only with this much to spare: seams are laid out by tape."""


SHARP_DEG = 0.5
"""A corner that turns less needs no bend of its own: the metal springs round it."""


def near(value: float, wanted: float) -> bool:
    """Whether two figures agree within ``RELATIVE``, absolutely below 1."""
    return abs(value - wanted) <= RELATIVE * max(1.0, abs(wanted))


def station_slack_mm(length_mm: float) -> float:
    """Slack of stations on a line of this length."""
    return STATION_MM * max(1.0, length_mm)
