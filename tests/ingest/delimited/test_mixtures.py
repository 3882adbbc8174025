"""Random tables, dialects and damage: a channel holds what was written, or the reader says why not."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest.errors import AfterboutError
from ingest.formats import ReadOptions, read_log
from ingest.log import Log
from tests.ingest.delimited.instruments.mixtures import Mixture, mixture

SEEDS = range(160)


def rows_of(log: Log, made: Mixture) -> list[int]:
    """The row of the truth that each row read is, by its time."""
    begun, k, places = made.times[0], 0, []
    for time in log.streams[0].table["time_s"].to_pylist():
        while k < len(made.times) and made.times[k] - begun < time - made.tolerance:
            k += 1
        assert k < len(made.times) and abs(made.times[k] - begun - time) <= made.tolerance, f"{time} s, {made.about}"
        places.append(k)
        k += 1
    return places


@pytest.mark.parametrize("seed", SEEDS)
def test_mixture(seed: int, tmp_path: Path) -> None:
    made = mixture(seed)
    path = tmp_path / "log.csv"
    path.write_bytes(made.data)
    try:
        log = read_log(path, options=ReadOptions(name="log.csv"))
    except AfterboutError as error:
        pytest.fail(f"refused: {error}; {made.about}")
    about = log.provenance
    assert about.clock is not None and len(log.streams) == 1, made.about
    if about.clock.sure in ("guess", "unknown"):
        assert any(fault.code == "unit_unknown" for fault in about.faults), made.about
        return
    places = rows_of(log, made)
    lost = set(range(len(made.times))) - set(places) - made.damaged
    assert not lost or any(fault.severity == "dropped" for fault in about.faults), f"lost {lost}; {made.about}"
    assert len(lost) <= 0.05 * len(made.times), f"lost {lost}; {made.about}"
    for column in about.columns:
        told = made.columns.get(column.source)
        if column.channel is None or (column.sure == "guess" and column.question):
            continue
        assert told is not None and column.channel.endswith(told.channel), f"{column}; {made.about}"
        for k, value in zip(places, log.streams[0].table[column.channel].to_pylist(), strict=True):
            if k in made.damaged:
                continue
            if (k, column.source) in made.missing:
                assert value is None, f"row {k}: {value}; {made.about}"
            else:
                assert value == pytest.approx(told.values[k], rel=1e-6, abs=1e-9), f"row {k}, {made.about}"


def test_most_are_read_outright() -> None:
    """The test above cannot pass by asking: of the first mixtures nearly all name the pack's voltage and current."""
    assert sum("pack_voltage_V" in {t.channel for t in mixture(s).columns.values()} for s in SEEDS) == len(SEEDS)
