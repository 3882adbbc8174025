"""The compare page: two matches, builds or packs; what differs, how sure, and what makes it confounded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from string import ascii_lowercase
from typing import Any
from urllib.parse import urlencode

import pyarrow as pa
from dash import dcc, html

from analysis.compare import By, Compared, Comparison, compare, grouped
from analysis.compare_words import figure, title
from dashboard.compare_pictures import Beside, channels, drawings, unit_of, words
from dashboard.difference_picture import difference_svg
from dashboard.ink import Theme, glue
from dashboard.pages import add as add_page
from dashboard.pages.offers import offer
from dashboard.pages.parts import message, picture, section, title_block
from dashboard.source import Source

WORDS = {"differs": "differs", "no difference shown": "no difference shown", "not compared": "not compared"}
KINDS: tuple[By, ...] = ("match", "build", "pack")
MOST_PAIRS = 15  # our choice: six chosen matches
MOST_EACH = 3  # matches of a build or pack that are drawn, the latest (our choice: more lines cannot be told apart)


@dataclass(frozen=True)
class Found:
    """A comparison that could be made."""

    by: By
    made: Comparison


def layout(source: Source, asked: Mapping[str, str]) -> html.Div | html.Section:
    """The page for /compare?a=..&b=.. ; with by=build or by=pack the names are those of builds or packs."""
    if source.season is None:
        return message("Nothing to compare", "Comparing needs a season folder with two matches or more.")
    by = _by(asked)
    names = _names(source, by, asked)
    if len(names) < 2:
        known = known_names(source, by)
        lost = [asked[key] for key in ("a", "b") if asked.get(key) and asked[key] not in known]
        told = [html.P(f"Not in this season: {', '.join(lost)}.", className="page-lost")] if lost else []
        return html.Div([html.H1("Compare", className="unseen"), *told, *_pick(source, by, names)], className="compare")
    found = compared(source, asked)
    if isinstance(found, str):
        return message(f"{found.partition(':')[0]} cannot be compared", found.partition(": ")[2])
    assert found is not None
    made = found.made
    others = _other_pairs(source, by, asked, names)
    body = [
        _title(made),
        *others,
        _verdict(made),
        *_pictures(source, found, asked),
        _differences(made, asked),
        _notes(made),
    ]
    return html.Div(body, className="compare")


def _by(asked: Mapping[str, str]) -> By:
    return next((kind for kind in KINDS if kind == asked.get("by")), "match")


def _other_pairs(source: Source, by: By, asked: Mapping[str, str], shown: list[str]) -> list[Any]:
    """Where more than two were chosen: they are compared two at a time, and every other pair is a step away."""
    known = known_names(source, by)
    letters = sorted(key for key in asked if len(key) == 1)
    chosen = [n for n in dict.fromkeys(asked[key] for key in letters) if n in known]
    if len(chosen) < 3:
        return []
    links: list[Any] = []
    for pair in combinations(chosen, 2):
        if list(pair) == shown:
            continue
        rest = [n for n in chosen if n not in pair]
        query = dict(zip(ascii_lowercase, [*pair, *rest], strict=False)) | ({} if by == "match" else {"by": by})
        links.append(dcc.Link(" with ".join(pair), href="/compare?" + urlencode(query), className="filter"))
    told = f"{len(chosen)} were chosen; they are compared two at a time. Here: {shown[0]} with {shown[1]}."
    return [html.Div([html.P(told), html.Div(links[:MOST_PAIRS], className="filters")], className="pairs-chosen")]


def _names(source: Source, by: By, asked: Mapping[str, str]) -> list[str]:
    known = known_names(source, by)
    return [n for n in dict.fromkeys((asked.get("a", ""), asked.get("b", ""))) if n in known]


def compared(source: Source, asked: Mapping[str, str]) -> Found | str | None:
    """What the address asks for; None where it does not name two, "name: why" where one cannot be compared."""
    by = _by(asked)
    names = _names(source, by, asked)
    if source.season is None or len(names) < 2:
        return None
    done = source.season_run(names if by == "match" else None)
    groups = {group.id: group for group in grouped(list(done.rows()), by)}
    lost = [name for name in names if name not in groups]
    if lost:
        return f"{lost[0]}: " + next((f.reason for f in done.failed), "it has no logs that could be reviewed")
    return Found(by, compare([groups[name] for name in names], by))


def beside(source: Source, found: Found) -> list[Beside]:
    """The matches that are drawn: both, or the latest of each build or pack. Raises AfterboutError."""
    entries = {entry.title: entry for entry in source.entries()}
    out = []
    for second, group in enumerate(found.made.groups[:2]):
        for row in group.rows[-MOST_EACH:]:
            if row.match in entries:
                name = row.match if found.by == "match" else f"{group.id}, {row.match}"
                out.append(Beside(name, source.bench(entries[row.match]), bool(second)))
    return out


def pictures(source: Source, found: Found, asked: Mapping[str, str], theme: Theme) -> dict[str, str | None]:
    """The drawings by name, for taking away."""
    matches = beside(source, found)
    return drawings(matches, _channel(matches, asked), theme=theme)


def _channel(matches: list[Beside], asked: Mapping[str, str]) -> str:
    known = channels(matches)
    return asked["channel"] if asked.get("channel") in known else known[0] if known else ""


def _pictures(source: Source, found: Found, asked: Mapping[str, str]) -> list[Any]:
    matches = beside(source, found)
    chosen = _channel(matches, asked)
    wide = drawings(matches, chosen, theme="page")
    narrow = drawings(matches, chosen, theme="page", width=358, size=14, uid="n")
    first, second = found.made.groups[0].id, found.made.groups[1].id
    kept = {key: asked[key] for key in ("a", "b", "by", "channel") if key in asked}
    latest = "" if found.by == "match" else f" Of each, the latest {MOST_EACH} matches at most."
    told = {
        "traces": ("Over each other", f"Zero is the start of the match. Thin: {first}. Heavy: {second}.{latest}"),
        "envelopes": ("Envelopes", "Worst r.m.s. current in any window of each length."),
        "currents": ("Currents", "How much of the match the pack gave more than each current."),
    }
    out: list[Any] = []
    for name, (head, about) in told.items():
        svg = wide[name]
        body: list[Any] = [_choose(channels(matches), chosen, kept)] if name == "traces" else []
        if svg is None:
            body.append(html.P("Not drawn: the logs do not all hold the pack's current. Log it next time."))
        else:
            body += [picture(svg, "wide-only"), picture(narrow[name] or "", "narrow-only")]
            body.append(offer(head, picture=f"/get/compare/{name}.svg?{urlencode(kept)}", name=f"compare-{name}"))
        out.append(section(head, about, body))
    return out


def _choose(names: list[str], chosen: str, kept: Mapping[str, str]) -> html.Div:
    """The channel shown, and the others to open: a robot may log forty."""
    links = []
    for name in names:
        here = {"aria-current": "true"} if name == chosen else {}
        address = "/compare?" + urlencode({**kept, "channel": name})
        links.append(
            dcc.Link(html.Span(words(name), **here), href=address, className="filter chosen" if here else "filter")  # type: ignore[arg-type]
        )
    shown = html.P([html.B(words(chosen)[:1].upper() + words(chosen)[1:]), f", {unit_of(chosen)}"]) if chosen else None
    more = html.Details([html.Summary("Another channel"), html.Div(links, className="filters channels")])
    return html.Div([shown, more if len(links) > 1 else None], className="channel")


def rows_of(made: Comparison) -> pa.Table:
    """The differences as a table."""
    first, second = made.groups[0].id, made.groups[1].id
    rows = made.rows
    figures = {
        first: [r.first_median for r in rows],
        second: [r.second_median for r in rows],
        "difference": [r.shift for r in rows],
        "low": [r.low for r in rows],
        "high": [r.high for r in rows],
    }
    return pa.table(
        {
            "figure": [title(r.metric, r.part, r.words) for r in rows],
            "at": [r.at for r in rows],
            "unit": [r.unit for r in rows],
            **{name: pa.array(values, pa.float64()) for name, values in figures.items()},
            "verdict": [r.verdict for r in rows],
            "confounded": ["; ".join(r.confounded) for r in rows],
            "why": [r.reason for r in rows],
        }
    )


def known_names(source: Source, by: By) -> list[str]:
    """The ids that can be compared."""
    matches = [e.match for e in source.entries() if e.match is not None and e.match.logs]
    if by == "match":
        return [m.id for m in matches]
    if by == "build":
        return list(dict.fromkeys(m.build for m in matches if m.build))
    return list(dict.fromkeys("+".join(m.fitted_packs) for m in matches if m.fitted_packs))


def _pick(source: Source, by_asked: By, chosen: list[str]) -> list[Any]:
    """What to do where two are not named yet: one is chosen, then the other."""
    out: list[Any] = []
    opponents = {e.match.id: e.match.opponent for e in source.entries() if e.match is not None}
    for by, head in zip(KINDS, ("Matches", "Builds", "Packs"), strict=True):
        names = known_names(source, by)
        first = chosen[0] if chosen and by == by_asked and chosen[0] in names else None
        if len(names) < 2:
            add = dcc.Link("add the log files of another match", href=add_page.ADDRESS)
            body: Any = html.P(["There are no two to compare yet: ", add, "."])
        elif len(names) == 2:
            pair = dcc.Link(f"{names[0]} and {names[1]}", href=address(names[0], names[1], by))
            body = html.Ul([html.Li(pair)], className="pairs")
        else:
            body = html.Div([_one(name, first, by, opponents) for name in names], className="filters picked")
        about = "" if len(names) < 2 else "Choose two." if first is None else f"{first} with: choose the other."
        out.append(section(head, about, body))
    return out


def _one(name: str, first: str | None, by: By, opponents: Mapping[str, str]) -> dcc.Link:
    """One of many to choose. The chosen one is a link that takes it back."""
    kind = {} if by == "match" else {"by": by}
    words: list[Any] = [html.Span(name)]
    if by == "match" and opponents.get(name):
        words.append(html.Span(opponents[name], className="rival"))
    if name == first:
        return dcc.Link(words, href="/compare", className="filter chosen")
    href = address(first, name, by) if first is not None else "/compare?" + urlencode({"a": name} | kind)
    return dcc.Link(words, href=href, className="filter")


def address(a: str, b: str, by: By = "match") -> str:
    return f"/compare?a={a}&b={b}" + ("" if by == "match" else f"&by={by}")


def _title(made: Comparison) -> html.Dl:
    first, second = made.groups[:2]
    each = [
        (g.id, sorted({r.build for r in g.rows} - {""}), sorted({r.pack for r in g.rows} - {""}))
        for g in (first, second)
    ]
    cells = [("Compare", f"{first.id} with {second.id}")]
    for i, word in ((1, "Build"), (2, "Pack")):
        both = [", ".join(item[i]) or "not stated" for item in each]
        cells.append((word, f"{both[0]} in both" if both[0] == both[1] else f"{both[0]} and {both[1]}"))
    cells.append(("Matches", f"{len(first.rows)} and {len(second.rows)}"))
    return title_block(cells)


def _verdict(made: Comparison) -> html.Section:
    confounded = [row for row in made.rows if row.confounded]
    differing = [row for row in made.rows if row.verdict == "differs"]
    word = "Confounded" if confounded else "Like for like"
    sign = "≠" if confounded else "="
    largest = differing[0].sentence if differing else "No difference shown in any of the figures compared."
    why = "; ".join(dict.fromkeys(text for row in confounded for text in row.confounded))
    told = [("What", f"{len(differing)} of {len(made.rows)} figures differ." if differing else largest, "what")]
    told.append(
        ("Why", f"More than one thing differs: {why}." if why else "Nothing else that is known differs.", "why")
    )
    lines = [html.Div([html.Span(label), html.P(glue(text))], className=f"say {name}") for label, text, name in told]
    head = html.Div([html.Div(sign, className="equal", **{"aria-hidden": "true"}), html.H1(word)], className="is like")  # type: ignore[arg-type]
    return html.Section([head, html.Div(lines, className="lines")], className="verdict")


def _differences(made: Comparison, asked: Mapping[str, str]) -> html.Section:
    first, second = made.groups[0].id, made.groups[1].id
    head = html.Tr(
        [
            html.Th(w, className=c)
            for w, c in (
                ("Figure", ""),
                (first, "r"),
                (second, "r"),
                ("Difference", "r"),
                ("no change in the middle", "mid"),
                ("In words", ""),
            )
        ]
    )
    table = html.Table([html.Thead(head), html.Tbody([_row(row, f"d{i}") for i, row in enumerate(made.rows)])])
    about = "An open dot: the interval reaches no change, or too little was compared. Each row has its own scale."
    kept = {key: asked[key] for key in ("a", "b", "by") if key in asked}
    data = f"/get/compare/differences.csv?{urlencode(kept)}"
    return section("Differences", about, [html.Div(table, className="differences"), offer("Differences", data=data)])


def _row(row: Compared, uid: str) -> html.Tr:
    name = title(row.metric, row.part, row.words)
    at = "" if row.at in name else row.at  # how it was measured, where its name does not say that already
    shift = figure(row.shift, row.unit) if row.shift is not None else ""
    plus = "+" if row.shift is not None and row.shift > 0 else ""
    between = ""
    if row.low is not None and row.high is not None:
        between = f"{figure(row.low, row.unit)} to {figure(row.high, row.unit)}"
    return html.Tr(
        [
            html.Td([html.B(name[:1].upper() + name[1:]), html.Span(at)], className="name"),
            html.Td(figure(row.first_median, row.unit), className="r one"),
            html.Td(figure(row.second_median, row.unit), className="r two"),
            html.Td([html.B(plus + shift), html.Span(between)], className="r measured"),
            html.Td(picture(difference_svg(row, uid)), className="bar"),
            html.Td(
                [html.B(WORDS[row.verdict]), html.Span(row.reason or ("confounded" if row.confounded else ""))],
                className="words",
            ),
        ]
    )


def _notes(made: Comparison) -> html.Section:
    items = [html.Li(glue(note)) for note in made.notes]
    return section("What may be compared", "", html.Ul(items, className="reasons"))
