"""Derived values of a season, kept in results/ under a hash of what they were made from."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from ingest.errors import StoreError
from ingest.sealed import sealed, unsealed

if TYPE_CHECKING:
    from ingest.season import Season

_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}")


def result_name(name: str, key: Any) -> str:
    """Where under results/ a value of this key is kept. Raises ValueError for a name that is none."""
    if not _NAME.fullmatch(name):
        raise ValueError(f"not a name for a result: {name!r}")
    return f"{name}/{hashlib.sha256(_text(key).encode()).hexdigest()[:32]}.json"


def kept_or_made(season: Season, name: str, key: Any, make: Callable[[], Any]) -> Any:
    """The JSON value of this key: kept from before, else made now and kept where the season can be written."""
    path = season.result_path(name, key)
    as_kept = json.loads(_text(key))
    try:
        kept = unsealed(path.read_bytes())
        if kept["key"] == as_kept:
            return kept["value"]
    except (OSError, ValueError, KeyError, TypeError):  # absent, damaged or not ours: made anew
        pass
    value = make()
    try:
        season.store.write_text(path, sealed({"key": as_kept, "value": value}))
    except StoreError:
        return value
    return value


def _text(key: Any) -> str:
    return json.dumps(key, sort_keys=True, default=str)
