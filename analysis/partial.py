"""A log that holds a part of its match: what is not in it may have been as hard as what is.

Heat, charge and the long windows of a rating gather over a match. Where the logs begin or end with the robot at work,
the match was longer than they are; a part then passes only if it would have passed had the match gone on at the same
pace to its full length (its stated length, else three minutes). The current is repeated end to end and the same checks
are made again; a sensor's rise is drawn out straight, which is more than a part with any loss to the air can do.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from analysis import contact_check, spikes, thermal
from analysis.findings import Estimate, Finding, NotChecked, Passed
from analysis.match_data import MatchData, Window
from analysis.outcome import Row
from analysis.signal import Signal
from analysis.window import USUAL_LENGTH_S, at_work
from analysis.wiring import tree

# Our choice: in less than this no push is held, no burst rating of 10 s can be met or missed, and no weapon has spun up
# and been stopped, so nothing in it stands for a match.
SHORTEST_S: Final = 10.0
SHORT_MEND: Final = "log the whole match, from before its start to after its end"
GATHERS: Final = (
    "pack_current", "burst_current", "continuous_current", "contact_current", "fuse_curve", "wire_temperature",
    "contact_temperature",
)  # fmt: skip
WINDOWED: Final = ("pack_current", "burst_current")
SENSED: Final = ("controller_temperature", "motor_temperature", "pack_temperature", "contact_temperature")
EMPTIED: Final = ("charge_used", "pack_sag", "cell_minimum")


@dataclass(frozen=True)
class Part:
    """What the logs hold of a match: from start_s to end_s, length_s of full_s; told says which end is missing.

    full_s equals length_s where the logs begin and end with the robot at rest, or where the match is no longer.
    """

    start_s: float
    end_s: float
    full_s: float
    told: str

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s

    @property
    def whole(self) -> bool:
        return self.full_s <= self.length_s


def part_of(data: MatchData) -> Part:
    """What the logs hold of the match, from the robot's activity at their ends; a stated window is taken as whole."""
    if data.window is None:
        return Part(0.0, 0.0, 0.0, "")
    start, end = data.window.start_s, data.window.end_s
    late, early = at_work(data, end=False), at_work(data, end=True)
    match = data.match
    if match is not None and match.window_start_s is not None and match.window_end_s is not None:
        late = early = False
    # A robot that lost its power, or was stopped at a stated time, did nothing after it.
    stopped = data.memo.get("power_gone") is not None or (match is not None and match.ended_s is not None)
    early = early and not stopped
    length = match.length_s if match is not None and match.length_s else USUAL_LENGTH_S
    full = max(length, end - start) if late or early else end - start
    told = " and ".join(word for word, so in (("begins", late), ("ends", early)) if so)
    return Part(start, end, full, told)


def long_enough(data: MatchData, passed: Iterable[Passed]) -> tuple[list[Passed], list[NotChecked]]:
    """The passed rows that stand for the match, and the others as not checked with what the logs hold of it."""
    rows = list(passed)
    part = part_of(data)
    if part.length_s < SHORTEST_S:
        reason = f"the logs hold {part.length_s:.2g} s of a match; to pass needs {SHORTEST_S:g} s"
        return [], [NotChecked(row.check, row.part, reason, SHORT_MEND) for row in rows]
    if part.whole:
        return _rested(data, part, rows)
    if not any(row.check in (*GATHERS, *SENSED, *EMPTIED) for row in rows):
        return rows, []
    went_on = _by_part(_went_on(data, part))
    stands: list[Passed] = []
    falls: list[NotChecked] = []
    empty = next((told for row in rows if (told := _charge(row, part))), "")
    for row in rows:
        told = empty if row.check in EMPTIED else ""
        if row.check in SENSED and f"{row.part}_temp_degC" in data.signals:
            told = _risen(data, row, part)
        elif row.check in GATHERS:
            told = _past(row, went_on.get((row.check, row.part)))
        if told:
            at = f"the log {part.told} with the robot at work and holds {part.length_s:.0f} s"
            reason = f"{at}; at that pace {told} in a match of {part.full_s:.0f} s"
            falls.append(NotChecked(row.check, row.part, reason, SHORT_MEND))
        else:
            stands.append(row)
    return stands, falls


def _rested(data: MatchData, part: Part, rows: list[Passed]) -> tuple[list[Passed], list[NotChecked]]:
    """Of a whole match shorter than a continuous rating's window: that window holds the match and rest besides."""
    window_s = data.settings.continuous_window_s
    if part.length_s >= window_s or not any(row.check in WINDOWED for row in rows):
        return rows, []
    still = _by_part(spikes.check(_longer(data, replace(part, full_s=1.01 * window_s), at_rest=True)).rows)
    stands: list[Passed] = []
    falls: list[NotChecked] = []
    for row in rows:
        told = _past(row, still.get((row.check, row.part))) if row.check in WINDOWED else ""
        if told:
            reason = f"the match is {part.length_s:.0f} s; over {window_s:g} s, with rest after it, {told}"
            falls.append(NotChecked(row.check, row.part, reason, "compare its load with the continuous rating by hand"))
        else:
            stands.append(row)
    return stands, falls


def _by_part(rows: Iterable[Row]) -> dict[tuple[str, str], Row]:
    return {(row.check, row.part): row for row in rows if not isinstance(row, Estimate)}


def _went_on(data: MatchData, part: Part) -> tuple[Row, ...]:
    """The checks of what gathers, on currents repeated end to end for the length of the match."""
    longer = _longer(data, part)
    rows = list(spikes.check(longer).rows)
    if data.build is not None:
        wiring = tree(data.build)
        rows += [*thermal.wires(longer, wiring).rows, *contact_check.contacts(longer, wiring).rows]
    return tuple(rows)


def _longer(data: MatchData, part: Part, *, at_rest: bool = False) -> MatchData:
    """The same data as if its currents had gone on to the part's full length, repeated or at rest."""
    signals = {}
    for name, signal in data.signals.items():
        if name.endswith("_A") or name == "pack_voltage_V":  # the pack's: what a regulator is fed from
            repeated = _repeated(signal, part, at_rest and name.endswith("_A"))
            if repeated is not None:
                signals[name] = repeated
        elif name == "chassis_temp_degC":
            signals[name] = signal
    return replace(
        data,
        signals=signals,
        source={name: data.source[name] for name in signals},
        window=Window(part.start_s, part.start_s + part.full_s, "drawn out to the length of a match"),
        quality=(),
        _inside={},
        memo={"rows only": True},
    )


def _repeated(signal: Signal, part: Part, at_rest: bool) -> Signal | None:
    """The signal inside the part, set end to end until the match is full; at_rest: zero after the first time."""
    cut = signal.between(part.start_s, float(np.nextafter(part.end_s, -np.inf)))
    if len(cut) < 2:
        return None
    times = math.ceil(part.full_s / part.length_s)
    t_s = np.tile(cut.t_s, times) + np.repeat(np.arange(times) * part.length_s, len(cut))
    x = np.tile(cut.x, times)
    if at_rest:
        x[len(cut) :] = 0.0
    return replace(
        cut, t_s=t_s, x=x, valid=np.tile(cut.valid, times), clipped=np.tile(cut.clipped, times),
        recording=None,
    )  # fmt: skip


def _past(row: Passed, longer: Row | None) -> str:
    """How the part would have fared; "" where it would have passed, or come close with all its interval under it."""
    if isinstance(longer, Finding) and longer.limit is not None:
        worst = max(longer.measured or 0.0, longer.high or 0.0)
        unit = "" if longer.unit == "1" else f" {longer.unit}".replace("degC", "°C")
        return f"it may reach {worst:.3g}{unit} of {longer.limit:.4g}{unit}" if worst > longer.limit else ""
    if isinstance(longer, NotChecked):
        return longer.reason
    return "" if isinstance(longer, Passed) else "it was not worked out"


def _risen(data: MatchData, row: Passed, part: Part) -> str:
    """How hot a sensed part may get if it goes on rising as it did; "" where that is within its limit."""
    seen = data.inside(f"{row.part}_temp_degC")
    if seen is None:
        return ""
    early = float(np.median(seen.x[seen.t_s <= seen.t_s[0] + 0.1 * part.length_s]))
    reached = _worst(row) + max(row.measured - early, 0.0) * (part.full_s - part.length_s) / part.length_s
    return f"it may reach {reached:.0f} °C of {row.limit:.0f} °C" if reached > row.limit else ""


def _worst(row: Passed) -> float:
    return row.measured if row.high is None else row.high


def _charge(row: Passed, part: Part) -> str:
    """Whether the pack would have been emptied; "" where it would not, or the row is not about its charge."""
    if row.check != "charge_used":
        return ""
    used = _worst(row) * part.full_s / part.length_s
    return f"the pack may give {used:.2g} Ah of {row.limit:.3g} Ah" if used > row.limit else ""
