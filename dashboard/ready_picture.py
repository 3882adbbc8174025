"""Ready in time: bars from now to ready, one upright line for the next match; what is late goes through it."""

from __future__ import annotations

from analysis.pit import PackPlan, PitPlan
from dashboard.ink import TONES, Canvas, Theme, wrap
from dashboard.page_words import minutes, number, part_name

ROW, BAR, HEAD = 62.0, 16.0, 36.0


def ready_svg(plan: PitPlan, *, theme: Theme = "page", width: float = 1032, uid: str = "ready") -> str:
    """The change in ink (it needs hands), packs in blue (they wait by themselves), late packs hatched past the line."""
    narrow = width < 600
    left = 2.0 if narrow else 248.0
    c = Canvas(TONES[theme], uid)
    t = c.tones
    ready = [p.ready_min for p in plan.packs if p.ready_min is not None]
    longest = max([plan.minutes, *ready, 1.0]) * 1.12
    scale = (width - left - 90) / longest
    line_x = left + plan.minutes * scale
    y = HEAD
    c.text(left, 20, "now", 15, fill=t.ink2)
    c.text(line_x, 20, f"next match, {minutes(plan.minutes)}", 16, weight=600, anchor="end")
    if plan.change is not None and plan.change.minutes:
        _name(c, "The change", left, y, narrow)
        at = _bar_y(y, narrow)
        c.rect(left, at, plan.change.minutes * scale, BAR, t.ink)
        told = f"{number(plan.change.minutes, 'min')} min, your hands"
        c.text(left + plan.change.minutes * scale + 8, at + 13, told, 16)
        y += _next(c, y, width)
    for pack in plan.packs:
        _name(c, f"Pack {part_name(pack.pack)}", left, y, narrow)
        _pack(c, pack, plan.minutes, left, _bar_y(y, narrow), scale, width)
        y += _next(c, y, width)
    line = Canvas(t, uid)
    line.rect(line_x - 1, 28, 2, y - 28, t.ink)
    c.parts[:0] = line.parts  # under the words, which keep a halo where it crosses them
    return c.svg(width, y + 2, f"What is ready before the next match in {minutes(plan.minutes)}")


def _name(c: Canvas, text: str, left: float, y: float, narrow: bool) -> None:
    c.text(0 if not narrow else left, y + (37 if not narrow else 22), text, 18, weight=600)


def _bar_y(y: float, narrow: bool) -> float:
    return y + (ROW - BAR) / 2 + (8 if narrow else 0)


def _next(c: Canvas, y: float, width: float) -> float:
    c.line(0, y + ROW, width, y + ROW, c.tones.rule, 1)
    return ROW


def _pack(c: Canvas, pack: PackPlan, left_min: float, x: float, y: float, scale: float, width: float) -> None:
    t = c.tones
    if pack.ready_min is None:
        c.rect(x, y, 60, BAR, "none", stroke=t.ink, sw=1, dash="3 3")
        lines = wrap(pack.why, 16, width - x - 74, lines=2)
        for i, line in enumerate(lines):
            c.text(x + 70, y + 13 + 18 * i - 8 * (len(lines) - 1), line, 16, halo=True)
        return
    inside = min(pack.ready_min, left_min)
    c.rect(x, y, inside * scale, BAR, t.bluefill)
    end = x + pack.ready_min * scale
    if pack.ready_min > left_min:
        c.rect(x + left_min * scale, y, end - x - left_min * scale, BAR, c.hatch, stroke=t.orangefill, sw=1)
    said = f"{number(pack.ready_min, 'min')} min" + (": too late" if pack.ready_min > left_min else "")
    if not pack.last:
        said += ", once measured full"
    if end + 110 + (0 if pack.last else 150) < width:
        c.text(end + 8, y + 13, said, 16)
    else:
        c.text(x + 8, y + BAR + 18, said, 16)
