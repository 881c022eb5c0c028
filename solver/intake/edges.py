"""Edges of a job: names, shapes and what they carry, with the mirrored ones added."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from solver.data import scenario as form
from solver.data.errors import Key, Problems
from solver.data.job import OPEN, Bolts, Edge, EdgeNotch, Patch, Rules
from solver.data.units import format_inches, format_length, parse_diameter_mm
from solver.geometry.twist import free_edge_strain
from solver.intake.context import Context, Source
from solver.intake.kinds import AUTOMATIC, EVERY, automatic_kind, kinds_for, merged
from solver.intake.limits import LEAST_GRIP_MM
from solver.intake.mirror import mirrored_edge, walked_back
from solver.intake.names import EdgeKey, EdgeName, read_edge_name
from solver.intake.near import with_nears
from solver.intake.patches import Sides, read_directions
from solver.intake.shapes import walk_of

OPEN_GRIP_MM = 1.25 * 25.4
"""Width under the clamps of an open edge [practice]."""


@dataclass
class EdgeSet:
    """The edges made so far, and where they were written."""

    edges: list[Edge] = field(default_factory=list)
    source: dict[str, Source] = field(default_factory=dict)
    stands_on: dict[str, str] = field(default_factory=dict)
    unread: set[str] = field(default_factory=set)
    """Patches beside an edge that could not be read, whose border is not whole."""


class _Reader:
    """Reads the edges of one scenario against its patches."""

    def __init__(self, context: Context) -> None:
        self.context = context
        self.scenario = context.scenario
        self.unit = context.unit
        self.patches = context.patches
        self.problems = context.problems

    # --- names ---------------------------------------------------------------------------------

    def names(self) -> dict[str, EdgeName]:
        """Return the edges whose names make sense, by their spelling in the file."""
        found: dict[str, EdgeName] = {}
        seen: dict[EdgeKey, str] = {}
        for spelling in self.scenario.edges:
            keys: tuple[Key, ...] = ("edges", spelling)
            name = read_edge_name(spelling)
            if name is None:
                self.problems.add(
                    keys, "no name of an edge", 'write "a | b", "a | open" or "a | b (label)"'
                )
                continue
            if name.key in seen:
                self.problems.add(
                    keys,
                    "written twice",
                    'keep one; two lines between the same patches take a label: "a | b (aft)"',
                )
                continue
            seen[name.key] = spelling
            if self._sides_known(name, keys):
                found[spelling] = name
        return found

    def _sides_known(self, name: EdgeName, keys: tuple[Key, ...]) -> bool:
        known = True
        for side in (name.first, name.second):
            if side != OPEN and side not in self.patches:
                hint = self.problems.hint(side, [*self.patches, OPEN])
                remedy = hint or f'name a patch, or "{OPEN}" where the mold ends'
                self.problems.add(keys, f'"{side}" is no patch', remedy)
                known = False
        if known and name.first == name.second:
            self.problems.add(
                keys, "the same patch on both sides", "cut the patch in two where the line runs"
            )
            known = False
        return known

    # --- one edge ------------------------------------------------------------------------------

    def edge(self, spelling: str, name: EdgeName) -> tuple[Edge, Source, str | None] | None:
        """Return the edge, where it stands and the patch that it is measured on."""
        written = self.scenario.edges[spelling]
        keys: tuple[Key, ...] = ("edges", spelling)
        turned = name.first == OPEN
        if turned:
            name = EdgeName(name.second, OPEN, name.label)
        kinds = self._kinds(written, name, keys)
        carried = merged([*(self.scenario.kinds[kind] for kind in kinds), written])
        stands_on = self._one_of(name, written.stands_on, (*keys, "stands_on"))
        walk = walk_of(self.context, written, name, stands_on, keys)
        if walk is None:
            return None
        marks = _marks(written)
        bolts = _bolts(carried.bolts, self.unit)
        visible = bool(carried.visible)
        return_to = self._one_of(name, written.return_to, (*keys, "return_to"))
        toward = read_directions(written.toward or [], (*keys, "toward"), self.problems)
        if toward and name.second == OPEN:
            toward = ()
        edge = Edge(
            id=name.id,
            first=name.first,
            second=name.second,
            line=walk.walk.line,
            start_mark=marks[0],
            end_mark=marks[1],
            visible=visible,
            split=carried.split or "allowed",
            standing=carried.standing or "allowed",
            witness=carried.witness or ("forbidden" if visible else "allowed"),
            stand_mm=25.4 if carried.stand is None else carried.stand.mm(self.unit),
            grip_mm=self._grip(carried, bolts, keys, is_open=name.second == OPEN),
            return_mm=0.0 if carried.return_ is None else carried.return_.mm(self.unit),
            return_to="second" if return_to == name.second else "first",
            flange=carried.flange or "along",
            bolts=bolts,
            facings=toward or walk.facings,
            facing_source="toward" if toward else "points" if walk.facings else "unknown",
            kinds=kinds,
        )
        if name.second == OPEN:
            edge = replace(edge, facings=(), facing_source="unknown")
        edge = self._with_stations(edge, written, keys)
        if edge.line.curvature_table[:, 4].any():
            strain = free_edge_strain(edge.line, 0.0, edge.length_mm, edge.stand_mm)
            edge = replace(edge, strain=strain)
        source = Source(
            keys, walk.shape, walk.walk.items, short=written.model_fields_set == {"path"}
        )
        if turned:
            # the walk as written has the outside on its left
            edge = replace(walked_back(edge), first=name.first, second=OPEN)
        return edge, source, stands_on

    def _kinds(self, written: form.Edge, name: EdgeName, keys: tuple[Key, ...]) -> tuple[str, ...]:
        own = written.kind
        known = self.scenario.kinds
        if own is not None and own not in known:
            hint = self.problems.hint(own, known)
            remedy = hint or f'add "{own}" to "kinds"'
            self.problems.add((*keys, "kind"), f'"{own}" is no kind', remedy)
        first = self.patches[name.first].part
        second = None if name.second == OPEN else self.patches[name.second].part
        automatic = automatic_kind(first, second, is_open=name.second == OPEN)
        return kinds_for(known, automatic, own)

    def _one_of(self, name: EdgeName, given: str | None, keys: tuple[Key, ...]) -> str | None:
        """Return the patch given if it is one of the two sides."""
        sides = [side for side in (name.first, name.second) if side != OPEN]
        if given is None or given in sides:
            return given
        remedy = self.problems.hint(given, sides) or f"one of {', '.join(sides)}"
        self.problems.add(keys, f'"{given}" is not beside this line', remedy)
        return None

    def _grip(
        self, carried: form.Carried, bolts: Bolts, keys: tuple[Key, ...], *, is_open: bool
    ) -> float:
        """Return the grip: as given, by the clamps, or as wide as the bolts leave free."""
        if carried.grip is not None:
            return carried.grip.mm(self.unit)
        if is_open:
            return OPEN_GRIP_MM
        grip_mm = bolts.inset_mm - bolts.diameter_mm / 2 - self.context.rules.bolt_clearance_mm
        if grip_mm < LEAST_GRIP_MM:
            least = bolts.inset_mm - grip_mm + LEAST_GRIP_MM
            self.problems.add(
                (*keys, "bolts"),
                f"an inset of {format_length(bolts.inset_mm, self.unit)} leaves no metal to grip",
                f'make "inset" at least {format_inches(least)}, or give "grip" and notch at bolts',
            )
            return LEAST_GRIP_MM
        return grip_mm

    def _with_stations(self, edge: Edge, written: form.Edge, keys: tuple[Key, ...]) -> Edge:
        notches = []
        for index, notch in enumerate(written.notches or []):
            place: tuple[Key, ...] = (
                *keys,
                "notches",
                *([index] if len(written.notches or []) > 1 else []),
            )
            for at in notch.at:
                self.context.check_station(at, edge.length_mm, (*place, "at"))
                deep_mm = notch.deep.mm(self.unit)
                if deep_mm >= edge.stand_mm:
                    stand = format_length(edge.stand_mm, self.unit)
                    self.problems.add(
                        (*place, "deep"),
                        f"{format_length(deep_mm, self.unit)} cuts the metal in two",
                        f"a notch is less deep than the stand, {stand}",
                    )
                notches.append(EdgeNotch(at.mm(self.unit), notch.wide.mm(self.unit), deep_mm))
        no_seam = []
        for index, (start, end) in enumerate(written.no_seam or []):
            place = (*keys, "no_seam", index)
            self.context.check_station(start, edge.length_mm, place)
            self.context.check_station(end, edge.length_mm, place)
            no_seam.append((start.mm(self.unit), end.mm(self.unit)))
            if no_seam[-1][0] >= no_seam[-1][1]:
                self.problems.add(place, "ends before it begins", "write [from, to]")
        return replace(edge, notches=tuple(notches), no_seam_mm=tuple(no_seam))


def edges_of(
    scenario: form.Scenario,
    patches: Mapping[str, Patch],
    rules: Rules,
    sides: Sides,
    problems: Problems,
) -> EdgeSet:
    """Return all edges, each written one followed by its mirrored twin."""
    context = Context(scenario, patches, rules, sides, problems)
    reader = _Reader(context)
    names = reader.names()
    written_keys = {name.key: spelling for spelling, name in names.items()}
    made = EdgeSet()
    for spelling in scenario.edges:
        name = read_edge_name(spelling)
        if spelling not in names and name is not None:
            made.unread |= {name.first, name.second}
    for spelling, name in names.items():
        result = reader.edge(spelling, name)
        if result is None:
            twin = _twin(name, sides)
            for one in (name,) if twin is None else (name, twin):
                made.unread |= {one.first, one.second}
            continue
        edge, source, stands_on = result
        twin = _twin(name, sides)
        if twin is None:
            _keep(made, edge, source, stands_on)
            continue
        if twin.key == name.key:
            if _crosses_alike(edge, sides, source, problems):
                edge = replace(edge, twin=edge.id)
            _keep(made, edge, source, stands_on)
            continue
        if twin.key in written_keys:
            partner = names[written_keys[twin.key]]
            _keep(made, replace(edge, twin=_spelled(partner)), source, stands_on)
            continue
        edge = replace(edge, twin=_spelled(twin))
        _keep(made, edge, source, stands_on)
        assert sides.rename is not None
        mirrored = mirrored_edge(edge, sides.rename)
        _keep(made, mirrored, source, None if stands_on is None else sides.rename(stands_on))
    _unpair_unlike(made)
    made.edges[:] = with_nears(context, made.edges, names)
    return made


def _keep(made: EdgeSet, edge: Edge, source: Source, stands_on: str | None) -> None:
    made.edges.append(edge)
    made.source[edge.id] = source
    if stands_on is not None:
        made.stands_on[edge.id] = stands_on


def _spelled(name: EdgeName) -> str:
    """Return the id of an edge: with the outside second."""
    return EdgeName(name.second, OPEN, name.label).id if name.first == OPEN else name.id


def _twin(name: EdgeName, sides: Sides) -> EdgeName | None:
    if sides.rename is None or sides.one_sided & {name.first, name.second, name.id}:
        return None
    return name.renamed(sides.rename)


def _crosses_alike(edge: Edge, sides: Sides, source: Source, problems: Problems) -> bool:
    """Whether an edge that is its own twin has marks that agree with it."""
    if edge.start_mark is None or edge.end_mark is None:
        return True
    assert sides.rename is not None
    if {sides.rename(edge.start_mark), sides.rename(edge.end_mark)} == {
        edge.start_mark,
        edge.end_mark,
    }:
        return True
    problems.add(
        source.keys,
        f"is its own twin, but {edge.start_mark} and {edge.end_mark} are not each other's",
        "walk it from side to side, or tell the halves apart by a label that swaps sides",
    )
    return False


def _unpair_unlike(made: EdgeSet) -> None:
    """Twins that were both written and differ are no twins."""
    edge_of = {edge.id: edge for edge in made.edges}

    def alike(edge: Edge) -> bool:
        other = edge_of.get(edge.twin) if edge.twin else None
        return (
            other is not None
            and other.twin == edge.id
            and abs(other.length_mm - edge.length_mm) < 0.01
            and len(other.line.stretches) == len(edge.line.stretches)
        )

    made.edges[:] = [
        edge
        if edge.twin is None or edge.twin == edge.id or alike(edge)
        else replace(edge, twin=None)
        for edge in made.edges
    ]


def _marks(written: form.Edge) -> tuple[str | None, str | None]:
    ends = written.path or written.points
    if not ends:
        return None, None
    start, end = ends[0], ends[-1]
    return (
        start if isinstance(start, str) else None,
        end if isinstance(end, str) else None,
    )


def _bolts(written: form.Bolts | None, unit: str) -> Bolts:
    bolts = Bolts()
    if written is None:
        return bolts
    return Bolts(
        pitch_mm=bolts.pitch_mm if written.pitch is None else written.pitch.mm(unit),
        inset_mm=bolts.inset_mm if written.inset is None else written.inset.mm(unit),
        size=bolts.size if written.size is None else written.size,
        diameter_mm=bolts.diameter_mm if written.size is None else parse_diameter_mm(written.size),
        from_ends_mm=bolts.from_ends_mm
        if written.from_ends is None
        else written.from_ends.mm(unit),
    )


def unused_kinds(scenario: form.Scenario) -> tuple[str, ...]:
    """Return kinds that no edge has; they may be misspelt."""
    used = {edge.kind for edge in scenario.edges.values()} | {EVERY, *AUTOMATIC}
    return tuple(kind for kind in scenario.kinds if kind not in used)
