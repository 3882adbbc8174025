"""How names are cut into words, and that any mixture of the trade's words gives an answer that holds together."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.channels import parse_channel
from ingest.delimited.column import ColumnEvidence
from ingest.delimited.meaning import name_columns
from ingest.delimited.words import cut, one_of
from ingest.readings import parse_reading


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Vbat", "v bat"), ("VBAT", "v bat"), ("U_Batt", "u batt"), ("Akkuspannung", "akku spannung"),
        ("Eingangsspannung", "eingang spannung"), ("Motorstrom", "motor strom"), ("TempFET", "temp fet"),
        ("MOSFETtemp", "mosfet temp"), ("iMotor", "i motor"), ("inputVoltage", "input voltage"),
        ("ESC1_RPM", "esc 1 rpm"),
        ("e-RPM", "erpm"), ("Wheel speed", "wheel speed"), ("State of Charge", "soc"), ("Lost frames", "frameslost"),
        ("Température moteur", "temperature moteur"), ("Stromstärke", "stromstaerke"), ("Cell 03", "cell 3"),
        ("5V rail", "5v rail"), ("Speed controller temp", "controller temp"), ("", ""), ("[]", ""),
    ],
)  # fmt: skip
def test_cut(name: str, words: str) -> None:
    assert " ".join(cut(name)) == words


@given(st.text(max_size=40))
def test_any_name_is_cut(name: str) -> None:
    assert all(word and word == word.strip() for word in cut(name))


WORDS = sorted(
    one_of(
        "bat Batt Volt volts current A mA [V] (mV) weapon left motor temp C F cell 1 2 min max rpm "
        "eRPM us throttle % _ "
        "input out phase rail rx RSSI dBm duty ch gyro z g Strom Spannung [°C] x10 limit 0.1V "
        "capacity Ah supply id t p"
    )
)
BUILD = {
    "weapon": "controller",
    "left_drive": "controller",
    "weapon_motor": "motor",
    "lead": "wire",
    "bec": "regulator",
}
ROWS = 120
_AMPS = 30.0 + 25.0 * np.sin(np.arange(ROWS) / 3.0)
_POOLS = [24.6 - 0.02 * _AMPS, _AMPS, -_AMPS, np.round((24.6 - 0.02 * _AMPS) * 1000.0), np.round(_AMPS * 1000.0),
          np.linspace(20.0, 60.0, ROWS), np.full(ROWS, np.nan)]  # fmt: skip


@settings(deadline=None, max_examples=200)
@given(
    names=st.lists(st.lists(st.sampled_from(WORDS), min_size=1, max_size=4).map(" ".join), min_size=1, max_size=5),
    first=st.integers(0, len(_POOLS) - 1),
    file=st.sampled_from(["weapon.csv", "log1.csv", "pack.csv", "receiver.log", "esc.csv"]),
    parts=st.sampled_from([{}, BUILD]),
)
def test_any_mixture_of_words_holds_together(names: list[str], first: int, file: str, parts: dict[str, str]) -> None:
    columns = [
        ColumnEvidence(k, name, None, None, "number", _POOLS[(first + k) % len(_POOLS)], 2, False)
        for k, name in enumerate(names)
    ]
    found = name_columns(columns, file_name=file, preamble={}, parts=parts, reading=None)
    channels = [meaning.channel for meaning in found if meaning.channel is not None]
    assert len(channels) == len(set(channels))
    for meaning in found:
        channel = None if meaning.channel is None else parse_channel(meaning.channel)
        if meaning.channel is not None:
            assert channel is not None and channel.unit == meaning.unit and meaning.sure != "unknown"
        assert meaning.question or meaning.sure not in ("guess", "unknown")
        assert all(parse_channel(offer) is not None for offer in meaning.alternatives)
        if meaning.question:
            parse_reading('[reading]\nname = "answer"\n' + meaning.question.split("\n", 1)[1])
