"""The compare page: two matches, builds or packs; what differs, how sure, and what makes it confounded."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from dash import dcc, html

from analysis.compare import By, Compared, Comparison, compare, grouped
from analysis.compare_words import figure, title
from dashboard.difference_picture import difference_svg
from dashboard.ink import glue
from dashboard.pages.parts import message, picture, section, title_block
from dashboard.source import Source

WORDS = {"differs": "differs", "no difference shown": "no difference shown", "not compared": "not compared"}
KINDS: tuple[By, ...] = ("match", "build", "pack")
UNIT = {"build": "matches", "pack": "matches", "match": "match"}


def layout(source: Source, asked: Mapping[str, str]) -> html.Div | html.Section:
    """The page for /compare?a=..&b=.. ; with by=build or by=pack the names are those of builds or packs."""
    if source.season is None:
        return message("Nothing to compare", "Comparing needs a season folder with two matches or more.")
    by: By = next((kind for kind in KINDS if kind == asked.get("by")), "match")
    names = list(dict.fromkeys(n for n in (asked.get("a", ""), asked.get("b", "")) if n))
    known = known_names(source, by)
    names = [name for name in names if name in known]
    if len(names) < 2:
        return html.Div([html.H1("Compare", className="unseen"), *_pick(source, names)], className="compare")
    done = source.season_run(names if by == "match" else None)
    rows = list(done.rows())
    found = {group.id: group for group in grouped(rows, by)}
    lost = [name for name in names if name not in found]
    if lost:
        why = next((f.reason for f in done.failed), "it has no logs that could be reviewed")
        return message(f"{lost[0]} cannot be compared", why)
    made = compare([found[name] for name in names], by)
    return html.Div([_title(made), _verdict(made), _differences(made), _notes(made)], className="compare")


def known_names(source: Source, by: By) -> list[str]:
    """The ids that can be compared."""
    matches = [e.match for e in source.entries() if e.match is not None and e.match.logs]
    if by == "match":
        return [m.id for m in matches]
    if by == "build":
        return list(dict.fromkeys(m.build for m in matches if m.build))
    return list(dict.fromkeys("+".join(m.fitted_packs) for m in matches if m.fitted_packs))


def _pick(source: Source, chosen: list[str]) -> list[Any]:
    """What to do where two are not named yet: links that name them."""
    out: list[Any] = []
    for by, head in zip(KINDS, ("Matches", "Builds", "Packs"), strict=True):
        names = known_names(source, by)
        first = chosen[0] if chosen and by == "match" and chosen[0] in names else None
        pairs = [(first, n) for n in names if n != first] if first else list(pairwise(names))
        links = [html.Li(dcc.Link(f"{a} and {b}", href=address(a, b, by))) for a, b in pairs if a]
        told = "There are no two to compare yet: add the log files of another match."
        out.append(section(head, "Choose two.", html.Ul(links, className="pairs") if links else html.P(told)))
    return out


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


def _differences(made: Comparison) -> html.Section:
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
    return section("Differences", about, html.Div(table, className="differences"))


def _row(row: Compared, uid: str) -> html.Tr:
    name = title(row.metric, row.part, row.words)
    shift = figure(row.shift, row.unit) if row.shift is not None else ""
    plus = "+" if row.shift is not None and row.shift > 0 else ""
    between = ""
    if row.low is not None and row.high is not None:
        between = f"{figure(row.low, row.unit)} to {figure(row.high, row.unit)}"
    return html.Tr(
        [
            html.Td([html.B(name[:1].upper() + name[1:]), html.Span(row.at)], className="name"),
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
