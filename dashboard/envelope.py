"""The envelope as a drawing: worst r.m.s. current against window length, with the ratings that bound it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.envelope import Envelope
from analysis.findings import Review
from analysis.settings import DEFAULTS
from analysis.signal import Floats
from dashboard.ink import TONES, Canvas, Theme, fit, num, text_width
from dashboard.page_words import figure, part_name
from dashboard.wiring_tree import wiring_tree
from ingest.builds import Build, Contact, Pack


@dataclass(frozen=True)
class RatingLine:
    """A rating over window lengths: straight in A against log t between its points."""

    name: str
    source: str
    window_s: tuple[float, ...]
    limit_A: tuple[float, ...]

    def at(self, window_s: float) -> float | None:
        """The rating at a window length, None outside the stated range."""
        if not self.window_s[0] <= window_s <= self.window_s[-1]:
            return None
        return float(np.interp(math.log(window_s), np.log(self.window_s), self.limit_A))


def envelope_curve(review: Review, part: str = "pack") -> tuple[Floats, Floats] | None:
    """(window_s, rms_A) of the part's current, ascending; None where it was not made."""
    curve = review.curves.get(f"envelope:{part}")
    if curve is None:
        return None
    pair = (curve.window_s, curve.rms_A) if isinstance(curve, Envelope) else curve[:2]
    windows, rms = (np.asarray(a, dtype=np.float64) for a in pair)
    good = np.isfinite(windows) & np.isfinite(rms) & (windows > 0) & (rms > 0)
    return (windows[good], rms[good]) if int(good.sum()) >= 2 else None


def rating_lines(build: Build | None, pack: Pack | None, longest_s: float) -> list[RatingLine]:
    """What bounds the pack's current: its own burst and continuous figures, the weakest contact on its lead."""
    out: list[RatingLine] = []
    short, long = DEFAULTS.shortest_window_s, DEFAULTS.continuous_window_s
    end = max(longest_s, long * 1.05)
    if pack is not None and pack.continuous_C is not None and pack.capacity_Ah is not None:
        steady = pack.continuous_C * pack.capacity_Ah
        points = [(long, steady), (end, steady)]
        name = f"pack {figure(steady, 'A')} from {long:g} s"
        if pack.burst_C is not None and pack.burst_s is not None and pack.burst_s < long:
            burst = pack.burst_C * pack.capacity_Ah
            points = [(short, burst), (pack.burst_s, burst), *points]
            name = f"pack {figure(burst, 'A')} to {pack.burst_s:g} s, {figure(steady, 'A')} from {long:g} s"
        windows, limits = zip(*points, strict=True)
        out.append(RatingLine(name, f"stated for {pack.id}", windows, limits))
    contact = weakest_contact(build)
    if build is not None and contact is not None and contact.rated_A is not None:
        name = f"{part_name(contact.id).lower()} {figure(contact.rated_A, 'A')} at {long:g} s"
        out.append(RatingLine(name, f"stated in build {build.id}", (long, end), (contact.rated_A, contact.rated_A)))
    return out


def weakest_contact(build: Build | None) -> Contact | None:
    """Of the contacts that carry the whole current of the only pack, the one rated lowest."""
    roots = wiring_tree(build) if build is not None else ()
    if len(roots) != 1 or len(roots[0].runs) != 1:
        return None
    rated = [c for c in roots[0].runs[0].contacts if isinstance(c, Contact) and c.rated_A is not None]
    return min(rated, key=lambda c: c.rated_A or 0.0, default=None)


def smallest_margin(curve: tuple[Floats, Floats], lines: list[RatingLine]) -> tuple[float, float, float] | None:
    """(window_s, measured_A, limit_A) where the current comes nearest to a rating; None without ratings."""
    best: tuple[float, float, float, float] | None = None
    for window, rms in zip(*curve, strict=True):
        for line in lines:
            limit = line.at(float(window))
            if limit is not None and (best is None or limit / rms < best[0]):
                best = (limit / rms, float(window), float(rms), limit)
    return None if best is None else best[1:]


def envelope_svg(
    review: Review,
    build: Build | None,
    pack: Pack | None,
    *,
    theme: Theme,
    width: float,
    height: float,
    size: float,
    uid: str = "",
) -> str | None:
    """The drawing with direct labels, size the text size in px; None where the review has no envelope.

    uid tells two drawings of one page apart.
    """
    curve = envelope_curve(review)
    if curve is None:
        return None
    t = TONES[theme]
    c = Canvas(t, f"envelope-{theme}{uid}")
    windows, rms = curve
    lines = rating_lines(build, pack, float(windows[-1]))
    first, last = (
        float(windows[0]),
        max(float(windows[-1]), *(line.window_s[-1] for line in lines), first_of(windows)),
    )
    values = [*rms.tolist(), *(a for line in lines for a in line.limit_A)]
    low, high = min(values) * 0.55, max(values) * 1.25
    left, right, top, bottom = 2.0, width - 2.0, size * 1.4, height - size * 1.7

    def px(window: float) -> float:
        return left + (right - left) * math.log(window / first) / math.log(last / first)

    def py(amps: float) -> float:
        return bottom - (bottom - top) * math.log(amps / low) / math.log(high / low)

    points = [(px(float(w)), py(float(a))) for w, a in zip(windows, rms, strict=True)]
    d = "L".join(f"{num(x)} {num(y)}" for x, y in points)
    c.path(f"M{num(points[0][0])} {num(bottom)}L{d}L{num(points[-1][0])} {num(bottom)}Z", fill=t.bluetint)
    c.path(f"M{d}", stroke=t.blue, sw=2)
    c.line(left, bottom, right, bottom, t.ink, 1)
    for line in lines:
        path = "L".join(f"{num(px(w))} {num(py(a))}" for w, a in zip(line.window_s, line.limit_A, strict=True))
        c.path(f"M{path}", stroke=t.ink, sw=1.5, dash="10 5")
        told = text_width(line.name, size)
        x = min(px(line.window_s[0]), right - told)
        c.text(
            max(left, x),
            py(line.limit_A[0]) - size * 0.45,
            fit(line.name, size, width, 600),
            size,
            weight=600,
            halo=True,
        )
    nearest = smallest_margin(curve, lines)
    if nearest is not None and nearest[2] > nearest[1] * 1.15:
        x = px(nearest[0])
        c.arrow(x, py(nearest[2]) + 2, x, py(nearest[1]) - 5, t.ink, head=5, sw=1.25)
        words = f"{round(100 - 100 * nearest[1] / nearest[2])} % margin"
        early = x < width / 2
        at = x + 8 if early else x - 8
        middle = (py(nearest[2]) + py(nearest[1])) / 2 + size * 0.35
        c.text(at, middle, words, size, weight=600, anchor="start" if early else "end", halo=True)
    for window in (0.1, 1.0, 10.0, 60.0):
        if not first * 0.999 <= window <= float(windows[-1]):
            continue
        amps = float(np.interp(math.log(window), np.log(windows), rms))
        x, y = px(window), py(amps)
        c.circle(x if window > first * 1.01 else x + 3, y, 3.5, t.paper, stroke=t.blue, sw=1.5)
        edge = window <= first * 1.01
        c.text(
            x + (0 if edge else -4),
            y + size * 1.5,
            figure(amps, "A"),
            size,
            fill=t.blue,
            anchor="start" if edge else "middle",
        )
        c.text(x, bottom + size * 1.3, f"{window:g} s", size, fill=t.ink2, anchor="start" if edge else "middle")
    return c.svg(width, height, "Worst r.m.s. current against window length")


def first_of(windows: Floats) -> float:
    return float(windows[0]) * 1.01
