"""Small random split problems and the plain definitions they are judged by.

Nothing here uses the models' methods: sections come from listing every partition, release from a
general optimiser on a dense set of starts, order of removal from trying every order.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import cache, lru_cache

import networkx as nx
import numpy as np
from scipy.optimize import linprog

from solver.models.split_problem import SplitEdge, SplitPatch, SplitProblem


def unit(*xyz: float) -> tuple[float, float, float]:
    """Vector of length 1 along xyz."""
    length = math.sqrt(sum(x * x for x in xyz))
    return tuple(float(x) / length for x in xyz)


def patch(name: str, *facings: Sequence[float], **rest: object) -> SplitPatch:
    """One square metre of 10 kg with these facings."""
    given = {"area_mm2": 1e6, "mass_kg": 10.0, **rest}
    return SplitPatch(name, facings=tuple(unit(*f) for f in facings), **given)


def edge(a: int, b: int, *toward: Sequence[float], **rest: object) -> SplitEdge:
    """One metre of line from patch a to patch b."""
    given = {"length_mm": 1000.0, "joint_cost": 10.0, **rest}
    return SplitEdge(f"{a} | {b}", a, b, facings=tuple(unit(*f) for f in toward), **given)


def partitions(items: Sequence[int]) -> Iterator[list[list[int]]]:
    """Every partition of a list."""
    if not items:
        yield []
        return
    first, rest = items[0], items[1:]
    for smaller in partitions(rest):
        for k in range(len(smaller)):
            yield [*smaller[:k], [first, *smaller[k]], *smaller[k + 1 :]]
        yield [[first], *smaller]


# Two neighbours of the grid of starts below are at most 0.05 * sqrt(2) apart, so no direction is
# farther than half of that from one of them, and rows . p changes by less than this on the way.
GRID_MISS = 0.036


def highest_pull(rows: np.ndarray, level: np.ndarray) -> float:
    """Largest over unit p of min(rows p - level): a grid, then scipy's linprog to climb from it.

    Values that the grid already proves positive, or too low to become positive, are not refined.
    """
    best = -math.inf
    best_p = None
    grid = np.linspace(-1, 1, 41)
    u, v = (g.ravel() for g in np.meshgrid(grid, grid))
    for axis in range(3):
        for sign in (1.0, -1.0):
            p = np.insert(np.column_stack([u, v]), axis, sign, axis=1)
            p /= np.linalg.norm(p, axis=1, keepdims=True)
            value = (p @ rows.T - level).min(axis=1)
            k = int(np.argmax(value))
            if value[k] > best:
                best, best_p = float(value[k]), p[k]
    assert best_p is not None
    if best >= 0.0 or best < -GRID_MISS:
        return best
    width = 0.1
    # Sequential linear programming on the sphere: max t, rows (p + d) - level >= t, |d| <= width.
    for _ in range(120):
        n = len(rows)
        answer = linprog(
            [0, 0, 0, -1.0],
            A_ub=np.column_stack([-rows, np.ones(n)]),
            b_ub=rows @ best_p - level,
            A_eq=[[*best_p, 0.0]],
            b_eq=[0.0],
            bounds=[(-width, width)] * 3 + [(None, None)],
        )
        p = best_p + answer.x[:3]
        p /= np.linalg.norm(p)
        value = float((rows @ p - level).min())
        if value > best + 1e-13:
            best, best_p = value, p
            if best >= 0.0:
                break
        else:
            width *= 0.4
            if width < 1e-10 or width < -0.2 * best:
                break
    return best


def released(problem: SplitProblem, section: Sequence[int], joints: np.ndarray) -> bool:
    """Definition: one pull for all normals (and walls) that leans into none of the joints."""
    rows = [(f, problem.patches[i].spread_deg) for i in section for f in problem.patches[i].facings]
    if any(problem.draft_deg + spread > 90 for _, spread in rows):
        return False
    g = np.reshape([f for f, _ in rows], (-1, 3))
    h = np.array([math.sin(math.radians(problem.draft_deg + s)) for _, s in rows])
    lean = math.sin(math.radians(problem.blocking_deg))
    g = np.vstack([g, -np.reshape(joints, (-1, 3)), -np.reshape(problem.pull_walls, (-1, 3))])
    h = np.concatenate([h, np.full(len(joints), -lean), np.zeros(len(problem.pull_walls))])
    if not len(g):
        return True
    if problem.pulls is not None:
        return bool(((np.array(problem.pulls) @ g.T - h).min(axis=1) >= -1e-9).any())
    return highest_pull(g, h) >= -1e-9


class Judge:
    """Legal sections and orders of one problem by definition, remembered."""

    def __init__(self, problem: SplitProblem) -> None:
        self.problem = problem
        self.graph = nx.MultiGraph()
        self.graph.add_nodes_from(range(len(problem.patches)))
        self.graph.add_edges_from((e.a, e.b) for e in problem.edges)
        self._releases = lru_cache(maxsize=None)(self._release)
        self.legal = lru_cache(maxsize=None)(self._legal)

    def _release(self, section: tuple[int, ...], joints: tuple[tuple[int, int], ...]) -> bool:
        facings = [
            sign * np.array(f)
            for e, sign in joints
            for f in self.problem.edges[e].facings
        ]  # fmt: skip
        return released(self.problem, section, np.reshape(facings, (-1, 3)))

    def _legal(self, section: tuple[int, ...]) -> bool:
        problem, inside = self.problem, set(section)
        if not nx.is_connected(self.graph.subgraph(section)):
            return False
        if any(e.split == "required" and {e.a, e.b} <= inside for e in problem.edges):
            return False
        if any(e.split == "forbidden" and len({e.a, e.b} & inside) == 1 for e in problem.edges):
            return False
        mass = sum(
            problem.patches[i].mass_kg * (1 + problem.frame_fraction) + problem.open_mass_kg[i]
            for i in section
        ) + sum(e.joint_mass_kg for e in problem.edges if len({e.a, e.b} & inside) == 1)
        if problem.lift_limit_kg is not None and mass > problem.lift_limit_kg + 1e-9:
            return False
        labels = {problem.patches[i].pin for i in section} - {None}
        if len(labels) > 1:
            return False
        for label in labels:
            if any(p.pin == label and i not in inside for i, p in enumerate(problem.patches)):
                return False
        if problem.size_rule_holds:
            boxes = np.array([problem.patches[i].box_mm for i in section])
            extent = sorted(boxes[:, 1].max(axis=0) - boxes[:, 0].min(axis=0))
            if any(
                x > y + 1e-6
                for x, y in zip(extent, sorted(problem.largest_section_mm), strict=True)
            ):
                return False
        return self._releases(section, ())

    def can_be_removed(self, split: Sequence[tuple[int, ...]]) -> bool:
        """Try every order, one section after another."""
        owner = {i: k for k, section in enumerate(split) for i in section}

        @cache
        def empties(left: frozenset[int]) -> bool:
            if not left:
                return True
            for k in left:
                joints = []
                for e, line in enumerate(self.problem.edges):
                    a, b = owner[line.a], owner[line.b]
                    # metal with a return stays in the part when the neighbour has gone
                    if a != b and k in (a, b) and (line.hooked or {a, b} <= left):
                        joints.append((e, 1 if a == k else -1))
                if self._releases(split[k], tuple(joints)) and empties(left - {k}):
                    return True
            return False

        return empties(frozenset(range(len(split))))

    def splits(self, *, ordered: bool = True) -> dict[tuple[tuple[int, ...], ...], float]:
        """Every legal split with its cost."""
        problem = self.problem
        most = problem.most_sections or len(problem.patches)
        found = {}
        for split in partitions(list(range(len(problem.patches)))):
            if not problem.fewest_sections <= len(split) <= most:
                continue
            key = tuple(sorted(tuple(sorted(s)) for s in split))
            if not all(self.legal(s) for s in key):
                continue
            if ordered and not self.can_be_removed(key):
                continue
            owner = {i: k for k, s in enumerate(key) for i in s}
            found[key] = problem.section_cost * len(key) + sum(
                e.inside_cost if owner[e.a] == owner[e.b] else e.joint_cost for e in problem.edges
            )
        return found


def random_problem(seed: int, count: int = 6, **rules: object) -> SplitProblem:
    """A small connected graph of patches round a body, with random rules of every kind."""
    random = np.random.default_rng(seed)
    hooks = np.random.default_rng([seed, 1])
    middles = random.normal(size=(count, 3))
    middles /= np.linalg.norm(middles, axis=1, keepdims=True)
    patches = []
    for i in range(count):
        facings = [middles[i] + 0.15 * random.normal(size=3) for _ in range(random.integers(1, 3))]
        low = 300.0 * middles[i] - random.uniform(20, 200, 3)
        patches.append(
            patch(
                f"p{i}",
                *facings,
                mass_kg=float(random.uniform(5, 15)),
                spread_deg=float(random.choice([0.0, 0.0, 5.0])),
                box_mm=(tuple(low), tuple(low + random.uniform(50, 300, 3))),
                pin=str(random.choice(["x", "y"])) if random.random() < 0.1 else None,
            )
        )
    pairs = [(int(random.integers(0, i)), i) for i in range(1, count)]
    pairs += [tuple(sorted(random.choice(count, 2, replace=False).tolist())) for _ in range(count)]
    edges = []
    for a, b in pairs:
        toward = middles[b] - middles[a]
        if random.random() < 0.3:
            toward = -toward
        more = [toward + 0.5 * random.normal(size=3)] if random.random() < 0.3 else []
        edges.append(
            edge(
                a,
                b,
                toward,
                *more,
                split=str(random.choice(["allowed"] * 14 + ["required", "forbidden"])),
                joint_cost=float(random.uniform(5, 20)),
                inside_cost=float(random.uniform(0, 8)),
                joint_mass_kg=float(random.uniform(0, 1.5)),
                hooked=bool(hooks.random() < 0.2),
            )
        )
    given: dict[str, object] = {
        "lift_limit_kg": float(random.uniform(25, 60)),
        "largest_section_mm": (500.0, 600.0, 700.0) if random.random() < 0.3 else None,
        "most_sections": int(random.integers(3, count + 1)) if random.random() < 0.3 else None,
        "pulls": tuple(unit(*v) for v in random.normal(size=(12, 3)))
        if random.random() < 0.2
        else None,
        "pull_walls": (unit(0, 0, -1),) if random.random() < 0.2 else (),
        "section_cost": float(random.uniform(0, 10)),
        "frame_fraction": 0.1,
        "open_mass_kg": tuple(float(x) for x in random.uniform(0, 1, count)),
    }
    return SplitProblem(tuple(patches), tuple(edges), **{**given, **rules})
