"""Every legal section of a body, each once.

Edges that may not split merge their patches into *nodes*.  Mass of patches, size, release, pins
and required splits are hereditary: a set that breaks one of them is not mended by adding patches.
So connected sets are grown node by node from their lowest node and pruned at once.  The growing
rule (extension sets with exclusive neighbours; Wernicke, Efficient detection of network motifs,
2006) meets every connected set exactly once; it runs on batches of sets held as rows of 64-bit
words, so no set is ever looked at alone.  Release is exact: a set is dropped when no row of the
`direction_table` is left for it.

The cost of a section is its own, its inside edges', and half of its joints', so the costs of the
sections of a split add up to the cost of the split.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from solver.data.until import FOREVER, Until
from solver.models.release import Array, DirectionTable, Flags, direction_table
from solver.models.split_problem import SplitProblem

Words = NDArray[np.uint64]

# A section may weigh this much more than the limit: sums of decimal kilograms carry rounding.
MASS_SLACK_KG = 1e-9
SIZE_SLACK_MM = 1e-6
DEFAULT_MOST_COLUMNS = 3_000_000
# Bodies of more than one word of nodes seldom end below this, and waiting for millions is idle.
MOST_COLUMNS_OF_WIDE_BODIES = 400_000
# Fewer sections than this are listed whatever the time: it takes less than to say why not.
_ALWAYS_LISTED = 5_000
# Sets waiting to be grown take some 300 bytes each, this many at each of some tens of levels.
_ROWS_PER_BATCH = 20_000


@dataclass(frozen=True)
class Columns:
    """Legal sections as bit rows over the patches.

    ``words`` (m, ceil(patches/64)) uint64, bit i of word i // 64 is patch i; ``costs`` (m,);
    ``masses_kg`` (m,); ``extents_mm`` (m, 3) largest first, zeros where the size rule is off;
    ``complete``: False when the enumeration stopped at its limit, so sections are missing.
    """

    patch_count: int
    words: Words
    costs: Array
    masses_kg: Array
    extents_mm: Array
    complete: bool

    def __len__(self) -> int:
        """Return the number of sections."""
        return len(self.words)

    @cached_property
    def masks(self) -> tuple[int, ...]:
        """The sections as Python integers, bit i for patch i."""
        raw = self.words.astype("<u8").tobytes()
        size = 8 * self.words.shape[1]
        return tuple(
            int.from_bytes(raw[i * size : (i + 1) * size], "little") for i in range(len(self))
        )

    def holds(self, patch: int) -> Flags:
        """(m,) True where the section contains the patch."""
        flags: Flags = (self.words[:, patch >> 6] >> np.uint64(patch & 63)) & np.uint64(1) > 0
        return flags

    def members(self, column: int) -> tuple[int, ...]:
        """Patch indices of one section, ascending."""
        return members_of(self.words[column])

    @cached_property
    def incidence(self) -> csr_matrix:
        """(m, patches) sparse 0/1 matrix."""
        bits = np.unpackbits(self.words.astype("<u8").view(np.uint8), axis=1, bitorder="little")[
            :, : self.patch_count
        ]
        return csr_matrix(bits, dtype=float)


@dataclass(frozen=True)
class Nodes:
    """Patches merged along edges that may not split, with everything sections are priced by.

    Matrices are (n, n) over nodes.  ``saving``: cost that disappears when two neighbours are in
    one section (joint cost less inside cost, may be negative); ``flange_kg``: mass each of the
    two carries if they are not; ``never``: pairs that no section may hold; ``floor_kg``: the
    least a node adds to any section; ``legal`` (directions, n).
    """

    problem: SplitProblem
    groups: tuple[tuple[int, ...], ...]
    node_of: NDArray[np.intp]
    adjacent: Flags
    never: Flags
    impossible: Flags
    own_cost: Array
    saving: Array
    own_kg: Array
    flange_kg: Array
    floor_kg: Array
    low_mm: Array
    high_mm: Array
    table: DirectionTable
    legal: Flags
    pin_groups: tuple[tuple[int, ...], ...]

    def __len__(self) -> int:
        """Return the number of nodes."""
        return len(self.groups)


def members_of(words: Iterable[int]) -> tuple[int, ...]:
    """Set bits of a row of 64-bit words, ascending."""
    out: list[int] = []
    for k, word in enumerate(words):
        value = int(word)
        while value:
            bit = value & -value
            out.append(64 * k + bit.bit_length() - 1)
            value ^= bit
    return tuple(out)


def to_words(sets: Sequence[Iterable[int]], count: int) -> Words:
    """Rows of 64-bit words for sets of indices below ``count``."""
    words = np.zeros((len(sets), max(1, -(-count // 64))), dtype=np.uint64)
    for row, members in enumerate(sets):
        for i in members:
            words[row, i >> 6] |= np.uint64(1 << (i & 63))
    return words


def _merge(problem: SplitProblem) -> NDArray[np.intp]:
    root = list(range(len(problem.patches)))

    def find(i: int) -> int:
        while root[i] != i:
            root[i] = root[root[i]]
            i = root[i]
        return i

    for edge in problem.edges:
        if edge.split == "forbidden":
            a, b = find(edge.a), find(edge.b)
            root[max(a, b)] = min(a, b)
    heads = sorted({find(i) for i in range(len(root))})
    number = {head: k for k, head in enumerate(heads)}
    return np.array([number[find(i)] for i in range(len(root))], dtype=np.intp)


def make_nodes(problem: SplitProblem, table: DirectionTable | None = None) -> Nodes:
    """Merge what may not split and work out what each node costs, weighs and excludes."""
    table = direction_table(problem) if table is None else table
    node_of = _merge(problem)
    n = int(node_of.max()) + 1
    groups: list[list[int]] = [[] for _ in range(n)]
    for patch, node in enumerate(node_of):
        groups[int(node)].append(patch)

    adjacent = np.zeros((n, n), dtype=bool)
    never = np.zeros((n, n), dtype=bool)
    impossible = np.zeros(n, dtype=bool)
    own_cost, own_kg = np.zeros(n), np.zeros(n)
    saving, flange = np.zeros((n, n)), np.zeros((n, n))
    for edge in problem.edges:
        a, b = int(node_of[edge.a]), int(node_of[edge.b])
        if a == b:
            own_cost[a] += edge.inside_cost
            impossible[a] |= edge.split == "required"
            continue
        adjacent[a, b] = adjacent[b, a] = True
        own_cost[[a, b]] += 0.5 * edge.joint_cost
        for i, j in ((a, b), (b, a)):
            saving[i, j] += edge.joint_cost - edge.inside_cost
            flange[i, j] += edge.joint_mass_kg
            never[i, j] |= edge.split == "required"
    for patch, part in enumerate(problem.patches):
        own_kg[node_of[patch]] += (
            part.mass_kg * (1.0 + problem.frame_fraction) + problem.open_mass_kg[patch]
        )

    legal = np.array([table.legal[:, group].all(axis=1) for group in groups], dtype=bool).T
    legal = legal.reshape(len(table.legal), n)
    impossible |= ~legal.any(axis=0)
    shared = legal.astype(np.float32)
    never |= (shared.T @ shared) < 0.5

    pins: dict[str, list[int]] = {}
    label = np.full(n, -1)
    for patch, part in enumerate(problem.patches):
        if part.pin is None:
            continue
        number = list(pins).index(part.pin) if part.pin in pins else len(pins)
        pins.setdefault(part.pin, [])
        node = int(node_of[patch])
        if label[node] >= 0 and label[node] != number:
            impossible[node] = True
        label[node] = number
        if node not in pins[part.pin]:
            pins[part.pin].append(node)
    pinned = label >= 0
    never |= pinned[:, None] & pinned[None, :] & (label[:, None] != label[None, :])

    low, high = _boxes(problem, groups)
    if problem.size_rule_holds:
        pair = np.maximum(high[:, None], high[None]) - np.minimum(low[:, None], low[None])
        never |= ~_fits(problem, pair)
        impossible |= ~_fits(problem, high - low)
    if problem.lift_limit_kg is not None:
        never |= own_kg[:, None] + own_kg[None, :] > problem.lift_limit_kg + MASS_SLACK_KG
    np.fill_diagonal(never, False)
    floor = own_kg + np.where(never, flange, 0.0).sum(axis=1)
    if problem.lift_limit_kg is not None:
        heavy = floor[:, None] + floor[None, :] > problem.lift_limit_kg + MASS_SLACK_KG
        np.fill_diagonal(heavy, False)
        never |= heavy
        floor = own_kg + np.where(never, flange, 0.0).sum(axis=1)
        impossible |= floor > problem.lift_limit_kg + MASS_SLACK_KG
    for together in pins.values():
        # patches that must share a section and of which two never can
        impossible[together] |= never[np.ix_(together, together)].any()
    return Nodes(
        problem,
        tuple(tuple(group) for group in groups),
        node_of,
        adjacent,
        never,
        impossible,
        own_cost,
        saving,
        own_kg,
        flange,
        floor,
        low,
        high,
        table,
        legal,
        tuple(tuple(group) for group in pins.values() if len(group) > 1),
    )


def _boxes(problem: SplitProblem, groups: Sequence[Sequence[int]]) -> tuple[Array, Array]:
    low, high = np.zeros((len(groups), 3)), np.zeros((len(groups), 3))
    if problem.size_rule_holds:
        boxes = np.array([patch.box_mm for patch in problem.patches], dtype=float)
        for k, group in enumerate(groups):
            low[k] = boxes[list(group), 0].min(axis=0)
            high[k] = boxes[list(group), 1].max(axis=0)
    return low, high


def _fits(problem: SplitProblem, extents: Array) -> Flags:
    """Tell where extents (..., 3), turned by quarter turns, fit the size limit."""
    assert problem.largest_section_mm is not None
    limit = np.sort(np.array(problem.largest_section_mm))
    fits: Flags = np.all(np.sort(extents, axis=-1) <= limit + SIZE_SLACK_MM, axis=-1)
    return fits


@dataclass(frozen=True)
class _Batch:
    """Connected sets being grown; every array has one row for each set."""

    words: Words
    extension: Words
    closed: Words
    allowed: Words
    cells: Words
    floor_kg: Array
    mass_kg: Array
    cost: Array
    low: Array
    high: Array

    def rows(self, index: NDArray[np.intp] | slice) -> _Batch:
        return _Batch(*(getattr(self, name)[index] for name in self.__dataclass_fields__))

    def __len__(self) -> int:
        return len(self.words)


def _join(batches: Sequence[_Batch]) -> _Batch:
    return _Batch(
        *(
            np.concatenate([getattr(batch, name) for batch in batches])
            for name in _Batch.__dataclass_fields__
        )
    )


def _pack(flags: Flags) -> Words:
    """Rows of flags (r, n) as rows of 64-bit words."""
    width = max(1, -(-flags.shape[1] // 64)) * 64
    wide = np.zeros((len(flags), width), dtype=np.uint8)
    wide[:, : flags.shape[1]] = flags
    packed = np.packbits(wide, axis=1, bitorder="little")
    words: Words = np.ascontiguousarray(packed).view("<u8").astype(np.uint64)
    return words


def legal_sections(
    problem: SplitProblem,
    *,
    nodes: Nodes | None = None,
    most: int = DEFAULT_MOST_COLUMNS,
    until: Until = FOREVER,
) -> Columns:
    """Enumerate every connected legal section once.

    Stops with ``complete=False`` and no section past ``most`` of them (fewer for bodies of more
    than 64 nodes) or when it is to end.
    """
    nodes = make_nodes(problem) if nodes is None else nodes
    if len(nodes) > 64:
        most = min(most, MOST_COLUMNS_OF_WIDE_BODIES)
    grown, complete = _grow(nodes, most, until)
    return columns_of_nodes(nodes, grown, complete=complete)


def columns_of_nodes(nodes: Nodes, grown: _Batch | None, *, complete: bool) -> Columns:
    """Spread node sets over their patches."""
    count = len(nodes.problem.patches)
    group_words = to_words(nodes.groups, count)
    if grown is None or not len(grown):
        none = np.zeros(0)
        return Columns(count, group_words[:0].copy(), none, none.copy(), np.zeros((0, 3)), complete)
    if len(nodes) == count:
        words = grown.words
    else:
        words = np.zeros((len(grown), group_words.shape[1]), dtype=np.uint64)
        for node in range(len(nodes)):
            held = (grown.words[:, node >> 6] >> np.uint64(node & 63)) & np.uint64(1) > 0
            words[held] |= group_words[node]
    extents = -np.sort(-(grown.high - grown.low), axis=1)
    return Columns(count, words, grown.cost, grown.mass_kg, extents, complete)


def _grow(nodes: Nodes, most: int, until: Until) -> tuple[_Batch | None, bool]:
    n = len(nodes)
    problem = nodes.problem
    if nodes.impossible.any():
        return None, True
    singles = _pack(np.eye(n, dtype=bool))
    near = _pack(nodes.adjacent)
    may = _pack(~nodes.never & ~np.eye(n, dtype=bool))
    above = _pack(np.triu(np.ones((n, n), dtype=bool), 1))
    cells = _pack(nodes.legal.T.copy())
    limit = np.inf if problem.lift_limit_kg is None else problem.lift_limit_kg + MASS_SLACK_KG
    flange_all = nodes.flange_kg.sum(axis=1)
    allowed = may & above
    start = _Batch(
        singles,
        near & allowed,
        near | singles,
        allowed,
        cells,
        nodes.floor_kg.copy(),
        nodes.own_kg + flange_all,
        nodes.own_cost + problem.section_cost,
        nodes.low_mm,
        nodes.high_mm,
    )
    pin_words = to_words(nodes.pin_groups, n) if nodes.pin_groups else None
    neighbours = [np.nonzero(nodes.adjacent[v])[0] for v in range(n)]
    stack = [start]
    kept: list[_Batch] = []
    total = 0
    while stack:
        batch = stack.pop()
        good = batch.mass_kg <= limit
        if pin_words is not None:
            for pins in pin_words:
                held = batch.words & pins
                good &= ~held.any(axis=1) | (held == pins).all(axis=1)
        index = np.nonzero(good)[0]
        total += len(index)
        if total > most or (total > _ALWAYS_LISTED and until.over()):
            return None, False
        if len(index):
            kept.append(_slim(batch.rows(index)))
        children: list[_Batch] = []
        for v in range(n):
            word, bit = v >> 6, np.uint64(v & 63)
            rows = np.nonzero((batch.extension[:, word] >> bit) & np.uint64(1))[0]
            if not len(rows):
                continue
            floor = batch.floor_kg[rows] + nodes.floor_kg[v]
            rows, floor = rows[floor <= limit], floor[floor <= limit]
            child_cells = batch.cells[rows] & cells[v]
            releases = child_cells.any(axis=1)
            low = np.minimum(batch.low[rows], nodes.low_mm[v])
            high = np.maximum(batch.high[rows], nodes.high_mm[v])
            if problem.size_rule_holds:
                releases &= _fits(problem, high - low)
            if not releases.all():
                rows, floor, child_cells = rows[releases], floor[releases], child_cells[releases]
                low, high = low[releases], high[releases]
            if not len(rows):
                continue
            parents = batch.words[rows]
            mass = batch.mass_kg[rows] + (nodes.own_kg[v] + flange_all[v])
            cost = batch.cost[rows] + nodes.own_cost[v]
            for u in neighbours[v]:
                both = ((parents[:, u >> 6] >> np.uint64(u & 63)) & np.uint64(1)).astype(float)
                if nodes.flange_kg[v, u]:
                    mass -= 2.0 * nodes.flange_kg[v, u] * both
                if nodes.saving[v, u]:
                    cost -= nodes.saving[v, u] * both
            allow = batch.allowed[rows] & allowed_by(may, v)
            closed = batch.closed[rows]
            later = batch.extension[rows] & above[v]
            extension = (later | (near[v] & ~closed)) & allow
            words = parents | singles[v]
            child = _Batch(
                words, extension, closed | near[v], allow, child_cells, floor, mass, cost, low, high
            )
            if pin_words is not None:
                child = child.rows(_pins_reachable(child, pin_words))
            children.append(child)
        if children:
            joined = _join(children)
            stack += [
                joined.rows(slice(at, at + _ROWS_PER_BATCH))
                for at in range(0, len(joined), _ROWS_PER_BATCH)
            ]
    return (_join(kept) if kept else None), True


def allowed_by(may: Words, node: int) -> Words:
    """Row of nodes that may share a section with this one."""
    row: Words = may[node]
    return row


def _pins_reachable(batch: _Batch, pin_words: Words) -> NDArray[np.intp]:
    good = np.ones(len(batch), dtype=bool)
    for pins in pin_words:
        touched = (batch.words & pins).any(axis=1)
        reach = ((batch.words | batch.allowed) & pins) == pins
        good &= ~touched | reach.all(axis=1)
    return np.nonzero(good)[0]


def _slim(batch: _Batch) -> _Batch:
    """Drop what only growing needs, so that millions of sections fit in memory."""
    none = np.zeros((len(batch), 0), dtype=np.uint64)
    return _Batch(
        batch.words, none, none, none, none, np.zeros(len(batch)), batch.mass_kg, batch.cost,
        batch.low, batch.high,
    )  # fmt: skip


def price_section(problem: SplitProblem, members: Iterable[int]) -> tuple[float, float]:
    """Cost and mass of one section from the definition, patch by patch and edge by edge."""
    inside = set(members)
    cost = problem.section_cost
    mass = sum(
        problem.patches[i].mass_kg * (1.0 + problem.frame_fraction) + problem.open_mass_kg[i]
        for i in inside
    )
    for edge in problem.edges:
        ends = (edge.a in inside) + (edge.b in inside)
        if ends == 2:
            cost += edge.inside_cost
        elif ends == 1:
            cost += 0.5 * edge.joint_cost
            mass += edge.joint_mass_kg
    return cost, mass
