"""The main path opened for good: disconnect, plug or lead. And for a moment: a disconnect that bounces.

A log ahead of the break goes on and sees the pack at rest while the far side falls; without one, a log that simply
ends shows nothing of the kind, and only the match file's `ended_by` makes it a disconnect.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.findings import Finding, Occurrence
from analysis.match_data import MatchData
from analysis.openings import Opening, openings
from analysis.signal import Signal
from analysis.spans import max_between, mean_between
from analysis.suspects import candidates_of
from analysis.wiring import tree

# Our choices: logs of one robot stop within this of each other when their supply goes; a robot at work has drawn
# LOADED_SHARE of its usual current within WORKING_S (a driver who switches off has let go for longer).
TOGETHER_S = 0.7
LOADED_SHARE = 0.15
WORKING_S = 3.0
REST_A = 1.5
# A log slower than this cannot tell a switch that opens from a driver who lets go (our choice: 20 Hz).
SHARPEST_S = 0.051


def power_gone(data: MatchData) -> Finding | None:
    """Everything behind the disconnect off at once, made once (the match window ends there)."""
    if "power_gone" not in data.memo:
        data.memo["power_gone"] = _opened(data) or _current_stopped(data) or _ended_by_hand(data)
    found: Finding | None = data.memo["power_gone"]
    return found


def main_openings(data: MatchData) -> list[Opening]:
    """Openings of the runs that leave the pack."""
    if data.build is None:
        return []
    roots = tree(data.build).roots
    return [o for o in openings(data) if o.run in roots]


def worked_until(data: MatchData, at_s: float) -> bool:
    """Whether the robot was at work just before: by any current or command that moved."""
    for name, signal in data.signals.items():
        if not name.endswith(("current_A", "command_pct")) or "rail" in name:
            continue
        peak = float(np.percentile(np.abs(signal.x), 99)) if len(signal) else 0.0
        before = max_between(signal.with_values(np.abs(signal.x)), at_s - WORKING_S, at_s)
        floor = 5.0 if name.endswith("_A") else 10.0
        if before is not None and before > max(LOADED_SHARE * peak, floor):
            return True
    return False


def _opened(data: MatchData) -> Finding | None:
    lasting = [o for o in main_openings(data) if o.lasting]
    if not lasting or data.window is None:
        return None
    one = lasting[-1]
    if not data.window.start_s < one.start_s <= data.window.end_s + WORKING_S or not worked_until(data, one.start_s):
        return None
    if one.alone:
        fed = f"{one.tap} falls {one.apart_V:.0f} V from there although nothing is drawn: no pack holds it"
        more = "which part opened needs a log ahead of it: log the pack"
        return _lost(data, one.run, one.current, one.start_s, one.before_A, "likely", (fed, more))
    volts = data.get("pack_voltage_V")
    rest = mean_between(volts, one.start_s + 0.3, one.start_s + 3.0)
    held = f"; the pack rests at {rest:.1f} V: it is well" if rest is not None else ""
    return _lost(
        data,
        one.run,
        one.current,
        one.start_s,
        one.before_A,
        "likely",
        (
            f"pack current from {one.before_A:.0f} A to nothing for good{held}",
            f"{one.tap} falls {one.apart_V:.0f} V under the pack with no current between them",
            *_others(data, one.start_s),
        ),
    )


def bounces(data: MatchData) -> list[Finding]:
    """The main path open for moments and closed again."""
    if data.window is None:
        return []
    gone = power_gone(data)
    until = gone.start_s - 0.05 if gone is not None else data.window.end_s + 0.5
    found = [o for o in main_openings(data) if not o.lasting and data.window.start_s < o.start_s < until]
    if not found:
        return []
    worst = max(found, key=lambda o: o.end_s - o.start_s)
    drawn = max(o.before_A for o in found)
    width = data.signals[worst.current].period_s
    length = worst.end_s - worst.start_s + width
    return [
        Finding(
            kind="power_loss",
            cause="disconnect_bounce",
            part=main_part(data, worst.run),
            channel=worst.current,
            start_s=worst.start_s,
            end_s=worst.end_s,
            measured=worst.end_s - worst.start_s,
            low=worst.end_s - worst.start_s,
            high=worst.end_s - worst.start_s + 2.0 * width,
            unit="s",
            verdict="fault",
            confidence="likely",
            could_be=candidates_of(tree(data.build), (worst.run,)) if data.build is not None else (),
            evidence=(
                f"pack current from {drawn:.0f} A to nothing and back within {length:.2g} s",
                f"{worst.tap} fell {worst.apart_V:.1f} V under the pack with no current between them",
            ),
            check="power",
            occurrences=tuple(Occurrence(o.start_s, o.end_s, o.end_s - o.start_s) for o in found),
        )
    ]


def _others(data: MatchData, at_s: float) -> tuple[str, ...]:
    ends = {i: end for i, (end, _) in ends_of_logs(data).items()}
    stopped = [end for end in ends.values() if abs(end - at_s) < TOGETHER_S]
    alive = [end for end in ends.values() if end > at_s + TOGETHER_S]
    said = []
    if stopped:
        said.append(f"{len(stopped)} of {len(ends)} logs end with it")
    if alive and len(ends) > 1:
        said.append(f"{len(alive)} of {len(ends)} logs go on: they are fed elsewhere or hold charge")
    return tuple(said)


def ends_of_logs(data: MatchData) -> dict[int, tuple[float, list[Signal]]]:
    """Last stamp of every placed log with its signals, on the whole log and not the window."""
    found: dict[int, tuple[float, list[Signal]]] = {}
    for name, signal in data.signals.items():
        index = data.source[name]
        if len(signal) and data.placed[index].placed:
            last, signals = found.get(index, (-np.inf, []))
            found[index] = (max(last, float(signal.t_s[-1])), [*signals, signal])
    return found


def _current_stopped(data: MatchData) -> Finding | None:
    """A pack log alone: its current falls under what the robot draws at rest, and other logs end with it."""
    current = data.get("pack_current_A")
    if current is None or data.window is None:
        return None
    good = current.good()
    if len(good) < 50 or good.period_s > SHARPEST_S:
        return None
    x = good.x - min(float(np.percentile(good.x, 2)), 0.0)
    flowing = np.flatnonzero(x > REST_A)
    if not len(flowing) or flowing[-1] >= len(x) - 2:
        return None
    last = int(flowing[-1])
    at = float(good.t_s[last])
    before = x[(good.t_s > at - 0.3) & (good.t_s <= at)]
    drawn = float(np.median(before[-5:])) if len(before) else 0.0
    usual = float(np.percentile(x[x > REST_A], 50))
    if drawn < max(0.3 * usual, 5.0) or float(good.t_s[-1]) - at < 1.0:
        return None
    others = [end for i, (end, _) in ends_of_logs(data).items() if i != data.source["pack_current_A"]]
    stopped = [end for end in others if abs(end - at) < TOGETHER_S]
    rest_of_log = good.x[(good.t_s > at + 0.2) & (good.t_s <= at + 0.2 + WORKING_S)]
    after = float(np.median(rest_of_log))
    before_match = good.x[good.t_s < data.window.start_s - 1.0]
    idle = float(np.median(before_match)) if len(before_match) > 20 else None
    error = 3.0 * float(np.std(rest_of_log)) / math.sqrt(max(len(rest_of_log), 1))
    quieter = idle is not None and after < idle - max(error, 0.03)
    taps = [s for n, s in data.signals.items() if n.endswith("_voltage_V") and not n.startswith(("pack", "cell"))]
    answered = any(len(s.between(at + 0.3, at + 2.0).good()) > 2 for s in taps if "_rail_" not in s.channel)
    if answered or not len(rest_of_log):  # a tap beyond the disconnect that still speaks has shown no opening
        return None
    if not stopped and not quieter:  # a robot that stands still still draws its idle current
        return None
    volts = data.get("pack_voltage_V")
    evidence = [f"pack current from {drawn:.0f} A to nothing within {max(good.period_s, 0.001) * 2:.2g} s"]
    rest, loaded = mean_between(volts, at + 0.5, at + 3.0), mean_between(volts, at - 0.3, at)
    if rest is not None and loaded is not None:
        evidence.append(f"pack at rest with {rest:.1f} V ({loaded:.1f} V before): no sag, the pack is well")
    sure = "likely" if stopped else "possible"
    run = tree(data.build).roots[0] if data.build is not None and tree(data.build).roots else ""
    return _lost(data, run, current.channel, at, drawn, sure, (*evidence, *_others(data, at)))


def _ended_by_hand(data: MatchData) -> Finding | None:
    """Every log ends under load and the match file says that it was the disconnect."""
    by = ((data.match.ended_by or "") if data.match is not None else "").lower()
    if data.window is None or not any(
        word in by for word in ("disconnect", "removable link", "lost power", "no power")
    ):
        return None
    ends = ends_of_logs(data)
    if not ends:
        return None
    last = max(end for end, _ in ends.values())
    loaded = [s for _, signals in ends.values() for s in signals if loaded_at_end(s)]
    if not loaded or last < data.window.end_s - TOGETHER_S or any(last - end > TOGETHER_S for end, _ in ends.values()):
        return None
    drawn = sum(float(s.x[-1]) for s in loaded if s.channel.endswith("input_current_A")) or float(loaded[0].x[-1])
    run = tree(data.build).roots[0] if data.build is not None and tree(data.build).roots else ""
    evidence = (
        f"{len(ends)} of {len(ends)} logs end within {TOGETHER_S:g} s, with {drawn:.0f} A flowing",
        f"the match file says it ended by: {by}",
        "a logger that was stopped looks the same: log the pack ahead of the disconnect",
    )
    return _lost(data, run, loaded[0].channel, last, drawn, "likely", evidence)


def loaded_at_end(s: Signal) -> bool:
    """Whether a current of the supply still flowed at a log's last stamps."""
    if not s.channel.endswith(("input_current_A", "pack_current_A")):
        return False
    good = s.good()
    if len(good) < 10:
        return False
    level = LOADED_SHARE * float(np.percentile(np.abs(good.x), 95))
    tail = good.x[good.t_s >= good.t_s[-1] - max(0.2, 2 * good.period_s)]
    return float(np.mean(np.abs(tail))) > max(level, 1.0)


def main_part(data: MatchData, run: str) -> str:
    """The disconnect where the run has one, else the run."""
    if data.build is None or run not in (runs := tree(data.build).runs):
        return run or "pack"
    return next((c.id for c in runs[run].contacts if c.kind == "disconnect"), run)


def _lost(
    data: MatchData, run: str, channel: str, at_s: float, drawn: float, sure: str, evidence: tuple[str, ...]
) -> Finding:
    wiring = tree(data.build) if data.build is not None else None
    return Finding(
        kind="power_loss",
        cause="disconnect_opened",
        part=main_part(data, run),
        channel=channel,
        start_s=at_s,
        end_s=at_s,
        measured=drawn,
        low=drawn,
        high=drawn,
        unit="A",
        verdict="fault",
        confidence=sure,  # type: ignore[arg-type]
        could_be=candidates_of(wiring, (run,)) if wiring is not None and run in wiring.runs else (),
        evidence=evidence,
        check="power",
        occurrences=(Occurrence(at_s, at_s, drawn),),
    )
