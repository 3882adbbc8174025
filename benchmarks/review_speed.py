"""How long a review takes, and the start of the command against a bare interpreter.

    python -m benchmarks.review_speed [--rows 180000]

Prints ratios, never passes or fails by time: machines differ. The log is a simulated match stretched to the asked
rows: 16 channels, quantised as loggers write.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyarrow as pa

from analysis.advice import advise
from analysis.changes import changed
from analysis.replay import replay
from analysis.review import prepare, review, review_data
from ingest.builds import load_build, load_pack
from ingest.channels import parse_channel
from ingest.log import Log, Provenance, Stream, channel_field
from sample_data import demo_logs, write_demo

CHANNELS = (
    "pack_voltage_V", "pack_current_A", "pack_temp_degC", "weapon_voltage_V", "weapon_input_current_A",
    "weapon_motor_current_A", "weapon_duty_pct", "weapon_command_pct", "weapon_temp_degC", "left_drive_voltage_V",
    "left_drive_input_current_A", "left_drive_motor_current_A", "right_drive_voltage_V",
    "right_drive_input_current_A", "right_drive_motor_current_A", "receiver_rail_voltage_V",
)  # fmt: skip


def made_log(rows: int) -> Log:
    """One log of 16 channels at the truth's own clock, resampled to `rows`."""
    truth = demo_logs(6)
    t = np.linspace(truth.t_s[0], truth.t_s[-1], rows)
    fields, columns = [pa.field("time_s", pa.float64()), pa.field("recording", pa.int16())], []
    columns += [pa.array(t - t[0]), pa.array(np.zeros(rows, np.int16))]
    noise = np.random.default_rng(0)
    for name in CHANNELS:
        channel = parse_channel(name)
        assert channel is not None
        x = np.interp(t, truth.t_s, truth.channels[name]) + noise.normal(0, 0.02, rows)
        step = 0.01 if name.endswith("_V") else 0.1
        columns.append(pa.array(np.round(x / step) * step))
        fields.append(
            channel_field(
                name, part=channel.part, quantity=channel.quantity.kind, unit=channel.unit, source=name, source_unit=""
            )
        )
    table = pa.Table.from_arrays(columns, schema=pa.schema(fields))
    return Log((Stream("samples", table),), Provenance("made.csv", "0" * 64, "made"))


def timed(rows: int, runs: int = 5) -> float:
    with tempfile.TemporaryDirectory() as folder:
        season = Path(folder) / "season"
        season.mkdir()
        write_demo(season)
        build, pack = load_build(season / "builds" / "b.toml"), load_pack(season / "packs" / "p1.toml")
    log = made_log(rows)
    spent = []
    for _ in range(runs + 1):
        start = time.perf_counter()
        review([log], build, pack)
        spent.append(time.perf_counter() - start)
    return statistics.median(spent[1:])


def advice_and_replay_s(rows: int, runs: int = 5) -> tuple[float, float]:
    """(the advice inside a review, one replay with every check) of the same log."""
    with tempfile.TemporaryDirectory() as folder:
        season = Path(folder) / "season"
        season.mkdir()
        write_demo(season)
        build, pack = load_build(season / "builds" / "b.toml"), load_pack(season / "packs" / "p1.toml")
    data = prepare([made_log(rows)], build, (pack,), None)
    before = review_data(data, with_advice=False)
    thicker = changed(build, pack, ["wire.battery_lead.gauge=10 AWG"])
    advice, replayed = [], []
    for _ in range(runs):
        start = time.perf_counter()
        advise(data, before)
        middle = time.perf_counter()
        replay(data, thicker, before)
        advice.append(middle - start)
        replayed.append(time.perf_counter() - middle)
    return statistics.median(advice), statistics.median(replayed)


def process_s(*args: str, runs: int = 7) -> float:
    spent = []
    for _ in range(runs):
        start = time.perf_counter()
        subprocess.run([sys.executable, *args], check=True, stdout=subprocess.DEVNULL)
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=180_000)
    rows = parser.parse_args().rows
    one, four = timed(rows), timed(4 * rows, runs=3)
    print(f"review of {rows:,} x {len(CHANNELS)}: {one:.2f} s; of {4 * rows:,}: {four:.2f} s, {four / one:.1f} times")
    advice, replayed = advice_and_replay_s(rows)
    print(f"advice inside it: {advice:.2f} s; one replay with every check: {replayed:.2f} s")
    bare, start = process_s("-c", "pass"), process_s("-m", "dashboard.cli", "--help")
    print(f"--help: {1000 * start:.0f} ms, {start / bare:.1f} times a bare interpreter ({1000 * bare:.0f} ms)")


if __name__ == "__main__":
    main()
