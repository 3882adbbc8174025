"""Grams against the smallest margin: what nothing else beats in both, the lightest at the left, numbered."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from dashboard.ink import TONES, Canvas, Theme, num, text_width
from dashboard.line_picture import ticks

SIZE, DOT = 15.0, 7.0
HEIGHT, HEAD, FOOT = 320.0, 56.0, 58.0
Place = Callable[[float], float]


@dataclass(frozen=True)
class Point:
    """One choice. grams added (below zero: taken out), its smallest margin; answer: the one that the search names."""

    grams: float
    margin_pct: float
    answer: bool = False


def pareto_svg(
    points: Sequence[Point],
    need_pct: float,
    room_g: float | None,
    *,
    theme: Theme = "page",
    width: float = 1032,
    uid: str = "pareto",
) -> str | None:
    """The drawing; None without points. need_pct: the margin that all keep; room_g: to the mass limit, if stated.

    A filled dot fits under the mass limit, an open one does not; the answer has a ring and its words.
    """
    if not points:
        return None
    t = TONES[theme]
    c = Canvas(t, f"{uid}-{theme}")
    room = None if room_g is None else max(room_g, 0.0)
    low = min(0.0, *(p.grams for p in points))
    high = max(1.0, *(p.grams for p in points))
    if room is not None and room < 2.0 * high:  # a limit far off would only press the dots together
        high = max(high, room)
    pad = 0.06 * (high - low)
    low, high = low - pad, high + pad
    top = max(need_pct * 1.5, *(p.margin_pct for p in points)) * 1.12
    left, right, bottom = 48.0, width - 8.0, HEIGHT - FOOT

    def x_of(grams: float) -> float:
        return left + (right - left) * (grams - low) / (high - low)

    def y_of(margin_pct: float) -> float:
        return bottom - (bottom - HEAD) * margin_pct / top

    c.text(0, 18, "Smallest margin", SIZE, weight=600)
    for value in ticks(0.0, top, False):
        c.line(left, y_of(value), right, y_of(value), t.rule, 1)
        c.text(left - 8, y_of(value) + 5, f"{value:.0f} %", SIZE, fill=t.ink2, anchor="end")
    for value in ticks(low, high, False):
        c.line(x_of(value), bottom, x_of(value), bottom + 6, t.ink, 1)
        c.text(x_of(value), bottom + 24, _signed(value), SIZE, fill=t.ink2, anchor="middle")
    c.line(left, bottom, right, bottom, t.ink, 1)
    c.text(right, HEIGHT - 6, "grams added to the robot", SIZE, weight=600, anchor="end")
    _limits(c, x_of, y_of, need_pct, room, (left, right, bottom, high))
    ordered = sorted(points, key=lambda p: p.grams)
    steps = [f"M{num(x_of(ordered[0].grams))} {num(y_of(ordered[0].margin_pct))}"]
    steps += [f"H{num(x_of(p.grams))}V{num(y_of(p.margin_pct))}" for p in ordered[1:]]
    c.path("".join(steps), stroke=t.blue, sw=2)
    last = -1e9
    for index, point in enumerate(points, 1):
        x, y = x_of(point.grams), y_of(point.margin_pct)
        over = room is not None and point.grams > room
        if point.answer:
            c.circle(x, y, DOT + 6, "none", stroke=t.ink, sw=2)
        c.circle(x, y, DOT, t.paper if over else t.blue, stroke=t.blue, sw=2)
        if x - last >= 20:  # where two stand together the table tells the second
            c.text(x, y - DOT - 9, str(index), SIZE, weight=600, anchor="middle", halo=True)
            last = x
    if width >= 600:  # on a phone the ring's words would lie on others; the table has them
        _answer(c, points, x_of, y_of, right)
    said = f"Grams added against the smallest margin of {len(points)} choices; the table below has every figure"
    return c.svg(width, HEIGHT, said)


def _limits(
    c: Canvas, x_of: Place, y_of: Place, need_pct: float, room: float | None, box: tuple[float, float, float, float]
) -> None:
    left, right, bottom, high = box
    if room is not None and room <= high:
        x = x_of(room)
        c.line(x, 26, x, bottom, c.tones.ink, 2)
        told = f"mass limit, {_signed(room)}"
        anchor = "start" if x + text_width(told, SIZE) + 8 < right else "end"
        c.text(x + (6 if anchor == "start" else -6), 36, told, SIZE, weight=600, anchor=anchor, halo=True)
    c.line(left, y_of(need_pct), right, y_of(need_pct), c.tones.ink, 2, dash="8 4")
    told = f"every choice keeps {need_pct:.0f} % at least"
    c.text(right - 4, y_of(need_pct) + 20, told, SIZE, weight=600, anchor="end", halo=True)


def _answer(c: Canvas, points: Sequence[Point], x_of: Place, y_of: Place, right: float) -> None:
    answer = next((p for p in points if p.answer), None)
    if answer is None:
        return
    x, y = x_of(answer.grams), y_of(answer.margin_pct)
    told = "the lightest"
    beside = x + DOT + 12 + text_width(told, SIZE) < right
    c.text(x + (DOT + 12 if beside else -DOT - 12), y + 24, told, SIZE, anchor="start" if beside else "end", halo=True)


def _signed(grams: float) -> str:
    return f"{grams:+.0f} g".replace("-", "−") if round(grams) else "0 g"
