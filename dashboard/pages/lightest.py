"""The lightest wiring, on the what-if page: looked for on request, grams against margin as a picture and a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pyarrow as pa
from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.masses import room_g
from analysis.search import Found, Option, search
from dashboard.figure_view import view_of
from dashboard.ink import Theme, glue
from dashboard.page_words import figure, margin
from dashboard.pages.offers import offer
from dashboard.pages.parts import picture, section, spoken
from dashboard.pareto_picture import Point, pareto_svg
from dashboard.reviewing import Bench
from dashboard.source import Source
from dashboard.whatif_choices import said, search_of
from ingest.builds import Pack

ABOUT = (
    "Every size, pack and current limit held against the margins of this match: what nothing else beats in both grams "
    "and margin. Dots filled: under the mass limit. Another opponent may load the robot more."
)
SCREENED = "Screened, not replayed: try one to have it replayed with every check."


def ask() -> html.Div:
    """The section as it stands first: a button, for the search takes some seconds."""
    button = html.Button(
        "Look for the lightest wiring", id="lightest-look", type="button", n_clicks=0, className="plain"
    )
    waits = html.Div(id="lightest-found", role="region", **spoken("The lightest wiring", **{"aria-live": "polite"}))
    return html.Div(section("The lightest wiring", ABOUT, [button, dcc.Loading(waits, type="dot")], class_name="full"))


def found_for(bench: Bench, packs: Sequence[Pack]) -> Found:
    """The search on one match, kept as long as the match is."""
    key = "lightest:" + ",".join(pack.id for pack in packs)
    kept = bench.data.memo.get(key)
    if not isinstance(kept, Found):
        kept = search(bench.data, bench.review, packs)
        bench.data.memo[key] = kept
    return kept


def shown(found: Found) -> list[Option]:
    """The options of the picture, lightest first; the answer is among them."""
    options = list(found.pareto)
    if found.best is not None and all(dict(o.sets) != dict(found.best.sets) for o in options):
        options.append(found.best)
    return sorted(options, key=lambda o: (o.adds_g, o.margin_pct))


def points(found: Found) -> list[Point]:
    best = None if found.best is None else dict(found.best.sets)
    return [Point(o.adds_g, o.margin_pct, best is not None and dict(o.sets) == best) for o in shown(found)]


def drawn(bench: Bench, found: Found, theme: Theme, width: float = 1032) -> str | None:
    """Grams against margin, for the page and for taking away."""
    room = None if bench.build is None else room_g(bench.build)
    return pareto_svg(points(found), found.need_pct, room, theme=theme, width=width)


def rows_of(bench: Bench, found: Found) -> pa.Table:
    """The same as a table."""
    room = None if bench.build is None else room_g(bench.build)
    options, best = shown(found), points(found)
    return pa.table(
        {
            "number": pa.array(range(1, len(options) + 1), pa.int32()),
            "adds_g": pa.array([o.adds_g for o in options], pa.float64()),
            "smallest_margin_pct": pa.array([o.margin_pct for o in options], pa.float64()),
            "changes": ["; ".join(f"{k} = {v}" for k, v in o.sets) or "as it is" for o in options],
            "under_mass_limit": ["" if room is None else _yes(o.adds_g <= max(room, 0.0)) for o in options],
            "lightest": [_yes(p.answer) for p in best],
        }
    )


def _yes(true: bool) -> str:
    return "yes" if true else "no"


def result(bench: Bench, found: Found, token: str, narrow: bool) -> list[Any]:
    """Three lines, the picture, the table with a step to try each."""
    svg = drawn(bench, found, "page", 358 if narrow else 1288)
    body: list[Any] = [html.P(glue(text)) for text in _lines(bench, found)]
    if svg is None:
        return body
    body += [picture(svg), _table(bench, found, token)]
    address = f"/get/whatif/{token}"
    body.append(offer("Lightest wiring", data=f"{address}/lightest.csv", picture=f"{address}/lightest.svg"))
    return body


def _lines(bench: Bench, found: Found) -> list[str]:
    best, room = found.best, None if bench.build is None else room_g(bench.build)
    if best is None:
        first = f"None: {found.note.rstrip('.')}."
    elif not best.sets:
        first = "The wiring as it is: nothing lighter keeps every margin."
    else:
        proof = "replayed with every check" if found.proved else f"not proved: {found.note}"
        first = (
            f"{_grams(best.adds_g)} with {said(dict(best.sets))}; smallest margin {margin(best.margin_pct)}, {proof}."
        )
    lines = [first]
    if room is not None:
        left = f"{figure(room, 'g')} are left under the mass limit" if room >= 0 else ""
        lines.append(f"{left or f'The robot is {-room:.0f} g over its mass limit already: nothing may be added'}.")
    lines.append("A run without a fuse above it that would protect it is never made thinner.")
    if found.remade:
        lines.append("The joint that came loose in this match is taken as remade.")
    if found.overloads:
        told = "; ".join(found.overloads).replace("_", " ")
        lines.append(f"{told}: there the wire passes its limit first, and only the log shows it.")
    return lines


def _table(bench: Bench, found: Found, token: str) -> html.Div:
    room = None if bench.build is None else room_g(bench.build)
    names = (("No.", "r"), ("Grams", "r"), ("Smallest margin", "r"), ("What", ""), ("", ""))
    head = html.Tr([html.Th(name, className=c) for name, c in names])
    body = [
        _row(index, option, point, room, token)
        for index, (option, point) in enumerate(zip(shown(found), points(found), strict=True), 1)
    ]
    table = html.Table([html.Thead(head), html.Tbody(body)], **spoken("Grams against the smallest margin"))
    return html.Div([table, html.P(SCREENED, className="about")], className="lightest")


def _row(index: int, option: Option, point: Point, room: float | None, token: str) -> html.Tr:
    words = said(dict(option.sets)) or "As it is"
    if point.answer:
        words += " (the lightest)"
    if room is not None and option.adds_g > max(room, 0.0):
        words += " (over the mass limit)"
    link: Any = ""
    if option.sets:
        address = f"/whatif/{token}{search_of(dict(option.sets))}"
        # A link of dash takes no spoken label of its own; its title is read out.
        link = dcc.Link(
            "Try it", href=address, className="plain", title=f"Try number {index}: {said(dict(option.sets))}"
        )
    return html.Tr(
        [
            html.Td(str(index), className="r"),
            html.Td(html.B(_grams(option.adds_g)), className="r"),
            html.Td(margin(option.margin_pct), className="r"),
            html.Td(glue(words), className="what"),
            html.Td(link),
        ]
    )


def _grams(grams: float) -> str:
    return f"{grams:+.0f} g".replace("-", "−") if round(grams) else "0 g"


def register(app: Dash, source: Source) -> None:
    """The search runs when it is asked for."""

    @app.callback(
        Output("lightest-found", "children"),
        Input("lightest-look", "n_clicks"),
        State("token", "data"),
        State("view", "data"),
        prevent_initial_call=True,
    )
    def look(clicks: int, token: Any, view: Any) -> Any:
        entry = source.entry(token) if clicks and token else None
        bench = None if entry is None else source.bench(entry)
        if bench is None or bench.build is None:
            return no_update
        return result(bench, found_for(bench, source.packs()), str(token), view_of(view).narrow)
