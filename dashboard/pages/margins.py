"""The margins: every figure that was held against a rating, the smallest first, all rating lines in one column."""

from __future__ import annotations

from typing import Any

from dash import html

from analysis.findings import Review
from dashboard.bars import margin_bar_svg
from dashboard.page_words import bounded, figure, interval, margin, part_name
from dashboard.pages.parts import picture, section, verdict_word
from dashboard.rows import Row, margin_rows, row_label

FIRST = 12  # rows shown at once; the rest is opened by a word (our choice: about one screen)


def margins_table(review: Review) -> html.Section:
    rows = margin_rows(review)
    about = "Smallest first. The empty space before the line is margin; past it is over."
    if not rows:
        return section("Margins", about, html.P("No figure could be held against a rating."))
    head = html.Tr(
        [html.Th(word, className=name) for word, name in (
            ("Part", ""), ("Measured", "r"), ("Rating", "r"), ("the rating", "at"), ("Margin", "r"), ("Word", ""),
            ("Source of the rating", ""))]
    )  # fmt: skip
    body: list[Any] = [
        html.Table([html.Thead(head), html.Tbody([_row(row, f"m{i}") for i, row in enumerate(rows[:FIRST])])])
    ]
    rest = rows[FIRST:]
    if rest:
        words = f"{len(rest)} more" + (", all within" if all(r.verdict == "within" for r in rest) else "")
        more = html.Table(html.Tbody([_row(row, f"x{i}") for i, row in enumerate(rest)]))
        body.append(html.Details([html.Summary(words), more]))
    return section("Margins", about, html.Div(body, className="margins"))


def _row(row: Row, uid: str) -> html.Tr:
    measured = bounded(row.measured, row.low, row.high, row.unit)
    between = interval(row.low, row.high, row.unit)
    return html.Tr(
        [
            html.Td([html.B(part_name(row.part)), html.Span(row_label(row))], className="name"),
            html.Td([html.B(measured), html.Span(between)], className="r measured"),
            html.Td(figure(row.limit, row.unit), className="r limit"),
            html.Td(picture(margin_bar_svg(row, uid, width=300, height=59)), className="bar"),
            html.Td(margin(row.margin_pct), className="r pct"),
            html.Td(verdict_word(row.verdict), className="verdict-cell"),
            html.Td(row.source, className="source"),
        ]
    )  # fmt: skip
