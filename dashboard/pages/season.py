"""The season page: every match as a row with its verdict, why, and the figures to compare."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from dashboard.ink import glue
from dashboard.pack_picture import Panel, packs_svg
from dashboard.page_words import VERDICT_ORDER, VERDICT_WORDS
from dashboard.pages.add import drop_field
from dashboard.pages.parts import mark, message, picture, section, spoken, title_block
from dashboard.season_html import HEADS, table_html
from dashboard.season_table import Asked, Line, filtered, shown
from dashboard.season_trends import trends_of
from dashboard.source import Entry, Source
from ingest.errors import AfterboutError

ACROSS = 3  # panels beside each other


def layout(source: Source, asked: Mapping[str, str] = {}) -> html.Div:
    """The page; rows that are not reviewed yet say so, and the page asks again until all are."""
    entries = source.entries()
    if not entries:
        return html.Div([_empty(source), _problems(source)])
    source.review_all()
    waiting = dcc.Interval(id="again", interval=1000, disabled=not pending(source))
    return html.Div(
        [
            _title(source, entries),
            html.Div(table(source, asked), id="season-rows"),
            picked_bar(),
            html.Div(id="season-trends"),
            *([drop_field()] if source.season is not None else []),
            waiting,
            _problems(source),
        ]
    )


def table(source: Source, asked: Mapping[str, str] = {}) -> list[Any]:
    """The filters, and the rows: in groups by event, or sorted by a column."""
    wanted = Asked.of(asked)
    lines = source.lines()
    kept = filtered(lines, wanted)
    rows = shown(kept, wanted)
    pick = sum(1 for entry, _ in lines if entry.match is not None) > 1
    made = picture(table_html(rows, wanted, pick), "whole")
    return [_filters(lines, kept, wanted), _narrow_sort(wanted), made if rows else _none(wanted)]


def pending(source: Source) -> bool:
    return any(summary is None for _, summary in source.lines())


def trends(source: Source) -> list[Any]:
    """Below the table, once every match is reviewed: packs, builds, what drifted."""
    try:
        found = trends_of(source)
    except (AfterboutError, OSError) as error:
        return [html.P(f"Trends cannot be shown: {error}")]
    if not found.any:
        return []
    out: list[Any] = []
    for head, about, panels, told in (
        ("Pack resistance", "At 1 s, each match of a pack; bars are the interval.", found.packs, found.of_packs),
        ("Hottest wire", "Each match of a build, in air of 25 °C.", found.builds, ()),
        ("The robot itself", "What changed over the season.", (), found.of_robot),
    ):
        drawn = [
            piece
            for at in range(0, len(panels), ACROSS)
            for piece in _pictures(panels[at : at + ACROSS], f"{head}{at}")
        ]
        words = html.Ul([html.Li(glue(text.replace(" -> ", " to "))) for text in told], className="reasons")
        if panels or told:
            out.append(section(head, about, [*drawn, words]))
    return out


def _pictures(panels: Sequence[Panel], uid: str) -> list[Any]:
    """Side by side on a wide page, under each other on a phone."""
    mark_of = uid.replace(" ", "-")
    each = 1032 / ACROSS
    wide = packs_svg({"": panels}, theme="page", width=each * len(panels) - 24, uid=f"-{mark_of}")
    narrow = packs_svg({"": panels}, theme="page", width=342, uid=f"-{mark_of}-n")
    return [picture(wide or "", "wide-only"), picture(narrow or "", "narrow-only")]


def _title(source: Source, entries: list[Entry]) -> html.Dl:
    matches = [entry.match for entry in entries if entry.match is not None]
    cells = [("Season", source.title)]
    if source.season is not None and source.season.robot:
        cells.append(("Robot", source.season.robot))
    cells += [
        ("Events", _listed(m.event for m in matches)),
        ("Builds", _listed(m.build or "" for m in matches)),
        ("Packs", _listed(p for m in matches for p in m.fitted_packs)),
        ("Matches", str(len(entries))),
    ]
    won = sum(1 for m in matches if m.result == "won")
    return title_block([*cells, ("Won", str(won))] if won else cells)


def _listed(values: Any) -> str:
    """Each once; a long list is counted."""
    found = list(dict.fromkeys(value for value in values if value))
    return ", ".join(found) if len(found) <= 8 else f"{', '.join(found[:6])} and {len(found) - 6} more"


# Filters and order


def _filters(lines: Sequence[Line], kept: Sequence[Line], asked: Asked) -> html.Div:
    counts = {word: sum(1 for _, s in kept if s is not None and s.verdict == word) for word in VERDICT_ORDER}
    links = [_filter(html.B(f"All {len(kept)}"), asked.address(verdict=""), not asked.verdict)]
    for word in VERDICT_ORDER:
        if counts[word] or asked.verdict == word:
            inner = [mark(word), html.Span(f"{VERDICT_WORDS[word]} {counts[word]}")]
            links.append(_filter(inner, asked.address(verdict=word), asked.verdict == word))
    parts: list[Any] = [html.Nav(links, className="filters", **spoken("Verdicts"))]
    matches = [entry.match for entry, _ in lines if entry.match is not None]
    builds = list(dict.fromkeys(m.build for m in matches if m.build))
    packs = list(dict.fromkeys(pack for m in matches for pack in m.fitted_packs))
    more = [
        *_choice("build", builds, asked.build, asked),
        *_choice("pack", packs, asked.pack, asked),
        _find(asked),
        html.A("Table, CSV", href=asked.address("/season.csv"), className="plain", download="season.csv"),
    ]
    if len(matches) > 1:
        parts.append(html.Div(more, className="narrowing"))
    return html.Div(parts)


def _filter(inner: Any, href: str, chosen: bool) -> dcc.Link:
    return dcc.Link(inner, href=href, className="filter" + (" chosen" if chosen else ""))


def _choice(name: str, known: Sequence[str], chosen: str, asked: Asked) -> list[Any]:
    """One link a build or pack; a second press takes it off again."""
    if len(known) < 2:
        return []
    links = [_filter(each, asked.address(**{name: "" if each == chosen else each}), each == chosen) for each in known]
    label = {"build": "Build", "pack": "Pack"}[name]
    return [html.Nav([html.Span(label, className="label"), *links], className="choice", **spoken(label))]


def _find(asked: Asked) -> html.Form:
    """A form of the browser's own: it works without a script, and its answer has an address."""
    held = {"verdict": asked.verdict, "build": asked.build, "pack": asked.pack, "sort": asked.sort,
            "down": "1" if asked.down else ""}  # fmt: skip
    hidden = [dcc.Input(type="hidden", name=name, value=value) for name, value in held.items() if value]
    field = dcc.Input(type="search", name="find", value=asked.find, placeholder="Opponent, event, cause", **_FIND_ID)
    return html.Form(
        [html.Label("Find", htmlFor="find", className="unseen"), field, html.Button("Find", type="submit"), *hidden],
        action="/",
        method="GET",
        className="find",
    )


_FIND_ID: dict[str, Any] = {"id": "find", "debounce": True}


def _narrow_sort(asked: Asked) -> html.Details:
    """On a phone the heads are gone: the same links in a list that opens."""
    word = next((word for key, word, _ in HEADS if key == asked.sort and key), "")
    told = f"Sorted by {word.lower()}{', downwards' if asked.down else ''}" if word else "Sorted by match"
    links = [dcc.Link(word, href=asked.sorted_by(key), className="filter") for key, word, _ in HEADS if key]
    return html.Details([html.Summary(told), html.Div(links, className="choice")], className="narrow-only sorting")


def _none(asked: Asked) -> html.P:
    what = "No match fits." if asked.any else "No match yet."
    return html.P([what, " ", dcc.Link("Show all", href=Asked().address())])


def picked_bar() -> html.Div:
    """Filled by assets/season.js once two rows are chosen."""
    attributes: dict[str, Any] = {"data-picked": "", "hidden": True}
    return html.Div(
        [html.Span("", className="names", role="status"), html.A("Compare them", href="/compare", className="go")],
        className="store picked",
        **attributes,
    )


# Nothing, or not all


def _empty(source: Source) -> html.Section:
    if source.season is None:
        return message(
            "No matches yet",
            "Add the log files of a match to a season:",
            html.Pre("afterbout add FILES --season FOLDER --match m01"),
            html.P("Or see a made-up season first:"),
            html.Pre("afterbout demo"),
        )
    return html.Section(
        [
            html.H1("No matches yet", className="page-head"),
            drop_field(large=True),
            html.P("Or with a command:", className="about"),
            html.Pre(f"afterbout add FILES --season {source.season.root} --match m01"),
        ],
        className="add",
    )


def _problems(source: Source) -> html.Section | None:
    found = source.problems()
    if not found:
        return None
    items = [html.Li([mark("unknown"), html.Span(str(error))]) for error in found]
    return html.Section([html.H2("Could not be read"), html.Ul(items)], className="problems")
