"""A sample rate or interval that the file states in a line of its own."""

from __future__ import annotations

import re
from collections.abc import Mapping

from ingest.delimited.units import unit_of

_RATE_KEY = re.compile(
    r"\b(?:sampl\w*|scan|logg?(?:ing)?|record(?:ing)?|data|acquisition|abtast\w*)\s*[-_]?\s*"
    r"(?P<what>rate|freq\w*|interval|period|time|step|rate hz|spacing)\b"
    r"|\b(?P<alone>fs|increment|delta[ _]?t|dt|x ?incr\w*|delta[ _]?x|x[ _]delta)\b"
    r"|^\s*(?:(?:log|mess|abtast|aufzeichnungs)[- ]?)?(?P<whole>interval|intervall|rate)\s*(?:[\[(].*)?$",
    re.IGNORECASE,
)

_PER_SECOND = re.compile(
    r"(?P<many>[kMG]?)\s*(?:sps|sa/s|s/s|sa/sec|samples?/s|samples?/sec(?:ond)?|samples per second|1/s|hertz)",
    re.IGNORECASE,
)


def rate_from_preamble(preamble: Mapping[str, str]) -> tuple[float, str] | None:
    """(Hz, the line that says so) where the file states its sample rate or interval with a unit."""
    for key, value in preamble.items():
        found = _RATE_KEY.search(key)
        if found is None:
            continue
        number = re.search(r"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?", value)
        if number is None:
            continue
        amount = float(number[0].replace(",", "."))
        if amount <= 0:
            continue
        what = (found["what"] or found["alone"] or found["whole"] or "").lower().replace("intervall", "interval")
        unit_text = value[number.end() :].strip().strip("[]()") or (re.findall(r"[\[(]([^\])]+)[\])]", key) or [""])[-1]
        base = unit_of(unit_text.split()[0]) if unit_text else None
        if (per_s := _PER_SECOND.fullmatch(unit_text)) is not None:
            base = ("Hz", {"k": 1e3, "m": 1e6, "g": 1e9}.get(per_s["many"].lower(), 1.0))
        text = f"{key}: {value}"
        if base is not None and base[0] == "Hz":
            return amount * base[1], text
        if base is not None and base[0] == "s":
            return 1.0 / (amount * base[1]), text
        if base is None and what in ("rate", "freq", "frequency", "fs") and not unit_text:
            continue  # a bare figure may be Hz or seconds: not used
        if base is None and found["alone"] and what != "fs" and amount <= 1.0:
            return 1.0 / amount, text  # an increment of the horizontal axis without a unit: seconds, by common practice
        if base is None and what == "interval" and amount < 1e-2:
            return 1.0 / amount, text
    return None
