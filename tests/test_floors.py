"""The floors of the house: code may only look down."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

MAY_USE = {
    "data": {"data"},
    "rules": {"data", "rules"},
    "geometry": {"data", "rules", "geometry"},
    "intake": {"data", "rules", "geometry", "intake"},
    "models": {"data", "rules", "models"},
    "nests": {"data", "rules", "models", "nests"},
    "planner": {"data", "rules", "geometry", "intake", "models", "nests", "planner", "checker"},
    "checker": {"data", "rules", "checker"},
}


def modules_used(path: Path) -> set[str]:
    used = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            used |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            used.add(node.module)
            used |= {f"{node.module}.{alias.name}" for alias in node.names}
    return used


def floors_used(path: Path) -> set[str]:
    parts = [name.split(".") for name in modules_used(path)]
    return {part[1] for part in parts if part[0] == "solver" and len(part) > 1} & set(MAY_USE)


@pytest.mark.parametrize("floor", sorted(MAY_USE))
def test_a_floor_uses_only_floors_below_it(floor):
    for path in (ROOT / "solver" / floor).rglob("*.py"):
        assert floors_used(path) <= MAY_USE[floor], path


def test_the_solver_knows_nothing_of_the_api():
    for path in (ROOT / "solver").rglob("*.py"):
        assert not any(name.split(".")[0] == "api" for name in modules_used(path)), path


def test_only_models_run_cp_sat():
    users = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "solver").rglob("*.py")
        if any("cp_model" in name for name in modules_used(path))
    }
    named = {"master", "master_blocks", "linear_program", "cp_sat", "rooms", "shared_rooms"}
    assert users == {f"solver/models/{name}.py" for name in named}


def test_the_checker_uses_no_solver_library():
    for path in (ROOT / "solver" / "checker").rglob("*.py"):
        used = {name.split(".")[0] for name in modules_used(path)}
        assert not used & {"ortools", "scipy"}, path


def test_no_file_names_a_package_registry():
    hosts = ("pypi" + ".org", "files.python" + "hosted", "deb.debian" + ".org", "npmjs" + ".")
    for path in ROOT.rglob("*"):
        ours = not any(part.startswith((".venv", ".git", ".mypy", ".ruff")) for part in path.parts)
        if ours and path.is_file() and path.suffix in {".py", ".md", ".toml", ".txt", ".json", ""}:
            text = path.read_text(encoding="utf-8", errors="ignore")
            assert not any(host in text for host in hosts), path
