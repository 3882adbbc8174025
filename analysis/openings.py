"""Where a run stands open: its two ends part although nothing flows in it.

Closed, a run that carries nothing has the same voltage at both ends, whatever the loads do. Open, the side of the
pack rests and the far side falls: at once, or with the speed of a weapon that feeds it. So two voltages and the
current together tell an opened disconnect, plug or fuse from a driver who lets go.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.match_data import MatchData
from analysis.signal import Bools, Floats, Signal
from analysis.stated_path import run_mohm
from analysis.wiring import NoCurrent, RunCurrent, Tree, currents_of, tree

# Our choices. Standby of controllers and radio is under this; a regulator at work draws more.
NOTHING_A = 0.25
# Far beyond what two taps of 0.5 % disagree by under load; a bus that has lost its pack passes it in milliseconds.
APART_V = 0.5
# What the runs between two taps may have, so that a load beside this run is not taken for its opening; more where the
# build states longer or thinner ones, with copper at 200 °C (IEC 60028: 71 % more than at 20 °C) and worn contacts.
SHARED_OHM = 0.030
HOT_AND_WORN = 2.0
# Two sound taps of one voltage lie closer than this at rest, whatever their zero errors.
TAPS_DISAGREE_V = 3.0
# A pack that loses its load rises; so little may be its knee and the sensor.
UNHELD_V = 2.5
BLOCK_S = 0.2
SLOWEST_S = 0.6
LASTING_S = 1.0
JOIN_S = 0.03


@dataclass(frozen=True)
class Opening:
    """One time that a run stood open. end_s is the last stamp it was seen open; lasting: it never closed again.

    before_A: what flowed just before; apart_V: the largest voltage across it; tap: the channel on the far side.
    alone: no tap on the pack's side; told by a voltage that falls although its load went.
    """

    run: str
    start_s: float
    end_s: float
    lasting: bool
    before_A: float
    apart_V: float
    tap: str
    current: str
    samples: int
    alone: bool = False


def openings(data: MatchData) -> tuple[Opening, ...]:
    """Every opening of every run that two voltages and its own current span; made once."""
    if "openings" not in data.memo:
        data.memo["openings"] = tuple(_find(data))
    found: tuple[Opening, ...] = data.memo["openings"]
    return found


def _find(data: MatchData) -> list[Opening]:
    if data.build is None:
        return []
    wiring = tree(data.build)
    currents = currents_of(data, wiring)
    found: list[Opening] = []
    for run in wiring.runs.values():
        current = currents.get(run.id)
        if run.is_motor_lead or not isinstance(current, RunCurrent) or not current.logged:
            continue
        above = _above(data, wiring, run.id)
        below = _below(data, wiring, run.id)
        if above is None or below is None:
            continue
        shared = _shared(wiring, currents, run.id, above)
        if shared is None and above != f"{run.wire.from_}_voltage_V":
            continue  # what lies between drops volts that nobody knows
        ohm = _shared_ohm(wiring, run.id, above)
        found += _of_run(data, run.id, current.signal, data.signals[above], data.signals[below], shared, ohm)
    if not any(o.run in wiring.roots for o in found):
        found += [o for root in wiring.roots if (o := _unpowered(data, wiring, currents, root)) is not None]
    # What hangs below an opened run is dead with it, and no opening of its own.
    parents = [o for o in found if any(o.run != x.run and x.run in set(wiring.below(o.run)) for x in found)]
    return [o for o in found if not any(o.run in set(wiring.below(p.run)) - {p.run} and _during(o, p) for p in parents)]


def _unpowered(data: MatchData, wiring: Tree, currents: dict[str, RunCurrent | NoCurrent], root: str) -> Opening | None:
    """The main path open to the end of a log that has no tap on the pack's side.

    A pack that loses its load rises. Where all branches together draw nothing and the bus falls far under what it
    had under load, no pack holds it: what still turns feeds it.
    """
    flow, below = currents.get(root), _below(data, wiring, root)
    if not isinstance(flow, RunCurrent) or below is None or _above(data, wiring, root) is not None:
        return None
    loads = [wiring.runs[r].wire.to for r in wiring.below(root) if not wiring.runs[r].children]
    ends = {c.id for c in data.build.controllers} & set(loads) if data.build is not None else set()
    names = [f"{end}_input_current_A" for end in ends]
    if not names or any(n not in data.signals for n in names) or not data.same_clock(below, *names):
        return None
    i, v = flow.signal.good(), data.signals[below].good()
    if len(i) < 50 or len(v) < 50 or max(i.period_s, v.period_s) > SLOWEST_S:
        return None
    t = i.t_s[(i.t_s >= v.t_s[0]) & (i.t_s <= v.t_s[-1])]
    x, volts = np.abs(_held(i, t)), _held(v, t)
    width = max(3, round(BLOCK_S / i.period_s))
    whole = len(t) // width * width
    if whole < 10 * width:
        return None
    level = max(2.0, 4.0 * i.noise)
    blocks = np.flatnonzero(np.median(x[:whole].reshape(-1, width), axis=1) > level)
    last = int(blocks[-1] + 1) * width if len(blocks) else 0
    flowing = np.flatnonzero(x[:last] > level)
    if not len(flowing) or len(t) - flowing[-1] < 5:
        return None
    a = int(flowing[-1]) + 1
    before = float(np.median(volts[(t >= t[a] - 2.0) & (t < t[a])]))
    fallen = before - float(np.median(volts[-5:]))
    if t[-1] - t[a] < LASTING_S or fallen < max(UNHELD_V, 0.1 * before):
        return None
    drawn = float(x[max(0, a - 3) : a].max())
    return Opening(root, float(t[a]), float(t[-1]), True, drawn, fallen, below, names[0], len(t) - a, alone=True)


def _during(a: Opening, b: Opening) -> bool:
    return a.start_s <= b.end_s + 0.2 and a.end_s >= b.start_s - 0.2


def _above(data: MatchData, wiring: Tree, run_id: str) -> str | None:
    """The nearest voltage on the side of the pack."""
    here: str | None = run_id
    while here is not None:
        name = f"{wiring.runs[here].wire.from_}_voltage_V"
        if name in data.signals:
            return name
        here = wiring.parent_of(here)
    return None


def _below(data: MatchData, wiring: Tree, run_id: str) -> str | None:
    """The nearest voltage on the far side: the run's own end, else the fastest of what hangs on it."""
    own = f"{wiring.runs[run_id].wire.to}_voltage_V"
    if own in data.signals:
        return own
    names = [f"{wiring.runs[r].wire.to}_voltage_V" for r in wiring.below(run_id) if not wiring.runs[r].is_motor_lead]
    logged = [n for n in names if n in data.signals]
    return min(logged, key=lambda n: data.signals[n].period_s, default=None)


def _shared(wiring: Tree, currents: dict[str, RunCurrent | NoCurrent], run_id: str, above: str) -> Signal | None:
    """The current of the runs between the upper voltage and this run; None where that is its own node's or unknown."""
    if above == f"{wiring.runs[run_id].wire.from_}_voltage_V":
        return None
    parent = wiring.parent_of(run_id)
    current = currents.get(parent) if parent is not None else None
    if not isinstance(current, RunCurrent) or not current.complete:
        return None
    flow = current.signal.good()
    return flow if len(flow) > 1 else None


def _shared_ohm(wiring: Tree, run_id: str, above: str) -> float:
    """What the runs between the upper voltage and this run may have."""
    stated, here = 0.0, run_id
    while above != f"{wiring.runs[here].wire.from_}_voltage_V" and (parent := wiring.parent_of(here)) is not None:
        stated += run_mohm(wiring.runs[parent]) or 0.0
        here = parent
    return max(SHARED_OHM, HOT_AND_WORN * stated * 1e-3)


def _of_run(
    data: MatchData,
    run_id: str,
    current: Signal,
    above: Signal,
    below: Signal,
    shared: Signal | None,
    shared_ohm: float,
) -> list[Opening]:
    if not data.same_clock(current.channel, above.channel, below.channel):
        return []
    i, up = current.good(), above.good()
    if len(i) < 20 or len(up) < 20 or len(below) < 3 or max(i.period_s, up.period_s, below.period_s) > SLOWEST_S:
        return []
    slow = max((i, up), key=lambda s: s.period_s)
    t = slow.t_s[(slow.t_s >= max(i.t_s[0], up.t_s[0])) & (slow.t_s <= min(i.t_s[-1], up.t_s[-1]))]
    if len(t) < 20:
        return []
    (x, flows), (volts, fed) = _held_or_gone(i, t), _held_or_gone(up, t)
    down, known = _held_or_gone(below.good(), t)
    known &= flows & fed
    level = max(NOTHING_A, 4.0 * i.noise, 1.1 * _step(i))
    idle = np.abs(x) <= max(level, 1.0)
    apart = volts - down
    still = apart[idle & known & (np.abs(apart) < TAPS_DISAGREE_V)]
    usual = float(np.median(still)) if len(still) else 0.0
    limit = np.full(len(t), max(APART_V, 8.0 * float(np.hypot(up.noise, below.noise))))
    if shared is not None:
        limit += shared_ohm * np.abs(np.interp(t, shared.t_s, shared.x))
        known &= _held_or_gone(shared, t)[1]
    parted = known & (apart - usual > limit) & (volts > 1.0)
    nothing = np.abs(x) <= np.where(parted | ~known, 2.0 * level, level)
    seen = nothing & parted
    if not seen.any():
        return []
    return _grouped(run_id, t, x, apart - usual, nothing, seen, known, current.channel, below.channel)


def _grouped(
    run_id: str, t: Floats, x: Floats, apart: Floats, nothing: Bools, seen: Bools, known: Bools, channel: str, tap: str
) -> list[Opening]:
    """Stretches without current in which the ends were seen apart; where the far side fell silent it counts on."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], nothing, [False])).astype(np.int8)))
    total = np.concatenate(([0], np.cumsum(seen)))
    blind = np.concatenate(([0], np.cumsum(nothing & ~known)))
    period = float(np.median(np.diff(t)))
    found: list[Opening] = []
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        count = int(total[b] - total[a])
        # A run at rest for long stretches is only open from where its ends part.
        if count < 2 or count + int(blind[b] - blind[a]) < 0.5 * (b - a):
            inner = np.flatnonzero(seen[a:b])
            if len(inner) < 2:
                continue
            a, b = a + int(inner[0]), a + int(inner[-1]) + 1
            if int(total[b] - total[a]) < 0.6 * (b - a):
                continue
            lasting_here = False
        else:
            lasting_here = b == len(t)
        start, end = float(t[a]), float(t[b - 1])
        lasting = (lasting_here or b == len(t)) and end - start >= LASTING_S
        before = float(np.max(np.abs(x[max(0, a - 3) : a]))) if a else 0.0
        found.append(Opening(run_id, start, end, lasting, before, float(np.max(apart[a:b])), tap, channel, count))
    merged: list[Opening] = []
    for one in found:
        if merged and one.start_s - merged[-1].end_s <= max(JOIN_S, 1.5 * period) and one.before_A < 1.0:
            last = merged[-1]
            merged[-1] = Opening(
                run_id, last.start_s, one.end_s, one.lasting, last.before_A, max(last.apart_V, one.apart_V), tap,
                channel, last.samples + one.samples,
            )  # fmt: skip
        else:
            merged.append(one)
    return merged


def _held(s: Signal, t: Floats) -> Floats:
    """The sample nearest in time; no blending across an edge."""
    if s.t_s.shape == t.shape and bool(np.array_equal(s.t_s, t)):
        return s.x
    after = np.clip(np.searchsorted(s.t_s, t), 1, len(s) - 1)
    nearer = np.where(t - s.t_s[after - 1] <= s.t_s[after] - t, after - 1, after)
    return s.x[nearer]


def _held_or_gone(s: Signal, t: Floats) -> tuple[Floats, Bools]:
    """The same, and where a sample lies near enough to speak for that moment."""
    x = _held(s, t)
    if x is s.x:
        return x, np.ones(len(t), dtype=bool)
    after = np.clip(np.searchsorted(s.t_s, t), 1, len(s) - 1)
    gap = np.minimum(np.abs(t - s.t_s[after - 1]), np.abs(s.t_s[after] - t))
    return x, gap <= 1.5 * max(s.period_s, float(np.median(np.diff(t))))


def _step(s: Signal) -> float:
    values = np.unique(s.x[:: max(1, len(s) // 5000)])
    return float(np.median(np.diff(values))) if len(values) > 2 else 0.0
