"""A current held against a rating by window length, and every stretch in which it was past it."""

from __future__ import annotations

import numpy as np

from analysis.covered import if_seen, unseen
from analysis.envelope import Envelope, RatedWindow, against_rating, envelope
from analysis.findings import NotChecked, Occurrence, Passed
from analysis.match_data import MatchData
from analysis.outcome import Held, Row, judge
from analysis.pack_model import NotFitted
from analysis.sampling import too_slow
from analysis.signal import Measured, Signal


def envelope_of(data: MatchData, signal: Signal) -> Envelope | NotFitted:
    """The envelope of a current over the match window, A by window in s, made once; NotFitted where none can be."""
    key = f"envelope:{signal.channel}"
    if data.signals.get(signal.channel) is not signal:
        # A run's current made from another channel (a regulator's input from its rail) bears that channel's name.
        key = f"{key}:{id(signal)}"  # it lives as long as this memo does, among its currents
    if key not in data.memo:
        start, end = (data.window.start_s, data.window.end_s) if data.window is not None else (-np.inf, np.inf)
        lean = bool(data.memo.get("rows only"))  # a candidate's replay: no picture, only windows that are rated
        shortest = data.settings.shortest_window_s if lean else 0.0
        data.memo[key] = envelope(signal, start, end, shortest_s=shortest, means=not lean)
    found: Envelope | NotFitted = data.memo[key]
    return found


def occurrences(signal: Signal, window_s: float, limit: float, span: tuple[float, float]) -> tuple[Occurrence, ...]:
    """Every separate stretch in which the r.m.s. over that window exceeds the limit, with its highest."""
    good = signal.good().between(*span)
    if len(good) < 3 or good.period_s <= 0:
        return ()
    t = good.t_s
    area = np.concatenate(([0.0], np.cumsum(np.square(good.x)))) * good.period_s
    n = max(1, round(window_s / good.period_s))
    if n >= len(t):
        return ()
    rms = np.sqrt(np.maximum(area[n:] - area[:-n], 0.0) / (n * good.period_s))
    over = rms > limit
    if not over.any():
        return ()
    edges = np.flatnonzero(np.diff(np.concatenate(([False], over, [False])).astype(np.int8)))
    found: list[Occurrence] = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        start, end = float(t[a]), float(t[min(b - 1 + n, len(t) - 1)])
        high = float(rms[a:b].max())
        if found and start <= found[-1].end_s:
            found[-1] = Occurrence(found[-1].start_s, end, max(high, found[-1].measured or high))
        else:
            found.append(Occurrence(start, end, high))
    return tuple(found)


def by_duration(
    data: MatchData,
    signal: Signal,
    held: Held,
    rating: tuple[float | None, float | None, float | None],
    windows: tuple[float, float],
    at_least: bool = False,
) -> Row:
    """One rating (burst_A, burst_s, continuous_A) held over windows of windows[0] s up to (not including) windows[1] s.

    at_least: the current is a lower bound. Not checked where the log is too slow or too short, or missed an end of
    the match.
    """
    env = envelope_of(data, signal)
    if isinstance(env, NotFitted):
        return NotChecked(held.check, held.part, env.reason, env.mend)
    keep = (env.window_s >= windows[0] * (1 - 1e-6)) & (env.window_s < windows[1] * (1 - 1e-6))
    if signal.period_s > 1.2 * windows[0]:
        return too_slow(held.check, held.part, signal, 1.0 / windows[0])
    if not keep.any():
        length = float(env.window_s[-1])
        return NotChecked(
            held.check,
            held.part,
            f"the log covers {length:.0f} s; this needs {windows[0]:g} s",
            "log the whole match",
        )
    part = Envelope(
        env.channel,
        env.window_s[keep],
        env.rms_A[keep],
        env.rms_low[keep],
        env.rms_high[keep],
        env.mean_A[keep],
        env.at_s[keep],
        env.at_least[keep],
        env.basis,
    )
    rated = against_rating(part, *rating, continuous_from_s=data.settings.continuous_window_s)
    if isinstance(rated, NotFitted):
        return NotChecked(held.check, held.part, rated.reason, rated.mend)
    worst = rated.surest_over or rated.worst
    if rated.surest_over is None and rated.worst.margin_pct.value > 0:
        worst = rated.least_sure if rated.least_sure.margin_pct.low <= 0 else rated.worst
    return _judged(data, signal, held, worst, at_least)


def _judged(data: MatchData, signal: Signal, held: Held, worst: RatedWindow, at_least: bool) -> Row:
    full = Held(
        held.check,
        held.part,
        worst.limit_A,
        0.0,
        "A",
        held.source,
        held.kind,
        "max",
        held.channel,
        held.from_memory,
        held.cause,
    )
    span = (worst.at_s, worst.at_s + worst.window_s)
    window = (data.window.start_s, data.window.end_s) if data.window is not None else (-np.inf, np.inf)
    figure = Measured(
        worst.measured.value,
        worst.measured.low,
        worst.measured.high,
        f"worst r.m.s. over {worst.window_s:.3g} s",
    )
    row = judge(
        full,
        figure,
        span,
        data.settings,
        at_least=at_least,
        mend="use a sensor with a larger range" if bool(signal.clipped.any()) else "log every load below it",
        occurrences=occurrences(signal, worst.window_s, worst.limit_A, window),
        facts={"window_s": worst.window_s},
        note=f"at {worst.window_s:.3g} s",
    )
    seen = signal.good().between(*window)
    return if_seen(row, full, figure, unseen(data, seen, ends_only=True) if isinstance(row, Passed) else "")
