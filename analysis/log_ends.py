"""What logs do at their ends and breaks: one that stops in the thick of the match, and a gap that is no gap because
the logger lost its supply.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.causes.disconnect import LOADED_SHARE, ends_of_logs, loaded_at_end
from analysis.findings import QualityNote
from analysis.match_data import MatchData
from analysis.openings import openings
from analysis.sensor_faults import gaps
from analysis.signal import Signal
from analysis.spans import max_between
from analysis.window import at_work
from ingest.channels import parse_channel

# Our choices. The robot's work after a log's end must last this long to say that the log stopped too early.
GOES_ON_S = 1.0
ENDS_WITH_MATCH_S = 1.5
SOUND_SHARE = 0.75  # of the usual voltage: a supply that stands above it is not going
RESTARTED_S = 1.0


def log_ends(data: MatchData) -> MatchData:
    """The same data with notes of logs that end too early, and without gaps that a lost supply made."""
    notes: list[QualityNote] = []
    for note in data.quality:
        kept = _gap(data, note) if note.code == "logger_gap" else note
        if kept is not None:
            notes.append(kept)
    told = {round(n.end_s, 3) for n in notes if n.code == "truncated"}
    notes += [n for n in _early(data) if round(n.end_s, 3) not in told]
    notes += _late(data)
    return replace(data, quality=tuple(notes))


def _early(data: MatchData) -> list[QualityNote]:
    if data.window is None:
        return []
    ends = ends_of_logs(data)
    power, lost = data.memo.get("power_gone"), data.memo.get("lost_branches") or []
    stopped = [power.start_s] if power is not None else []
    stopped += [one.start_s for one in lost]
    if data.match is not None and data.match.ended_s is not None:
        stopped.append(data.match.ended_s)
    found = []
    for index, (end, signals) in ends.items():
        if any(at <= end + ENDS_WITH_MATCH_S for at in stopped) or not _sound_at_end(signals, end):
            continue
        if any(o.start_s - 0.2 <= end <= o.end_s + 0.2 for o in openings(data)):
            continue
        others = [(s, e) for i, (e, some) in ends.items() if i != index and e > end + GOES_ON_S for s in some]
        goes_on = data.window.end_s > end + GOES_ON_S and any(_at_work(s, end, end + 3.0) for s, _ in others)
        at_work = abs(data.window.end_s - end) < ENDS_WITH_MATCH_S and any(
            loaded_at_end(s) or (s.channel.endswith("command_pct") and _at_work(s, end - 0.3, end)) for s in signals
        )
        if not goes_on and not (at_work and not others):
            continue
        seen = "the other logs go on" if goes_on else "the robot was at work and its supply sound"
        name = data.placed[index].log.name
        found.append(QualityNote("truncated", None, _part(signals), end, end, f"{name} stops at {end:.1f} s: {seen}"))
    return found


def _late(data: MatchData) -> list[QualityNote]:
    """Where the first of all logs begins with the robot at work: what was before is in none of them."""
    if data.window is None or not at_work(data, end=False):
        return []
    match = data.match
    if match is not None and match.window_start_s is not None:
        return []
    first = min(float(s.t_s[0]) for s in data.signals.values() if len(s))
    one = next(i for n, i in data.source.items() if len(data.signals[n]) and data.signals[n].t_s[0] == first)
    told = f"{data.placed[one].log.name} begins with the robot at work: what was before is not in it"
    return [QualityNote("truncated", None, "", first, first, told)]


def _part(signals: list[Signal]) -> str:
    parts = {c.part for s in signals if (c := parse_channel(s.channel)) is not None}
    return parts.pop() if len(parts) == 1 else ""


def _at_work(signal: Signal, start_s: float, end_s: float) -> bool:
    if not signal.channel.endswith(("input_current_A", "pack_current_A", "command_pct")):
        return False
    size = signal.with_values(np.abs(signal.x))
    most = max_between(size, start_s, end_s)
    peak = float(np.percentile(size.x, 99))
    return most is not None and most > max(LOADED_SHARE * peak, 2.0)


def _sound_at_end(signals: list[Signal], end_s: float) -> bool:
    """No voltage of the log was going when it stopped; a log without voltages cannot say and counts as sound."""
    for signal in signals:
        if not signal.channel.endswith("voltage_V"):
            continue
        good = signal.good()
        if len(good) < 10:
            continue
        if good.t_s[-1] < end_s - max(0.5, 5.0 * good.period_s):
            return False
        tail = good.x[good.t_s >= good.t_s[-1] - max(0.15, 2.5 * good.period_s)]
        if float(np.median(tail)) < SOUND_SHARE * float(np.median(good.x)):
            return False
    return True


def _gap(data: MatchData, note: QualityNote) -> QualityNote | None:
    """A log's gaps without those in which its logger had no supply; None where none is left."""
    signal = next((s for n, s in data.signals.items() if _holds(s, note)), None)
    if signal is None:
        return note
    found = gaps(signal.t_s, signal.period_s, data.settings.gap_intervals)
    left = [g for g in found if not _without_supply(data, signal, g)]
    if len(left) == len(found):
        return note
    if not left:
        return None
    worst = max(left, key=lambda g: g[1] - g[0])
    missing = sum(b - a - signal.period_s for a, b in left)
    words = f"{len(left)} gaps, {missing:.2f} s missing, the longest {worst[1] - worst[0]:.2f} s"
    return replace(note, start_s=worst[0], end_s=worst[1], note=words)


def _holds(signal: Signal, note: QualityNote) -> bool:
    """Whether the note's gap is one of this signal's."""
    k = int(np.searchsorted(signal.t_s, note.start_s))
    return k + 1 < len(signal) and abs(signal.t_s[k] - note.start_s) < 1e-6 and signal.t_s[k + 1] >= note.end_s - 1e-6


def _without_supply(data: MatchData, signal: Signal, gap: tuple[float, float]) -> bool:
    """The supply was open when it fell silent, or what the same log counts as uptime starts again."""
    near = max(0.3, 3.0 * signal.period_s)
    if any(o.start_s - near <= gap[0] <= o.end_s + near and o.apart_V > 3.0 for o in openings(data)):
        own = data.source.get(signal.channel)
        ups = [s for n, s in data.signals.items() if n.endswith("_uptime_s") and data.source[n] == own]
        # A logger with a supply of its own goes on counting: then it is a gap all the same.
        return not ups or any(_starts_again(s, gap) for s in ups) or len(data.placed) > 1
    own = data.source.get(signal.channel)
    return any(
        _starts_again(s, gap) for n, s in data.signals.items() if n.endswith("_uptime_s") and data.source[n] == own
    )


def _starts_again(uptime: Signal, gap: tuple[float, float]) -> bool:
    good = uptime.good()
    k = int(np.searchsorted(good.t_s, gap[0] + 1e-6))
    return 0 < k < len(good) and good.x[k] < good.x[k - 1] - RESTARTED_S
