"""Plans read back from files, with errors that name place, value and remedy."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from api.files import FileError, read_limited
from api.tables import plain
from solver.data.plan import Plan

_MOST_TOLD = 5


def read_plan(path: Path, *, limit: int) -> Plan:
    """Return the plan in a file that splitplan wrote; raises FileError."""
    content = read_limited(path, limit=limit)
    try:
        return Plan.model_validate_json(content)
    except ValidationError as error:
        faults = error.errors(include_url=False, include_input=False, include_context=False)
    told = [
        f"{'.'.join(str(key) for key in fault['loc'][:8]) or 'the file'}: {fault['msg'][:120]}"
        for fault in faults[:_MOST_TOLD]
    ]
    more = f"; and {len(faults) - _MOST_TOLD} more" if len(faults) > _MOST_TOLD else ""
    raise FileError(
        f"{path} is no plan that this version can read: {plain('; '.join(told))}{more}; "
        "give a file that `splitplan plan --output` wrote"
    )
