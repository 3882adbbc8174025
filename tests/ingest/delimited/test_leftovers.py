"""Old bytes under new ones at random: split where the clock leaps to them; pauses are not split."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from ingest.formats import read_log
from tests.ingest.delimited.corpus_leftovers import Run, overlaid, paused

HEADS = {"volts": "pack_voltage_V", "amps": "pack_current_A", "used": "charge_used_mAh", "heat": "pack_temp_degC",
         "number": "sample"}  # fmt: skip
TABLES = [("volts", "amps"), ("volts", "amps", "heat"), ("volts", "amps", "used"), ("volts", "amps", "number")]


def recordings(data: bytes, folder: Path) -> list[int]:
    path = folder / "log.csv"
    path.write_bytes(data)
    return [int(x) for x in read_log(path).streams[0].table["recording"].to_pylist()]


def test_older_rows_are_split_off(tmp_path: Path) -> None:
    """Where the cut falls between two rows of t, volts and amps nothing tells; that is one row in its length."""
    dice = random.Random(11)
    right, tried = 0, 0
    while tried < 40:
        columns = dice.choice(TABLES)
        step, count = dice.choice([0.02, 0.05, 0.1, 0.25]), dice.randint(150, 300)
        new = Run(count, step, wander=dice.uniform(0.6, 2))
        old = Run(int(count * dice.uniform(2, 3)), step * dice.choice([1.5, 2]), wander=dice.uniform(0.2, 0.6),
                  start_V=dice.choice([25.1, 16.4, 12.5]))  # fmt: skip
        header = ",".join(["time_s", *(HEADS[c] for c in columns)])
        try:
            made = overlaid("made", header, columns, new, old, nudge=dice.randint(0, 120))
        except AssertionError:
            continue  # it does not leap ahead
        tried += 1
        right += recordings(made.data, tmp_path) == list(made.recording or ())
    assert right >= 36


@pytest.mark.parametrize("seed", range(4))
def test_pauses_are_not_split(tmp_path: Path, seed: int) -> None:
    dice = random.Random(seed)
    split = 0
    for _ in range(12):
        columns = dice.choice(TABLES)
        run = Run(400, dice.choice([0.05, 0.1, 0.25]), wander=dice.uniform(0.3, 2))
        first = dice.randint(120, 250)
        last = first + dice.randint(10, 60)
        shift = {"number": -float(last - first)} if dice.random() < 0.5 else {}
        if dice.random() < 0.5:
            shift["used"] = -(run.used[last - 1] - run.used[first - 1])
        torn = dice.choice(["", f"{run.time[first]:.2f},2", f"{run.time[first]:.2f}"])
        header = ",".join(["time_s", *(HEADS[c] for c in columns)])
        made = paused("made", header, columns, run, (first, last), torn=torn, shift=shift)
        split += max(recordings(made.data, tmp_path)) > 0
    assert split == 0
