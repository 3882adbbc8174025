"""Logs that stop early, and files whose stamps do not keep the clock they claim."""

from __future__ import annotations

import re

import pytest

from analysis.findings import Review
from analysis.review import review
from tests.synthetic.circuit_truth import EVERYTHING, Circuit, build, log, pack

PACK = ("pack_voltage_V", "pack_current_A")
REST = tuple(c for c in EVERYTHING if c not in PACK)
WALL = "2026-05-09T14:19:40"


def codes(result: Review) -> list[str]:
    return [note.code for note in result.quality]


def test_one_log_that_stops_while_the_other_goes_on() -> None:
    truth = Circuit().play()
    logs = [log(truth, PACK, name="pack"), log(truth, REST, name="controllers", stops_s=35.0)]
    result = review(logs, build(), pack(), with_advice=False)
    assert codes(result) == ["truncated"]
    assert result.quality[0].end_s == pytest.approx(35.0, abs=0.1)
    assert "controllers.csv" in result.quality[0].note
    assert [f for f in result.findings if f.kind == "power_loss"] == []


def test_a_reader_that_saw_the_cut_is_believed_and_not_repeated() -> None:
    result = review(log(Circuit().play(), EVERYTHING, stops_s=35.0, cut_short=True), build(), pack(), with_advice=False)
    assert codes(result) == ["truncated"]


def test_a_log_that_ends_at_rest_is_whole() -> None:
    assert codes(review(log(Circuit().play(), EVERYTHING), build(), pack(), with_advice=False)) == []


@pytest.mark.parametrize("off_s", [0.4, -1.7, 3.2])
def test_stamps_off_the_clock_both_files_claim(off_s: float) -> None:
    truth = Circuit().play()
    logs = [log(truth, PACK, name="pack", wall=WALL), log(truth, REST, name="rest", wall=WALL, stamps_off_s=off_s)]
    result = review(logs, build(), pack(), with_advice=False)
    assert codes(result) == ["clock_skew"]
    said = re.search(r"are ([+-]\d+) ms", result.quality[0].note)
    assert said is not None
    assert float(said[1]) == pytest.approx(-1e3 * off_s, abs=3.0)


def test_files_that_keep_their_clock_and_files_without_one_say_nothing() -> None:
    truth = Circuit().play()
    kept = [log(truth, PACK, name="pack", wall=WALL), log(truth, REST, name="rest", wall=WALL)]
    none = [log(truth, PACK, name="pack"), log(truth, REST, name="rest")]
    for logs in (kept, none):
        assert codes(review(logs, build(), pack(), with_advice=False)) == []


@pytest.mark.parametrize("channel", ["pack_voltage_V", "weapon_voltage_V"])
def test_a_tap_that_the_others_contradict_at_rest(channel: str) -> None:
    truth = Circuit().play()
    truth[channel] = truth[channel] + 1.3
    result = review(log(truth, EVERYTHING, grade="poor"), build(), pack(), with_advice=False)
    assert [(n.code, n.channel) for n in result.quality] == [("sensor_offset", channel)]
    assert [f for f in result.findings if f.check in ("joint", "power")] == []


def test_a_bus_that_is_plugged_in_later_is_no_offset() -> None:
    truth = Circuit().play()
    for name in ("distribution_voltage_V", "weapon_voltage_V", "drive_voltage_V", "pack_current_A"):
        truth[name] = truth[name] * (truth["t"] > 1.5)
    assert codes(review(log(truth, EVERYTHING), build(), pack(), with_advice=False)) == []
