"""One run of the wiring opened: its temperature over time, with its limit."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from dashboard.figure_view import View
from dashboard.figures import heights, traces_figure
from dashboard.page_words import figure, part_name
from dashboard.pages.parts import spoken
from dashboard.reviewing import Bench
from dashboard.rows import statuses
from dashboard.traces import run_panel


def detail(bench: Bench, run_id: str, view: View) -> Any:
    """The figure of one run, or why there is none."""
    names = {wire.id for wire in bench.build.wires} if bench.build is not None else set()
    if run_id not in names:
        return None
    title = html.H3(f"{part_name(run_id)}, temperature over time")
    panel = run_panel(bench.review, run_id)
    if panel is None:
        status = statuses(bench.review).get(run_id)
        why = status.not_checked[0] if status is not None and status.not_checked else None
        told = f"Not checked: {why.reason}. {why.mend}" if why is not None else "Not checked."
        return html.Div([title, html.P(told)], className="run-detail")
    drawn = traces_figure([panel], bench.review, view)
    graph = dcc.Graph(figure=drawn, config={"displayModeBar": False, "responsive": True}, className="graph",
                      style={"height": f"{heights([panel], view)}px"})  # fmt: skip
    row = next((t for t in panel.traces if t.label), None)
    label = f"{part_name(run_id)}: {row.label}" if row is not None else figure(None, "")
    return html.Div([title, html.Div(graph, **spoken(label, role="img"))], className="run-detail")
