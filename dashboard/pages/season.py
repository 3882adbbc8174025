"""The season page: every match as a row with its verdict, why, and the figures to compare."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import groupby
from typing import Any

from dash import dcc, html

from dashboard.bars import margin_bar_svg
from dashboard.page_words import VERDICT_ORDER, VERDICT_WORDS, bounded, figure
from dashboard.pages.add import drop_field
from dashboard.pages.parts import mark, message, picture, spoken, title_block, verdict_word
from dashboard.source import Entry, Source, Summary

# estimate -> column head
FIGURES = (
    ("cell_minimum_V", "Lowest cell"),
    ("pack_peak_A", "Peak"),
    ("pack_mean_A", "Mean"),
    ("charge_used_Ah", "Charge"),
)


def layout(source: Source, asked: Mapping[str, str] = {}) -> html.Div:
    """The page; rows that are not reviewed yet say so, and the page asks again until all are."""
    entries = source.entries()
    if not entries:
        return html.Div([_empty(source), _problems(source)])
    source.review_all()
    waiting = dcc.Interval(id="again", interval=1000)
    return html.Div(
        [
            _title(source, entries),
            html.Div(table(source, asked), id="season-rows"),
            *([drop_field()] if source.season is not None else []),
            waiting,
            _problems(source),
        ]
    )


def table(source: Source, asked: Mapping[str, str] = {}) -> list[Any]:
    """The filter by word, and the rows in groups by event."""
    only = asked.get("verdict", "") if asked.get("verdict") in VERDICT_ORDER else ""
    entries = source.entries()
    known = [(entry, source.summary(entry)) for entry in entries]
    counts = {word: sum(1 for _, s in known if s is not None and s.verdict == word) for word in VERDICT_ORDER}
    shown = [(e, s) for e, s in known if not only or (s is not None and s.verdict == only)]
    head = html.Tr(
        [html.Th(word, className=name) for word, name in (
            ("Match", ""), ("Opponent", ""), ("Build, pack", ""), ("Result", ""), ("Verdict", ""), ("Because", ""),
            ("Hottest wire", "r"), ("rating", "at"), *((word, "r") for _, word in FIGURES))]
    )  # fmt: skip
    body: list[Any] = []
    for event, group in groupby(shown, key=lambda item: item[0].match.event if item[0].match else ""):
        if event:
            body.append(html.Tr(html.Th(event, colSpan=12, scope="rowgroup"), className="event-head"))
        body += [_row(entry, summary) for entry, summary in group]
    rows = html.Table([html.Thead(head), html.Tbody(body)], className="season")
    return [_filters(counts, len(entries), only), rows if shown else html.P("None with this verdict.")]


def pending(source: Source) -> bool:
    return any(source.summary(entry) is None for entry in source.entries())


def _title(source: Source, entries: list[Entry]) -> html.Dl:
    matches = [entry.match for entry in entries if entry.match is not None]
    unique = lambda values: ", ".join(dict.fromkeys(v for v in values if v))  # noqa: E731
    cells = [("Season", source.title)]
    if source.season is not None and source.season.robot:
        cells.append(("Robot", source.season.robot))
    cells += [
        ("Events", unique(m.event for m in matches)),
        ("Builds", unique(m.build or "" for m in matches)),
        ("Packs", unique(p for m in matches for p in m.fitted_packs)),
        ("Matches", str(len(entries))),
    ]
    won = sum(1 for m in matches if m.result == "won")
    return title_block([*cells, ("Won", str(won))] if won else cells)


def _filters(counts: dict[str, int], total: int, only: str) -> html.Nav:
    links = [dcc.Link(html.B(f"All {total}"), href="/", className="filter" + ("" if only else " chosen"))]
    for word in VERDICT_ORDER:
        if counts[word]:
            inner = [mark(word), html.Span(f"{VERDICT_WORDS[word]} {counts[word]}")]
            chosen = " chosen" if only == word else ""
            links.append(dcc.Link(inner, href=f"/?verdict={word}", className=f"filter{chosen}"))
    return html.Nav(links, className="filters", **spoken("Verdicts"))


def _row(entry: Entry, summary: Summary | None) -> html.Tr:
    match = entry.match
    build_pack = ", ".join(x for x in ((match.build or ""), *match.fitted_packs) if x) if match else ""
    cells: list[Any] = [
        html.Td(dcc.Link(entry.title, href=f"/match/{entry.token}"), className="id"),
        html.Td(match.opponent if match else "", className="opponent"),
        html.Td(build_pack, className="with"),
        html.Td(match.result if match else "", className="result"),
    ]
    if summary is None:
        return html.Tr([*cells, html.Td("reviewing", colSpan=8, className="waiting")])
    if summary.problem:
        return html.Tr(
            [*cells, html.Td(verdict_word("unknown")), html.Td(summary.problem, colSpan=7, className="problem")]
        )
    hot = summary.hottest
    because = summary.because or "no action"
    cells += [
        html.Td(verdict_word(summary.verdict), className="verdict-cell"),
        html.Td(because, className="because"),
        html.Td(figure(hot.measured, hot.unit) if hot else "not known", className="r hot"),
        html.Td(picture(margin_bar_svg(hot, f"h{entry.token}", width=150, height=59)), className="bar"),
    ]
    for name, word in FIGURES:
        found = summary.estimates.get(name)
        told = "" if found is None else _figure(*found)
        cells.append(html.Td([html.Span(word, className="only-narrow"), told], className="r fig"))
    return html.Tr(cells)


def _figure(value: float, low: float, high: float, unit: str) -> str:
    if math.isinf(high):
        return f"≥ {figure(low if math.isfinite(low) else value, unit)}"
    return bounded(value, low, high, unit)


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
