"""The checker shares no code with what it judges: data, published rules, and general libraries."""

import ast
from pathlib import Path

import pytest

import solver.checker

FOLDER = Path(solver.checker.__file__).parent
FILES = sorted(FOLDER.glob("*.py"))
ALLOWED = ("solver.checker", "solver.data", "solver.rules")
LIBRARIES = {"numpy", "shapely"}
STANDARD = {
    "__future__", "collections", "dataclasses", "functools", "itertools", "math", "typing",
}  # fmt: skip
OWN_ARITHMETIC = {
    "release.py", "strip.py", "blanks.py", "folds.py", "nests.py", "purchases.py", "money.py",
}  # fmt: skip
"""Files whose rules are worked out here and borrow none of the published ones."""


def imported(file):
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file.name}: write imports in full"
            yield node.module


@pytest.mark.parametrize("file", FILES, ids=[file.name for file in FILES])
def test_the_checker_imports_only_data_rules_and_general_libraries(file):
    for name in imported(file):
        top = name.split(".")[0]
        own = any(name == one or name.startswith(f"{one}.") for one in ALLOWED)
        assert own or top in LIBRARIES or top in STANDARD, f"{file.name} imports {name}"


@pytest.mark.parametrize("name", sorted(OWN_ARITHMETIC))
def test_release_geometry_nests_and_money_are_worked_out_in_the_checker(name):
    assert not [one for one in imported(FOLDER / name) if one.startswith("solver.rules")]


def test_every_rule_of_the_list_is_a_function_of_its_own():
    from solver.checker.check import RULES

    names = [(rule.__module__, rule.__name__) for rule in RULES]
    assert len(set(names)) == len(names)
    listed = {name for _, name in names}
    judging = {
        node.name
        for file in FILES
        for node in ast.parse(file.read_text()).body
        if isinstance(node, ast.FunctionDef)
        and not node.name.startswith("_")
        and [arg.arg for arg in node.args.args] == ["reading"]
        and "Fault" in ast.unparse(node.returns)
    }
    assert judging == listed, "a rule is written and not in the list"
