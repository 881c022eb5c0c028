"""Reading and writing files so that nothing is lost: temporary first, then put in place.

A file that exists is never overwritten unless the caller says so, and a write that fails leaves
what was there before.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


class FileError(Exception):
    """A file cannot be read or written; the message names it, what is wrong and the remedy."""


def read_limited(path: Path, *, limit: int) -> bytes:
    """Return the bytes of a regular file.

    Raises FileError where there is none, it cannot be read, or it is larger than ``limit`` bytes.
    """
    try:
        if path.is_dir():
            raise FileError(f"{path} is a folder: name the file in it")
        with path.open("rb") as stream:
            content = stream.read(limit + 1)
    except FileNotFoundError:
        raise FileError(f"{path} is not there: check the name and the folder") from None
    except (OSError, ValueError) as trouble:
        reason = getattr(trouble, "strerror", None) or trouble
        raise FileError(f"{path} cannot be read: {reason}") from None
    if len(content) > limit:
        raise FileError(f"{path} is larger than {limit:,} bytes, the limit for such a file")
    return content


def refuse_taken(path: Path, *, force: bool) -> None:
    """Raise FileError where a file could not be written: asked before the work, not after it."""
    if path.is_dir():
        raise FileError(f"{path} is a folder: name a file in it")
    if not path.parent.is_dir():
        raise FileError(f"the folder {path.parent} is not there: make it first")
    if not os.access(path.parent, os.W_OK):
        raise FileError(f"the folder {path.parent} cannot be written to: choose another")
    if path.exists() and not force:
        raise FileError(f"{path} exists already: choose another name or add --force")


def write_whole(path: Path, content: str, *, force: bool) -> None:
    """Write a text as UTF-8, whole or not at all.

    Without ``force`` a file that exists (or appears meanwhile) is kept and FileError raised.
    """
    refuse_taken(path, force=force)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        temporary = Path(name)
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            temporary.chmod(_ordinary_mode(path))
            if force:
                temporary.replace(path)
            else:
                _place_new(temporary, path)
        finally:
            temporary.unlink(missing_ok=True)
    except OSError as trouble:
        raise FileError(f"{path} cannot be written: {trouble.strerror or trouble}") from None


def _place_new(temporary: Path, path: Path) -> None:
    """Give the finished file its name unless another took it meanwhile."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        raise FileError(f"{path} exists already: choose another name or add --force") from None
    except OSError:  # a file system without links: check once more, then replace
        if path.exists():
            raise FileError(f"{path} exists already: choose another name or add --force") from None
        temporary.replace(path)


def _ordinary_mode(path: Path) -> int:
    """Return the mode of the file that is replaced, or what the user's mask gives a new one."""
    if path.exists():
        return path.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
