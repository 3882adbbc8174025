"""The packs page: one row a pack with its verdict, resistance, use of capacity, cells, and its trend."""

from __future__ import annotations

import math
from typing import Any

from dash import dcc, html

from analysis.pack_life import PackLife, pack_lives
from analysis.pack_verdict import PackVerdict, pack_verdict
from analysis.wording import CAUTIONS
from dashboard.ink import glue
from dashboard.page_words import figure, interval, number, part_name
from dashboard.pages.parts import cautions, mark, message, section, title_block
from dashboard.source import Source

MARKS = {"reuse": "within", "watch": "close", "retire": "over", "not checked": "unknown"}


def layout(source: Source) -> html.Div | html.Section:
    """The whole page."""
    if source.season is None or not source.packs():
        return message("No packs yet", "Describe each pack in a file of its own in the season's packs folder.")
    rows = list(source.season_run().rows())
    packs = {pack.id: pack for pack in source.packs()}
    lives = {life.pack: life for life in pack_lives(rows, packs)}
    items = [_pack(source, pack_id, lives.get(pack_id)) for pack_id in packs]
    cells = [("Packs", ", ".join(packs)), ("Matches", str(len(rows)))]
    about = "Reuse means only: nothing in the log against it. No log sees a crushed cell."
    parts = [title_block(cells), html.H1("Packs", className="unseen"), section("The packs", about, html.Div(items))]
    return html.Div([*parts, cautions(CAUTIONS)], className="packs")


def verdict_of(source: Source, pack_id: str) -> tuple[PackVerdict, str, str] | None:
    """(verdict, match, its token) after the last logged match of a pack."""
    seen = [e for e in source.entries() if e.match is not None and e.match.logs and pack_id in e.match.fitted_packs]
    if not seen:
        return None
    bench = source.bench(seen[-1])
    return pack_verdict(bench.data, bench.review), seen[-1].title, seen[-1].token


def _pack(source: Source, pack_id: str, life: PackLife | None) -> html.Section:
    found = verdict_of(source, pack_id)
    word = found[0].word if found is not None else "not checked"
    reasons = found[0].reasons if found is not None else ("no match of this season was logged with it",)
    head = [html.Span([mark(MARKS[word]), html.B(word.capitalize())], className="word"), html.H3(part_name(pack_id))]
    facts: list[Any] = [html.P(glue("; ".join(reasons) + "."))]
    if found is not None:
        facts.append(
            html.P([glue(f"{found[0].would_change} "), dcc.Link(f"Last seen in {found[1]}", href=f"/match/{found[2]}")])
        )
    table = _uses(life) if life is not None and life.uses else html.P("Its resistance is not known from any match.")
    return html.Section(
        [html.Div(head, className="pack-head"), html.Div([*facts, table, *_life(life)], className="pack-body")],
        className="pack",
    )


def _uses(life: PackLife) -> html.Table:
    head = html.Tr(
        [
            html.Th("Match"),
            html.Th("At 1 s", className="r"),
            html.Th("Temperature", className="r"),
            html.Th("Brought to 25 °C", className="r"),
        ]
    )
    body = []
    for use in life.uses:
        warm = "not known" if use.corrected_mohm is None else figure(use.corrected_mohm, "mohm")
        band = interval(use.corrected_low, use.corrected_high, "mohm")
        told = figure(use.temp_degC, "degC")
        cells = [
            html.Td(html.B(use.match), className="id"),
            html.Td(figure(use.mohm, "mohm"), className="r"),
            html.Td(told, className="r"),
            html.Td([html.B(warm), html.Span(f" {band}")], className="r"),
        ]
        body.append(html.Tr(cells))
    return html.Table([html.Thead(head), html.Tbody(body)])


def _life(life: PackLife | None) -> list[Any]:
    if life is None:
        return []
    told = [f"Trend: {life.trend}"]
    if life.per_use_mohm is not None and life.low is not None and life.high is not None:
        told[0] += f", {number(life.per_use_mohm, 'mohm')} mΩ a use ({interval(life.low, life.high, 'mohm')})"
    if life.line_mohm is not None:
        told.append(f"Retired at {figure(life.line_mohm, 'mohm')}: {life.line_source}")
    if life.at_use is not None and math.isfinite(life.at_use):
        told.append(f"It gets there at about use {life.at_use:.0f}")
    if life.capacity_Ah:
        told.append("Capacity seen: " + ", ".join(figure(value, "Ah") for value in life.capacity_Ah))
    told += [f"{part_name(cell.cell)}: {number(cell.last_pct, '%')} % of the middle cell" for cell in life.cells]
    return [
        html.Ul([html.Li(glue(f"{text[:1].upper()}{text[1:]}.")) for text in (*told, *life.notes)], className="reasons")
    ]
