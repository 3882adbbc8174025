"""Power that went away: disconnect, fuse, a logger that stopped, a controller that restarted.

What still runs tells them apart: a log that is fed before the disconnect goes on and sees the pack at rest; behind
a fuse only one branch is dead; a controller that restarted counts its uptime from zero again. A log that simply
ends is a possible disconnect, never a certain one.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.findings import Finding, Occurrence
from analysis.match_data import MatchData
from analysis.signal import Signal
from analysis.spans import mean_between, min_between

# Our choices: logs of one robot stop within half a second of each other when their supply goes; power that ends
# while less than this share of the usual current flows is a switch-off.
TOGETHER_S = 0.7
LOADED_SHARE = 0.15
REST_A = 1.5
# A log slower than this cannot tell a switch that opens from a driver who lets go (our choice: 20 Hz).
SHARPEST_S = 0.051


def detect(data: MatchData) -> list[Finding]:
    gone = power_gone(data)
    return [*([gone] if gone is not None else []), *_restarts(data)]


def power_gone(data: MatchData) -> Finding | None:
    """Everything behind the disconnect off at once, made once (the match window ends there)."""
    if "power_gone" not in data.memo:
        data.memo["power_gone"] = _all_ended(data)
    found: Finding | None = data.memo["power_gone"]
    return found


def _ends(data: MatchData) -> dict[int, tuple[float, list[Signal]]]:
    """Last stamp of every placed log with its signals, on the whole log and not the window."""
    found: dict[int, tuple[float, list[Signal]]] = {}
    for name, signal in data.signals.items():
        index = data.source[name]
        if len(signal) and data.placed[index].placed:
            last, signals = found.get(index, (-np.inf, []))
            found[index] = (max(last, float(signal.t_s[-1])), [*signals, signal])
    return found


def _all_ended(data: MatchData) -> Finding | None:
    """Everything behind the main disconnect stopped at once, under load."""
    pack_current = data.get("pack_current_A")
    opened = _current_stopped(data, pack_current) if pack_current is not None else None
    if opened is not None:
        return opened
    if data.window is None:
        return None
    ends = _ends(data)
    if not ends:
        return None
    last = max(end for end, _ in ends.values())
    running = [
        s for _, signals in ends.values() for s in signals if s.channel.endswith(("input_current_A", "pack_current_A"))
    ]
    loaded = [s for s in running if _loaded_at_end(s)]
    if not loaded or last < data.window.end_s - TOGETHER_S:
        return None
    together = [end for end, _ in ends.values() if last - end < TOGETHER_S]
    share = len(together) / len(ends)
    stated = data.match.ended_s if data.match is not None else None
    drawn = sum(float(s.x[-1]) for s in loaded)
    evidence = [f"{len(together)} of {len(ends)} logs end within {TOGETHER_S:g} s, with {drawn:.0f} A flowing"]
    if stated is not None:
        evidence.append(f"the match file says it ended at {stated:g} s ({data.match.ended_by or 'not said how'})")  # type: ignore[union-attr]
    if share < 0.99 and len(ends) > 1:
        return None
    by = (data.match.ended_by or "").lower() if data.match is not None else ""
    sure = "likely" if "disconnect" in by else "possible"
    return Finding(
        kind="power_loss",
        cause="disconnect_opened",
        part=_main_run(data) or "pack",
        channel=loaded[0].channel,
        start_s=last,
        end_s=last,
        measured=drawn,
        low=drawn,
        high=drawn,
        unit="A",
        verdict="fault",
        confidence=sure,  # type: ignore[arg-type]
        could_be=_switch_candidates(data),
        evidence=(*evidence, "a logger that was stopped looks the same: log the pack ahead of the disconnect"),
        check="power",
        occurrences=(Occurrence(last, last, drawn),),
    )


def _loaded_at_end(s: Signal) -> bool:
    good = s.good()
    if len(good) < 10:
        return False
    level = LOADED_SHARE * float(np.percentile(np.abs(good.x), 95))
    tail = good.x[good.t_s >= good.t_s[-1] - max(0.2, 2 * good.period_s)]
    return float(np.mean(np.abs(tail))) > max(level, 1.0)


def _current_stopped(data: MatchData, current: Signal) -> Finding | None:
    """A pack log that goes on: current falls to nothing within a sample or two and stays there; volts go to rest."""
    good = current.good()
    if len(good) < 50 or data.window is None:
        return None
    idle = float(np.percentile(good.x, 2))
    x = good.x - min(idle, 0.0)
    flowing = np.flatnonzero(x > REST_A)
    if not len(flowing) or flowing[-1] >= len(x) - 2:
        return None
    last = int(flowing[-1])
    at = float(good.t_s[last])
    before = x[(good.t_s > at - 0.3) & (good.t_s <= at)]
    drawn = float(np.median(before[-5:])) if len(before) else 0.0
    usual = float(np.percentile(x[x > REST_A], 50))
    quiet_for = float(good.t_s[-1]) - at
    if drawn < max(0.3 * usual, 5.0) or quiet_for < 1.0:
        return None
    others = {i: end for i, (end, _) in _ends(data).items() if i != data.source["pack_current_A"]}
    stopped = [end for end in others.values() if abs(end - at) < TOGETHER_S]
    alive = [end for end in others.values() if end > at + TOGETHER_S]
    if good.period_s > SHARPEST_S:
        return None
    after = float(np.median(good.x[good.t_s > at + 0.2]))
    before_match = good.x[good.t_s < data.window.start_s - 1.0]
    idle = float(np.median(before_match)) if len(before_match) > 20 else None
    rest_of_log = good.x[good.t_s > at + 0.2]
    error = 3.0 * float(np.std(rest_of_log)) / math.sqrt(max(len(rest_of_log), 1))
    quieter = idle is not None and after < idle - max(error, 0.03)
    if not stopped and not quieter:  # a robot that stands still after the match still draws its idle current
        return None
    volts = data.get("pack_voltage_V")
    evidence = [f"pack current from {drawn:.0f} A to nothing within {max(good.period_s, 0.001) * 2:.2g} s"]
    rest = mean_between(volts, at + 0.5, at + 3.0)
    loaded = mean_between(volts, at - 0.3, at)
    if rest is not None and loaded is not None:
        evidence.append(f"pack at rest with {rest:.1f} V ({loaded:.1f} V before): no sag, the pack is well")
    if stopped:
        evidence.append(f"{len(stopped)} other logs end with it")
    if alive:
        evidence.append(f"{len(alive)} logs go on: they are fed elsewhere or hold charge")
    return Finding(
        kind="power_loss",
        cause="disconnect_opened",
        part=_main_run(data) or "pack",
        channel=current.channel,
        start_s=at,
        end_s=at,
        measured=drawn,
        low=drawn,
        high=drawn,
        unit="A",
        verdict="fault",
        confidence="likely" if stopped or rest is not None else "possible",
        could_be=_switch_candidates(data),
        evidence=tuple(evidence),
        check="power",
        occurrences=(Occurrence(at, at, drawn),),
    )


def _main_run(data: MatchData) -> str | None:
    if data.build is None:
        return None
    for contact in data.build.contacts:
        if contact.kind == "disconnect":
            return contact.id
    starts = {slot.id for slot in data.build.packs} | {"pack"}
    return next((wire.id for wire in data.build.wires if wire.from_ in starts), None)


def _switch_candidates(data: MatchData) -> tuple[str, ...]:
    if data.build is None:
        return ()
    main = {slot.id for slot in data.build.packs} | {"pack"}
    for wire in data.build.wires:
        if wire.from_ in main:
            return tuple(dict.fromkeys((*wire.through, wire.id)))
    return ()


def _restarts(data: MatchData) -> list[Finding]:
    """A controller whose uptime starts again within the match."""
    found = []
    for name in data.signals:
        if not name.endswith("_uptime_s") or (signal := data.inside(name)) is None or len(signal) < 3:
            continue
        back = np.flatnonzero(np.diff(signal.x) < -1.0)
        if not len(back):
            continue
        part = name.removesuffix("_uptime_s")
        controller = next((c for c in data.build.controllers if c.id == part), None) if data.build else None
        volts = data.get(f"{part}_voltage_V")
        places = []
        evidence: list[str] = []
        low_enough = False
        for index in back:
            at = float(signal.t_s[index + 1])
            places.append(Occurrence(float(signal.t_s[index]), at, None))
            lowest = min_between(volts, at - 1.5, at)
            if lowest is not None:
                evidence.append(f"input down to {lowest:.1f} V before it")
                minimum = controller.minimum_V if controller is not None else None
                low_enough |= minimum is not None and lowest < minimum
        found.append(
            Finding(
                kind="power_loss",
                cause="undervoltage_restart",
                part=part,
                channel=name,
                start_s=places[0].start_s,
                end_s=places[0].end_s,
                measured=None,
                low=None,
                high=None,
                unit="V",
                verdict="fault",
                confidence="certain" if low_enough else "likely",
                evidence=("its uptime starts again", *evidence),
                check="power",
                occurrences=tuple(places),
            )
        )
    return found
