"""Channels that a whole match long cannot have measured what they are named for: left out of every check, and told.

A sensor that stands on one value while the robot works, a tap that no pack of so many cells can have, a part far
colder than the air around it. A figure from such a channel would pass a part, or condemn it, for nothing; "not
checked" is the answer instead. A channel that stands still because nothing happened is healthy, and stays.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.current_mixup import mixed_up
from analysis.current_scales import contradicting
from analysis.findings import NotChecked, QualityNote
from analysis.match_data import MatchData
from analysis.sensor_faults import runs
from analysis.signal import Signal
from ingest.channels import Channel, parse_channel

# Our choices. Fewer samples than this, or a shorter stretch, may all be alike by chance.
FEWEST, SHORTEST_S = 64, 5.0
# A reading whose last digit changes at half of all samples or more does not rest through so many by chance (0.5^64).
HALTED, FLICKERS = 64, 0.5
# That much must have moved elsewhere before a still channel counts as stuck: a pack of 20 mΩ loses 0.4 V to 20 A, which
# any converter in use shows.
MOVED_A, MOVED_V, MOVED_PCT = 20.0, 1.0, 20.0
# ... and a current of this r.m.s. for half a minute warms whatever carries it by more than a tenth of a degree.
WARMS_A, WARMS_S = 5.0, 30.0
# A cell at rest or at work lies within these, V; outside, the channel has another unit or scale, or is dead (common
# practice, no source: 4.35 V is the fullest cell sold, below 2.0 V a cell is lost).
CELL_LOW_V, CELL_HIGH_V = 2.0, 4.5
# Nothing that hears a radio works below this, V (common practice, no source: the lowest receivers hold to 3.3 V).
RAIL_LOW_V = 2.0
# A part that works is no colder than the air it sits in; a sensor, and the air that is stated, may be off by so much.
COLDER_K = 15.0
TOLD = ("implausible", "frozen_values")


def without_unusable(data: MatchData) -> MatchData:
    """The same data without such channels, each with a quality note that says why."""
    notes: dict[str, QualityNote] = {}
    against = mixed_up(data) | contradicting(data)
    for name in data.signals:
        channel = parse_channel(name)
        seen = data.inside(name)
        if channel is None or seen is None or len(seen) < 2:
            continue
        told = _wrong_scale(data, channel, name, seen) or _stuck(data, channel, name, seen) or against.get(name, "")
        if told:
            code = "frozen_values" if told.startswith("one value") else "implausible"
            start, end = float(seen.t_s[0]), float(seen.t_s[-1])
            notes[name] = QualityNote(code, name, channel.part, start, end, f"{told}: left out of every check")
    kept = {name: signal for name, signal in data.signals.items() if name not in notes}
    for name in [n for n in kept if n.endswith("_temp_degC")]:
        found = _halted(data, name)
        if found is not None:
            kept[name], notes[name] = found
    if not notes:
        return data
    source = {name: index for name, index in data.source.items() if name in kept}
    quality = tuple(note for note in data.quality if note.channel not in notes) + tuple(notes.values())
    return replace(data, signals=kept, source=source, quality=quality, _inside={}, memo={})


def reasons_told(rows: tuple[NotChecked, ...], data: MatchData) -> tuple[NotChecked, ...]:
    """The same rows, with "was not logged" put right where the channel was logged and had to be left out."""
    left_out = {
        note.channel: note.note
        for note in data.quality
        if note.code in TOLD and note.channel and note.channel not in data.signals
    }
    out = []
    for row in rows:
        channel = row.reason.removesuffix(" was not logged")
        if channel != row.reason and channel in left_out:
            mend = f"look at the sensor of {channel}: its plug, name, unit and scale"
            row = NotChecked(row.check, row.part, f"{channel}: {left_out[channel]}", mend)
        out.append(row)
    return tuple(out)


def _wrong_scale(data: MatchData, channel: Channel, name: str, seen: Signal) -> str:
    """Why this cannot be a voltage of this pack, or a temperature of a part in this air; "" where it can."""
    if channel.quantity.kind == "temperature":
        air, off, source = data.air_degC
        if _of_a_working_part(data, name) and float(seen.x.max()) < air - off - COLDER_K:
            return f"never above {float(seen.x.max()):.3g} °C in air of {air:.0f} °C ({source}); is its unit right?"
        return ""
    if "_rail_voltage" in name and len(seen) >= FEWEST:
        high = float(np.percentile(data.signals[name].good().x, 99))
        return f"never above {high:.3g} V, on which nothing it feeds can work" if high < RAIL_LOW_V else ""
    if not _on_the_bus(name) or data.cells is None or len(data.packs) > 1 or len(seen) < FEWEST:
        return ""
    cells = 1 if name.startswith("cell") else data.cells
    # The whole log: what stood on the bus before a supply was lost, and not what braking drove it to for moments.
    good = data.signals[name].good()
    usual, high = float(np.median(good.x)), float(np.percentile(good.x, 99))
    if usual <= CELL_HIGH_V * cells and high >= CELL_LOW_V * cells:
        return ""
    level = usual if usual > CELL_HIGH_V * cells else high
    what = "a cell" if name.startswith("cell") else f"a pack of {cells} cells"
    return f"stands at {level:.3g} V, which {what} cannot have; is its unit right?"


def _stuck(data: MatchData, channel: Channel, name: str, seen: Signal) -> str:
    """Why a channel that shows one value only cannot have stood still; "" where it moved, or may have stood."""
    if len(seen) < FEWEST or seen.t_s[-1] - seen.t_s[0] < SHORTEST_S or float(np.ptp(seen.x)) > 0.0:
        return ""
    kind, mover = channel.quantity.kind, ""
    if kind == "temperature":
        mover = _warmed_by(data, channel.part) if _of_a_working_part(data, name) else ""
    elif kind == "voltage" and _on_the_bus(name):
        others = [n for n in data.signals if n != name and (_on_the_bus(n) or n.endswith("current_A"))]
        mover = next((n for n in others if _moved(data, n, 1 if n.startswith("cell") else 0)), "")
    elif kind == "current" and name == "pack_current_A":
        others = [n for n in data.signals if n.endswith("input_current_A") or _on_the_bus(n)]
        mover = next((n for n in others if _moved(data, n, 1 if n.startswith("cell") else 0)), "")
    elif kind == "current" and "_rail_" not in name:
        tails = ("command_pct", "duty_pct", "motor_current_A", "input_current_A")
        own = [f"{channel.part}_{tail}" for tail in tails]
        mover = next((n for n in own if n != name and n in data.signals and _moved(data, n)), "")
        if not mover and float(seen.x[0]) != 0.0:  # nothing at all may flow under command: a motor that is not there
            mover = next((n for n in own[:2] if _commanded(data, n)), "")
    elif name == "link_quality_pct" and float(seen.x[0]) == 0.0:  # who moves the commands, if nobody is heard?
        mover = next((n for n in data.signals if n.endswith("_command_pct") and _moved(data, n)), "")
    elif kind == "current" and float(seen.x[0]) == 0.0:
        rail = name.replace("current_A", "voltage_V")
        volts = data.inside(rail)
        mover = rail if volts is not None and float(np.median(volts.x)) > 2.0 else ""  # a receiver at work draws some
    return f"one value ({seen.x[0]:.4g}) through the match although {mover} shows it at work" if mover else ""


def _halted(data: MatchData, name: str) -> tuple[Signal, QualityNote] | None:
    """The signal without the stretch in which it rests on one value, where its last digit rests nowhere else."""
    signal = data.signals[name]
    same = np.concatenate([[False], (np.diff(signal.x) == 0.0) & signal.valid[1:] & signal.valid[:-1]])
    starts, ends = runs(same)
    if not len(starts):
        return None
    k = int(np.argmax(ends - starts))
    low, high = int(starts[k]), int(ends[k])
    others = np.delete(same[1:], slice(low - 1, high - 1))
    if high - low < HALTED or len(others) < FEWEST or float(np.mean(others)) > FLICKERS:
        return None
    if signal.t_s[high - 1] - signal.t_s[low] < SHORTEST_S:
        return None
    valid = signal.valid.copy()
    valid[low:high] = False
    start, end = float(signal.t_s[low]), float(signal.t_s[high - 1])
    told = f"one value ({signal.x[low]:.4g}) for {end - start:.0f} s, its last digit never rests elsewhere: left out"
    channel = parse_channel(name)
    part = channel.part if channel is not None else ""
    return replace(signal, valid=valid), QualityNote("frozen_values", name, part, start, end, told)


def _on_the_bus(name: str) -> bool:
    """A voltage that sags with the pack: not the receiver's rail, nor what only repeats others."""
    return name.endswith("_voltage_V") and "_rail_" not in name and name != "receiver_voltage_V"


def _of_a_working_part(data: MatchData, name: str) -> bool:
    build = data.build
    parts = () if build is None else (*(c.id for c in build.controllers), *(m.id for m in build.motors))
    return name == "pack_temp_degC" or any(name == f"{part}_temp_degC" for part in parts)


def _moved(data: MatchData, name: str, cell: int = 0) -> bool:
    seen = data.inside(name)
    if seen is None or len(seen) < FEWEST:
        return False
    low, high = np.quantile(seen.x, (0.01, 0.99))
    if name.endswith("_pct"):
        return bool(high - low > MOVED_PCT)
    if name.endswith("_A"):
        return bool(high - low > MOVED_A)
    return bool(high - low > (MOVED_V / 4.0 if cell else MOVED_V))


def _commanded(data: MatchData, name: str) -> bool:
    seen = data.inside(name)
    return seen is not None and float(np.quantile(np.abs(seen.x), 0.95)) > MOVED_PCT


def _warmed_by(data: MatchData, part: str) -> str:
    """A current that must have warmed the part: its own controller's, else the pack's; "" where none did."""
    build = data.build
    motors = () if build is None else tuple(m.controller for m in build.motors if m.id == part)
    own = motors[0] if motors else part
    for name in (f"{own}_motor_current_A", f"{own}_input_current_A", "pack_current_A"):
        seen = data.inside(name)
        if seen is None or len(seen) < FEWEST or seen.t_s[-1] - seen.t_s[0] < WARMS_S:
            continue
        return name if float(np.sqrt(np.mean(np.square(seen.x)))) > WARMS_A else ""
    return ""
