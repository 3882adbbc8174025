"""The traces as one figure: panels over one time axis, labels at the line's end, gaps open, ratings with their source.

What is sent is thinned to the visible window; a zoom sends only that window again.
"""

from __future__ import annotations

import base64
from typing import Any

import numpy as np

from analysis.findings import Finding, Review
from analysis.signal import Floats
from dashboard.figure_notes import events, labels, shapes
from dashboard.figure_view import BOTTOM_PX, GAP_PX, LABEL_PX, SIZE, View, safe, tone_colour
from dashboard.ink import Tones
from dashboard.thin import POINTS, extremes, thin, thin_signal
from dashboard.traces import Panel, Trace


def packed(values: Floats, *, wide: bool = False) -> dict[str, str]:
    """An array as plotly takes it in bytes: a quarter of its text. wide: 64 bits, for long times."""
    kind = "<f8" if wide else "<f4"
    data = np.ascontiguousarray(values, dtype=kind)
    return {"dtype": kind[1:], "bdata": base64.b64encode(data.tobytes()).decode("ascii")}


def extent(panels: list[Panel], review: Review) -> tuple[float, float]:
    """From the first to the last sample shown; the match window where nothing is."""
    ends = [(t.signal.t_s[0], t.signal.t_s[-1]) for p in panels for t in p.traces if len(t.signal)]
    if not ends:
        return review.match.start_s or 0.0, review.match.end_s or 1.0
    return float(min(e[0] for e in ends)), float(max(e[1] for e in ends))


def trace_data(
    trace: Trace, axis: str, tones: Tones, start_s: float | None, end_s: float | None
) -> list[dict[str, Any]]:
    """The plotly traces of one line: its interval as a tint first, then the line."""
    out: list[dict[str, Any]] = []
    colour = tone_colour(trace.tone, tones)
    base = {"type": "scatter", "mode": "lines", "xaxis": "x", "yaxis": axis, "showlegend": False}
    if trace.low is not None and trace.high is not None:
        for edge, fill in ((trace.low, None), (trace.high, "tonexty")):
            good = np.isfinite(edge)
            t, x = _visible(trace.signal.t_s, np.where(good, edge, trace.signal.x), start_s, end_s)
            out.append(
                base
                | {"x": _times(t), "y": packed(x), "line": {"width": 0, "color": colour}, "hoverinfo": "skip"}
                | ({"fill": fill, "fillcolor": _tint(trace, tones)} if fill else {})
            )
    t, x = thin_signal(trace.signal, start_s, end_s, POINTS)
    out.append(
        base
        | {
            "x": _times(t),
            "y": packed(x),
            "connectgaps": False,
            "name": trace.label,
            "line": {"width": trace.width, "color": colour},
            "hovertemplate": "%{y:.4g}<extra>" + safe(trace.label) + "</extra>",
        }
    )
    return out


def _visible(t: Floats, x: Floats, start_s: float | None, end_s: float | None) -> tuple[Floats, Floats]:
    """Of an interval's edge only what is seen, thinned as the line is, one sample beyond each end."""
    low = 0 if start_s is None else max(0, int(np.searchsorted(t, start_s)) - 1)
    high = len(t) if end_s is None else int(np.searchsorted(t, end_s, "right")) + 1
    return thin(t[low:high], x[low:high], POINTS)


def _times(t: Floats) -> dict[str, str]:
    """In 32 bits where that tells the samples apart on the screen, else in 64, rounded so that they pack well."""
    if not len(t):
        return packed(t)
    span = float(t[-1] - t[0])
    step = span / POINTS / 16  # a sixteenth of a point: finer than a pixel
    if float(np.spacing(np.float32(max(abs(t[0]), abs(t[-1]))))) <= step:
        return packed(t)
    grid = 2.0 ** np.floor(np.log2(step)) if step > 0 else 0.0
    return packed(np.round(t / grid) * grid if grid > 0 else t, wide=True)


def _tint(trace: Trace, tones: Tones) -> str:
    return tones.orangetint if trace.tone == "orange" else tones.bluetint


def heights(panels: list[Panel], view: View) -> int:
    return view.top_px + BOTTOM_PX + sum(p.height for p in panels) + GAP_PX * max(0, len(panels) - 1)


def traces_figure(
    panels: list[Panel],
    review: Review,
    view: View,
    window: tuple[float, float] | None = None,
    chosen: Finding | None = None,
) -> dict[str, Any]:
    """A plotly figure. window: the visible time; chosen: the finding whose span is tinted through all panels."""
    tones = view.tones
    whole = extent(panels, review)
    start, end = window or whole
    height = heights(panels, view)
    plot = height - view.top_px - BOTTOM_PX
    data: list[dict[str, Any]] = []
    layout: dict[str, Any] = {
        "height": height,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "showlegend": False,
        "margin": {
            "l": 52 if not view.narrow else 44,
            "r": 12 if view.narrow else LABEL_PX,
            "t": view.top_px,
            "b": BOTTOM_PX,
        },
        "font": {"family": "Atkinson Hyperlegible Next, system-ui, sans-serif", "size": SIZE, "color": tones.ink2},
        "hovermode": "x",
        "hoversubplots": "axis",
        "dragmode": False if view.narrow else "zoom",
        "annotations": [],
        "hoverlabel": {"bgcolor": tones.inset, "bordercolor": tones.ink, "font": {"color": tones.ink, "size": SIZE}},
        "transition": {"duration": 0},
        "uirevision": f"{start:.6f} {end:.6f}",
        "xaxis": {
            "range": [start, end],
            "showgrid": False,
            "zeroline": False,
            "ticks": "outside",
            "tickcolor": tones.ink2,
            "ticksuffix": " s",
            "anchor": "y" if len(panels) < 2 else f"y{len(panels)}",
            "nticks": 5 if view.narrow else 10,
            "hoverformat": ".2f",
            "showline": False,
            "minallowed": whole[0],
            "maxallowed": whole[1],
        },
    }
    top = plot
    for i, panel in enumerate(panels):
        axis = "y" if i == 0 else f"y{i + 1}"
        low, high = value_range(panel)
        layout["yaxis" if i == 0 else f"yaxis{i + 1}"] = {
            "domain": [max(0.0, (top - panel.height) / plot), min(1.0, top / plot)],
            "range": [low, high],
            "fixedrange": True,
            "showgrid": False,
            "zeroline": False,
            "nticks": 3,
            "ticks": "outside",
            "tickcolor": tones.ink2,
            "anchor": "x",
        }
        for trace in panel.traces:
            data += trace_data(trace, axis, tones, start, end)
        layout["annotations"] += labels(panel, axis, tones, view, low, high)
        top -= panel.height + GAP_PX
    layout["shapes"] = shapes(panels, review, tones, chosen)
    layout["annotations"] += events(review, tones, view, (start, end))
    return {"data": data, "layout": layout}


def value_range(panel: Panel) -> tuple[float, float]:
    """The values of a panel, so that its lines and its near ratings are inside with a little air."""
    lows, highs = [], []
    for trace in panel.traces:
        least, greatest = extremes(trace.signal)
        lows.append(least)
        highs.append(greatest)
    low, high = min(lows), max(highs)
    for rating in panel.ratings:
        low, high = min(low, rating.value), max(high, rating.value)
    if panel.from_zero:
        low = min(low, 0.0)
    air = 0.06 * (high - low) or max(abs(high), 1.0) * 0.05
    return low - air, high + air
