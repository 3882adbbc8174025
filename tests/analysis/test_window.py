"""Where the match starts and ends in a log made by Ohm's law with known times."""

from __future__ import annotations

import pytest

from analysis.review import prepare
from ingest.builds import Match
from ingest.log import Log, Stream
from tests.synthetic.circuit_truth import END_S, EVERYTHING, LENGTH_S, START_S, Circuit, build, log, pack


@pytest.mark.parametrize("rate_Hz", [10.0, 50.0, 100.0, 1000.0])
@pytest.mark.parametrize("grade", ["good", "poor"])
def test_the_match_is_found_between_its_idle_times(rate_Hz: float, grade: str) -> None:
    window = prepare(log(Circuit().play(), EVERYTHING, rate_Hz, grade), build(), pack()).window
    assert window is not None
    assert window.start_s == pytest.approx(START_S, abs=1.0)
    assert window.end_s == pytest.approx(END_S, abs=1.5)


def test_commands_that_begin_soon_after_the_log_do_not_make_the_idle_time_a_match() -> None:
    """1.2 s of rest, then a command that stands at 80 %: what it was in the log's first twentieth is no rest."""
    (stream,) = (made := log(Circuit().play(), EVERYTHING, 50.0)).streams
    late = Log((Stream("samples", stream.table.slice(int(50 * (START_S - 1.2)))),), made.provenance)
    window = prepare(late, build(), pack()).window
    assert window is not None
    assert window.start_s == pytest.approx(START_S, abs=0.5)
    assert window.end_s == pytest.approx(END_S, abs=1.5)


def test_a_stated_window_is_kept() -> None:
    match = Match(id="m1", window_start_s=12.0, window_end_s=40.0)
    window = prepare(log(Circuit().play(), EVERYTHING), build(), pack(), match).window
    assert window is not None
    assert (window.start_s, window.end_s) == (12.0, 40.0)


def test_the_match_ends_for_a_robot_that_lost_its_power() -> None:
    data = prepare(log(Circuit(open_lead=((30.0, LENGTH_S),)).play(), EVERYTHING), build(), pack())
    assert data.window is not None
    assert 29.5 < data.window.end_s < 30.0
    assert "loss of power" in data.window.how


def test_a_dead_branch_ends_where_it_died() -> None:
    data = prepare(log(Circuit(open_weapon=((30.0, LENGTH_S),)).play(), EVERYTHING), build(), pack())
    assert data.window is not None and data.window.end_s > 50.0
    assert data.signals["weapon_voltage_V"].t_s[-1] < 30.0
    assert data.signals["drive_voltage_V"].t_s[-1] > 60.0


def test_nothing_that_moves_gives_the_whole_log() -> None:
    window = prepare(log(Circuit().play(), ("pack_voltage_V",)), build(), pack()).window
    assert window is not None
    assert window.start_s == 0.0 and "whole log" in window.how
