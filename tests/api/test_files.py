"""Files are written whole or not at all, and never over another unasked."""

import os

import pytest

from api.files import FileError, read_limited, refuse_taken, write_whole


def test_a_new_file_holds_the_text_and_nothing_else_is_left(tmp_path):
    write_whole(tmp_path / "plan.json", "½ in\n", force=False)
    assert (tmp_path / "plan.json").read_bytes() == "½ in\n".encode()
    assert os.listdir(tmp_path) == ["plan.json"]


def test_a_file_that_is_there_stays_as_it_is(tmp_path):
    path = tmp_path / "plan.json"
    path.write_text("mine")
    with pytest.raises(FileError, match="exists already"):
        write_whole(path, "other", force=False)
    assert path.read_text() == "mine"
    assert os.listdir(tmp_path) == ["plan.json"]


def test_force_replaces_it_and_keeps_its_mode(tmp_path):
    path = tmp_path / "plan.json"
    path.write_text("mine")
    path.chmod(0o640)
    write_whole(path, "other", force=True)
    assert path.read_text() == "other"
    assert path.stat().st_mode & 0o777 == 0o640


def test_a_write_that_fails_keeps_what_was_there(tmp_path):
    path = tmp_path / "plan.json"
    path.write_text("mine")
    with pytest.raises(UnicodeEncodeError):  # a lone surrogate cannot be written as UTF-8
        write_whole(path, "half \ud800", force=True)
    assert path.read_text() == "mine"
    assert os.listdir(tmp_path) == ["plan.json"]


@pytest.mark.parametrize("name", [".", "missing/plan.json"])
def test_a_place_that_cannot_hold_a_file_is_told_before_the_work(tmp_path, name):
    with pytest.raises(FileError):
        refuse_taken(tmp_path / name, force=True)


@pytest.mark.parametrize(
    ("name", "words"),
    [("nothing.json", "is not there"), (".", "is a folder"), ("big.json", "larger than 10 bytes")],
)
def test_what_cannot_be_read_is_named_with_its_reason(tmp_path, name, words):
    (tmp_path / "big.json").write_bytes(b" " * 11)
    with pytest.raises(FileError, match=words):
        read_limited(tmp_path / name, limit=10)


def test_a_name_that_no_file_can_have_is_told(tmp_path):
    with pytest.raises(FileError, match="cannot be read"):
        read_limited(tmp_path / "a\0b", limit=10)
