"""What a bench log shows by itself: the pack's d.c. resistance from the two-step discharge of IEC 61960-3."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from ingest.errors import AfterboutError
from ingest.formats import ReadOptions, read_log

_NEEDS: Final = {"pack_current_A", "pack_voltage_V"}
_MOST_ROWS: Final = 200_000  # our choice: twenty seconds of a bench test at 10 kHz; longer logs are matches
METHOD: Final = "two-step discharge of IEC 61960-3"


def add_bench(document: dict[str, Any], options: ReadOptions) -> None:
    """Give each file that is such a discharge its `bench`; only files that could be one are read once more."""
    for entry in document["files"]:
        channels = {c["channel"] for c in entry["columns"] if c["sure"] in ("certain", "likely")}
        if entry["refused"] is not None or not channels >= _NEEDS or not 20 <= entry["rows"] <= _MOST_ROWS:
            continue
        from analysis.bench import bench_of_log

        try:
            found = bench_of_log(read_log(Path(entry["path"]), options=options))
        except AfterboutError:
            continue  # it changed since; what was said of it stands
        if found is not None:
            entry["bench"] = {
                "name": "pack_resistance_dc_mohm", "part": "pack", "value": found.value, "low": found.low,
                "high": found.high, "unit": "mohm", "method": METHOD, "note": found.basis,
            }  # fmt: skip


def bench_words(bench: dict[str, Any]) -> str:
    """One line for the page."""
    spread = f"{bench['low']:.2f} to {bench['high']:.2f}"
    return f"A bench test: the pack has {bench['value']:.2f} mΩ at d.c. ({spread}), {bench['note']}."
