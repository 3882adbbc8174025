"""The match page: verdict, three lines, chain, wiring, traces, envelope, margins, changes, what the log cannot show."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from analysis.findings import Event, Finding, Review
from analysis.wording import in_part
from dashboard.envelope import envelope_svg
from dashboard.figure_view import View
from dashboard.figures import heights, traces_figure
from dashboard.ink import glue
from dashboard.marks import mark_svg
from dashboard.page_words import (
    VERDICT_WORDS,
    figure,
    interval,
    minutes,
    number,
    pack_words,
    part_name,
    seconds,
    sentence,
)
from dashboard.pages.margins import margins_table
from dashboard.pages.offers import offer
from dashboard.pages.parts import cautions, mark, picture, section, spoken, title_block, verdict_word
from dashboard.reviewing import Bench
from dashboard.sheet_tables import grouped_not_checked
from dashboard.source import Entry
from dashboard.traces import Panel, panels
from dashboard.wiring_picture import key_svg, wiring_svg
from dashboard.wiring_tree import fitted

GRAPH_CONFIG: Any = {"displayModeBar": False, "responsive": True, "doubleClick": "reset", "scrollZoom": False}
TRACES_ABOUT = "One time axis. Drag across to look closer, double-click for the whole; or choose a finding."


def layout(entry: Entry, bench: Bench) -> html.Div:
    """The whole page of one match."""
    review = bench.review
    spans = zoom_spans(review)
    body: list[Any] = [
        dcc.Store(id="token", data=entry.token),
        dcc.Store(id="spans", data=spans),
        dcc.Store(id="zoomed"),
        dcc.Store(id="run-chosen", data=None),
        _title(entry, bench),
        _verdict(review),
    ]
    if review.chain:
        body.append(_chain(review))
    body += [_wiring(entry, bench), _traces(entry, bench)]
    if review.findings:
        body.append(_findings(review))
    body += [_envelope(entry, bench), margins_table(review)]
    body.append(offer("Margins", data=f"/get/match/{entry.token}/margins.csv"))
    if review.advice:
        body.append(_advice(review))
    body += [_not_checked(review), _origin(bench), cautions(review.cautions)]
    return html.Div([part for part in body if part is not None], className="match")


def zoom_spans(review: Review) -> list[list[Any]]:
    """[start_s, end_s, finding id] of every button that zooms: the chain's links first, then the findings."""
    by_id = {finding.id: finding for finding in review.findings}
    out: list[list[Any]] = []
    for event in review.chain[:5]:
        finding = by_id.get(event.finding)
        out.append(_around(finding) if finding is not None else [event.start_s - 3, event.start_s + 3, ""])
    return out + [_around(finding) for finding in review.findings]


def _around(finding: Finding) -> list[Any]:
    air = max(1.5, 0.25 * (finding.end_s - finding.start_s))
    return [finding.start_s - air, finding.end_s + air, finding.id]


def _zoom(at: int, children: Any, class_name: str) -> html.Button:
    return html.Button(children, id={"type": "zoom", "at": at}, className=class_name, n_clicks=0, type="button")


def _title(entry: Entry, bench: Bench) -> html.Dl:
    facts = bench.review.match
    cells = [("Match", facts.id or entry.title)]
    event = ", ".join(x for x in (facts.event, facts.opponent) if x)
    if event:
        cells.append(("Event, opponent", event))
    if bench.build is not None:
        cells.append(("Build", ", ".join(x for x in (bench.build.id, bench.build.build.summary) if x)))
    if bench.packs:
        cells.append(("Pack", "; ".join(pack_words(pack) for pack in bench.packs)))
    if facts.start_s is not None and facts.end_s is not None:
        fought = f"{facts.end_s - facts.start_s:.0f} s"
        cells.append(("Fought", f"{fought}, {facts.result}" if facts.result else fought))
    if facts.minutes_to_next is not None:
        cells.append(("Next match", f"in {minutes(facts.minutes_to_next)}"))
    return title_block(cells)


def _verdict(review: Review) -> html.Section:
    verdict = review.match.verdict
    rows = []
    for label, line in zip(("What", "Why", "Do"), review.lines, strict=True):
        if not line:
            continue
        calm = " calm" if label == "Do" and verdict == "within" else ""
        rows.append(html.Div([html.Span(label), html.P(glue(line))], className=f"say {label.lower()}{calm}"))
    part = in_part(verdict, len(review.passed), len(review.not_checked))
    rests_on = [html.P(part, className="rests-on")] if part else []
    word = html.Div(
        [picture(mark_svg(verdict, 96), "sign big"), html.H1(VERDICT_WORDS[verdict]), *rests_on],
        className=f"is {verdict}",
    )
    return html.Section([word, html.Div(rows, className="lines")], className="verdict")


def _chain(review: Review) -> html.Section:
    events = review.chain[:5]
    items = []
    for i, event in enumerate(events):
        later = "" if i + 1 == len(events) else _later(events[i + 1].start_s - event.start_s)
        items.append(html.Li(_zoom(i, _event(event, later), "event")))
    return section("What happened", "Choose one to see it in the traces.", html.Ol(items, className="chain"))


def _later(gap_s: float) -> str:
    return f"{seconds(gap_s)} s later" if gap_s >= 0.05 else "at once"


def _event(event: Event, later: str) -> list[Any]:
    gap = html.Span(html.Span(later), className="later") if later else None
    return [
        html.Span([html.B(seconds(event.start_s)), " s"], className="time"),
        html.Span([mark(event.verdict), gap], className="link"),
        html.Span(html.Span(glue(event.what)), className="what"),
        html.Span(glue(event.detail), className="detail"),
    ]


def _wiring(entry: Entry, bench: Bench) -> html.Section | None:
    if bench.build is None or not bench.build.wires:
        return section("The wiring", "", html.P("No build describes it, so it is not drawn."))
    packs = fitted(bench.build, bench.packs, bench.match)
    wide = wiring_svg(bench.build, bench.review, theme="page", packs=packs)
    upright = wiring_svg(bench.build, bench.review, theme="page", packs=packs, vertical=True, width=358)
    about = (
        "Every run at its worst in this match. Thick copper is a heavy gauge. Where the tone breaks through the "
        "outline, the part went past its rating. Choose a run to see its temperature over time."
    )
    pictures = [picture(wide, "wide-only"), picture(upright, "narrow-only")]
    head = html.Div(
        [html.H2("The wiring"), html.Div(about, className="about"), picture(key_svg(), "key")], className="margin"
    )
    lesson = html.A("How it is wired, explained for newcomers", href=f"/teach/match/{entry.token}", target="_blank")
    address = f"/get/match/{entry.token}/wiring.svg"
    away = offer("Wiring", picture=address, name=f"{entry.title}-wiring", more=lesson)
    drawn = html.Div(pictures, className="wiring", id="wiring")
    body = html.Div([drawn, html.Div(id="run-detail"), away], className="body")
    return html.Section([head, body], className="part full")


def _traces(entry: Entry, bench: Bench) -> html.Section:
    made = panels(bench.review, bench.build)
    if not made:
        return section("The traces", "", html.P("The log holds no channel that could be drawn."))
    names = [html.Div([html.B(p.title), html.Span(p.about)], style={"height": f"{p.height}px"}) for p in made]
    whole = html.Button("Whole match", id="whole", className="plain", n_clicks=0, type="button")
    head = html.Div([html.H2("The traces"), html.Div(TRACES_ABOUT, className="about"), whole], className="margin")
    aria = spoken("Traces: " + "; ".join(t.label for p in made for t in p.traces if t.label), role="img")
    grid = html.Div(
        [
            html.Div(names, className="names"),
            html.Div(id="plot", className="plot", style={"minHeight": f"{heights(made, View())}px"}, **aria),
        ],
        className="panels",
    )
    away = offer("Traces", data=f"/get/match/{entry.token}/samples.csv", plot="plot", name=f"{entry.title}-traces")
    return html.Section([head, grid, away], className="part full traces", id="traces-part")


def graph(
    bench: Bench, view: View, window: tuple[float, float] | None = None, made: list[Panel] | None = None
) -> dcc.Graph:
    """The figure of the traces, made whole so that the page never draws an empty one first."""
    made = panels(bench.review, bench.build) if made is None else made
    drawn = traces_figure(made, bench.review, view, window)
    height = {"height": f"{heights(made, view)}px"}
    return dcc.Graph(id="traces", figure=drawn, config=GRAPH_CONFIG, style=height, className="graph")


def _findings(review: Review) -> html.Section:
    first = len(review.chain[:5])
    items = []
    for i, finding in enumerate(review.findings):
        told: list[Any] = [
            verdict_word(finding.verdict),
            html.Span(glue(finding.sentence or part_name(finding.part)), className="sentence"),
            html.Span(f"{seconds(finding.start_s)} s", className="at"),
        ]
        evidence = html.Ul([html.Li(glue(_told(line))) for line in finding.evidence]) if finding.evidence else None
        items.append(html.Li([_zoom(first + i, told, "finding"), evidence]))
    return section("Findings", "Choose one to see it in the traces.", html.Ol(items, className="findings"))


def _told(line: str) -> str:
    """A line of evidence; where it only names the basis of the figure, in words."""
    return "worked out from what the build states" if line == "stated" else line


def _envelope(entry: Entry, bench: Bench) -> html.Section | None:
    wide = envelope_svg(bench.review, bench.build, bench.pack, theme="page", width=1032, height=300, size=16)
    if wide is None:
        return None
    narrow = envelope_svg(bench.review, bench.build, bench.pack, theme="page", width=358, height=260, size=14, uid="n")
    about = "The pack: worst r.m.s. current in any window of each length, against what it and its lead are rated for."
    address = f"/get/match/{entry.token}/envelope"
    away = offer("Envelope", data=f"{address}.csv", picture=f"{address}.svg", name=f"{entry.title}-envelope")
    body = [picture(wide, "wide-only"), picture(narrow or "", "narrow-only"), away]
    return section("How hard, for how long", about, body)


def _advice(review: Review) -> html.Section:
    items = []
    for item in review.advice:
        unit = str(item.after.get("unit", item.before.get("unit", "")))
        before, after = item.before.get("measured"), item.after.get("measured")
        told: list[Any] = [html.B(glue(item.sentence))]
        if item.proved and isinstance(before, int | float) and isinstance(after, int | float):
            band = interval(item.after.get("low"), item.after.get("high"), unit)
            becomes = f"{number(before, unit)} becomes {figure(after, unit)}" + (f" ({band})" if band else "")
            told.append(html.Span(glue(becomes)))
        else:
            told.append(html.Span("Not replayed."))
        cost = [
            figure(item.adds_g, "g") if item.adds_g is not None else "",
            minutes(item.minutes) if item.minutes else "",
        ]
        told.append(html.Span(", ".join(x for x in cost if x), className="cost"))
        told += [html.Span(glue(item.cost_note), className="cost-note")] if item.cost_note else []
        items.append(html.Li(told))
    return section("Changes", "Each replayed on this match.", html.Ol(items, className="advice"))


def _not_checked(review: Review) -> html.Section:
    items = []
    for names, item in grouped_not_checked(review):
        head = names if item.check == "" else f"{names}: {item.check.replace('_', ' ')}"
        why = f"{sentence(item.reason)} {sentence(item.mend)}".strip()
        items.append(html.Li([mark("unknown"), html.Div([html.B(head), html.P(glue(why))])]))
    for note in review.quality:
        span = f"{seconds(note.start_s)} to {seconds(note.end_s)} s"
        head = f"{note.channel or note.part or 'The log'}, {span}"
        items.append(html.Li([mark("unknown"), html.Div([html.B(head), html.P(glue(sentence(note.note)))])]))
    body = html.Ul(items, className="unable") if items else html.P("Every check that applies could run.")
    return section("What the log cannot show", "Not checked does not mean safe.", body)


def _signed(offset_s: float) -> str:
    return f"{offset_s:+.3f}".replace("-", "−")


def _origin(bench: Bench) -> html.Section:
    rows = [
        html.Li(f"{log.name}, {log.sha256[:12]}, {log.samples:,} samples"
                + (f", {_signed(log.clock_offset_s)} s onto the match clock" if log.clock_offset_s else ""))
        for log in bench.review.match.logs
    ]  # fmt: skip
    return section("From", "The files and their hashes.", html.Ul(rows, className="origin"))
