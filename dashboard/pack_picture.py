"""A pack over the season: resistance, charge used, spread of the cells and temperature, one dot a match."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.pack_life import PackLife
from analysis.season_rows import MatchRow
from dashboard.ink import TONES, Canvas, Theme, fit
from dashboard.page_words import figure, part_name

HEIGHT = 190.0  # of one pack's row
HEAD, FOOT, INSET = 58.0, 30.0, 18.0
BESIDE_PX = 20.0  # where its interval reaches further up, a figure stands beside its dot (our choice: a line of text)
LABEL_PX = 72.0  # as wide as a figure with its unit and a dot
MOST_LABELS = 6  # match names under one panel (our choice: more would meet)


@dataclass(frozen=True)
class Dot:
    """One match; value None where it does not tell the figure."""

    match: str
    value: float | None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Panel:
    name: str
    unit: str
    dots: tuple[Dot, ...]
    line: float | None = None
    line_name: str = ""


def pack_panels(rows: Sequence[MatchRow], life: PackLife | None, capacity_Ah: float | None) -> tuple[Panel, ...]:
    """The four panels of one pack; rows are its matches in the order of the season."""
    used = _metric(rows, "charge_used_Ah")
    line = life.line_mohm if life is not None else None
    return (
        Panel("Resistance at 1 s", "mohm", _metric(rows, "pack_resistance_1s_mohm"), line, "retire at"),
        Panel("Charge used", "Ah", used, capacity_Ah, "capacity"),
        Panel("Spread of the cells", "%", tuple(Dot(row.match, spread_pct(row)) for row in rows)),
        Panel("Temperature, mean", "degC", _metric(rows, "pack_temp_mean_degC")),
    )


def spread_pct(row: MatchRow) -> float | None:
    """Greatest less least cell resistance, % of the median cell; None under two cells."""
    cells = sorted(m.value for m in row.metrics if m.name == "cell_resistance_1s_mohm")
    if len(cells) < 2:
        return None
    middle = len(cells) // 2
    median = cells[middle] if len(cells) % 2 else (cells[middle - 1] + cells[middle]) / 2
    return 100.0 * (cells[-1] - cells[0]) / median if median > 0 else None


def _metric(rows: Sequence[MatchRow], name: str) -> tuple[Dot, ...]:
    found = [(row.match, row.metric(name)) for row in rows]
    return tuple(Dot(m, None) if x is None else Dot(m, x.value, x.low, x.high) for m, x in found)


def told(panels: Sequence[Panel]) -> str:
    """The same in words, for who does not see the picture."""
    out = []
    for panel in panels:
        known = [d for d in panel.dots if d.value is not None]
        said = ", ".join(f"{d.match} {figure(d.value, panel.unit)}" for d in known) if known else "not known"
        out.append(f"{panel.name}: {said}")
    return ". ".join(out) + "."


def packs_svg(packs: Mapping[str, Sequence[Panel]], *, theme: Theme, width: float = 1032, uid: str = "") -> str | None:
    """A row a pack (narrow: a column); None where there is no match to draw."""
    drawn = {pack: panels for pack, panels in packs.items() if any(panel.dots for panel in panels)}
    if not drawn:
        return None
    c = Canvas(TONES[theme], f"packs-{theme}{uid}")
    narrow, y = width < 600, 0.0
    for pack, panels in drawn.items():
        if len(drawn) > 1:
            c.text(0, y + 20, f"Pack {part_name(pack)}", 18, weight=800)
            y += 28
        across = 1 if narrow else len(panels)
        wide = (width - 24 * (across - 1)) / across
        for i, panel in enumerate(panels):
            _panel(c, panel, (i % across) * (wide + 24), y + (i // across) * HEIGHT, wide)
        y += HEIGHT * math.ceil(len(panels) / across)
    said = " ".join(f"Pack {part_name(pack)}: {told(panels)}" for pack, panels in drawn.items())
    return c.svg(width, y, said)


def _panel(c: Canvas, panel: Panel, x: float, y: float, width: float) -> None:
    t = c.tones
    c.text(x, y + 18, fit(panel.name, 16, width), 16, weight=600)
    bottom, top = y + HEIGHT - FOOT, y + HEAD
    c.line(x, bottom, x + width, bottom, t.ink, 1)
    known = [d for d in panel.dots if d.value is not None]
    if not known:
        c.text(x, bottom - 12, "not known from any match", 15, fill=t.ink2)
        return
    values = [v for d in known for v in (d.value,) if v is not None]
    greatest = max([*values, *([panel.line] if panel.line is not None and panel.line < 2.5 * max(values) else [])])
    least = min(0.0, *values)
    scale = (bottom - top) / ((greatest - least) or 1.0)

    def at_y(value: float) -> float:
        return bottom - (min(value, greatest) - least) * scale

    step = (width - 2 * INSET) / max(1, len(panel.dots) - 1) if len(panel.dots) > 1 else 0.0
    if panel.line is not None and panel.line <= greatest:
        c.line(x, at_y(panel.line), x + width, at_y(panel.line), t.ink, 1.5, dash="10 5")
        c.text(x + width, at_y(panel.line) - 5, f"{panel.line_name} {figure(panel.line, panel.unit)}", 14, anchor="end")
    every = max(1, math.ceil(len(panel.dots) / MOST_LABELS))
    worst_i = max((d.value, i) for i, d in enumerate(panel.dots) if d.value is not None)[1]
    worst_at = x + INSET + worst_i * step
    for i, dot in enumerate(panel.dots):
        at = x + INSET + i * step
        if i % every == 0 or (i == len(panel.dots) - 1 and (len(panel.dots) - 1) % every >= every / 2):
            c.text(at, bottom + 20, dot.match, 14, fill=t.ink2, anchor="middle")
        if dot.value is None:
            c.line(at - 5, bottom - 6, at + 5, bottom - 6, t.grey, 2, dash="3 2")
            continue
        if dot.low is not None and dot.high is not None and math.isfinite(dot.low):
            c.line(
                at, at_y(max(dot.low, least)), at, at_y(dot.high if math.isfinite(dot.high) else greatest), t.ink, 1.5
            )
        c.circle(at, at_y(dot.value), 5, t.bluefill, stroke=t.ink, sw=1.5)
        last = i == len(panel.dots) - 1 or all(d.value is None for d in panel.dots[i + 1 :])
        near = abs(at - worst_at) < 64
        if i == worst_i or (last and not near):
            anchor = "start" if i == 0 else "end" if i == len(panel.dots) - 1 else "middle"
            side = {"start": at - INSET, "end": at + INSET, "middle": at}[anchor]
            y_text = at_y(dot.value) - 10
            over = at_y(dot.high) - 5 if dot.high is not None and math.isfinite(dot.high) else y_text
            if over >= y_text - BESIDE_PX:
                y_text = min(y_text, over)  # over its interval
            elif i:
                side, anchor, y_text = at - 9, "end", at_y(dot.value) + 5
                before = [d.value for d in panel.dots[:i] if d.value is not None][-1:]
                if before and step < LABEL_PX and abs(at_y(before[0]) - at_y(dot.value)) < BESIDE_PX:
                    y_text = min(at_y(before[0]), at_y(dot.value)) - 10  # over the dot that stands where it would
            c.text(side, y_text, figure(dot.value, panel.unit), 15, weight=600, anchor=anchor, halo=True)
