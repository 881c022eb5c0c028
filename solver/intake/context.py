"""What every reader of edges needs to know, and where an edge stands in the file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from solver.data import scenario as form
from solver.data.errors import Key, Problems
from solver.data.job import Patch, Rules
from solver.data.units import LENGTH_MM, Measure
from solver.intake.patches import Sides


@dataclass(frozen=True)
class Context:
    """One scenario being read."""

    scenario: form.Scenario
    patches: Mapping[str, Patch]
    rules: Rules
    sides: Sides
    problems: Problems

    @property
    def unit(self) -> str:
        """Unit of bare lengths."""
        return self.scenario.length_unit

    def check_station(self, at: Measure, length_mm: float, keys: tuple[Key, ...]) -> None:
        """Report a station that lies past the end of its edge."""
        if at.mm(self.unit) > length_mm * (1 + 1e-9):
            unit_mm = float(LENGTH_MM[self.unit])
            end = f"{length_mm / unit_mm:.2f}"
            self.problems.add(
                keys,
                f"{at.mm(self.unit) / unit_mm:g} lies past the end ({end})",
                f"stations run from the first mark, 0 to {end}",
            )


@dataclass(frozen=True)
class Source:
    """Where an edge stands in the file, for messages about it."""

    keys: tuple[Key, ...]
    shape: str
    items: tuple[int, ...]
    """For each stretch, the index of the item of the path that it came from."""
    short: bool = False
    """Whether the path stands there by itself, without an object round it."""

    @property
    def shape_keys(self) -> tuple[Key, ...]:
        """Place of the shape."""
        return self.keys if self.short else (*self.keys, self.shape)
