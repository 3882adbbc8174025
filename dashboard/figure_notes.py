"""What is written and drawn over the traces: direct labels, rating lines, the findings' times."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.findings import Finding, Review
from dashboard.figure_view import LABEL_PX, SIZE, View, safe, tone_colour
from dashboard.ink import Tones, text_width
from dashboard.page_words import seconds
from dashboard.traces import Panel, RatingLine

NARROW_RATING_PX = 260  # of the 330 that a phone's panel is wide


def spread(wanted: list[float], apart: float) -> list[float]:
    """The places nearest to those wanted (rising) that stand at least `apart` from each other."""
    # With i·apart taken off, "at least apart" becomes "not falling": the nearest such places are means of pools.
    pools: list[tuple[float, int]] = []
    for i, value in enumerate(wanted):
        total, count = value - i * apart, 1
        while pools and pools[-1][0] / pools[-1][1] >= total / count:
            before, many = pools.pop()
            total, count = total + before, count + many
        pools.append((total, count))
    level = [total / count for total, count in pools for _ in range(count)]
    return [value + i * apart for i, value in enumerate(level)]


def labels(panel: Panel, axis: str, tones: Tones, view: View, low: float, high: float) -> list[dict[str, Any]]:
    """Direct labels: each trace at its end, each rating at its line; pushed apart where they would touch."""
    if view.narrow:
        return [_narrow_head(panel, axis, tones), *_narrow_ratings(panel, axis, tones, low, high)]
    told = _of_traces(panel, tones)
    for rating in panel.ratings:
        told.append((rating.value, _of_rating(rating), tones.ink))
    told.sort(key=lambda item: item[0])
    px = [(value - low) / (high - low) * panel.height for value, _, _ in told]
    return [
        {
            "text": safe(_short(text, LABEL_PX - 14)),
            "xref": "paper",
            "x": 1,
            "xshift": 10,
            "xanchor": "left",
            "yref": f"{axis} domain",
            "y": 0,
            "yshift": place,
            "yanchor": "middle",
            "showarrow": False,
            "font": {"color": colour, "size": SIZE},
        }
        for place, (_, text, colour) in zip(spread(px, SIZE + 4), told, strict=True)
    ]


def _of_traces(panel: Panel, tones: Tones) -> list[tuple[float, str, str]]:
    """(where it ends, its label, its tone) of each trace that has a label."""
    told = []
    for trace in panel.traces:
        if trace.label:
            tail = trace.signal.good().x[-max(1, len(trace.signal) // 20) :]
            told.append((float(np.median(tail)), trace.label, tone_colour(trace.tone, tones)))
    return told


def _of_rating(rating: RatingLine) -> str:
    return f"{rating.label}, {rating.source}" if rating.source else rating.label


def _narrow_head(panel: Panel, axis: str, tones: Tones) -> dict[str, Any]:
    """Over the panel: its title and as many of its traces as there is room for, the main ones first."""
    room = 330 - text_width(panel.title, SIZE)
    words = [f"<b>{safe(panel.title)}</b>"]
    for _, text, colour in sorted(_of_traces(panel, tones), key=lambda item: item[2] not in (tones.blue, tones.orange)):
        short = safe(_short(text, max(60.0, room)))
        words.append(f'<span style="color:{colour}">{short}</span>')
        room -= text_width(short, SIZE) + 10
        if room < 110:
            break
    return {
        "text": "  ".join(words), "xref": "paper", "x": 0, "xshift": -40, "xanchor": "left",
        "yref": f"{axis} domain", "y": 1, "yshift": 2, "yanchor": "bottom", "showarrow": False,
        "font": {"size": 14, "color": tones.ink},
    }  # fmt: skip


def _narrow_ratings(panel: Panel, axis: str, tones: Tones, low: float, high: float) -> list[dict[str, Any]]:
    """Each rating at the beginning of its line, on the side that is inside the panel."""
    ratings = sorted(panel.ratings, key=lambda rating: rating.value)
    wanted = []
    for rating in ratings:
        px = (rating.value - low) / (high - low) * panel.height
        wanted.append(px - 10 if px > panel.height / 2 else px + 10)
    return [
        {
            "text": safe(_short(_of_rating(rating), NARROW_RATING_PX)), "xref": "paper", "x": 0, "xshift": 3,
            "xanchor": "left", "yref": f"{axis} domain", "y": 0, "yshift": place, "yanchor": "middle",
            "showarrow": False, "font": {"size": 14, "color": tones.ink}, "bgcolor": tones.paper, "borderpad": 0,
        }
        for rating, place in zip(ratings, spread(wanted, SIZE + 3), strict=True)
    ]  # fmt: skip


def _short(text: str, width: float) -> str:
    while text and text_width(text, SIZE) > width:
        text = text[:-2].rstrip(" ,") + "…"
    return text


def causes(review: Review) -> list[Finding]:
    """The findings that others follow from: one upright line each."""
    return [f for f in review.findings if f.verdict in ("over", "fault") and not f.consequence_of][:3]


def shapes(panels: list[Panel], review: Review, tones: Tones, chosen: Finding | None) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    if chosen is not None:
        out.append(
            {
                "type": "rect",
                "xref": "x",
                "yref": "paper",
                "x0": chosen.start_s,
                "x1": max(chosen.end_s, chosen.start_s + 1e-3),
                "y0": 0,
                "y1": 1,
                "fillcolor": tones.inset,
                "line": {"width": 0},
                "layer": "below",
            }
        )
    for i, panel in enumerate(panels):
        axis = "y" if i == 0 else f"y{i + 1}"
        out += [
            {
                "type": "line",
                "xref": "paper",
                "x0": 0,
                "x1": 1,
                "yref": axis,
                "y0": r.value,
                "y1": r.value,
                "line": {"color": tones.ink, "width": 1.5, "dash": "10px,5px"},
            }
            for r in panel.ratings
        ]
    for at in (review.match.start_s, review.match.end_s):
        if at is not None:
            out.append(_upright(at, tones.rule, 1.0))
    out += [_upright(finding.start_s, tones.orangefill, 1.5) for finding in causes(review)]
    return out


def _upright(at: float, colour: str, width: float) -> dict[str, Any]:
    return {
        "type": "line",
        "xref": "x",
        "x0": at,
        "x1": at,
        "yref": "paper",
        "y0": 0,
        "y1": 1,
        "line": {"color": colour, "width": width},
    }


def events(review: Review, tones: Tones, view: View, span: tuple[float, float]) -> list[dict[str, Any]]:
    """Over the panels: where the match begins and ends, and the first cause; what would touch is left out."""
    out = []
    shift = 28 if view.narrow else 8
    length = max(span[1] - span[0], 1e-9)
    taken: list[float] = []
    for finding in causes(review)[:1]:
        event = next((e for e in review.chain if e.finding == finding.id), None)
        what = f"{seconds(finding.start_s)} s {event.what if event is not None else ''}".strip()
        place = (finding.start_s - span[0]) / length
        if 0 <= place <= 1:
            side = "left" if place < 0.6 else "right"
            out.append(_above(finding.start_s, _short(what, 300), tones.orange, side, shift))
            taken.append(place)
    if view.narrow:
        return out
    for at, text, side in (
        (review.match.start_s, "match begins", "left"),
        (review.match.end_s, "ends", "right"),
    ):
        place = -1.0 if at is None else (at - span[0]) / length
        if at is not None and 0 <= place <= 1 and all(abs(place - other) > 0.2 for other in taken):
            out.append(_above(at, f"{text} {seconds(at)} s", tones.ink2, side, shift))
            taken.append(place)
    return out


def _above(at: float, text: str, colour: str, side: str, shift: int) -> dict[str, Any]:
    return {
        "text": safe(text), "xref": "x", "x": at, "xanchor": side, "yref": "paper", "y": 1, "yanchor": "bottom",
        "yshift": shift, "showarrow": False, "font": {"color": colour, "size": SIZE},
    }  # fmt: skip
