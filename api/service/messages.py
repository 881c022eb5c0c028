"""What passes between a child and its supervisor: a line of JSON, then the bytes it speaks of."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from api.service.records import Document


def packed(head: Mapping[str, Any], documents: Sequence[Document] = ()) -> bytes:
    """Return a message."""
    listed = [[one.name, one.media_type, len(one.content)] for one in documents]
    line = json.dumps({**head, "documents": listed}, allow_nan=False).encode("ascii")
    return b"\n".join((line, b"".join(one.content for one in documents)))


def unpacked(message: bytes) -> tuple[dict[str, Any], tuple[Document, ...]]:
    """Return what a message says and brings; raises ValueError for what is none."""
    line, _, content = message.partition(b"\n")
    head = json.loads(line)
    if not isinstance(head, dict) or not isinstance(head.get("documents"), list):
        raise ValueError("no message")
    documents, at = [], 0
    for name, media_type, size in head.pop("documents"):
        documents.append(Document(str(name), str(media_type), content[at : at + int(size)]))
        at += int(size)
    if at != len(content):
        raise ValueError("a message of another length")
    return head, tuple(documents)
