"""Why no split exists: the smallest set of requirements that cannot hold together.

First plain facts that need no search (a patch that cannot be released, lifted or carried by
itself; more weight than so many sections may carry).  Then a divide-and-conquer deletion filter
(Junker, QuickXplain, AAAI 2004) over all requirements of the problem, each a rule with the ids it
stands on: leave some out, ask whether a split exists, and keep only what is needed.  At last every
member is left out in turn: the rest must be feasible.  A test that ran out of time counts as
unknown: the requirement stays in and the answer says that it may not be minimal.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np

from solver.data.until import FOREVER, Until
from solver.models.columns import (
    MASS_SLACK_KG,
    SIZE_SLACK_MM,
    Columns,
    Nodes,
    legal_sections,
    make_nodes,
)
from solver.models.release import Conflict, patch_rows, release_patches, widest_draft_deg
from solver.models.removal import (
    RemovalCut,
    RemovalOrder,
    cut_coefficients,
    removal_or_cut,
    sections_of_columns,
)
from solver.models.section_number import needs_more_sections
from solver.models.split import cheapest_split, most_any_split_costs, section_counts, sweep
from solver.models.split_large import merge_greedily
from solver.models.split_master import Master, Row, cheapest_choice, choose
from solver.models.split_pricing import legal, make_terrain
from solver.models.split_problem import SplitEdge, SplitProblem, Vector
from solver.rules.customary import INCH_MM, mass_words

RELEASE = "release"
LIFT_LIMIT = "lift limit"
LARGEST_SECTION = "largest section"
MOST_SECTIONS = "most sections"
FEWEST_SECTIONS = "fewest sections"
PIN = "pin"
SPLIT_REQUIRED = "split required"
SPLIT_FORBIDDEN = "split forbidden"
ORDER = "order of removal"
PULLS = "pulls"
WALLS = "walls"
SYMMETRIC = "symmetric split"
RETURN = "return"
CONNECTED = "connected"

EXPLAINED = "explained"
POSSIBLE = "possible"
UNKNOWN = "unknown"

_MOST_COLUMNS = 300_000
_MOST_FOR_ONE_PROGRAM = 15_000
_PROGRAMS_BEFORE_MONEY = 1
_GREEDY_RESTARTS = 6


@dataclass(frozen=True)
class Requirement:
    """One rule with the ids it stands on, and a sentence with its figures."""

    rule: str
    ids: tuple[str, ...]
    sentence: str


@dataclass(frozen=True)
class SplitConflict:
    """Requirements that cannot hold together.

    ``status``: explained, possible (a split exists) or unknown (time ran out before anything was
    shown); ``minimal``: True when leaving out any member was shown to make the rest feasible;
    ``also``: further plain facts of the same kind, each a conflict by itself.
    """

    status: str
    requirements: tuple[Requirement, ...]
    minimal: bool
    also: tuple[Requirement, ...] = ()


def why_not(
    problem: SplitProblem,
    *,
    symmetric: Sequence[int] | None = None,
    deadline_s: float = 30.0,
    asked: Callable[[], bool] = FOREVER.asked,
) -> SplitConflict:
    """Explain why a problem has no split.

    ``symmetric``: patch mirror permutation under which the split is to be its own image;
    ``asked``: whether to end now.
    """
    facts = plain_facts(problem)
    if facts:
        return SplitConflict(EXPLAINED, facts[0], True, also_hopeless(facts))
    search = _Filter(problem, Until(None, asked).at_most(deadline_s), symmetric)
    everything = requirements_of(problem)
    if symmetric is not None:
        everything.append(Requirement(SYMMETRIC, (), "the split is to be symmetric"))
    # Weight against the number of sections is asked first: it is the answer most often.
    weighing = [one for one in everything if one.rule in (LIFT_LIMIT, MOST_SECTIONS)]
    if len(weighing) == 2 and search.feasible(weighing) is False:
        everything = weighing
    verdict = search.feasible(everything)
    if verdict is None:
        return SplitConflict(UNKNOWN, (), False)
    if verdict:
        return SplitConflict(POSSIBLE, (), False)
    if search.feasible([]) is False:
        # Cannot happen: every patch by itself is a split when nothing is asked for.
        return SplitConflict(UNKNOWN, (), False)
    found = search.shortest([], everything, changed=False)
    minimal = all(search.feasible([r for r in found if r is not one]) for one in found)
    order = {requirement: at for at, requirement in enumerate(everything)}
    return SplitConflict(EXPLAINED, tuple(sorted(found, key=order.__getitem__)), minimal)


def also_hopeless(facts: Sequence[tuple[Requirement, ...]]) -> tuple[Requirement, ...]:
    """Return what every plain fact but the first says of one patch or rule: each must be mended."""
    return tuple(fact[0] for fact in facts[1:] if len(fact) == 1 or fact[0].ids)


def requirements_of(problem: SplitProblem) -> list[Requirement]:
    """List all that a problem asks for, one entry for each thing that could be given up."""
    out: list[Requirement] = []
    if problem.lift_limit_kg is not None:
        total = sum(_own_kg(problem, i) for i in range(len(problem.patches)))
        out.append(
            Requirement(
                LIFT_LIMIT,
                (),
                f"section limit {_mass(problem.lift_limit_kg)}; the body without joints weighs "
                f"{_mass(total)}",
            )
        )
    if problem.size_rule_holds:
        assert problem.largest_section_mm is not None
        size = _size(problem.largest_section_mm)
        out.append(Requirement(LARGEST_SECTION, (), f"no section larger than {size}"))
    if problem.most_sections is not None:
        out.append(Requirement(MOST_SECTIONS, (), _most_words(problem.most_sections)))
    if problem.fewest_sections > 1:
        out.append(
            Requirement(FEWEST_SECTIONS, (), f"no fewer than {problem.fewest_sections} sections")
        )
    out += [
        Requirement(PIN, (patch.id,), f'patch "{patch.id}" has the pin "{patch.pin}"')
        for patch in problem.patches
        if patch.pin is not None
    ]
    for edge in problem.edges:
        if edge.split == "required":
            out.append(Requirement(SPLIT_REQUIRED, (edge.id,), f'edge "{edge.id}" must be a joint'))
        elif edge.split == "forbidden":
            out.append(
                Requirement(SPLIT_FORBIDDEN, (edge.id,), f'edge "{edge.id}" must not be a joint')
            )
    out += [
        Requirement(
            RETURN,
            (edge.id,),
            f'the return at edge "{edge.id}" hooks its metal into the part: where it is a joint, '
            "no section may be pulled into it",
        )
        for edge in problem.edges
        if edge.hooked
    ]
    out += _restrictions(problem)
    out.append(Requirement(ORDER, (), "the sections must come off one after another"))
    out += [
        Requirement(
            RELEASE,
            (patch.id,),
            f'patch "{patch.id}" must release with {problem.draft_deg:g} degrees of draft',
        )
        for patch in problem.patches
        if patch.facings
    ]
    out.append(Requirement(CONNECTED, (), "each section must hang together"))
    return out


def plain_facts(problem: SplitProblem) -> list[tuple[Requirement, ...]]:
    """Conflicts that need no search, each minimal by itself."""
    facts = [fact for i in range(len(problem.patches)) for fact in _patch_facts(problem, i)]
    count = len(problem.patches)
    most = problem.most_sections
    if problem.fewest_sections > count:
        facts.append(
            (
                Requirement(
                    FEWEST_SECTIONS,
                    (),
                    f"no fewer than {problem.fewest_sections} sections, but there are only "
                    f"{count} patches; divide patches or lower the number",
                ),
            )
        )
    if most is not None and problem.fewest_sections > most:
        facts.append(
            (
                Requirement(MOST_SECTIONS, (), _most_words(most)),
                Requirement(FEWEST_SECTIONS, (), f"no fewer than {problem.fewest_sections}"),
            )
        )
    if most is not None and problem.lift_limit_kg:
        total = sum(_own_kg(problem, i) for i in range(count))
        if total > most * problem.lift_limit_kg + MASS_SLACK_KG * count:
            needed = int(np.ceil(total / problem.lift_limit_kg - 1e-9))
            facts.append(
                (
                    Requirement(
                        LIFT_LIMIT,
                        (),
                        f"section limit {_mass(problem.lift_limit_kg)}, but the body weighs "
                        f"{_mass(total)} even without joints: at least {needed} sections",
                    ),
                    Requirement(MOST_SECTIONS, (), _most_words(most)),
                )
            )
    # A conflict of one requirement comes before any that holds it.
    facts.sort(key=len)
    single = {fact[0].rule for fact in facts if len(fact) == 1}
    return [f for f in facts if len(f) == 1 or f[0].ids or not any(r.rule in single for r in f)]


def _restrictions(problem: SplitProblem) -> list[Requirement]:
    """What the scenario says of pulls; a wall is told by its place in the list."""
    out: list[Requirement] = []
    if problem.pulls is not None:
        given = ", ".join(_vector(pull) for pull in problem.pulls)
        out.append(Requirement(PULLS, (), f"pulls only along {given}"))
    out += [
        Requirement(WALLS, (str(place),), f"nothing is pulled toward {_vector(wall)}")
        for place, wall in enumerate(problem.pull_walls)
    ]
    return out


def _restricted(problem: SplitProblem, kept: Sequence[Requirement]) -> SplitProblem:
    """Keep only these restrictions of pulls."""
    rules = {(r.rule, r.ids) for r in kept}
    return dataclasses.replace(
        problem,
        pulls=problem.pulls if (PULLS, ()) in rules else None,
        pull_walls=tuple(
            wall for k, wall in enumerate(problem.pull_walls) if (WALLS, (str(k),)) in rules
        ),
    )


def _patch_facts(problem: SplitProblem, i: int) -> list[tuple[Requirement, ...]]:
    patch = problem.patches[i]
    facts: list[tuple[Requirement, ...]] = []
    if patch.facings and isinstance(release_patches(problem, [i]), Conflict):
        axes, half, _ = patch_rows([patch])
        best = widest_draft_deg(axes, half)
        needed: list[Requirement] = []
        if best >= problem.draft_deg - 1e-6:
            why = "which no pull allowed gives; allow another pull or turn the patch"
            needed = _restrictions(problem)
            for one in list(needed):
                fewer = [r for r in needed if r is not one]
                if isinstance(release_patches(_restricted(problem, fewer), [i]), Conflict):
                    needed = fewer
        elif best >= 0.0:
            why = f"but its best pull leaves {best:.1f}; divide the patch here or ask less draft"
        else:
            why = (
                f"but even its best pull is undercut by {-best:.1f} degrees; divide the patch here"
            )
        asked = f'patch "{patch.id}" must release with {problem.draft_deg:g} degrees of draft'
        facts.append((Requirement(RELEASE, (patch.id,), f"{asked}, {why}"), *needed))
    own = _own_kg(problem, i)
    limit = problem.lift_limit_kg
    if limit is not None and own > limit + MASS_SLACK_KG:
        facts.append(
            (
                Requirement(
                    LIFT_LIMIT,
                    (patch.id,),
                    f'section limit {_mass(limit)}, but "{patch.id}" alone weighs {_mass(own)}; '
                    "divide the patch or raise the limit",
                ),
            )
        )
    if problem.size_rule_holds:
        assert problem.largest_section_mm is not None
        assert patch.box_mm is not None
        low, high = patch.box_mm
        extent = sorted((b - a for a, b in zip(low, high, strict=True)), reverse=True)
        allowed = sorted(problem.largest_section_mm, reverse=True)
        if any(e > a + SIZE_SLACK_MM for e, a in zip(extent, allowed, strict=True)):
            facts.append(
                (
                    Requirement(
                        LARGEST_SECTION,
                        (patch.id,),
                        f'no section larger than {_size(allowed)}, but "{patch.id}" alone is '
                        f"{_size(extent)}; divide the patch",
                    ),
                )
            )
    return facts


def _mass(mass_kg: float) -> str:
    """Return "150 lb (68 kg)": what the scenario says, in either unit, and no digit too many."""
    return mass_words(mass_kg).replace(".0 ", " ")


def _size(sides_mm: Sequence[float]) -> str:
    inches = " x ".join(f"{side / INCH_MM:.4g}" for side in sides_mm)
    return f"{inches} in ({' x '.join(f'{side:.0f}' for side in sides_mm)} mm)"


def _vector(direction: Vector) -> str:
    return "[" + ", ".join(f"{part:.3g}" for part in direction) + "]"


def _most_words(most: int) -> str:
    return f"no more than {most} section{'s' if most != 1 else ''}"


def _own_kg(problem: SplitProblem, i: int) -> float:
    mass = problem.patches[i].mass_kg * (1.0 + problem.frame_fraction)
    return mass + problem.open_mass_kg[i]


def relaxed(problem: SplitProblem, kept: Sequence[Requirement]) -> tuple[SplitProblem, bool]:
    """Keep only these requirements; also tells whether the order of removal still counts.

    Only existence is asked, so each joint and section costs one, and joints up to one more by what
    they cost: it tells splits apart.  Without "connected" every two patches get a line that costs
    and weighs nothing.
    """
    rules = {(r.rule, r.ids) for r in kept}

    def on(rule: str, *ids: str) -> bool:
        return (rule, ids) in rules

    patches = tuple(
        dataclasses.replace(
            patch,
            facings=patch.facings if on(RELEASE, patch.id) else (),
            pin=patch.pin if on(PIN, patch.id) else None,
        )
        for patch in problem.patches
    )
    edges = []
    dearest = max([1.0, *(edge.joint_cost for edge in problem.edges)])
    for edge in problem.edges:
        rule = {"required": SPLIT_REQUIRED, "forbidden": SPLIT_FORBIDDEN}.get(edge.split)
        keep = rule is not None and on(rule, edge.id)
        edges.append(
            dataclasses.replace(
                edge,
                split=edge.split if keep else "allowed",
                hooked=edge.hooked and on(RETURN, edge.id),
                joint_cost=1.0 + max(0.0, edge.joint_cost) / dearest,
                inside_cost=0.0,
            )
        )
    if not on(CONNECTED):
        n = len(patches)
        edges += [SplitEdge(f"{a} ~ {b}", a, b, 0.0) for a in range(n) for b in range(a + 1, n)]
    return (
        dataclasses.replace(
            _restricted(problem, kept),
            patches=patches,
            edges=tuple(edges),
            lift_limit_kg=problem.lift_limit_kg if on(LIFT_LIMIT) else None,
            largest_section_mm=problem.largest_section_mm if on(LARGEST_SECTION) else None,
            most_sections=problem.most_sections if on(MOST_SECTIONS) else None,
            fewest_sections=problem.fewest_sections if on(FEWEST_SECTIONS) else 1,
            section_cost=1.0,
        ),
        on(ORDER),
    )


class _Filter:
    """Feasibility tests with a memory for verdicts and for removal cuts."""

    def __init__(
        self, problem: SplitProblem, until: Until, symmetric: Sequence[int] | None = None
    ) -> None:
        self.problem, self.until, self.symmetric = problem, until, symmetric
        self.known: dict[frozenset[Requirement], bool | None] = {}
        # each with the restrictions of pulls under which it was found
        self.cuts: list[tuple[RemovalCut, frozenset[Requirement]]] = []

    def shortest(
        self, ground: list[Requirement], parts: list[Requirement], *, changed: bool
    ) -> list[Requirement]:
        """QuickXplain: a minimal subset of ``parts`` that conflicts together with ``ground``."""
        if changed and self.feasible(ground) is False:
            return []
        if len(parts) == 1:
            return parts
        half = len(parts) // 2
        first, second = parts[:half], parts[half:]
        later = self.shortest(ground + first, second, changed=bool(first))
        earlier = self.shortest(ground + later, first, changed=bool(later))
        return earlier + later

    def feasible(self, kept: Sequence[Requirement]) -> bool | None:
        """Does a split exist that keeps these requirements?  None: out of time."""
        key = frozenset(kept)
        if key not in self.known:
            self.known[key] = self._ask(kept)
        return self.known[key]

    def _ask(self, kept: Sequence[Requirement]) -> bool | None:
        if self.until.over():
            return None
        problem, ordered = relaxed(self.problem, kept)
        held = frozenset(one for one in kept if one.rule in (PULLS, WALLS, RETURN))
        if any(one.rule == SYMMETRIC for one in kept):
            return self._by_money(problem, ordered, self.symmetric)
        nodes = make_nodes(problem)
        counts = section_counts(nodes)
        if nodes.impossible.any() or not counts:
            return False
        terrain = make_terrain(nodes)
        for turn in range(_GREEDY_RESTARTS):
            noise = None if turn == 0 else np.random.default_rng(turn)
            rows, _ = merge_greedily(terrain, noise, fewest=counts[0])
            if len(rows) in counts and legal(terrain, rows).all():
                split = [np.nonzero(row)[0].tolist() for row in rows[:, nodes.node_of]]
                if not ordered or self._comes_off(problem, split, held):
                    return True
        columns = legal_sections(problem, nodes=nodes, most=_MOST_FOR_ONE_PROGRAM, until=self.until)
        if columns.complete:
            return self._among(problem, nodes, columns, ordered, held)
        if problem.most_sections is not None and needs_more_sections(
            problem, counts[-1], self.until, nodes.table
        ):
            return False
        return self._by_money(problem, ordered, None)

    def _among(
        self,
        problem: SplitProblem,
        nodes: Nodes,
        columns: Columns,
        ordered: bool,
        held: frozenset[Requirement],
    ) -> bool | None:
        """Ask for a split among all legal sections: one integer program, then the cheapest first.

        A program without money finds splits that lock one another over and over again.
        """
        heads = [group[0] for group in nodes.groups]
        master = Master(
            columns.incidence[:, heads], columns.costs, np.ones(len(columns)), order=sweep(nodes)
        )
        free = {p.id for p in problem.patches if not p.facings}
        for cut, needed in self.cuts if ordered else []:
            # what locks sections goes on locking them where more is asked, not where less is
            if not needed <= held:
                continue
            ids = {self.problem.patches[i].id for c in cut.certificates for i in c.patches}
            if not ids & free:
                master.rows.append(Row(cut_coefficients(cut, columns), len(cut.certificates) - 1.0))

        def check(chosen: tuple[int, ...]) -> Row | None:
            split = [list(s) for s in sections_of_columns(columns, chosen)]
            if not ordered or self._comes_off(problem, split, held):
                return None
            cut, _ = self.cuts[-1]
            return Row(cut_coefficients(cut, columns), len(cut.certificates) - 1.0)

        counts = section_counts(nodes)
        everything = np.arange(len(columns))
        for turn in count():
            if turn == _PROGRAMS_BEFORE_MONEY:
                most = most_any_split_costs(problem)
                found = cheapest_choice(master, counts, most, check, self.until, gap=1e9)
                if found.chosen is not None:
                    return True
            choice = choose(master, counts[0], everything, self.until, upto=counts[-1])
            if choice.chosen is None:
                return False if choice.proven else None
            row = check(choice.chosen)
            if row is None:
                return True
            master.rows.append(row)
        return None

    def _by_money(
        self, problem: SplitProblem, ordered: bool, symmetric: Sequence[int] | None
    ) -> bool | None:
        result = cheapest_split(
            problem,
            deadline_s=self.until.left() or 0.0,
            asked=self.until.asked,
            gap=1e9,
            most_columns=_MOST_COLUMNS,
            symmetric=symmetric,
            ordered=ordered,
        )
        if result.cost is not None:
            return True
        return False if result.status == "impossible" else None

    def _comes_off(
        self,
        problem: SplitProblem,
        split: Sequence[Sequence[int]],
        held: frozenset[Requirement],
    ) -> bool:
        answer = removal_or_cut(problem, split)
        if isinstance(answer, RemovalOrder):
            return True
        self.cuts.append((answer, held))
        return False
