"""No figure of a plan is left unchecked: whichever is changed, the checker says so."""

import copy
import json

import pytest
from hand_plans import box_in_two_sections, doors_and_a_hatch

from solver.checker import check_plan
from solver.data.plan import Plan

FREE = {
    ("made", "seed"),
    ("made", "rounds"),
    # More hands than needed, clamps closer than needed, and where on its stock a blank lies as long
    # as it keeps inside and clear: these are decisions.
    ("sections", "people"),
    ("pieces", "clamp_pitch_mm"),
    ("nests", "placed", "x_mm"),
    ("nests", "placed", "y_mm"),
    ("nests", "placed", "turn_deg"),
}


def figures(value, path=()):
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from figures(inner, (*path, key))
    elif isinstance(value, list):
        # Of outlines and rows of slits two points stand for all.
        few = 2 if value and isinstance(value[0], list) else len(value)
        for index, inner in enumerate(value[:few]):
            yield from figures(inner, (*path, index))
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield path, value


def changed(tree, path, value):
    tree = copy.deepcopy(tree)
    at = tree
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    return tree


@pytest.mark.parametrize("case", [box_in_two_sections, doors_and_a_hatch])
def test_whatever_figure_is_changed_the_checker_says_so(case):
    good = case()
    tree = json.loads(good.plan.model_dump_json())
    unseen = []
    for path, value in figures(tree):
        if tuple(key for key in path if isinstance(key, str)) in FREE:
            continue
        another = value + 1 if isinstance(value, int) else value * 1.01 + 0.5
        plan = Plan.model_validate(changed(tree, path, another))
        if check_plan(good.job, plan).ok:
            unseen.append((path, value, another))
    assert unseen == []


@pytest.mark.parametrize("case", [box_in_two_sections, doors_and_a_hatch])
def test_whatever_is_left_out_or_emptied_is_a_fault_and_no_crash(case):
    good = case()
    kept = {"made", "proof", "cautions", "notes", "impossible"}
    for name, value in good.plan:
        if isinstance(value, tuple) and value and name not in kept:
            assert not check_plan(good.job, good.plan.model_copy(update={name: ()})).ok, name
            assert not check_plan(good.job, good.plan.model_copy(update={name: value[1:]})).ok, name
