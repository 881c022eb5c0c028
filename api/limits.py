"""Limits of the outer face, each named once."""

from __future__ import annotations

from solver.intake.read import LARGEST_BYTES

LARGEST_SCENARIO_BYTES = LARGEST_BYTES
"""A camper takes 7 kB as people write it and some 200 kB spelled out."""

LARGEST_PLAN_BYTES = 50_000_000
"""Of a plan file that is read back: thousands of pieces with curved outlines."""

LONGEST_SECONDS = 86_400.0
"""Time limit that the command line takes: a day."""

LARGEST_SEED = 2**31 - 1
"""The random seed of the solver libraries is a 32-bit number."""

MOST_OPTIONS = 12
"""Plans beside one another: a table that can still be compared."""

DEFAULT_COUNT = 4
DEFAULT_DIFFER = 4
"""Options that are looked for, and joints by which they differ, where nothing is said."""

MOST_JOINTS = 1_000
"""By which options may be asked to differ; no mold has more."""

LONGEST_REQUEST_SECONDS = 120.0
"""Time limit that a request over HTTP may ask for."""

DEFAULT_REQUEST_SECONDS = 20.0

MOST_WAITING_REQUESTS = 4
"""Requests that wait while one is planned; the next one is told to come back later."""

MOST_BODY_SECONDS = 30.0
"""Time in which a request's body must have arrived."""

MOST_PROBLEMS_TOLD = 20
"""Errors listed in problem details; the rest is a count."""

MOST_QUERY_BYTES = 2_000
"""Of the part of an address after "?"."""
