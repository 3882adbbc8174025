"""Logs on one clock: whatever their order, what lies between two of them is the same (closed form, no other source)."""

from __future__ import annotations

import itertools

import numpy as np
import pyarrow as pa
import pytest

from ingest.align import FixedClock, align
from ingest.channels import parse_channel
from ingest.log import Log, Provenance, Stream, channel_field

# name -> (rate, when its own zero lies on the true clock, how fast its clock runs against it)
CLOCKS = {"pack": (100.0, 0.0, 0.0), "weapon": (100.0, 2.37, 18e-6), "left": (20.0, -1.94, -25e-6)}


def true_volts(t: np.ndarray) -> np.ndarray:
    """Loads that come and go: sums of steps, the same for everybody on the bus."""
    noise = np.random.default_rng(5)
    at = np.sort(noise.uniform(5.0, 115.0, 90))
    size = noise.uniform(-1.5, 1.5, 90)
    return 24.0 - np.abs((size[None, :] * (t[:, None] > at[None, :])).sum(axis=1)) * 0.6


def log(name: str, channel: str) -> Log:
    rate, zero, fast = CLOCKS[name]
    own = np.arange(0.0, 118.0, 1.0 / rate)
    x = true_volts(own * (1.0 + fast) + zero) + np.random.default_rng(len(name)).normal(0.0, 0.01, len(own))
    parsed = parse_channel(channel)
    assert parsed is not None
    about = channel_field(channel, part=parsed.part, quantity="voltage", unit="V", source=channel, source_unit="V")
    schema = pa.schema([pa.field("time_s", pa.float64()), pa.field("recording", pa.int16()), about])
    table = pa.Table.from_arrays([pa.array(own), pa.array(np.zeros(len(own), np.int16)), pa.array(x)], schema=schema)
    return Log((Stream("samples", table),), Provenance(f"{name}.csv", name, "made"))


LOGS = {name: log(name, f"{name}_voltage_V") for name in CLOCKS}


@pytest.mark.parametrize("order", list(itertools.permutations(CLOCKS)), ids="-".join)
def test_the_order_of_the_files_changes_nothing_between_them(order: tuple[str, ...]) -> None:
    placed = dict(zip(order, align([LOGS[name] for name in order]), strict=True))
    assert all(one.placed for one in placed.values())
    assert placed[order[0]].offset_s == 0.0 and placed[order[0]].drift_ppm == 0.0
    between = placed["weapon"].offset_s - placed["pack"].offset_s
    assert between == pytest.approx(2.37, abs=0.003)  # two fast logs, one of them never the slow one's prisoner
    assert placed["left"].offset_s - placed["pack"].offset_s == pytest.approx(-1.94, abs=0.03)
    errors = {name: one.error_s or 0.0 for name, one in placed.items()}
    assert max(errors["pack"], errors["weapon"]) < 0.01 < errors["left"]


def test_drift_is_counted_on_the_first_clock() -> None:
    placed = align([LOGS["weapon"], LOGS["pack"]])
    assert placed[1].drift_ppm == pytest.approx(-18.0, abs=12.0)


def test_a_stated_clock_stands() -> None:
    placed = align([LOGS["pack"], LOGS["weapon"]], {1: FixedClock(5.0, 3.0, "by hand")})
    assert (placed[1].offset_s, placed[1].drift_ppm, placed[1].how) == (5.0, 3.0, "by hand")


def test_a_log_that_shares_nothing_is_not_placed() -> None:
    alone = log("left", "left_voltage_V")
    table = alone.streams[0].table
    noise = np.random.default_rng(9).normal(24.0, 0.3, table.num_rows)
    strange = Log((Stream("samples", table.set_column(2, table.schema.field(2), pa.array(noise))),), alone.provenance)
    placed = align([LOGS["pack"], LOGS["weapon"], strange])
    assert [one.placed for one in placed] == [True, True, False]
    assert placed[2].how
