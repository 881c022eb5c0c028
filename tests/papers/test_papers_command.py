"""`splitplan papers`: what it writes, what it refuses, what it leaves alone."""

from __future__ import annotations

import argparse
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import paper_plans
import pytest

from api.files import FileError
from api.papers.command import add_papers_command, run_papers
from api.papers.folder import write_papers


def run(*words) -> int:
    parser = argparse.ArgumentParser()
    add_papers_command(parser.add_subparsers())
    return run_papers(parser.parse_args(["papers", *map(str, words)]), out=io.StringIO())


@pytest.fixture
def plan_file(tmp_path, plan):
    path = tmp_path / "plan.json"
    path.write_text(plan.model_dump_json())
    return path


def tree(folder):
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_a_plan_alone_gives_all_papers_and_an_index_that_names_each(tmp_path, plan_file, files):
    folder = tmp_path / "papers"
    assert run(plan_file, "--output", folder) == 0
    written = tree(folder)
    assert set(written) == {*files, "papers.json"}
    index = written["index.html"].decode()
    for name in written:
        assert name in ("index.html", "papers.json") or f'href="{name}"' in index


def test_nothing_is_overwritten_without_force(tmp_path, plan_file):
    folder = tmp_path / "papers"
    folder.mkdir()
    (folder / "index.html").write_text("mine")
    with pytest.raises(FileError, match="--force"):
        run(plan_file, "--output", folder)
    assert tree(folder) == {"index.html": b"mine"}


def test_with_force_papers_of_an_earlier_plan_go_and_files_of_others_stay(
    tmp_path, plan_file, plan
):
    folder = tmp_path / "papers"
    run(plan_file, "--output", folder)
    (folder / "notes.txt").write_text("mine")
    old = set(tree(folder))
    fewer = plan.model_copy(
        update={
            "pieces": plan.pieces[:1],
            "nests": (paper_plans.nest_of(plan.pieces[:1], 36 * 25.4, 48 * 25.4),),
        }
    )
    plan_file.write_text(fewer.model_dump_json())
    run(plan_file, "--output", folder, "--force")
    left = set(tree(folder))
    assert "notes.txt" in left
    assert {name for name in left if name.startswith("drawings/piece-")} == {
        "drawings/piece-01-lid-frame-1.dxf",
        "drawings/piece-01-lid-frame-1.svg",
    }
    assert old - left


def test_a_forged_list_of_files_takes_nothing_away_outside(tmp_path, plan_file):
    folder = tmp_path / "papers"
    folder.mkdir()
    victim = tmp_path / "victim.txt"
    victim.write_text("mine")
    for names in (["../victim.txt", str(victim)], "victim", [{"a": 1}], [["x"] * 3]):
        (folder / "papers.json").write_text(json.dumps({"files": names}))
        run(plan_file, "--output", folder, "--force")
        assert victim.read_text() == "mine"


@pytest.mark.parametrize("name", ["../x", "/x", "a/../../x", "a\\b", "", "A", "x/"])
def test_a_name_that_leaves_the_folder_is_refused(tmp_path, name):
    with pytest.raises(ValueError, match="no safe name"):
        write_papers(tmp_path / "p", {name: b""}, {}, force=True)
    assert not list(tmp_path.iterdir())


def test_a_folder_within_that_is_a_link_is_not_written_through(tmp_path, plan_file):
    folder, other = tmp_path / "papers", tmp_path / "other"
    folder.mkdir()
    other.mkdir()
    (folder / "drawings").symlink_to(other, target_is_directory=True)
    with pytest.raises(FileError, match="in the way"):
        run(plan_file, "--output", folder, "--force")
    assert not list(other.iterdir())


def test_a_plan_without_an_answer_has_nothing_to_print(tmp_path, plan_file, plan):
    plan_file.write_text(
        plan.model_copy(update={"cost": None, "status": "impossible"}).model_dump_json()
    )
    with pytest.raises(FileError, match="nothing to print"):
        run(plan_file, "--output", tmp_path / "p")


def test_a_plan_that_does_not_hold_together_is_told_not_thrown(tmp_path, plan_file, plan):
    placed = plan.nests[0].placed[0].model_copy(update={"piece": "nobody"})
    nest = plan.nests[0].model_copy(update={"placed": (placed,)})
    plan_file.write_text(plan.model_copy(update={"nests": (nest,)}).model_dump_json())
    with pytest.raises(FileError, match="does not hold together"):
        run(plan_file, "--output", tmp_path / "p")
    assert not (tmp_path / "p").exists()


def test_a_folder_whose_parent_is_missing_is_told(tmp_path, plan_file):
    with pytest.raises(FileError, match="make it first"):
        run(plan_file, "--output", tmp_path / "a" / "b")


def test_another_jobs_scenario_is_refused(tmp_path, plan_file):
    scenario = tmp_path / "s.json"
    scenario.write_text(
        json.dumps(
            {
                "length_unit": "in",
                "patches": {
                    "lid": {"area": "2.98 ft2", "faces": "up"},
                    "frame": {"area": "4.47 ft2", "faces": "up"},
                },
                "edges": {
                    "lid | frame": {"rectangle": [24, 18], "radius": 2},
                    "frame | open": {"rectangle": [36, 30], "radius": 3},
                },
            }
        )
    )
    with pytest.raises(FileError, match="is not the scenario of this plan"):
        run(plan_file, "--output", tmp_path / "p", "--scenario", scenario)


@pytest.mark.parametrize("date", ["x" * 41, "a\nb", "\u202e1"])
def test_a_date_is_a_short_plain_text(tmp_path, plan_file, date):
    with pytest.raises(SystemExit):
        run(plan_file, "--output", tmp_path / "p", "--date", date)


_DIGEST = """
import hashlib, sys
sys.path[:0] = [{root!r}, {here!r}]
import paper_plans
from api.papers.all_papers import Choices, paper_files
made = hashlib.sha256()
for name, content in paper_files(paper_plans.small_plan(), None, Choices()).items():
    made.update(name.encode() + content)
print(made.hexdigest())
"""


def test_the_same_plan_gives_the_same_bytes_in_another_process():
    here = Path(paper_plans.__file__).parent
    code = _DIGEST.format(root=str(here.parents[1]), here=str(here))
    told = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed},
            check=True,
            capture_output=True,
            text=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(told) == 1
