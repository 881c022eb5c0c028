"""A folder of papers: nothing overwritten without being told, nothing left from before.

The folder keeps a list of what splitplan wrote there.  With ``force`` those files are replaced, and
those of an earlier plan that are not written again are taken away: a template of the wrong
plan at the bench costs more than a missing one.  Files of anyone else are never touched.
"""

from __future__ import annotations

import json
import os
import re
import tempfile
from collections.abc import Mapping
from pathlib import Path

from api.files import FileError

MANIFEST = "papers.json"
_SAFE = re.compile(r"[a-z0-9][a-z0-9.-]{0,79}(?:/[a-z0-9][a-z0-9.-]{0,79}){0,2}")
_LARGEST_MANIFEST = 4_000_000


def write_papers(
    folder: Path, files: Mapping[str, bytes], about: Mapping[str, str], *, force: bool
) -> None:
    """Write files, by their path in the folder, and the list of them.

    Raises FileError where the folder cannot be made or a file is in the way.
    """
    for name in files:
        if not _SAFE.fullmatch(name) or ".." in name:
            raise ValueError(f"{name!r} is no safe name for a file of papers")
    old = _old_files(folder)
    _refuse(folder, [*files, MANIFEST], force=force)
    try:
        folder.mkdir(exist_ok=True)
        for name, content in files.items():
            target = folder / name
            target.parent.mkdir(exist_ok=True, parents=True)
            _replace(target, content)
        for name in old:
            target = folder / name
            if name not in files and target.is_file() and not target.is_symlink():
                target.unlink()
        listed = {**about, "files": sorted(files)}
        _replace(
            folder / MANIFEST, (json.dumps(listed, indent=1, ensure_ascii=False) + "\n").encode()
        )
    except OSError as trouble:
        raise FileError(f"{folder} cannot be written to: {trouble.strerror or trouble}") from None


def refuse_folder(folder: Path, *, force: bool) -> None:
    """Raise FileError where papers could not be written: asked before the work, not after it."""
    _refuse(folder, ["index.html", MANIFEST], force=force)


def _refuse(folder: Path, names: list[str], *, force: bool) -> None:
    if folder.exists() and not folder.is_dir():
        raise FileError(f"{folder} is a file: name a folder, new or empty")
    if not folder.exists() and not folder.parent.is_dir():
        raise FileError(f"the folder {folder.parent} is not there: make it first")
    holder = folder if folder.exists() else folder.parent
    if not os.access(holder, os.W_OK):
        raise FileError(f"the folder {holder} cannot be written to: choose another")
    for name in names:
        target = folder / name
        if target.is_dir():
            raise FileError(f"{target} is a folder: choose another folder for the papers")
        if target.exists() and not force:
            raise FileError(f"{target} exists already: choose another folder or add --force")
        for above in target.relative_to(folder).parents:
            place = folder / above
            if place != folder and (place.is_symlink() or (place.exists() and not place.is_dir())):
                raise FileError(f"{place} is in the way: choose another folder")


def _old_files(folder: Path) -> tuple[str, ...]:
    """Return what splitplan wrote here before; a list that cannot be read says nothing."""
    try:
        path = folder / MANIFEST
        if path.stat().st_size > _LARGEST_MANIFEST:
            return ()
        listed = json.loads(path.read_bytes())
        names = listed["files"]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return ()
    if not isinstance(names, list):
        return ()
    return tuple(n for n in names if isinstance(n, str) and _SAFE.fullmatch(n) and ".." not in n)


def _replace(target: Path, content: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=".", suffix=".part", dir=target.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        temporary.chmod(_mode(target))
        temporary.replace(target)
    finally:
        temporary.unlink(missing_ok=True)


def _mode(target: Path) -> int:
    """Return the mode of the file that is replaced, or what the user's mask gives a new one."""
    if target.exists():
        return target.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
