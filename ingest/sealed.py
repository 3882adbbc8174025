"""JSON files of our own that carry the hash of their bytes: one that was damaged is known at once, and never trusted.

The first line holds the hash of everything behind it, so that no value has to be written in a canonical way.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from typing import Any

_HEAD = re.compile(rb'\{"sha256": "([0-9a-f]{64})",\n')


def sealed(document: Mapping[str, Any]) -> str:
    """The text of a JSON object, which must hold something and no "sha256" of its own."""
    body = json.dumps(document, ensure_ascii=False)[1:]
    return f'{{"sha256": "{hashlib.sha256(body.encode()).hexdigest()}",\n{body}'


def unsealed(raw: bytes) -> dict[str, Any]:
    """The object again. Raises ValueError where the bytes are not those that were written."""
    head = _HEAD.match(raw)
    if head is None or hashlib.sha256(raw[head.end() :]).hexdigest().encode() != head[1]:
        raise ValueError("its bytes no longer give the hash in its first line")
    document: dict[str, Any] = json.loads(raw)
    del document["sha256"]
    return document
