"""What every page gives to take away: its data as CSV, its pictures as SVG and PNG.

A PNG is made by the browser from the same drawing (assets/downloads.js): nothing is fetched and nothing is installed.
Addresses hold the opaque token of a match or the names that the compare page was asked with, never a path.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
import pyarrow as pa
from dash import Dash
from flask import Response, abort, request
from markupsafe import escape

from dashboard.envelope import envelope_curve, envelope_svg
from dashboard.exporting import csv_bytes
from dashboard.ink import FONT_STACK, TONES, Theme
from dashboard.pages import compare as compare_page
from dashboard.pages import lightest as lightest_page
from dashboard.pages import packs as packs_page
from dashboard.pages import pit as pit_page
from dashboard.pages import whatif as whatif_page
from dashboard.pages import words as words_page
from dashboard.reviewing import Bench
from dashboard.rows import Row, margin_rows
from dashboard.source import Entry, Source
from dashboard.teaching import teaching_html
from dashboard.traces import signals_of
from dashboard.whatif_choices import sets_of
from dashboard.wiring_picture import wiring_svg
from dashboard.wiring_tree import fitted
from ingest.errors import AfterboutError

CHUNK_ROWS = 100_000  # rows of the samples made at a time, so that a long log needs no more memory than a short one


def register(app: Dash, source: Source) -> None:
    """The addresses below /get/; each is guarded as every other address of the server is."""
    server = app.server

    @server.get("/get/match/<token>/<what>")
    def of_match(token: str, what: str) -> Response:
        return _answer(lambda: _of_match(*_bench(source, token), what))

    @server.get("/get/whatif/<token>/<what>")
    def of_whatif(token: str, what: str) -> Response:
        def make() -> Response:
            entry, bench = _bench(source, token)
            if bench.build is None:
                abort(404)
            if what in ("lightest.csv", "lightest.svg"):
                return _of_lightest(entry, bench, source, what)
            query = request.query_string.decode("ascii", "ignore")
            tried = whatif_page.attempt(bench, sets_of(f"?{query}"), source.packs())
            return _of_whatif(entry, bench, tried, what)

        return _answer(make)

    @server.get("/get/compare/<what>")
    def of_compare(what: str) -> Response:
        def make() -> Response:
            found = compare_page.compared(source, request.args)
            if found is None or isinstance(found, str):
                abort(404)
            name = f"compare-{found.made.groups[0].id}-{found.made.groups[1].id}"
            if what == "differences.csv":
                return table(compare_page.rows_of(found.made), name)
            drawn = compare_page.pictures(source, found, request.args, _theme()).get(what.removesuffix(".svg"))
            return picture(drawn, f"{name}-{what}")

        return _answer(make)

    @server.get("/get/words.csv")
    def of_words() -> Response:
        return table(words_page.rows_of(), "words")

    @server.get("/get/packs/<what>")
    def of_packs(what: str) -> Response:
        def make() -> Response:
            if what == "packs.csv":
                return table(packs_page.rows_of(source), "packs")
            return picture(packs_page.drawn(source, _theme()) if what == "packs.svg" else None, "packs")

        return _answer(make)

    @server.get("/get/pit/<what>")
    def of_pit(what: str) -> Response:
        def make() -> Response:
            made = pit_page.plan_of(source, pit_page.minutes_asked(request.args.get("minutes")))
            if made is None:
                abort(404)
            if what == "plan.csv":
                return table(pit_page.rows_of(made[1]), f"pit-plan-{made[0].title}")
            return picture(pit_page.drawn(made[1], _theme()) if what == "plan.svg" else None, "pit-plan")

        return _answer(make)

    @server.get("/teach/<kind>/<token>")
    def teach(kind: str, token: str) -> Response:
        """The wiring explained, without any figure of a match: for the build of a match, or a build by its id."""

        def make() -> Response:
            build = source.build_of(kind, token)
            if build is None:
                abort(404)
            return Response(teaching_html(build), mimetype="text/html")

        return _answer(make)


def _theme() -> Theme:
    return "dark" if request.args.get("dark") == "1" else "light"


def _bench(source: Source, token: str) -> tuple[Entry, Bench]:
    entry = source.entry(token)
    if entry is None:
        abort(404)
    return entry, source.bench(entry)


def _answer(make: Callable[[], Response]) -> Response:
    try:
        return make()
    except (AfterboutError, OSError) as error:
        return Response(str(error), status=409, mimetype="text/plain")


def named(response: Response, name: str) -> Response:
    """To be kept under a name: letters, digits, dot, line only."""
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "-" for c in name)[:100]
    response.headers["Content-Disposition"] = f'attachment; filename="{kept}"'
    return response


def table(rows: pa.Table, name: str) -> Response:
    """A table as a CSV file; text that a spreadsheet would run is escaped."""
    return named(Response(csv_bytes(rows), mimetype="text/csv"), f"{name}.csv")


def picture(svg: str | None, name: str) -> Response:
    """A drawing as an SVG file of its own, on its paper."""
    if svg is None:
        abort(404)
    kept = name if name.endswith(".svg") else f"{name}.svg"
    return named(Response(standing_alone(svg, _theme()), mimetype="image/svg+xml"), kept)


def standing_alone(svg: str, theme: Theme) -> str:
    """With its own paper under it, so that it can be seen outside a page."""
    end = svg.index(">") + 1
    paper = f'<rect width="100%" height="100%" fill="{TONES[theme].paper}"/>'
    return (
        svg[:end] + f"<style>text{{font-family:{escape(FONT_STACK)}}}</style>".replace("&#39;", "'") + paper + svg[end:]
    )


def margins_table(rows: Sequence[Row]) -> pa.Table:
    """Every figure that was held against a rating."""
    return pa.table(
        {
            "part": [r.part for r in rows],
            "check": [r.check for r in rows],
            "measured": pa.array([r.measured for r in rows], pa.float64()),
            "low": pa.array([_finite(r.low) for r in rows], pa.float64()),
            "high": pa.array([_finite(r.high) for r in rows], pa.float64()),
            "unit": [r.unit for r in rows],
            "limit": pa.array([r.limit for r in rows], pa.float64()),
            "margin_pct": pa.array([r.margin_pct for r in rows], pa.float64()),
            "verdict": [r.verdict for r in rows],
            "source": [r.source for r in rows],
        }
    )


def _finite(value: float | None) -> float | None:
    """An open end is left empty."""
    return value if value is not None and np.isfinite(value) else None


def samples_csv(bench: Bench) -> Iterator[bytes]:
    """Every sample of every channel as the review used it: channel, time on the match clock, value."""
    first = True
    for name, signal in signals_of(bench.review).items():
        for at in range(0, len(signal), CHUNK_ROWS):
            span = slice(at, at + CHUNK_ROWS)
            values = pa.array(signal.x[span], mask=~signal.valid[span])
            part = pa.table(
                {"channel": pa.array([name] * len(values)), "time_s": pa.array(signal.t_s[span]), "value": values}
            )
            made = csv_bytes(part)
            yield made if first else made.partition(b"\n")[2]
            first = False


def _of_match(entry: Entry, bench: Bench, what: str) -> Response:
    name = f"{entry.title}-{what}"
    if what == "margins.csv":
        return table(margins_table(margin_rows(bench.review)), name.removesuffix(".csv"))
    if what == "samples.csv":
        return named(Response(samples_csv(bench), mimetype="text/csv"), name)
    if what == "envelope.csv":
        curve = envelope_curve(bench.review)
        if curve is None:
            abort(404)
        made = pa.table({"window_s": pa.array(curve[0]), "worst_rms_A": pa.array(curve[1])})
        return table(made, name.removesuffix(".csv"))
    if what == "wiring.svg" and bench.build is not None:
        packs = fitted(bench.build, bench.packs, bench.match)
        return picture(wiring_svg(bench.build, bench.review, theme=_theme(), packs=packs), name)
    if what == "envelope.svg":
        drawn = envelope_svg(bench.review, bench.build, bench.pack, theme=_theme(), width=1032, height=300, size=16)
        return picture(drawn, name)
    abort(404)


def _of_lightest(entry: Entry, bench: Bench, source: Source, what: str) -> Response:
    found = lightest_page.found_for(bench, source.packs())
    name = f"{entry.title}-lightest"
    if what == "lightest.csv":
        return table(lightest_page.rows_of(bench, found), name)
    return picture(lightest_page.drawn(bench, found, _theme()), name)


def _of_whatif(entry: Entry, bench: Bench, tried: whatif_page.Tried, what: str) -> Response:
    after = tried.after or bench.review
    name = f"{entry.title}-what-if-{what}"
    if what == "margins.csv":
        return table(margins_table(margin_rows(after)), name.removesuffix(".csv"))
    build = tried.changes.build if tried.changes is not None and tried.after is not None else bench.build
    if what != "wiring.svg" or build is None:
        abort(404)
    before = (bench.build, bench.review) if tried.after is not None and bench.build is not None else None
    packs = fitted(build, bench.packs, bench.match)
    return picture(wiring_svg(build, after, theme=_theme(), packs=packs, before=before), name)
