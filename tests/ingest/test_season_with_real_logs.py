"""Text logs, the season and the alignment together: what a builder does after a match."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ingest.align import align
from ingest.season import Season
from ingest.templates import season_files


def voltage(t_s: np.ndarray) -> np.ndarray:
    """A pack under a load that comes and goes: 25 V less a sag in bursts of irregular length."""
    edges = np.cumsum(np.random.default_rng(7).uniform(0.3, 2.5, 80))
    busy = np.searchsorted(edges, t_s) % 2
    return 25.0 - 2.5 * busy - 0.004 * t_s


def test_two_loggers_of_one_match_come_onto_one_clock(tmp_path: Path) -> None:
    t = np.arange(0.0, 60.0, 0.01)
    noise = np.random.default_rng(1).normal(0.0, 0.02, (2, t.size))
    pack = tmp_path / "pack logger.csv"
    rows = (f"{a * 1000:.0f};{v * 1000:.0f}" for a, v in zip(t, voltage(t) + noise[0], strict=True))
    pack.write_text("time [ms];Pack voltage [mV]\n" + "\n".join(rows) + "\n")
    # The controller's logger starts 3.2 s later, with a zero of its own.
    weapon = tmp_path / "weapon.csv"
    rows = (f"{a:.2f},{v:.2f}" for a, v in zip(t[:5000], (voltage(t + 3.2) + noise[1])[:5000], strict=True))
    weapon.write_text("Time (s),Input voltage (V)\n" + "\n".join(rows) + "\n")

    season = Season.create(tmp_path / "s", files=season_files({"robot": "Gristmote"}))
    result = season.add([pack, weapon], "m1", align=align)
    assert [log.provenance.rows for log in result.logs] == [6000, 5000]
    first, second = season.log("m1")
    assert first.channels == ("pack_voltage_V",) and second.channels == ("weapon_voltage_V",)
    frame = first.to_pandas()
    assert frame["pack_voltage_V"].iloc[0] == pytest.approx(25.0, abs=0.1)
    assert frame.index[-1] == pytest.approx(59.99)
    entry = season.match("m1").logs[1]
    # 100 Hz on both: half of the interval between samples.
    assert entry.clock_offset_s == pytest.approx(3.2, abs=0.005)
    assert entry.clock_correlation is not None and entry.clock_correlation > 0.5
    assert not season.add([weapon, pack], "m1", align=align).changed
    assert season.verify() == []
