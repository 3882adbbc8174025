"""The line of links at the foot of a picture or a table: take it away as CSV, SVG or PNG."""

from __future__ import annotations

from typing import Any

from dash import html

from dashboard.pages.parts import spoken


def offer(what: str, *, data: str = "", picture: str = "", plot: str = "", name: str = "", more: Any = None) -> html.P:
    """what: the thing in a word or two ("margins"), said to a screen reader with each link.

    data: the address of its CSV; picture: the address of its SVG, from which the browser makes the PNG too; plot: the
    id of the element that holds a plotly figure, which the browser turns into both. name: of the files that the
    browser makes; more: what stands behind the links.
    """
    links: list[Any] = [html.Span("Download")]
    kept = name or what.replace(" ", "-")
    if data:
        links.append(html.A("CSV", href=data, download="", **spoken(f"{what}, data as CSV")))
    if picture:
        as_svg: dict[str, Any] = {"data-picture": "1", **spoken(f"{what}, picture as SVG")}
        as_png: dict[str, Any] = {"data-png": picture, "data-name": kept, **spoken(f"{what}, picture as PNG")}
        links.append(html.A("SVG", href=picture, download="", **as_svg))
        links.append(html.Button("PNG", type="button", className="plain", **as_png))
    if plot:
        for kind in ("svg", "png"):
            said = spoken(f"{what}, picture as {kind.upper()}")
            as_plot: dict[str, Any] = {"data-plot": plot, "data-kind": kind, "data-name": kept, **said}
            links.append(html.Button(kind.upper(), type="button", className="plain", **as_plot))
    return html.P([*links, more], className="downloads")
