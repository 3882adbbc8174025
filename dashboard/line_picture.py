"""Several lines over one another with their names at the end: traces of two matches, envelopes, shares of time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.signal import Floats
from dashboard.ink import TONES, Canvas, Theme, fit, num, text_width

POINTS = 800  # points a line (our choice: more than the columns of the drawing, least and greatest of each kept)


@dataclass(frozen=True, eq=False)
class Line:
    """x (n,) rising, y (n,), NaN where the line is broken. second: of the second group, drawn heavier and in orange."""

    name: str
    x: Floats
    y: Floats
    second: bool = False


@dataclass(frozen=True)
class Axes:
    """What the axes are called, and whether they run in equal factors; y from zero where it is not."""

    x_unit: str
    y_unit: str
    log_x: bool = False
    log_y: bool = False
    from_zero: bool = True


def lines_svg(
    lines: Sequence[Line], axes: Axes, said: str, *, theme: Theme, width: float, height: float, size: float, uid: str
) -> str | None:
    """The drawing, size the text size in px; None where no line has two points."""
    shown = [line for line in lines if np.isfinite(line.y).sum() > 1]
    if not shown:
        return None
    t = TONES[theme]
    c = Canvas(t, f"lines-{theme}-{uid}")
    xs = np.concatenate([line.x[np.isfinite(line.y)] for line in shown])
    ys = np.concatenate([line.y[np.isfinite(line.y)] for line in shown])
    px = _scale(xs, axes.log_x, False, _left(ys, axes, size), width - _right(shown, size))
    py = _scale(ys, axes.log_y, axes.from_zero, height - 1.9 * size, 2.6 * size)
    _grid(c, axes, xs, ys, px, py, size)
    for line in shown:
        tone = t.orange if line.second else t.blue
        c.path(_path(line, px, py), stroke=tone, sw=2.25 if line.second else 1.25)
    _names(c, shown, px, py, size, width)
    return c.svg(width, height, said)


@dataclass(frozen=True)
class _Scale:
    low: float
    high: float
    start: float
    end: float
    log: bool

    def __call__(self, value: float) -> float:
        v = math.log(max(value, 1e-12)) if self.log else value
        return self.start + (self.end - self.start) * (v - self.low) / (self.high - self.low)


def _scale(values: Floats, log: bool, from_zero: bool, start: float, end: float) -> _Scale:
    low, high = float(values.min()), float(values.max())
    if log:
        positive = values[values > 0]
        low = float(positive.min()) if len(positive) else 1e-3
        low, high = math.log(low), math.log(max(high, low * 1.01))
    elif from_zero:
        low = min(low, 0.0)
    if high <= low:
        high = low + 1.0
    return _Scale(low, high, start, end, log)


def _left(values: Floats, axes: Axes, size: float) -> float:
    return 10 + max(text_width(f"{v:.3g}", size) for v in (float(values.min()), float(values.max())))


def _right(lines: Sequence[Line], size: float) -> float:
    return 12 + max(text_width(line.name, size) for line in lines)


def ticks(low: float, high: float, log: bool) -> list[float]:
    """Round figures inside the range: some five of them."""
    if log:
        first, last = math.floor(math.log10(max(low, 1e-12))), math.ceil(math.log10(high))
        steps = (1,) if last - first > 3 else (1, 2, 5)
        return [
            m * 10.0**e for e in range(first, last + 1) for m in steps if low * 0.999 <= m * 10.0**e <= high * 1.001
        ]
    raw = (high - low) / 5.2
    power = 10.0 ** math.floor(math.log10(raw)) if raw > 0 else 1.0
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= raw * 0.999)
    first = math.ceil(low / step)
    return [i * step for i in range(first, math.floor(high / step) + 1)]


def _grid(c: Canvas, axes: Axes, xs: Floats, ys: Floats, px: _Scale, py: _Scale, size: float) -> None:
    t = c.tones
    low, high = (math.exp(py.low), math.exp(py.high)) if axes.log_y else (py.low, py.high)
    for value in ticks(low, high, axes.log_y):
        c.line(px.start, py(value), px.end, py(value), t.rule, 1)
        c.text(px.start - 6, py(value) + size * 0.35, f"{value:.4g}", size, fill=t.ink2, anchor="end")
    c.line(px.start, py.start, px.end, py.start, t.ink, 1)
    for value in ticks(float(xs.min()) if not axes.log_x else math.exp(px.low), float(xs.max()), axes.log_x):
        told = f"{value:.4g} {axes.x_unit}"
        at = min(px(value), px.end - text_width(told, size) / 2)  # never under the names at the lines' ends
        c.text(at, py.start + size * 1.4, told, size, fill=t.ink2, anchor="middle")
    c.text(0, size, axes.y_unit, size, fill=t.ink2)


def _path(line: Line, px: _Scale, py: _Scale) -> str:
    parts, drawing = [], False
    for x, y in zip(line.x.tolist(), line.y.tolist(), strict=True):
        if not math.isfinite(y):
            drawing = False
            continue
        parts.append(f"{'L' if drawing else 'M'}{num(px(x))} {num(py(y))}")
        drawing = True
    return "".join(parts)


def _names(c: Canvas, lines: Sequence[Line], px: _Scale, py: _Scale, size: float, width: float) -> None:
    """Each name beside the end of its line, moved apart where two would meet."""
    ends = sorted((py(float(line.y[np.isfinite(line.y)][-1])), i) for i, line in enumerate(lines))
    at = -1e9
    for y, i in ends:
        at = max(y, at + size * 1.2)
        tone = c.tones.orange if lines[i].second else c.tones.blue
        weight = 800 if lines[i].second else 600
        c.text(
            px.end + 8, at + size * 0.35, fit(lines[i].name, size, width - px.end - 8), size, weight=weight, fill=tone
        )
