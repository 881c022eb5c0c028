"""What is compiled: at hand before a clock runs, kept from run to run, and told where it is not."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from solver.nests import (
    boards,
    compiled,
    dropping,
    fronts,
    growing,
    hopping,
    lanes,
    ready,
    wide_beam,
)
from solver.nests.dropping import drop_onto, droppable, poses_of_all
from solver.nests.nest_into import nest_into
from solver.nests.shapes import Stock
from tests.nests.made_blanks import arc, strip


@pytest.fixture
def done(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What was done, in order, of what is never compiled here; the halves only note it."""
    noted: list[str] = []
    monkeypatch.setattr(ready, "is_compiled", lambda: False)
    monkeypatch.setattr(ready, "lay_once", lambda: noted.append("one half"))
    monkeypatch.setattr(ready, "hop_once", lambda: noted.append("other half"))
    return noted


class TestReady:
    def test_once_all_is_compiled_nothing_is_told(self) -> None:
        ready.compile_all()
        assert ready.is_compiled()
        told: list[str] = []
        ready.get_ready(lambda: told.append("compiling"))
        assert told == []

    def test_where_nothing_is_kept_it_is_told_before_it_is_compiled(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(ready, "KEPT_IN", tmp_path)
        done: list[str] = []
        monkeypatch.setattr(ready, "compile_all", lambda: done.append("compiled"))
        ready.get_ready(lambda: done.append("told"))
        assert done == ["told", "compiled"]

    def test_what_was_left_half_compiled_is_not_ready(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(ready, "KEPT_IN", tmp_path)
        kept = tmp_path / "nests_0"
        kept.mkdir()
        for name in ready.NEEDED:
            assert not ready.is_compiled()
            (kept / f"{name}-1.py311.nbi").touch()
        assert ready.is_compiled()

    def test_half_of_it_is_compiled_by_a_second_process(
        self, done: list[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """It is waited for before its half is loaded."""

        class Second:
            def __init__(self, command: list[str], **_: object) -> None:
                done.append("started")
                assert command[:2] == [sys.executable, "-c"]
                self.code = command[2]

            def wait(self, timeout: float) -> None:
                assert timeout < 600
                exec(self.code)
                done.append("ended")

        monkeypatch.setattr(subprocess, "Popen", Second)
        ready.compile_all()
        assert done == ["started", "one half", "other half", "ended", "other half"]

    def test_a_second_process_that_hangs_is_not_waited_for_for_ever(
        self, done: list[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:

        class Hanging:
            def __init__(self, *_: object, **__: object) -> None: ...

            def wait(self, timeout: float) -> None:
                raise subprocess.TimeoutExpired("python", timeout)

            def kill(self) -> None:
                done.append("killed")

        monkeypatch.setattr(subprocess, "Popen", Hanging)
        ready.compile_all()
        assert done == ["one half", "killed", "other half"]

    def test_without_a_second_process_all_is_compiled_in_this_one(
        self, done: list[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def refused(*_: object, **__: object) -> None:
            raise BlockingIOError("no more processes")

        monkeypatch.setattr(subprocess, "Popen", refused)
        ready.compile_all()
        assert done == ["one half", "other half"]

    def test_each_search_is_among_what_is_compiled(self) -> None:
        """What is compiled last is there once, for the very types that are used later."""
        ready.compile_all()
        boxes = [lanes.Box(k, 30 + 7 * k, 10 + k, False) for k in range(8)]
        shapes = [arc("a", 500.0, 0.6, 60.0, 5), strip("s", 300.0, 70.0, 4)]
        nest_into(shapes, [Stock("sheet", 700.0, 900.0, 1.0, 0, None)], 1.0, effort=1)
        blanks = wide_beam.blanks_of(boxes, 8)
        given = blanks, [9] * 8, [lanes.Room(400, 40)] * 2, 0, wide_beam.Taste(5)
        wide_beam.lay_all(*given)
        wide_beam.fill(*given, 9000)
        in_lanes = (growing.look, growing.keep, growing.fill_up)
        for last in (*in_lanes, fronts.add_up_left, fronts.must_lose):
            assert len(last.signatures) == 1  # type: ignore[attr-defined]
        drop_onto(
            Stock("sheet", 700.0, 900.0, 1.0, 0, None),
            ["a", "s"],
            droppable(poses_of_all(shapes, 1.0, {})),
            1.0,
            np.random.default_rng(0),
        )
        others = (hopping._search, boards.best_place, boards.take, dropping.drop_all)
        assert all(len(last.signatures) == 1 for last in others)  # type: ignore[attr-defined]


class TestKeeping:
    def test_what_is_compiled_is_kept_for_these_very_modules(self, tmp_path: Path) -> None:
        (tmp_path / "one.py").write_text("@compiled\ndef f(): ...\n")
        (tmp_path / "other.py").write_text("def g(): ...\n")
        first = compiled.place_to_keep(tmp_path)
        (tmp_path / "other.py").write_text("def g(): return 1\n")
        assert compiled.place_to_keep(tmp_path) == first
        (tmp_path / "one.py").write_text("@compiled\ndef f(): return 1\n")
        assert compiled.place_to_keep(tmp_path) != first

    def test_beside_the_modules_else_among_what_the_user_keeps(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        modules, own = tmp_path / "modules", tmp_path / "own"
        modules.mkdir()
        monkeypatch.setenv("XDG_CACHE_HOME", str(own))
        beside = compiled.place_to_keep(modules)
        assert beside is not None
        assert beside.parent == modules / "__pycache__"
        (tmp_path / "elsewhere").mkdir()
        (tmp_path / "elsewhere" / "__pycache__").write_text("a file is in the way")
        away = compiled.place_to_keep(tmp_path / "elsewhere")
        assert away is not None
        assert away.parent == own / "splitplan"

    def test_none_where_nothing_can_be_written(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        (tmp_path / "__pycache__").write_text("a file is in the way")
        monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "__pycache__"))
        assert compiled.place_to_keep(tmp_path) is None

    def test_without_such_a_place_functions_still_run(self, tmp_path: Path) -> None:
        """In a process of its own, whose modules and home cannot be written to."""
        (tmp_path / "home").write_text("a file, no folder")
        code = (
            "from pathlib import Path\n"
            "import solver.nests.compiled as c\n"
            f"assert c.place_to_keep(Path({str(tmp_path / 'home')!r})) is None\n"
            "c.KEPT_IN = None\n"
            "@c.compiled\n"
            "def twice(x): return 2 * x\n"
            "print(twice(21.0))\n"
        )
        env = {**os.environ, "XDG_CACHE_HOME": str(tmp_path / "home")}
        run = subprocess.run(
            [sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True
        )
        assert run.stdout.strip() == "42.0"
