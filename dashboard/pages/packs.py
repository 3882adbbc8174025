"""The packs page: one row a pack with its verdict, resistance, use of capacity, cells, and its trend."""

from __future__ import annotations

import math
from typing import Any

import pyarrow as pa
from dash import dcc, html

from analysis.pack_life import PackLife, pack_lives
from analysis.pack_verdict import PackVerdict, pack_verdict
from analysis.wording import CAUTIONS
from dashboard.ink import Theme, glue
from dashboard.pack_picture import Panel, pack_panels, packs_svg
from dashboard.page_words import figure, interval, number, part_name, sentence
from dashboard.pages.offers import offer
from dashboard.pages.parts import cautions, mark, message, picture, section, title_block
from dashboard.source import Source

MARKS = {"reuse": "within", "watch": "close", "retire": "over", "not checked": "unknown"}


def layout(source: Source) -> html.Div | html.Section:
    """The whole page."""
    if source.season is None or not source.packs():
        return message("No packs yet", "Describe each pack in a file of its own in the season's packs folder.")
    rows = list(source.season_run().rows())
    packs = {pack.id: pack for pack in source.packs()}
    lives = {life.pack: life for life in pack_lives(rows, packs)}
    drawn = panels_of(source)
    items: list[Any] = [_pack(source, pack_id, lives.get(pack_id), drawn[pack_id]) for pack_id in packs]
    items.append(offer("Packs", data="/get/packs/packs.csv", picture="/get/packs/packs.svg"))
    cells = [("Packs", ", ".join(packs)), ("Matches", str(len(rows)))]
    about = "Reuse means only: nothing in the log against it. No log sees a crushed cell."
    about += " A dotted dash: that match does not tell it."
    parts = [title_block(cells), html.H1("Packs", className="unseen"), section("The packs", about, html.Div(items))]
    return html.Div([*parts, cautions(CAUTIONS)], className="packs")


def verdict_of(source: Source, pack_id: str) -> tuple[PackVerdict, str, str] | None:
    """(verdict, match, its token) after the last logged match of a pack."""
    seen = [e for e in source.entries() if e.match is not None and e.match.logs and pack_id in e.match.fitted_packs]
    if not seen:
        return None
    bench = source.bench(seen[-1])
    return pack_verdict(bench.data, bench.review), seen[-1].title, seen[-1].token


def panels_of(source: Source) -> dict[str, tuple[Panel, ...]]:
    """Every pack with its figures over the season, by id."""
    rows = list(source.season_run().rows())
    packs = {pack.id: pack for pack in source.packs()}
    lives = {life.pack: life for life in pack_lives(rows, packs)}
    return {
        pack_id: pack_panels([r for r in rows if r.pack == pack_id], lives.get(pack_id), pack.capacity_Ah)
        for pack_id, pack in packs.items()
    }


def drawn(source: Source, theme: Theme) -> str | None:
    """Every pack in one picture, for taking away."""
    return packs_svg(panels_of(source), theme=theme) if source.season is not None else None


def rows_of(source: Source) -> pa.Table:
    """One row a pack, match and figure; a figure that a match does not tell is empty."""
    found = panels_of(source) if source.season is not None else {}
    flat = [(pack, panel, dot) for pack, panels in found.items() for panel in panels for dot in panel.dots]
    return pa.table(
        {
            "pack": [pack for pack, _, _ in flat],
            "match": [dot.match for _, _, dot in flat],
            "figure": [panel.name for _, panel, _ in flat],
            "unit": [panel.unit for _, panel, _ in flat],
            "value": pa.array([dot.value for _, _, dot in flat], pa.float64()),
            "low": pa.array([_finite(dot.low) for _, _, dot in flat], pa.float64()),
            "high": pa.array([_finite(dot.high) for _, _, dot in flat], pa.float64()),
        }
    )


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _pack(source: Source, pack_id: str, life: PackLife | None, panels: tuple[Panel, ...]) -> html.Section:
    found = verdict_of(source, pack_id)
    word = found[0].word if found is not None else "not checked"
    reasons = found[0].reasons if found is not None else ("no match of this season was logged with it",)
    head = [html.Span([mark(MARKS[word]), html.B(word.capitalize())], className="word"), html.H3(part_name(pack_id))]
    facts: list[Any] = [html.P(glue(sentence("; ".join(reasons))))]
    if found is not None:
        change = found[0].would_change
        told = f"What would change that: {change[:1].lower()}{change[1:]} "
        facts.append(html.P([glue(told), dcc.Link(f"Last seen in {found[1]}", href=f"/match/{found[2]}")]))
    wide = packs_svg({pack_id: panels}, theme="page", width=864, uid=f"-{pack_id}")
    narrow = packs_svg({pack_id: panels}, theme="page", width=342, uid=f"-{pack_id}-n")
    if wide is not None and narrow is not None:
        facts += [picture(wide, "wide-only"), picture(narrow, "narrow-only")]
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
        told.append(f"Retire at {figure(life.line_mohm, 'mohm')}: {life.line_source}")
    if life.at_use is not None and math.isfinite(life.at_use):
        told.append(f"It gets there at about use {life.at_use:.0f}")
    if life.capacity_Ah:
        told.append("Capacity seen: " + ", ".join(figure(value, "Ah") for value in life.capacity_Ah))
    if life.cells:
        each = ", ".join(f"{cell.cell.removeprefix('cell')}: {number(cell.last_pct, '%')} %" for cell in life.cells)
        told.append(f"Resistance of each cell against the middle one: {each}")
    return [
        html.Ul([html.Li(glue(f"{text[:1].upper()}{text[1:]}.")) for text in (*told, *life.notes)], className="reasons")
    ]
