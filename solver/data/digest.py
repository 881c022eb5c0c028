"""The digest of a job: what tells whether a plan belongs to a scenario."""

from __future__ import annotations

import hashlib
import json

from pydantic import TypeAdapter

from solver.data.job import Job


def digest_of(job: Job) -> str:
    """Digest of a resolved job: equal for equal scenarios, however they are written."""
    text = json.dumps(TypeAdapter(Job).dump_python(job, mode="json"), sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
