"""JSON Merge Patch (RFC 7396)."""

from __future__ import annotations

from typing import Any


def merge_patched(target: object, patch: object) -> Any:  # noqa: ANN401 - any JSON value
    """Return the target with the patch applied: objects merge, null takes away."""
    if not isinstance(patch, dict):
        return patch
    merged = dict(target) if isinstance(target, dict) else {}
    for key, value in patch.items():
        if value is None:
            merged.pop(key, None)
        else:
            merged[key] = merge_patched(merged.get(key), value)
    return merged
