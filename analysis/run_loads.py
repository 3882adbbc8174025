"""The load of every run: its i² in common bins over the match window, and how far that may be off."""

from __future__ import annotations

from analysis.binned import Binned, bin_signal
from analysis.findings import NotChecked
from analysis.match_data import MatchData
from analysis.ratings import OutsideValidity
from analysis.signal import Signal
from analysis.wiring import NoCurrent, RunCurrent, Tree, currents_of

# i² from samples this far apart is a guess of what lies between (our choice: a hit lasts 0.1 to 0.3 s).
SLOW_PERIOD_S = 0.25
TOO_SLOW_S = 1.0
SLOW_I2_LOW, SLOW_I2_HIGH = 0.3, 0.5


def loads(data: MatchData, wiring: Tree) -> dict[str, Binned | NotChecked]:
    """i² of every run in common bins over the match window, made once."""
    if "loads" not in data.memo:
        found: dict[str, Binned | NotChecked] = {}
        for run_id, current in currents_of(data, wiring).items():
            found[run_id] = _load(data, run_id, current)
        data.memo["loads"] = found
    made: dict[str, Binned | NotChecked] = data.memo["loads"]
    return made


def _load(data: MatchData, run_id: str, current: RunCurrent | NoCurrent) -> Binned | NotChecked:
    if isinstance(current, NoCurrent):
        return NotChecked("wire_temperature", run_id, current.reason, current.mend)
    if data.window is None:
        return NotChecked("wire_temperature", run_id, "no match window", "log a current")
    if current.signal.period_s > TOO_SLOW_S:
        rate = 1.0 / current.signal.period_s
        return NotChecked(
            "wire_temperature",
            run_id,
            f"{current.signal.channel} at {rate:.2g} Hz hides its peaks",
            "log at 10 Hz or more",
        )
    try:
        return bin_signal(current.signal, data.settings.wire_bin_s, data.window.start_s, data.window.end_s)
    except OutsideValidity as outside:
        return NotChecked("wire_temperature", run_id, str(outside), outside.mend)


def i2_band(signal: Signal) -> tuple[float, float, bool]:
    """How far i² may lie below and above as shares, and whether it is only a lower bound."""
    gain = 4.0 * signal.gain_rel  # two sigma, squared
    low, high = gain, gain
    slow = signal.period_s > SLOW_PERIOD_S
    if slow:
        low, high = low + SLOW_I2_LOW, high + SLOW_I2_HIGH
    return low, high, bool(signal.clipped.any()) or (slow and signal.detector == "average")


def complete(current: RunCurrent | NoCurrent) -> bool:
    """Whether nothing that flows in the run is left out of its figure."""
    return isinstance(current, RunCurrent) and current.complete


def signal_of(current: RunCurrent | NoCurrent) -> Signal:
    """The current of a run that has one, A."""
    assert isinstance(current, RunCurrent)
    return current.signal
