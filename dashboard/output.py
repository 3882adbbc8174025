"""Printing: one JSON document on stdout, or words; warnings on stderr."""

from __future__ import annotations

import json
import sys
from typing import Any


def print_json(document: dict[str, Any]) -> None:
    """The document as JSON, and nothing else on stdout."""
    json.dump(document, sys.stdout, ensure_ascii=False, indent=1, allow_nan=False)
    sys.stdout.write("\n")


def say(text: str) -> None:
    """Words on stdout; characters that the terminal lacks are replaced, never a crash."""
    encoding = sys.stdout.encoding or "utf-8"
    print(text.encode(encoding, errors="replace").decode(encoding))


def warn(text: str) -> None:
    encoding = sys.stderr.encoding or "utf-8"
    print(text.encode(encoding, errors="replace").decode(encoding), file=sys.stderr)
