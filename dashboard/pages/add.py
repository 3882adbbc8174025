"""The page that adds files: a field to drop them on; what stands below it is made by dashboard.adding_page."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from dash import dcc, html

from dashboard.pages.parts import message
from dashboard.source import Source
from dashboard.upload import FILE_BYTES_MOST, FILES_MOST, megabytes

ADDRESS = "/add"


def layout(source: Source, asked: Mapping[str, str]) -> html.Div | html.Section:
    """The page; ?draft= names files that wait already."""
    if source.season is None:
        return message(
            "No season to add to",
            "Files are added to a season folder. Make one, then open it:",
            html.Pre("afterbout new FOLDER\nafterbout serve --season FOLDER"),
        )
    draft = asked.get("draft", "")
    known: dict[str, Any] = {"data-draft": draft if re.fullmatch(r"[0-9a-f]{16}", draft) else ""}
    return html.Div(
        [html.H1("Add files", className="page-head"), drop_field(), html.Div(id="adding", **known)], className="add"
    )


def drop_field(large: bool = False) -> html.Div:
    """Drop files here, or choose them; assets/upload.js does the sending."""
    attributes: dict[str, Any] = {"data-drop": ""}
    choose: dict[str, Any] = {"data-choose": ""}
    said: dict[str, Any] = {"data-said": "", "aria-live": "polite"}
    limits = f"Up to {FILES_MOST} files of one match, {megabytes(FILE_BYTES_MOST)} each."
    return html.Div(
        [
            html.P([html.B("Drop the log files of a match here"), html.Span(" or", className="wide-only-inline")]),
            html.Button("Choose files", type="button", className="step choose", **choose),
            html.P(f"{limits} They are read first, and stored when you say so.", className="about"),
            html.P("", className="said", role="status", **said),
        ],
        className="drop large" if large else "drop",
        **attributes,
    )


def link() -> dcc.Link:
    """For the head of the season page."""
    return dcc.Link("Add files", href=ADDRESS)
