"""The what-if page: steppers beside before and after, the wiring redrawn, the traces with before in grey."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.exceptions import PreventUpdate

from analysis.change_notes import change_notes
from analysis.changes import Changes, changed
from analysis.findings import Review
from analysis.masses import room_g
from analysis.replay import Replay, replay
from analysis.wording import REPLAY_CAUTION
from dashboard.bars import margin_bar_svg
from dashboard.figure_view import View, view_of
from dashboard.figures import heights, traces_figure
from dashboard.ink import glue
from dashboard.marks import mark_svg
from dashboard.page_words import VERDICT_WORDS, bounded, figure, interval, margin, minutes, number, part_name
from dashboard.pages import lightest
from dashboard.pages.match import GRAPH_CONFIG
from dashboard.pages.offers import offer
from dashboard.pages.parts import cautions, picture, section, spoken, title_block, verdict_word
from dashboard.reviewing import Bench
from dashboard.rows import Row, margin_rows, row_label
from dashboard.source import Entry, Source
from dashboard.traces import Panel, panels
from dashboard.whatif_choices import Choice, choices, minutes_for, said, search_of, sets_of
from dashboard.whatif_page import WORTH_PCT
from dashboard.wiring_picture import wiring_svg
from dashboard.wiring_tree import fitted
from ingest.builds import Pack
from ingest.errors import DescriptionError

MOST_ROWS = 10
PANELS = ("Current", "Voltage", "Temperature")


@dataclass(frozen=True, eq=False)
class Tried:
    """One set of changes tried on a match: what came of it, or why not."""

    sets: Mapping[str, str]
    changes: Changes | None
    found: Replay | None
    refused: str

    @property
    def after(self) -> Review | None:
        return self.found.after if self.found is not None else None


def attempt(bench: Bench, sets: Mapping[str, str], packs: Sequence[Pack]) -> Tried:
    """Replay the match with the changes; a change that cannot be is refused with its reason, never an error."""
    assert bench.build is not None
    try:
        changes = changed(bench.build, bench.pack, list(sets.items()), {pack.id: pack for pack in packs})
    except DescriptionError as error:
        return Tried(
            sets, None, None, ". ".join(x.rstrip(".") for x in (f"{error.column} {error.what}", error.mend) if x) + "."
        )
    if not sets:
        return Tried(sets, changes, None, "")
    found = replay(bench.data, changes, bench.review)
    return Tried(sets, changes, found, found.refused or "")


def layout(entry: Entry, bench: Bench, packs: Sequence[Pack]) -> html.Div:
    """The page; steppers and results follow from the address."""
    if bench.build is None:
        told = "No build is named for this match, so there is nothing to change. Name one in its match file."
        return html.Div([html.H1("What if"), html.P(told)], className="message")
    facts = bench.review.match
    cells = [
        ("What if", facts.id or entry.title),
        ("Build", ", ".join(x for x in (bench.build.id, bench.build.build.summary) if x)),
    ]
    cells += [("Pack", pack.id) for pack in bench.packs[:1]]
    room = room_g(bench.build)
    if room is not None:
        cells.append(("Room under the mass limit", figure(room, "g")))
    if facts.minutes_to_next is not None:
        cells.append(("Next match", f"in {minutes(facts.minutes_to_next)}"))
    body = html.Div(
        [
            html.Div(steppers(choices(bench.build, bench.pack, packs), entry.token), className="steps"),
            html.Div(
                html.P("Replaying the match.", className="waiting"),
                id="whatif-result",
                className="tried",
                **spoken("Before and after", **{"aria-live": "polite"}),
            ),
        ],
        className="whatif",
    )
    return html.Div(
        [
            dcc.Store(id="token", data=entry.token),
            dcc.Store(id="run-chosen", data=None),
            title_block(cells),
            html.H1("What if", className="unseen"),
            body,
            html.Div(id="whatif-pictures"),
            lightest.ask(),
            cautions((REPLAY_CAUTION, *bench.review.cautions)),
        ]
    )


def steppers(rows: Sequence[Choice], token: str) -> list[Any]:
    """One line a choice: what it is, a step down, the value in words, a step up. Made once: a step changes words only,
    so that no press is lost while the page redraws."""
    out: list[Any] = []
    for row in rows:
        name = f"{part_name(row.part)}, {row.about}"
        label = html.Div([html.B(part_name(row.part)), html.Span(row.about)], className="name")
        value = html.Span(id={"type": "value", "key": _key(row)}, className="value")
        line = [label, _step(row, -1, row.less, name), value, _step(row, 1, row.more, name)]
        out.append(html.Div(line, className="stepper", **_stepper(row)))
    out.append(html.P(id="whatif-others", className="about"))
    return [*out, dcc.Link("As it was recorded", id="whatif-reset", href=f"/whatif/{token}", className="plain")]


def states(rows: Sequence[Choice], sets: Mapping[str, str]) -> tuple[list[str], list[str], list[str], str]:
    """(words of each value, class of each value, class of each step down and up, what only the address knows)."""
    words = [row.words(sets) for row in rows]
    values = ["value changed" if row.key in sets else "value" for row in rows]
    steps = []
    for row in rows:
        at = row.at(sets)
        steps += ["step end" if at == 0 else "step", "step end" if at == len(row.values) - 1 else "step"]
    known = {row.key for row in rows}
    others = {key: value for key, value in sets.items() if key not in known}
    return words, values, steps, f"Also from the address: {said(others)}." if others else ""


def _key(row: Choice) -> str:
    return row.key.replace(".", "/")


def _stepper(row: Choice) -> dict[str, Any]:
    return {"data-stepper": row.part}


def _step(row: Choice, way: int, word: str, name: str) -> html.Button:
    which = {"type": "step", "key": _key(row), "way": way}
    return html.Button(word, id=which, className="step", n_clicks=0, type="button", **spoken(f"{name}: {word}"))


def result(bench: Bench, tried: Tried) -> list[Any]:
    """Three lines of before and after, grams and minutes, and the margins that moved."""
    before = bench.review
    if not tried.sets:
        words = "Choose a change: every check is run again on this match, with the other wiring, pack or limit."
        return [_lines(before.match.verdict, [("Recorded", before.lines[0], "what"), ("Try", words, "do calm")])]
    if tried.after is None:
        return [
            _lines(
                "unknown", [("Tried", said(tried.sets), "what"), ("Not replayed", tried.refused, "why")], "Not replayed"
            )
        ]
    after = tried.after
    rows = [("Before", f"{VERDICT_WORDS[before.match.verdict]}. {before.lines[0]}", "why"),
            ("After", after.lines[0], "what"),
            ("Costs", _cost(bench, tried), "do")]  # fmt: skip
    return [_lines(after.match.verdict, rows), _notes(bench, tried), _moved(before, after)]


def _lines(verdict: str, rows: Sequence[tuple[str, str, str]], word: str = "") -> html.Section:
    said_lines = [
        html.Div([html.Span(label), html.P(glue(text))], className=f"say {name}") for label, text, name in rows
    ]
    head = html.Div(
        [picture(mark_svg(verdict, 72), "sign big"), html.H2(word or VERDICT_WORDS[verdict])], className=f"is {verdict}"
    )
    return html.Section([head, html.Div(said_lines, className="lines")], className="verdict tight")


def _cost(bench: Bench, tried: Tried) -> str:
    """ "Adds 10 g of 190 g left; about 16 of your 40 minutes." """
    assert tried.changes is not None and bench.build is not None
    grams, room = tried.changes.adds_g, room_g(bench.build)
    if grams is None:
        mass = f"Mass not known: {', '.join(part_name(p) for p in tried.changes.unweighed)} states none"
    else:
        mass = f"{number(grams, 'g')} g" if grams < 0 or round(grams) == 0 else f"Adds {figure(grams, 'g')}"
        if room is not None:
            mass += (
                f", {figure(room - grams, 'g')} left under the limit"
                if room >= grams
                else f": {figure(grams - room, 'g')} over the limit"
            )
    takes, left = minutes_for(tried.sets, bench.build), bench.review.match.minutes_to_next
    time = f"about {number(takes, 'min')} of your {minutes(left)}" if left is not None else f"about {minutes(takes)}"
    late = "; it does not fit" if left is not None and takes > left else ""
    return f"{mass}; {time}{late}."


def moved(before: Review, after: Review) -> list[tuple[Row, Row]]:
    """(before, after) of every figure that moved, the smallest margin after first."""
    old = {(row.check, row.part): row for row in margin_rows(before)}
    pairs = [(old[key], row) for row in margin_rows(after) if (key := (row.check, row.part)) in old]
    return [(was, now) for was, now in pairs if abs(now.margin_pct - was.margin_pct) >= WORTH_PCT]


def _moved(before: Review, after: Review) -> Any:
    pairs = moved(before, after)
    if not pairs:
        return html.P("No margin moved by more than half a per cent.")
    head = html.Tr([html.Th(w, className=c) for w, c in (("Margins that moved", ""), ("Before", "r"), ("After", "r"),
                    ("the rating", "at"), ("Margin", "r"), ("Word", ""))])  # fmt: skip
    body = [_moved_row(was, now, f"w{i}") for i, (was, now) in enumerate(pairs[:MOST_ROWS])]
    rest = len(pairs) - MOST_ROWS
    more = html.P(f"and {rest} more, with larger margins", className="about") if rest > 0 else None
    return html.Div([html.Table([html.Thead(head), html.Tbody(body)]), more], className="margins moved")


def _moved_row(was: Row, now: Row, uid: str) -> html.Tr:
    later = bounded(now.measured, now.low, now.high, now.unit)
    return html.Tr(
        [
            html.Td([html.B(part_name(now.part)), html.Span(row_label(now))], className="name"),
            html.Td(bounded(was.measured, was.low, was.high, was.unit), className="r was"),
            html.Td([html.B(later), html.Span(interval(now.low, now.high, now.unit))], className="r measured"),
            html.Td(picture(margin_bar_svg(now, uid, width=170, height=59)), className="bar"),
            html.Td(margin(now.margin_pct), className="r pct"),
            html.Td(verdict_word(now.verdict), className="verdict-cell"),
        ]
    )  # fmt: skip


def _notes(bench: Bench, tried: Tried) -> html.Div | None:
    """What the change does that no replay shows, and what the replay took for granted."""
    own = () if tried.changes is None or bench.build is None else change_notes(bench.build, bench.pack, tried.changes)
    notes = (*own, *(tried.found.notes if tried.found is not None else ()))
    return html.Div([html.P(f"{note[:1].upper()}{note[1:]}.") for note in notes], className="about") if notes else None


def pictures(bench: Bench, tried: Tried, view: View, token: str = "") -> list[Any]:
    """The wiring as it would be, before as thin outlines; the traces, before in grey. token: of the match, to take
    them away by."""
    after, changes = tried.after, tried.changes
    build = changes.build if changes is not None and after is not None else bench.build
    assert build is not None
    review = after or bench.review
    packs = fitted(build, bench.packs, bench.match)
    before = (bench.build, bench.review) if after is not None and bench.build is not None else None
    width = 358 if view.narrow else 1288
    drawn = picture(
        wiring_svg(build, review, theme="page", packs=packs, before=before, vertical=view.narrow, width=width)
    )
    about = "Dashed outlines: as it was recorded." if before else "As it was recorded."
    asked = search_of(tried.sets)
    address = f"/get/whatif/{token}"
    away = offer("What if", data=f"{address}/margins.csv{asked}", picture=f"{address}/wiring.svg{asked}")
    shown = [html.Div(drawn, className="wiring"), away if token else None]
    parts: list[Any] = [section("The wiring", about, shown, class_name="full")]
    made = overlaid(panels(bench.review, bench.build), panels(review, build))
    grey = "Grey: as it was recorded." if before else "As it was recorded."
    if made:
        graph = dcc.Graph(figure=traces_figure(made, review, view), config=GRAPH_CONFIG, className="graph",
                          style={"height": f"{heights(made, view)}px"})  # fmt: skip
        label = spoken("Traces after the change, before in grey", role="img")
        names = [html.Div([html.B(p.title), html.Span(p.about)], style={"height": f"{p.height}px"}) for p in made]
        grid = html.Div(
            [html.Div(names, className="names"), html.Div(graph, id="whatif-plot", className="plot", **label)],
            className="panels",
        )
        away = offer("Traces", plot="whatif-plot", name="what-if-traces")
        parts.append(section("The traces", grey, [grid, away], class_name="full traces"))
    return parts


def overlaid(before: Sequence[Panel], after: Sequence[Panel]) -> list[Panel]:
    """The panels that a change can move, what was recorded drawn under each in grey."""
    old = {panel.title: {t.signal.channel: t for t in panel.traces} for panel in before}
    out = []
    for panel in after:
        main = tuple(t for t in panel.traces if t.tone in ("blue", "orange"))[-1:]
        if panel.title not in PANELS or not main:
            continue
        under = [replace(was, label="", tone="grey", width=1.0, low=None, high=None)
                 for t in main if (was := old.get(panel.title, {}).get(t.signal.channel)) is not None]  # fmt: skip
        out.append(replace(panel, traces=(*under, *main)))
    return out


def register(app: Dash, source: Source) -> None:
    """Steps change the address; the address changes steppers, results and pictures."""

    def bench_of(token: Any) -> Bench | None:
        entry = source.entry(token) if token else None
        return None if entry is None else source.bench(entry)

    @app.callback(
        Output("address", "search", allow_duplicate=True),
        Input({"type": "step", "key": ALL, "way": ALL}, "n_clicks"),
        State("address", "search"),
        State("token", "data"),
        prevent_initial_call=True,
    )
    def step(clicks: list[int], search: str | None, token: Any) -> Any:
        bench = bench_of(token)
        asked = ctx.triggered_id
        if bench is None or bench.build is None or not any(clicks) or not isinstance(asked, dict):
            return no_update
        rows = choices(bench.build, bench.pack, source.packs())
        row = next((r for r in rows if r.key.replace(".", "/") == asked["key"]), None)
        return no_update if row is None else search_of(row.stepped(sets_of(search), int(asked["way"])))

    @app.callback(
        Output({"type": "value", "key": ALL}, "children"),
        Output({"type": "value", "key": ALL}, "className"),
        Output({"type": "step", "key": ALL, "way": ALL}, "className"),
        Output("whatif-others", "children"),
        Output("whatif-result", "children"),
        Output("whatif-pictures", "children"),
        Input("address", "search"),
        Input("view", "data"),
        Input("token", "data"),
    )
    def show(search: str | None, view: Any, token: Any) -> Any:
        bench = bench_of(token)
        if bench is None or bench.build is None or view is None:
            raise PreventUpdate
        sets, packs = sets_of(search), source.packs()
        tried = attempt(bench, sets, packs)
        words = states(choices(bench.build, bench.pack, packs), sets)
        return *words, result(bench, tried), pictures(bench, tried, view_of(view), str(token))
