"""Pieces that several pages share: marks, pictures, the title block, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboard.ink import glue
from dashboard.marks import mark_svg
from dashboard.page_words import VERDICT_WORDS


def spoken(label: str, **more: str) -> dict[str, Any]:
    """What a screen reader says; as keywords for a dash component."""
    return {"aria-label": label, **more}


def picture(svg: str, class_name: str = "", **more: Any) -> html.Div:
    """An SVG drawn by ourselves, put into the page by assets/pages.js (all its texts are escaped where it is made)."""
    drawing: dict[str, Any] = {"data-svg": svg, **more}
    return html.Div(className=f"drawn {class_name}".strip(), **drawing)


def mark(verdict: str, size: int = 24) -> html.Div:
    return picture(mark_svg(verdict, size), "sign")


def verdict_word(verdict: str) -> html.Span:
    """The mark with its word: never the one without the other."""
    return html.Span([mark(verdict), html.B(VERDICT_WORDS.get(verdict, verdict))], className="word")


def title_block(cells: Sequence[tuple[str, str]]) -> html.Dl:
    return html.Dl(
        [html.Div([html.Dt(name), html.Dd(value or "not stated")]) for name, value in cells], className="who"
    )


def section(head: str, about: Any, body: Any, id: str | None = None, class_name: str = "") -> html.Section:
    """A section with its head in the margin column."""
    attributes: dict[str, Any] = {"id": id} if id else {}
    margin = html.Div([html.H2(head), html.Div(about, className="about")], className="margin")
    return html.Section(
        [margin, html.Div(body, className="body")], className=f"part {class_name}".strip(), **attributes
    )


def cautions(texts: Sequence[str]) -> html.Footer:
    return html.Footer([html.H2("Cautions"), html.Div([html.P(glue(text)) for text in texts])], className="cautions")


def message(head: str, text: str, *more: Any) -> html.Section:
    return html.Section([html.H1(head), html.P(text), *more], className="message")
