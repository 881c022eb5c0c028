"""Options kept as files of one folder: option-1.json, option-2.json and so on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from api.files import FileError, refuse_taken, write_whole
from solver.data.plan import Plan


def option_file(folder: Path, number: int) -> Path:
    """Return the file of an option; 1 is the first."""
    return folder / f"option-{number}.json"


def refuse_folder(folder: Path, count: int, *, force: bool) -> None:
    """Raise FileError where options could not be kept: asked before the work, not after it."""
    if folder.is_dir():
        for number in range(1, count + 1):
            refuse_taken(option_file(folder, number), force=force)
    elif folder.exists():
        raise FileError(f"{folder} is a file: name a folder for the options")
    else:
        refuse_taken(folder, force=force)


def keep_options(folder: Path, plans: Sequence[Plan], count: int, *, force: bool) -> list[Path]:
    """Write each plan to its own file, making the folder; return files left from before.

    Of ``count`` that could have been written some may be left from earlier work and belong to no
    plan of these.  Raises FileError.
    """
    try:
        folder.mkdir(exist_ok=True)
    except OSError as trouble:
        raise FileError(f"the folder {folder} cannot be made: {trouble.strerror}") from None
    for number, plan in enumerate(plans, start=1):
        content = plan.model_dump_json(indent=1) + "\n"
        write_whole(option_file(folder, number), content, force=force)
    others = (option_file(folder, number) for number in range(len(plans) + 1, count + 1))
    return [path for path in others if path.exists()]
