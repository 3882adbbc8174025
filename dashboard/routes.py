"""From an address to a page: what is shown, the words of the navigation, the links at its right."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs

from dash import dcc, html

from dashboard.pages import add as add_page
from dashboard.pages import compare as compare_page
from dashboard.pages import live as live_page
from dashboard.pages import match as match_page
from dashboard.pages import packs as packs_page
from dashboard.pages import pit as pit_page
from dashboard.pages import season as season_page
from dashboard.pages import whatif as whatif_page
from dashboard.pages import words as words_page
from dashboard.pages.parts import message
from dashboard.source import Entry, Source
from ingest.errors import AfterboutError

_OF_MATCH = re.compile(r"^/(match|whatif)/([0-9a-f]{12})$")
# pages that redraw themselves where only the part after "?" of their address changed
OWN_SEARCH = re.compile(r"^/whatif/")


# the pages of a whole season: name in the navigation, and what draws them
_OF_SEASON: dict[str, tuple[str, Callable[[Source, Mapping[str, str]], Any]]] = {
    "/compare": ("Compare", compare_page.layout),
    "/packs": ("Packs", lambda source, asked: packs_page.layout(source)),
    "/pit": ("Pit", lambda source, asked: pit_page.layout(source, asked.get("minutes"))),
    "/words": ("Words", lambda source, asked: words_page.layout()),
}


@dataclass(frozen=True)
class Shown:
    """One page: what stands in it, its name in the navigation, the match it is about, links at the right."""

    body: Any
    name: str = ""
    entry: Entry | None = None
    tools: list[Any] = field(default_factory=list)


def query(search: str | None) -> Mapping[str, str]:
    """The part after "?", the first of each key."""
    return {key: values[0] for key, values in parse_qs((search or "").lstrip("?")).items()}


def page(source: Source, pathname: str | None, search: str | None) -> Shown:
    """The page of an address; what is not there, or cannot be read, says so."""
    path = pathname or "/"
    if path == "/":
        tools = [add_page.link()] if source.season is not None else []
        return Shown(season_page.layout(source, query(search)), "Season", tools=tools)
    if path == add_page.ADDRESS:
        return Shown(add_page.layout(source, query(search)), "Add files")
    if path == live_page.ADDRESS:
        return Shown(live_page.layout(source.live), "Live")
    if path in _OF_SEASON:
        name, made = _OF_SEASON[path]
        try:
            return Shown(made(source, query(search)), name)
        except (AfterboutError, OSError) as error:
            return Shown(message(f"{name}: cannot be shown", str(error)), name)
    found = _OF_MATCH.match(path)
    entry = source.entry(found[2]) if found else None
    if found is None or entry is None:
        told = "There is no such page, or its match is no longer in the season."
        return Shown(message("Not here", told, dcc.Link("The season lists every match", href="/", className="go")))
    return _of_match(source, entry, found[1])


def _of_match(source: Source, entry: Entry, kind: str) -> Shown:
    name = {"match": "Match", "whatif": "What if"}[kind]
    sheet = html.A("Printed sheet", href=f"/sheet/{entry.token}", target="_blank")
    try:
        bench = source.bench(entry)
    except AfterboutError as error:
        return Shown(message(f"{entry.title} cannot be shown", str(error)), name, entry)
    if kind == "whatif":
        return Shown(whatif_page.layout(entry, bench, source.packs()), name, entry, [sheet])
    return Shown(match_page.layout(entry, bench), name, entry, [sheet])


def navigation(shown: Shown, live: bool = False) -> list[Any]:
    """Every page that can be reached from here. live: a recording is followed."""
    links = [("Season", "/")]
    if shown.entry is not None:
        links += [("Match", f"/match/{shown.entry.token}"), ("What if", f"/whatif/{shown.entry.token}")]
    links += [(name, path) for path, (name, _) in _OF_SEASON.items()]
    links += [("Live", live_page.ADDRESS)] if live else []
    return [_link(name, href, shown) for name, href in links]


def _link(name: str, href: str, shown: Shown) -> dcc.Link:
    told = f"Match {shown.entry.title}" if name == "Match" and shown.entry is not None else name
    return dcc.Link(told, href=href, className="here" if name == shown.name else "")
