"""A log that holds a part of its match passes nothing that the rest of the match might have taken past its rating.

The circuit is Ohm's and Kirchhoff's (tests/synthetic/circuit_truth.py) and shares no code with the analysis. Pieces are
cut out of one whole log, so what the whole says is known.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from analysis.partial import SHORTEST_S, part_of
from analysis.review import prepare, review
from ingest.builds import Match
from ingest.log import Log, Stream
from tests.synthetic.circuit_truth import END_S, EVERYTHING, START_S, Circuit, build, log, pack

RATE_HZ = 50.0
TRUTH = Circuit().play()
TEMP = np.rint(10.0 * np.interp(np.arange(3100) / RATE_HZ, [0.0, START_S, END_S, 62.0], [25.0, 25.0, 70.0, 68.0])) / 10
WHOLE = log(TRUTH, EVERYTHING, RATE_HZ, extra={"weapon_temp_degC": TEMP})
BUILD = build().model_copy(
    update={
        "controllers": tuple(
            c.model_copy(update={"limit_degC": 100.0, "continuous_A": 200.0, "burst_A": 300.0, "burst_s": 10.0})
            for c in build().controllers
        )
    }
)
PACK = pack(continuous_C=50, burst_C=100, burst_s=10)
GATHERS = {"wire_temperature", "contact_temperature", "fuse_curve", "charge_used", "pack_current"}


def piece(start_s: float, end_s: float, made: Log = WHOLE) -> Log:
    (stream,) = made.streams
    t = np.asarray(stream.table["time_s"])
    return Log((Stream("samples", stream.table.filter(pa.array((t >= start_s) & (t < end_s)))),), made.provenance)


def reviewed(made: Log, built: Any = BUILD, **changes: Any) -> Any:
    return review([made], built, PACK, with_advice=False, **changes)


def passed(found: Any) -> set[str]:
    return {row.check for row in found.passed}


def reasons(found: Any, check: str) -> str:
    return "; ".join(row.reason for row in found.not_checked if row.check == check)


def test_a_whole_log_passes_what_gathers() -> None:
    found = reviewed(WHOLE)
    part = part_of(prepare([WHOLE], BUILD, PACK))
    assert part.whole and part.told == ""
    assert found.passed and GATHERS - {"fuse_curve"} <= passed(found)
    assert "controller_temperature" in passed(found)


@pytest.mark.parametrize("length_s", [0.5, 1.0, 3.0, 9.0])
def test_a_log_of_some_seconds_passes_nothing_and_says_how_short_it_is(length_s: float) -> None:
    found = reviewed(piece(START_S + 12.0, START_S + 12.0 + length_s))
    assert found.passed == ()
    assert found.match.verdict != "within"
    said = reasons(found, "pack_sag") + reasons(found, "wire_temperature")
    assert "the logs hold" in said and f"needs {SHORTEST_S:g} s" in said


def test_one_sample_and_none_of_the_match_are_no_pass() -> None:
    assert reviewed(piece(START_S + 12.0, START_S + 12.0 + 1.5 / RATE_HZ)).passed == ()


def test_what_gathers_does_not_pass_where_the_rest_of_the_match_could_exceed_it() -> None:
    """12 s at work of a drive lead rated just above what 45 s heat it to: the piece alone stays under by far."""
    whole = next(e for e in reviewed(WHOLE).estimates if e.name == "wire_peak_degC" and e.part == "drive_lead")
    tight = BUILD.model_copy(
        update={"wires": tuple(
            w.model_copy(update={"limit_degC": whole.high - 2.0}) if w.id == "drive_lead" else w for w in BUILD.wires
        )}
    )  # fmt: skip
    short = reviewed(piece(START_S + 12.0, START_S + 24.0), tight)
    assert ("wire_temperature", "drive_lead") not in {(p.check, p.part) for p in short.passed}
    told = reasons(short, "wire_temperature")
    assert "begins and ends with the robot at work" in told and "in a match of 180 s" in told


def test_a_sensor_that_still_rises_does_not_pass_a_piece() -> None:
    """1 K/s: 45 K above 25 °C in the match itself, and over 100 °C long before three minutes are over."""
    short = reviewed(piece(START_S + 5.0, START_S + 25.0))
    assert "controller_temperature" not in passed(short)
    assert "100 °C" in reasons(short, "controller_temperature")


def test_a_charge_that_would_empty_the_pack_takes_the_voltages_with_it() -> None:
    small = replace_pack(capacity_Ah=0.6)
    short = review([piece(START_S + 5.0, START_S + 25.0)], BUILD, small, with_advice=False)
    assert not {"charge_used", "pack_sag"} & passed(short)
    assert "Ah of 0.6 Ah" in reasons(short, "charge_used")


def replace_pack(**changes: Any) -> Any:
    return PACK.model_copy(update=changes)


def test_a_piece_with_wide_margins_still_passes() -> None:
    """Half of the match at work, thick wires: three minutes of it would not reach half of any limit."""
    found = reviewed(piece(START_S + 3.0, START_S + 33.0))
    assert {"wire_temperature", "contact_temperature", "pack_current", "burst_current"} <= passed(found)


def test_a_continuous_rating_is_held_over_its_own_window_where_the_match_is_shorter() -> None:
    """100 A for 12 s is sqrt(12/60) x 100 = 44.7 A r.m.s. over 60 s, rest and all: past a pack of 40 A continuous,
    although every window inside the match is under 120 A."""
    t = np.arange(0.0, 40.0, 1.0 / RATE_HZ)
    load = np.where((t >= 10.0) & (t < 22.0), 100.0, 0.0)
    truth = {"t": t, "pack_current_A": load, "pack_voltage_V": 25.1 - 0.01 * load}
    made = piece(0.0, 40.0, log(truth, ("pack_voltage_V", "pack_current_A"), RATE_HZ))
    for continuous_C, stands in ((40.0 / 4.5, False), (60.0 / 4.5, True)):
        held = replace_pack(continuous_C=continuous_C, burst_C=120.0 / 4.5, burst_s=20)
        found = review([made], BUILD, held, with_advice=False)
        assert ("pack_current" in passed(found)) is stands
        assert stands or "over 60 s, with rest after it, it may reach 44." in reasons(found, "pack_current")


def test_a_late_beginning_is_told() -> None:
    found = reviewed(piece(START_S + 12.0, 62.0))
    assert [n.note for n in found.quality if n.code == "truncated"] == [
        "recorder.csv begins with the robot at work: what was before is not in it"
    ]


def test_a_stated_window_and_a_stated_end_are_taken_at_their_word() -> None:
    made = piece(START_S + 3.0, START_S + 33.0)
    stated = Match(id="m1", window_start_s=START_S + 4.0, window_end_s=START_S + 32.0)
    assert part_of(prepare([made], BUILD, PACK, stated)).whole
    ended = Match(id="m1", ended_s=START_S + 32.0)
    assert part_of(prepare([piece(0.0, START_S + 33.0)], BUILD, PACK, ended)).whole
    assert not part_of(prepare([made], BUILD, PACK, Match(id="m1", length_s=120.0))).whole
    assert part_of(prepare([made], BUILD, PACK, Match(id="m1", length_s=120.0))).full_s == 120.0


def test_a_current_whose_log_begins_late_bounds_no_rating() -> None:
    """The weapon's log misses the first 20 s of 45 s; its highest windows may have been there."""
    others = tuple(c for c in EVERYTHING if not c.startswith("weapon_"))
    late = piece(START_S + 20.0, 62.0, log(TRUTH, tuple(c for c in EVERYTHING if c not in others), RATE_HZ, name="w"))
    first = log(TRUTH, others, RATE_HZ, name="rest")
    found = review([first, late], BUILD, PACK, with_advice=False)
    rows = {(p.check, p.part) for p in found.passed}
    assert ("burst_current", "drive") in rows
    assert ("burst_current", "weapon") not in rows and ("fuse_curve", "weapon_fuse") not in rows
    assert "are not in" in reasons(found, "burst_current")


def hot(channels: dict[str, float]) -> Log:
    """The whole log with parts that stand at these temperatures."""
    extra = {name: np.full(3100, degC) + 0.1 * (np.arange(3100) % 2) for name, degC in channels.items()}
    return log(TRUTH, EVERYTHING, RATE_HZ, extra=extra)


def test_parts_that_are_all_warmer_than_the_stated_air_widen_it() -> None:
    warm = prepare([hot({"weapon_temp_degC": 45.0, "drive_temp_degC": 47.0})], BUILD, PACK)
    assert warm.air_degC[0] == 25.0
    assert warm.air_degC[0] + warm.air_degC[1] == pytest.approx(45.0, abs=0.2)
    assert "no part was colder than 45 °C" in warm.air_degC[2]
    one = prepare([hot({"weapon_temp_degC": 45.0})], BUILD, PACK)  # it may be warm of the match before
    assert one.air_degC[1] < 10.0
    cool = prepare([hot({"weapon_temp_degC": 45.0, "drive_temp_degC": 26.0})], BUILD, PACK)
    assert cool.air_degC[1] < 10.0


def test_a_run_that_measures_more_than_its_build_explains_passes_nothing_modelled() -> None:
    """14 AWG of 140 mm out and back has 2.3 mΩ at 20 °C (ASTM B258, IEC 60028); the drive's lead really has 5 mΩ."""
    thin = Circuit(drive_mohm=lambda t: np.full_like(t, 2.0)).play()
    sound = reviewed(log(TRUTH, EVERYTHING, RATE_HZ))
    found = reviewed(log(thin, EVERYTHING, RATE_HZ))
    row = ("wire_temperature", "drive_lead")
    assert row in {(p.check, p.part) for p in sound.passed}
    assert row not in {(p.check, p.part) for p in found.passed}
    assert "between its taps drive_lead has 5.0 mΩ" in reasons(found, "wire_temperature")
    assert replace(found.match, verdict="within") == replace(sound.match, verdict="within")
