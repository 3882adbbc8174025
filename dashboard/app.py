"""The pages: one address for each, drawn from a Source. Callbacks parse, call one function and render.

Pages are routed here and not by the process-wide page registry, so that two apps in one process do not meet.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

import pandas as pd  # noqa: F401  loaded here, whole: two threads that first met it at once would find it half made
from dash import ALL, ClientsideFunction, Dash, Input, Output, Patch, State, ctx, dcc, html, no_update
from flask import Response, abort, request

from dashboard.compressing import register as register_compressing
from dashboard.downloads import register as register_downloads
from dashboard.figure_view import view_of
from dashboard.figures import trace_data, traces_figure
from dashboard.ink import DARK, LIGHT, css_variables
from dashboard.pages import lightest as lightest_page
from dashboard.pages import live as live_page
from dashboard.pages import match as match_page
from dashboard.pages import run as run_page
from dashboard.pages import season as season_page
from dashboard.pages import whatif as whatif_page
from dashboard.plot_library import register as register_plot_library
from dashboard.reviewing import Bench
from dashboard.routes import OWN_SEARCH, navigation, page, query
from dashboard.season_table import Asked, csv_text, filtered, shown
from dashboard.sheet import sheet_html
from dashboard.source import Source
from dashboard.traces import Panel, panels
from dashboard.upload_routes import register as register_upload
from dashboard.wiring_tree import fitted
from ingest.errors import AfterboutError

_SHELL = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>{%favicon%}{%css%}<style>STYLE</style></head>
<body>{%app_entry%}<footer class="dash-scripts">{%config%}{%scripts%}{%renderer%}</footer></body>
</html>"""


def make_app(
    season_path: str | Path | None = None,
    review_files: Sequence[str] | None = None,
    *,
    source: Source | None = None,
    live: str | Path | None = None,
) -> Dash:
    """The pages over a season folder, over bare log files, or over neither. Raises AfterboutError.

    live: a recording, which may still be written, for the live page.
    """
    origin = source or Source(season_path, review_files)
    if live is not None:
        from dashboard.live_follow import Follower

        origin.live = Follower(live)
    with _own_settings_only():
        app = Dash(
            "dashboard",
            assets_folder=str(files("dashboard.assets")),
            pages_folder="",
            use_pages=False,
            title="afterbout",
            update_title="",
            serve_locally=True,
            suppress_callback_exceptions=True,  # the parts of a page are there only while the page is
            url_base_pathname="/",
            meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
            compress=False,
            enable_mcp=False,
            assets_ignore=r".*\.(py|txt|woff2)$|^plotly-basic\.min\.js$",  # loaded where a plot is
            index_string=_SHELL.replace("STYLE", _tones()),
        )
    app.layout = _shell()
    _route(app, origin)
    _traces(app, origin)
    _sheet(app, origin)
    _table(app, origin)
    whatif_page.register(app, origin)
    lightest_page.register(app, origin)
    live_page.register(app, origin.live)
    register_upload(app, origin)
    register_downloads(app, origin)
    register_plot_library(app)
    register_compressing(app)
    return app


@contextmanager
def _own_settings_only() -> Iterator[None]:
    """The framework reads DASH_… variables where it is made; what is served is decided here alone."""
    kept = {name: os.environ.pop(name) for name in list(os.environ) if name.startswith("DASH_")}
    try:
        yield
    finally:
        os.environ.update(kept)


def _tones() -> str:
    """Light and dark: the system's choice, unless the switch was used."""
    light, dark = css_variables(LIGHT), css_variables(DARK)
    return (
        f":root{{{light}color-scheme:light}}"
        f"@media(prefers-color-scheme:dark){{:root:not([data-theme=light]){{{dark}color-scheme:dark}}}}"
        f":root[data-theme=dark]{{{dark}color-scheme:dark}}"
        f"@media print{{:root:root:root{{{light}color-scheme:light}}}}"  # paper is white
    )


def _shell() -> html.Div:
    switch = html.Button("Dark", id="theme", className="plain", n_clicks=0, type="button")
    return html.Div(
        [
            dcc.Location(id="address", refresh="callback-nav"),
            dcc.Store(id="view", data=None),
            dcc.Store(id="shown", data=None),
            html.A("Skip to the page", href="#page", className="skip"),
            html.Header(
                [
                    dcc.Link("afterbout", href="/", className="brand"),
                    html.Nav(id="nav"),
                    html.Div([html.Span(id="page-tools"), switch], className="tools"),
                ],
                className="top",
            ),
            html.Main(html.P("Reading the season.", className="waiting"), id="page", tabIndex="-1"),
        ]
    )


_panels: WeakKeyDictionary[Bench, list[Panel]] = WeakKeyDictionary()


def panels_of(bench: Bench) -> list[Panel]:
    """The panels of a match, found once: a zoom only thins again."""
    if bench not in _panels:
        _panels[bench] = panels(bench.review, bench.build)
    return _panels[bench]


def _bench(source: Source, token: str | None) -> Bench | None:
    entry = source.entry(token) if token else None
    return None if entry is None else source.bench(entry)


def _route(app: Dash, source: Source) -> None:
    @app.callback(
        Output("page", "children"),
        Output("nav", "children"),
        Output("page-tools", "children"),
        Output("shown", "data"),
        Input("address", "pathname"),
        Input("address", "search"),
        State("shown", "data"),
    )
    def show(pathname: str | None, search: str | None, before: str | None) -> tuple[Any, Any, Any, Any]:
        if pathname == before and OWN_SEARCH.match(pathname or ""):
            return no_update, no_update, no_update, no_update
        shown = page(source, pathname, search)
        return shown.body, navigation(shown, source.live is not None), shown.tools, pathname

    @app.callback(
        Output("season-rows", "children"),
        Output("again", "disabled"),
        Input("again", "n_intervals"),
        State("address", "search"),
        prevent_initial_call=True,
    )
    def refresh(_: int, search: str | None) -> tuple[Any, bool]:
        waiting = season_page.pending(source)
        return season_page.table(source, query(search)), not waiting

    @app.callback(Output("season-trends", "children"), Input("again", "disabled"))
    def trends(reviewed: bool) -> Any:
        return season_page.trends(source) if reviewed else no_update


def visible(relayout: Any) -> tuple[float, float] | bool | None:
    """The time window a zoom chose; None for the whole; False where the event is no zoom."""
    if not isinstance(relayout, dict):
        return False
    if relayout.get("xaxis.autorange"):
        return None
    ends = relayout.get("xaxis.range") or [relayout.get("xaxis.range[0]"), relayout.get("xaxis.range[1]")]
    if not all(isinstance(end, int | float) for end in ends) or len(ends) != 2 or not ends[0] < ends[1]:
        return False
    return float(ends[0]), float(ends[1])


def window_of(view: Any, token: str | None) -> tuple[float, float] | None:
    """The time window that this match's page shows already, so that a redraw in other tones keeps it."""
    seen = view.get("window") if isinstance(view, dict) else None
    if not isinstance(seen, dict) or seen.get("token") != token:
        return None
    window = visible({"xaxis.range": seen.get("range")})
    return window if isinstance(window, tuple) else None


def _traces(app: Dash, source: Source) -> None:
    @app.callback(Output("plot", "children"), Input("view", "data"), State("token", "data"))
    def draw(view: Any, token: str | None) -> Any:
        bench = _bench(source, token)
        if bench is None or view is None:
            return no_update
        return match_page.graph(bench, view_of(view), window_of(view, token), panels_of(bench))

    @app.callback(
        Output("traces", "figure", allow_duplicate=True),
        Input({"type": "zoom", "at": ALL}, "n_clicks"),
        Input("whole", "n_clicks"),
        State("spans", "data"),
        State("view", "data"),
        State("token", "data"),
        prevent_initial_call=True,
    )
    def choose(clicks: list[int], whole: int, spans: Any, view: Any, token: str | None) -> Any:
        bench = _bench(source, token)
        if bench is None or not (whole or any(clicks)):
            return no_update
        window, chosen = None, None
        if isinstance(ctx.triggered_id, dict):
            start, end, name = spans[ctx.triggered_id["at"]]
            window = (float(start), float(end))
            chosen = next((f for f in bench.review.findings if f.id == name), None)
        return traces_figure(panels_of(bench), bench.review, view_of(view), window, chosen)

    # Only a real zoom goes to the server: an event of the page settling would overtake the zoom's own answer.
    app.clientside_callback(
        ClientsideFunction("afterbout", "zoomed"), Output("zoomed", "data"), Input("traces", "relayoutData")
    )

    @app.callback(
        Output("traces", "figure", allow_duplicate=True),
        Input("zoomed", "data"),
        State("view", "data"),
        State("token", "data"),
        prevent_initial_call=True,
    )
    def zoom(relayout: Any, view: Any, token: str | None) -> Any:
        window = visible(relayout)
        bench = _bench(source, token)
        if bench is None or window is False or window is True:
            return no_update
        start, end = window if window is not None else (None, None)
        tones, patch, at = view_of(view).tones, Patch(), 0
        for panel in panels_of(bench):
            for trace in panel.traces:
                for data in trace_data(trace, "y", tones, start, end):
                    patch["data"][at]["x"], patch["data"][at]["y"] = data["x"], data["y"]
                    at += 1
        return patch

    @app.callback(
        Output("run-detail", "children"),
        Input("run-chosen", "data"),
        State("view", "data"),
        State("token", "data"),
        prevent_initial_call=True,
    )
    def open_run(run: Any, view: Any, token: str | None) -> Any:
        bench = _bench(source, token)
        if bench is None or not isinstance(run, str):
            return no_update
        return run_page.detail(bench, run, view_of(view))


def _table(app: Dash, source: Source) -> None:
    @app.server.route("/season.csv")
    def table() -> Response:
        asked = Asked.of(request.args)
        text = csv_text(shown(filtered(source.lines(), asked), asked))
        headers = {"Content-Disposition": 'attachment; filename="season.csv"'}
        return Response(text, mimetype="text/csv", headers=headers)


def _sheet(app: Dash, source: Source) -> None:
    @app.server.route("/sheet/<token>")
    def sheet(token: str) -> Response:
        try:
            bench = _bench(source, token)
        except AfterboutError as error:
            return Response(str(error), status=409, mimetype="text/plain")
        if bench is None:
            abort(404)
        share = request.args.get("share") == "1"
        packs = fitted(bench.build, bench.packs, bench.match)
        html_text = sheet_html(bench.review, bench.build, bench.pack, bench.match, share=share, packs=packs)
        return Response(html_text, mimetype="text/html")
