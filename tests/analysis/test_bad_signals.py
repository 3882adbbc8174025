"""What no log should hold: runs without values, stuck channels, no current, negative volts, 5,000 °C, three seconds,
one sample. Whatever the mixture, a review ends in a document, and no figure in it is one that a robot cannot have.

The bounds below are physics and not taken from the analysis: a pack's resistance is above zero and below an ohm, a
charge state lies between 0 and 100 %, nothing is colder than the arena's winter or hotter than molten copper
(1,085 °C).
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.review import review
from ingest.log import Log, Stream
from tests.synthetic.circuit_truth import EVERYTHING, LENGTH_S, Circuit, Floats, build, log, pack

RATE_HZ = 50.0
PLAIN = Circuit().play()
EXTRA = {
    name: np.full(int(LENGTH_S * RATE_HZ), value)
    for name, value in (("weapon_temp_degC", 40.0), ("pack_temp_degC", 30.0), ("weapon_motor_current_A", 20.0))
}
EXTRA["weapon_motor_current_A"] = np.linspace(1.0, 90.0, EXTRA["weapon_motor_current_A"].size)
SOUND = log(PLAIN, EVERYTHING, RATE_HZ, extra=EXTRA)
CHANNELS = (*EVERYTHING, *EXTRA)

Change = Callable[[Floats, np.random.Generator], Any]


def _gone(x: Floats, rng: np.random.Generator) -> list[float | None]:
    start, length = rng.integers(0, x.size + 1), rng.integers(0, x.size + 1)
    return [None if start <= k < start + length else float(v) for k, v in enumerate(x)]


CHANGES: dict[str, Change] = {
    "no values": lambda x, _: [None] * x.size,
    "a run without values": _gone,
    "every other one gone": lambda x, _: [None if k % 2 else float(v) for k, v in enumerate(x)],
    "stuck": lambda x, _: np.full_like(x, x[0] if x.size else 0.0),
    "zero": lambda x, _: np.zeros_like(x),
    "negative": lambda x, _: -np.abs(x) - 1.0,
    "wrong by a thousand": lambda x, _: 1000.0 * x,
    "wrong by a thousandth": lambda x, _: x / 1000.0,
    "5,000": lambda x, _: np.full_like(x, 5000.0),
    "a spike of 1e9": lambda x, rng: np.where(np.arange(x.size) == rng.integers(0, max(x.size, 1)), 1e9, x),
    "noise": lambda x, rng: rng.normal(0.0, 1e3, x.size),
    "huge": lambda x, _: np.full_like(x, 1e300),
    "tiny": lambda x, _: np.full_like(x, 5e-324),
}
LENGTHS = {"whole": None, "3 s": int(3 * RATE_HZ), "one sample": 1, "two samples": 2, "none": 0}


def changed(names: dict[str, str], rows: int | None, seed: int, without: frozenset[str] = frozenset()) -> Log:
    """The sound log with some channels changed, some left out, and no more than `rows` rows from its middle."""
    rng = np.random.default_rng(seed)
    (stream,) = SOUND.streams
    table = stream.table
    if rows is not None:
        table = table.slice(int(20 * RATE_HZ), rows)
    table = table.drop_columns([name for name in without if name in table.column_names])
    for name, kind in names.items():
        if name not in table.column_names:
            continue
        place = table.column_names.index(name)
        values = CHANGES[kind](table[name].to_numpy(), rng)
        table = table.set_column(place, table.schema.field(name), pa.array(values, pa.float64()))
    return Log((Stream("samples", table),), SOUND.provenance)


def figures(document: dict[str, Any]) -> list[tuple[str, str, str, float]]:
    """(row, part, unit, figure) of everything that a review says in numbers."""
    found = []
    for kind in ("estimates", "findings", "passed"):
        for row in document[kind]:
            name = row.get("name") or row.get("check") or row.get("kind")
            for key in ("value", "measured", "low", "high", "limit", "margin_pct"):
                figure = row.get(key)
                if isinstance(figure, int | float) and not isinstance(figure, bool):
                    unit = "pct" if key == "margin_pct" else str(row.get("unit"))
                    found.append((f"{name} {key}", str(row["part"]), unit, float(figure)))
    return found


def sound_document(made: Log) -> dict[str, Any]:
    document = review([made], build(), pack(), with_advice=False).to_dict()
    json.dumps(document, allow_nan=False)
    for row in document["estimates"]:
        low, high = row["low"], row["high"]
        assert low is None or low <= row["value"], row
        assert high is None or row["value"] <= high, row
        if row["name"].startswith("pack_resistance") and row["name"].endswith("s_mohm"):
            assert 0.0 < row["value"] < 1000.0, row
        if row["name"].startswith("charge_state"):
            assert 0.0 <= row["value"] <= 100.0, row
        if row["unit"] == "degC" and row["method"] != "own sensor":
            assert -50.0 <= row["value"] <= 1085.0, row
    assert all(math.isfinite(x) for _, _, _, x in figures(document))
    return document


@pytest.mark.parametrize("length", LENGTHS)
@pytest.mark.parametrize("kind", CHANGES)
def test_every_channel_bad_in_the_same_way(kind: str, length: str) -> None:
    document = sound_document(changed(dict.fromkeys(CHANNELS, kind), LENGTHS[length], 1))
    if kind in ("no values", "stuck", "zero") or length in ("one sample", "two samples", "none"):
        assert not any(row["name"].startswith("pack_resistance") for row in document["estimates"])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.dictionaries(st.sampled_from(CHANNELS), st.sampled_from(sorted(CHANGES)), max_size=6),
    st.sampled_from(sorted(LENGTHS)),
    st.integers(0, 2**32 - 1),
    st.frozensets(st.sampled_from(CHANNELS), max_size=8),
)
def test_any_mixture_ends_in_a_document(names: dict[str, str], length: str, seed: int, without: frozenset[str]) -> None:
    sound_document(changed(names, LENGTHS[length], seed, without))


def test_a_temperature_in_the_wrong_unit_is_no_verdict_alone() -> None:
    """5,000 °C by its own sensor: told as a doubtful log, and nothing else is heated by it."""
    document = sound_document(changed({"weapon_temp_degC": "5,000"}, None, 1))
    others = [x for x in figures(document) if x[2] == "degC" and x[1] != "weapon"]
    assert all(x[3] < 400.0 for x in others), others
