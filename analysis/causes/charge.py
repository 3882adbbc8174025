"""How full the pack was: not charged before the match, or used up in it."""

from __future__ import annotations

import numpy as np

from analysis.findings import Finding, Occurrence
from analysis.match_data import MatchData
from analysis.pack_check import pack_fit
from analysis.pack_model import PackFit
from analysis.signal import Floats, Measured, Signal

# Rest before the match: this much of it, ending just before the robot moves (our choice: trials stand in it too).
REST_FOR_S = 6.0
REST_ENDS_S = 0.3
LEAST_REST_S = 1.0
HEAD_S = 2.0
STILL_CELL_V = 0.005
# A tap whose accuracy is not stated (our choice: makers of loggers and controllers give 0.5 to 1 %).
TAP_REL = 0.005
# Under this at rest a lithium-polymer cell has some tenth of its charge left and falls steeply (common practice, no
# source; the curves that makers print bend between 3.5 and 3.7 V).
KNEE_CELL_V = 3.60
BIN_S = 0.5
EMPTY_FOR_S = 2.0
CURVES = ("lithium-polymer", "lithium-polymer-hv")


def detect(data: MatchData) -> list[Finding]:
    """A pack that was not full at the start, and one that was empty at the end."""
    return [f for f in (not_full(data), pack_empty(data)) if f is not None]


def rest_signals(data: MatchData) -> list[tuple[str, Signal, int]]:
    """What shows the pack's voltage at rest, nearest first: (channel, signal, cells in it)."""
    cells = data.cells
    if cells is None or (data.build is not None and len(data.build.packs) > 1):
        return []
    names = ["pack_voltage_V", "distribution_voltage_V"]
    names += [f"{c.id}_voltage_V" for c in (data.build.controllers if data.build is not None else ())]
    found = [(n, data.signals[n], cells) for n in names[:1] if n in data.signals]
    found += [(n, s, 1) for n, s in data.signals.items() if n.startswith("cell") and n.endswith("_voltage_V")]
    return found + [(n, data.signals[n], cells) for n in names[1:] if n in data.signals]


def rest_before(data: MatchData) -> tuple[str, Measured] | None:
    """(channel, volts a cell) at rest before the match; cells logged singly give the mean of all of them."""
    if data.window is None:
        return None
    start, end = data.window.start_s - REST_FOR_S, data.window.start_s - REST_ENDS_S
    signals = rest_signals(data)
    if signals and signals[0][1].t_s[0] >= start + REST_FOR_S - REST_ENDS_S - LEAST_REST_S:
        # Nothing in the log shows when the match began: its head is a rest where it is as still as one.
        start = float(signals[0][1].t_s[0])
        end = start + HEAD_S
        if not all(_still(s.between(start, end).good(), cells) for _, s, cells in signals):
            return None
    per_cell: list[tuple[str, float, float]] = []
    for name, signal, cells in signals:
        before = signal.between(start, end).good()
        if len(before) < 5 or before.t_s[-1] - before.t_s[0] < LEAST_REST_S:
            continue
        # Trials pull it down and nothing pushes it up, so the upper part of it is the rest.
        value = float(np.percentile(before.x, 70)) / cells
        if value < 2.5:  # not yet plugged in
            continue
        spread = value * max(2.0 * signal.gain_rel, TAP_REL) + 2.0 * signal.noise / cells / np.sqrt(len(before))
        per_cell.append((name, value, float(spread)))
        if not name.startswith("cell"):
            break
    if not per_cell:
        return None
    if per_cell[0][0].startswith("cell"):
        ones = [row for row in per_cell if row[0].startswith("cell")]
        per_cell = [(ones[0][0], float(np.mean([v for _, v, _ in ones])), max(s for _, _, s in ones))]
    name, value, spread = per_cell[0]
    return name, Measured(value, value - spread, value + spread, f"{name} at rest before the match")


def _still(signal: Signal, cells: int) -> bool:
    """Whether a voltage moves no more than a resting pack's does."""
    if len(signal) < 8 or signal.t_s[-1] - signal.t_s[0] < LEAST_REST_S:
        return False
    return float(np.std(signal.x)) / cells < STILL_CELL_V + 3.0 * signal.noise / cells


def not_full(data: MatchData) -> Finding | None:
    """The pack rested clearly under its full voltage before the match."""
    pack = data.pack
    found = rest_before(data)
    if found is None or pack is None or pack.full_cell_V is None or data.window is None:
        return None
    if pack.chemistry not in CURVES:
        return None
    name, rest = found
    full = pack.full_cell_V
    limit = data.settings.not_full_cell_V + (full - 4.2)
    if rest.high >= limit:
        return None
    start = data.window.start_s
    state = data.memo.get("charge_state")
    charge = getattr(getattr(state, "start_pct", None), "value", None)
    about = f": about {charge:.0f} % charged" if charge is not None else ""
    return Finding(
        kind="voltage_sag",
        cause="not_full",
        part="pack",
        channel=name,
        start_s=start,
        end_s=start,
        measured=rest.value * pack.cells,
        low=rest.low * pack.cells,
        high=rest.high * pack.cells,
        unit="V",
        verdict="note",
        confidence="likely",
        limit=full * pack.cells,
        evidence=(f"{rest.value:.2f} V a cell at rest before the match{about}",),
        rating_source=f"full voltage of {pack.chemistry}",
        check="charge_at_start",
    )


def pack_empty(data: MatchData) -> Finding | None:
    """The voltage without its sag falls over the knee and stays there: charge is used up, whatever the load."""
    pack, window = data.pack, data.window
    if pack is None or window is None or pack.chemistry not in CURVES:
        return None
    made = _rest_over_time(data)
    if made is None:
        return None
    t, rest, how = made
    rest = rest / pack.cells
    under = rest < KNEE_CELL_V
    if not under.any():
        return None
    above = np.flatnonzero(~under)
    first = int(above[-1]) + 1 if len(above) else 0  # from here to the end it never came back
    if first >= len(t) or t[-1] - t[first] + BIN_S < EMPTY_FOR_S:
        return None
    value = float(np.median(rest[first:]))
    start, end = float(t[first]), float(t[-1])
    state = data.memo.get("charge_state")
    left = getattr(getattr(state, "end_counted_pct", None), "value", None)
    evidence = [f"{value:.2f} V a cell without the sag ({how}), and no recovery when the load went"]
    if left is not None:
        evidence.append(f"about {max(left, 0.0):.0f} % left by the charge counted")
    return Finding(
        kind="voltage_sag",
        cause="pack_empty",
        part="pack",
        channel="pack_voltage_V",
        start_s=start,
        end_s=end,
        measured=value * pack.cells,
        low=float(np.percentile(rest[first:], 5)) * pack.cells,
        high=float(np.percentile(rest[first:], 95)) * pack.cells,
        unit="V",
        verdict="note",
        confidence="likely",
        limit=KNEE_CELL_V * pack.cells,
        evidence=tuple(evidence),
        rating_source=f"{KNEE_CELL_V:g} V a cell at rest (common practice, no source)",
        check="pack_empty",
        occurrences=(Occurrence(start, end, value * pack.cells),),
    )


def _rest_over_time(data: MatchData) -> tuple[Floats, Floats, str] | None:
    """Pack voltage with the sag put back, in bins from the start of the match to the end of the log."""
    volts, current = data.get("pack_voltage_V"), data.get("pack_current_A")
    assert data.window is not None
    if volts is None:
        return None
    gone = data.memo.get("power_gone")
    end = float(volts.t_s[-1]) if gone is None else data.window.end_s
    v = volts.between(data.window.start_s, end).good()
    if len(v) < 10 or v.period_s > BIN_S:
        return None
    edges = np.arange(float(v.t_s[0]), float(v.t_s[-1]) + BIN_S, BIN_S)
    if len(edges) < 8:
        return None
    mid, mean = 0.5 * (edges[:-1] + edges[1:]), _binned(v, edges)
    if current is None or not data.same_clock("pack_voltage_V", "pack_current_A"):
        top = np.maximum.accumulate(mean[::-1])[::-1]  # the highest it ever comes back to
        return mid, top, "the highest that it came back to"
    fit = pack_fit(data)
    stated = data.pack.resistance_mohm if data.pack is not None else None
    one = fit.at(10.0) or fit.at(1.0) if isinstance(fit, PackFit) else None
    mohm = one.value if one is not None else stated
    if mohm is None:
        return None
    return mid, mean + 1e-3 * mohm * _binned(current.good(), edges), f"its own {mohm:.0f} mΩ put back"


def _binned(s: Signal, edges: Floats) -> Floats:
    at = np.searchsorted(s.t_s, edges)
    sums = np.concatenate(([0.0], np.cumsum(s.x)))
    count = np.diff(at)
    mid = 0.5 * (edges[:-1] + edges[1:])
    return np.where(count > 0, (sums[at[1:]] - sums[at[:-1]]) / np.maximum(count, 1), np.interp(mid, s.t_s, s.x))
