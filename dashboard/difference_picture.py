"""A difference about no change: the dot is the difference, the whisker its interval, open where it reaches zero."""

from __future__ import annotations

import math

from analysis.compare import Compared
from dashboard.ink import TONES, Canvas, Theme

SIDE = 0.9  # share of the half width that the larger end of the interval takes


def difference_svg(row: Compared, uid: str, *, width: float = 240, height: float = 59, theme: Theme = "page") -> str:
    """One bar from zero; each row has its own scale, its interval as large as it can be drawn."""
    t = TONES[theme]
    c = Canvas(t, f"difference-{uid}")
    middle, y = width / 2, height / 2
    c.rect(middle - 1, 0, 2, height, t.ink)
    if row.shift is None or not math.isfinite(row.shift):
        c.rect(middle - 40, y - 7, 80, 14, "none", stroke=t.ink, sw=1, dash="3 3")
        return c.svg(width, height, "not compared")
    ends = [v for v in (row.low, row.high, row.shift) if v is not None and math.isfinite(v)]
    scale = SIDE * middle / max(max(map(abs, ends)), 1e-12)
    at = middle + row.shift * scale
    sure = row.verdict == "differs"
    bad = bool(row.better) and (row.shift > 0) == (row.better == "lower")
    tone = t.orangefill if bad and sure else t.bluefill if sure else t.grey
    if sure:
        c.rect(min(at, middle), y - 5, abs(at - middle), 10, tone)
    low = row.low if row.low is not None and math.isfinite(row.low) else None
    high = row.high if row.high is not None and math.isfinite(row.high) else None
    x1 = 0.0 if low is None else middle + low * scale
    x2 = width if high is None else middle + high * scale
    c.line(x1, y, x2, y, t.ink, 1.5)
    for x, end in ((x1, low), (x2, high)):
        if end is not None:
            c.line(x, y - 6, x, y + 6, t.ink, 1.5)
    c.circle(at, y, 6, tone if sure else t.paper, stroke=t.ink, sw=2)
    return c.svg(width, height, row.verdict)
