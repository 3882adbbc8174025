"""The margin bar: length is what was measured, the upright line is the rating, the whisker the interval.

Every bar of a table has its line at the same place, so that the eye sorts the rows. 0 to 150 % of the rating.
"""

from __future__ import annotations

from dashboard.ink import TONES, Canvas, Theme
from dashboard.rows import Row

END = 1.5  # past this the bar ends in its point and the number tells


def margin_bar_svg(row: Row | None, uid: str, *, width: float = 240, height: float = 28, theme: Theme = "page") -> str:
    """One bar, the full height of its row; row None: not checked, an empty dashed outline up to the line."""
    t = TONES[theme]
    c = Canvas(t, f"bar-{uid}")
    line_x = width / END
    thick = min(14.0, height * 0.5)
    top = (height - thick) / 2
    if row is None:
        c.rect(1, top, line_x - 2, thick, "none", stroke=t.ink, sw=1, dash="3 3")
    else:
        used = min(max(row.used, 0.0), END)
        over = row.verdict == "over" or row.used > 1
        tone = t.orangefill if over else t.greyfill if row.verdict == "close" else t.bluefill
        c.rect(0, top, min(used, 1.0) * line_x, thick, tone)
        if used > 1:
            end, tip = used * line_x, min(8.0, (used - 1) * line_x)
            c.path(
                f"M{line_x + 2:.2f} {top:.2f}H{end - tip:.2f}L{end:.2f} {top + thick / 2:.2f}"
                f"L{end - tip:.2f} {top + thick:.2f}H{line_x + 2:.2f}Z",
                fill=c.hatch, stroke=tone, sw=1,
            )  # fmt: skip
        _whisker(c, row, line_x, height / 2, width)
    c.rect(line_x - 1, 0, 2, height, t.ink)
    drawn = c.svg(width, height, label(row))
    return drawn.replace("<svg ", '<svg preserveAspectRatio="none" ', 1)  # so that all lines stand in one column


def _whisker(c: Canvas, row: Row, line_x: float, y: float, width: float) -> None:
    ends = row.whisker
    if ends is None:
        return
    low, high = (min(max(end, 0.0), END) * line_x for end in ends)
    high = min(high, width - 1)
    c.line(low, y, high, y, c.tones.ink, 1.5)
    for x, end in ((low, ends[0]), (high, ends[1])):
        if 0.0 <= end <= END:
            c.line(x, y - 4, x, y + 4, c.tones.ink, 1.5)


def label(row: Row | None) -> str:
    if row is None:
        return "not checked"
    return f"{round(row.used * 100)} % of the rating used"
