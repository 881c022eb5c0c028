"""The least number of sections, by a linear bound that needs no list of them.

Multipliers of the nodes, none below zero, of which no legal section holds more than one in all,
add up to no more than the number of sections [derived: each section counts for at most one].  The
best multipliers are those of the linear program that covers every node at least once by as few
sections as may be; sections come from `improve`, and only `Pricer` tells that no section holds
more.  Weight and flanges, release, pins and size of single pairs are all in it; joints cost nothing
here.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_matrix, hstack, identity

from solver.data.until import Until
from solver.models.columns import make_nodes
from solver.models.release import Array, DirectionTable, Flags
from solver.models.split_large import merge_greedily
from solver.models.split_pricing import Pricer, distinct, improve, legal, make_terrain
from solver.models.split_problem import SplitProblem

_UNCOVERED = 4.0
"""What a node left uncovered counts: no multiplier is larger."""
_SLACK = 1e-6
_MOST_ADDED = 150


def needs_more_sections(
    problem: SplitProblem, most: int, until: Until, table: DirectionTable | None = None
) -> bool:
    """Tell whether it is proven that more than ``most`` sections are needed."""
    counted = replace(
        problem,
        edges=tuple(replace(e, joint_cost=0.0, inside_cost=0.0) for e in problem.edges),
        section_cost=1.0,
        most_sections=None,
        fewest_sections=1,
    )
    nodes = make_nodes(counted, table)
    terrain = make_terrain(nodes)
    pricer = Pricer(terrain)
    singles = np.eye(len(nodes), dtype=bool)
    met = [singles]
    for turn in range(3):
        noise = None if turn == 0 else np.random.default_rng(turn)
        met.append(merge_greedily(terrain, noise)[1])
    held = np.vstack(met)
    held = held[legal(terrain, held)]
    held = held[distinct(held)] if len(held) else held
    while not until.over():
        least, multipliers = _cover(held, len(nodes))
        if least <= most + _SLACK:
            return False
        weights = nodes.own_cost - multipliers
        fresh = np.zeros((0, len(nodes)), dtype=bool)
        if len(held):
            order = np.argsort(-(held @ multipliers), kind="stable")[:300]
            fresh, value = improve(terrain, held[order], weights)
            fresh = fresh[value < -_SLACK][:_MOST_ADDED]
        if len(fresh):
            before = len(held)
            held = np.vstack([held, fresh])
            held = held[distinct(held)]
            if len(held) > before:
                continue
        # all that a section may hold if this many were enough
        allowed = 1.0 - float(multipliers.sum()) / (most + 10.0 * _SLACK)
        priced = pricer.price(weights, until, below=allowed)
        if priced.section is None and priced.solved:
            return True
        if priced.section is None:
            return False
        found = priced.section[None]
        near, value = improve(terrain, found, weights, rounds=16, width=300)
        before = len(held)
        held = np.vstack([held, found, near[value < -_SLACK]])
        held = held[distinct(held)]
        if len(held) == before:
            return False
    return False


def _cover(held: Flags, nodes: int) -> tuple[float, Array]:
    """Least sum of shares of sections that covers every node, and the multipliers of the nodes."""
    rows = hstack([csr_matrix(held.T.astype(float)), identity(nodes)]).tocsr()
    price = np.concatenate([np.ones(len(held)), np.full(nodes, _UNCOVERED)])
    answer = linprog(price, A_ub=-rows, b_ub=-np.ones(nodes), method="highs")
    if answer.status != 0:
        return math.inf, np.zeros(nodes)
    return float(answer.fun), np.maximum(-answer.ineqlin.marginals, 0.0)
