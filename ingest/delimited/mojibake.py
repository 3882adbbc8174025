"""Units whose signs were lost on the way: UTF-8 read as Windows-1252 and saved again ("Â°C", "mâ„¦"), or replaced.

The way back is exact where the bytes are still there. Where a sign was replaced ("�C", "?C") only the signs that units
have are tried: the degree before C and F, ohm behind a prefix or alone, micro before everything else.
"""

from __future__ import annotations

import re

_LOST = "\ufffd"
_ROUNDS = 2  # encoded twice happens ("Ã‚Â°C"); more was not seen: our choice


def mended(text: str) -> str:
    """The text with its signs put back; unchanged where nothing was lost."""
    if text.isascii():
        return re.sub(r"^\?(?=[CF]$)", "°", text)
    if _LOST in text:
        return _guessed(text)
    for _ in range(_ROUNDS):
        try:
            text = b"".join(_byte(c) for c in text).decode("utf-8")
        except (UnicodeDecodeError, UnicodeEncodeError):
            break
    return text


def _byte(character: str) -> bytes:
    try:
        return character.encode("cp1252")
    except UnicodeEncodeError:
        return character.encode("latin-1")


def _guessed(text: str) -> str:
    plain = re.sub(f"{_LOST}+", _LOST, text)  # a sign of two or three bytes leaves as many marks
    plain = re.sub(rf"{_LOST}\s*(?=[CF]\b|/s)", "°", plain)
    plain = re.sub(rf"(^|[mkMµu]){_LOST}$", r"\1Ω", plain)
    return plain.replace(_LOST, "µ")
