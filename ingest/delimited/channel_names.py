"""What the lines above a table call its numbered inputs: "CH1: Pack current (A)", "CH2,Pack voltage,V"."""

from __future__ import annotations

import re
from typing import Final

from ingest.delimited.layout import Layout
from ingest.delimited.units import is_unit

_INPUT: Final = re.compile(
    r"(?:ch|chan|channel|kanal|voie|canal|canale|ai|ain|adc|in|input)[ ._#-]*\d{1,3}", re.IGNORECASE
)
_LINE: Final = re.compile(r"\s*\"?(?P<name>[^:=;,\t|\"]{2,14}?)\"?\s*[:=;,\t|]\s*(?P<rest>.+)")
_NUMBER: Final = re.compile(r"(?<![A-Za-z\d])[+-]?\d+(?:[.,]\d+)?(?![A-Za-z\d])")


def channel_names(layout: Layout) -> dict[str, str]:
    """Numbered input -> its name there, with its unit in brackets.

    A line with a factor or an offset of its own names none: whether the rows carry it already is not said.
    """
    inputs = {name.strip() for name in layout.names if _INPUT.fullmatch(name.strip())}
    found: dict[str, str] = {}
    for note in layout.notes if inputs else ():
        line = _LINE.match(note)
        if line is None or line["name"].strip() not in inputs or line["name"].strip() in found:
            continue
        cells = [cell.strip(' "') for cell in re.split(r"[;,\t|]", line["rest"]) if cell.strip(' "')]
        label = cells[0] if cells else ""
        factors = [float(text.replace(",", ".")) for cell in cells[1:] for text in _NUMBER.findall(cell)]
        if is_unit(label) or not re.search(r"[A-Za-z]{3}", label) or any(f not in (0.0, 1.0) for f in factors):
            continue
        unit = next((cell for cell in cells[1:] if is_unit(cell)), None)
        found[line["name"].strip()] = f"{label} ({unit})" if unit else label
    return found
