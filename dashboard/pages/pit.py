"""The pit page: how it ends and the countdown, the one change, which pack, what is ready in time, the list to tick."""

from __future__ import annotations

from typing import Any

import pyarrow as pa
from dash import dcc, html

from analysis.pit import ENDINGS, LONGEST_MIN, PackHistory, PackPlan, PitPlan, pit_plan
from analysis.pit_packs import ever_against
from analysis.wording import CAUTIONS, CHECK_WORDS, listed, not_checked_words, pit_do, pit_take
from dashboard.ink import Theme, glue
from dashboard.marks import mark_svg
from dashboard.page_words import figure, interval, minutes, number, part_name, sentence
from dashboard.pages import add as add_page
from dashboard.pages.offers import offer
from dashboard.pages.parts import cautions, message, picture, section, spoken, title_block
from dashboard.ready_picture import ready_svg
from dashboard.source import Entry, Source

MARKS = dict(zip(ENDINGS, ("go", "go_change", "unknown", "no_power"), strict=True))
FORBIDS = 2  # the first two of the list: main disconnect and power light


def plan_of(source: Source, given: float | None) -> tuple[Entry, PitPlan] | None:
    """The plan after the last logged match of the season; None where there is none. Raises AfterboutError."""
    entries = [e for e in source.entries() if e.match is not None and e.match.logs]
    if not entries or source.season is None:
        return None
    last = entries[-1]
    bench = source.bench(last)
    fitted = bench.pack
    if fitted is None:
        return None
    rows = {row.match: row for row in source.season_run().rows()}
    matches = source.season.matches()
    ever = {pack.id: ever_against(pack, matches, rows) for pack in source.packs()}
    others = []
    for pack in source.packs():
        if pack.id == fitted.id:
            continue
        seen = [e for e in entries if e.match is not None and pack.id in e.match.fitted_packs]
        old = source.bench(seen[-1]) if seen else None
        others.append(PackHistory(pack, old.data if old else None, old.review if old else None, ever[pack.id]))
    history = PackHistory(fitted, bench.data, bench.review, ever.get(fitted.id, ()))
    return last, pit_plan(history, others, source.season.charger, given)


def minutes_asked(text: str | None) -> float | None:
    """Minutes from the address; None where it says none that could be."""
    try:
        value = float(text) if text else -1.0
    except ValueError:
        return None
    return value if 0 <= value <= LONGEST_MIN else None


def layout(source: Source, asked: str | None) -> html.Div | html.Section:
    """The whole page."""
    made = plan_of(source, minutes_asked(asked))
    if made is None:
        told = "The pit plan follows the last match that was logged with a pack. Add its log files first."
        return message("No plan yet", told, dcc.Link("Add files", href=add_page.ADDRESS, className="go"))
    entry, plan = made
    cells = [("After", plan.match)]
    if entry.match is not None:
        cells += [("Event, opponent", ", ".join(x for x in (entry.match.event, entry.match.opponent) if x))]
        cells += [("Build", entry.match.build or ""), ("Pack fitted", ", ".join(entry.match.fitted_packs))]
    cells.append(("Next match", f"in {minutes(plan.minutes)}"))
    body = [title_block(cells), _head(entry, plan), _do(plan), _reasons(plan), _ready(plan), _packs(plan), _hot(plan),
            _not_checked(plan), _list(entry, plan), cautions(CAUTIONS)]  # fmt: skip
    return html.Div([part for part in body if part is not None], className="pit")


def _head(entry: Entry, plan: PitPlan) -> html.Section:
    first, _, rest = plan.ending.partition(":")
    words = [html.H1(first[:1].upper() + first[1:]), html.P(rest.strip().capitalize() + "." if rest else "")]
    data: dict[str, Any] = {"data-countdown": entry.token, "data-minutes": f"{plan.minutes:g}"}
    more = [
        html.Button(word, className="plain", type="button", **_shift(by))
        for word, by in (("1 min less", -60), ("1 min more", 60), ("Start again", 0))
    ]
    count = html.Div(
        [
            html.Div("minutes to the next match", className="label"),
            html.Div(f"{plan.minutes:.0f}:00", className="count", role="timer", **data),
            html.Div(more, className="shift"),
        ],
        className="countdown",
    )
    is_ = html.Div([picture(mark_svg(MARKS[plan.ending], 96), "sign big"), html.Div(words)], className="ending")
    stale: dict[str, Any] = {"data-stale": f"{plan.minutes:g}", "hidden": True}
    told = html.P([html.Span("", className="names", role="status"), html.A("", href="/pit", className="go")], **stale)
    return html.Section([html.Div([is_, count], className="pit-head"), html.Div(told, className="stale")])


def _shift(by: int) -> dict[str, Any]:
    return {"data-shift": str(by)}


def _do(plan: PitPlan) -> html.Div:
    change = plan.change
    told = pit_do(plan.ending, None if change is None else change.sentence)
    first = plan.ending.startswith("change") and change is not None
    cells = [("Do", told, change.cost_note if first and change is not None else "")]
    if change is not None and not first:
        cells.append(("A change that fits the time", change.sentence, change.cost_note))
    use = next((p for p in plan.packs if p.pack == plan.use), None)
    cells.append(
        ("Pack", pit_take(plan.ending, None if use is None else part_name(use.pack), use.why if use else ""), "")
    )
    if change is not None and change.proved:
        unit = str(change.after.get("unit", ""))
        before, after = change.before.get("measured"), change.after.get("measured")
        if isinstance(before, int | float) and isinstance(after, int | float):
            band = interval(change.after.get("low"), change.after.get("high"), unit)
            cells.append((f"Proved on {plan.match}", f"{figure(before, unit)} becomes {figure(after, unit)}", band))
    return html.Div(
        [html.Div([html.Span(a), html.B(glue(b)), html.Span(glue(c))]) for a, b, c in cells], className="pit-do"
    )


def _reasons(plan: PitPlan) -> html.Section | None:
    if not plan.reasons:
        return None
    return section("Because", "", html.Ul([html.Li(glue(text)) for text in plan.reasons], className="reasons"))


def _ready(plan: PitPlan) -> html.Section:
    about = "Packs wait by themselves (blue). The upright line is the match."
    if plan.change is not None and plan.change.minutes:
        about = "The change, its bar filled in ink, needs your hands. " + about
    body: list[Any] = [
        picture(ready_svg(plan), "wide-only"),
        picture(ready_svg(plan, width=358, uid="ready-n"), "narrow-only"),
    ]
    asked = f"?minutes={plan.minutes:g}"
    body.append(offer("Pit plan", data=f"/get/pit/plan.csv{asked}", picture=f"/get/pit/plan.svg{asked}"))
    return section("Ready in time", about, body)


def drawn(plan: PitPlan, theme: Theme) -> str:
    """What is ready in time, for taking away."""
    return ready_svg(plan, theme=theme)


def rows_of(plan: PitPlan) -> pa.Table:
    """The packs of the plan as a table."""
    packs = plan.packs
    figures = {
        "charge_pct": [p.charge_pct.value if p.charge_pct else None for p in packs],
        "resistance_mohm": [p.resistance_mohm.value if p.resistance_mohm else None for p in packs],
        "temp_degC": [p.temp_degC.value if p.temp_degC else None for p in packs],
        "wait_min": [p.wait_min for p in packs],
        "charge_min": [p.charge_min.value if p.charge_min else None for p in packs],
        "ready_min": [p.ready_min for p in packs],
    }
    return pa.table(
        {
            "pack": [p.pack for p in packs],
            "verdict": [p.verdict.word for p in packs],
            "take": ["yes" if p.pack == plan.use else "" for p in packs],
            **{name: pa.array(values, pa.float64()) for name, values in figures.items()},
            "why": [p.why for p in packs],
        }
    )


def _packs(plan: PitPlan) -> html.Section:
    items = [
        html.Li(html.Div([html.B(f"{part_name(p.pack)}: {p.verdict.word}"), html.P(glue(_pack(p)))]))
        for p in plan.packs
    ]
    return section("The packs", "Reuse means only: nothing in the log against it.", html.Ul(items, className="unable"))


def _pack(pack: PackPlan) -> str:
    parts = ["; ".join(pack.verdict.reasons[:2])]
    if pack.charge_pct is not None:
        parts.append(f"about {number(pack.charge_pct.value, '%')} % left after {pack.match}")
    if pack.charge_min is not None:
        wait = f"{number(pack.wait_min, 'min')} min to cool, " if pack.wait_min else ""
        parts.append(f"{wait}{interval(pack.charge_min.low, pack.charge_min.high, 'min')} min to charge")
    parts.append(pack.why)
    return sentence("; ".join(p for p in parts if p))


def _hot(plan: PitPlan) -> html.Section | None:
    if not plan.hot and not plan.hot_unknown:
        return None
    items = [
        html.Li(glue(f"{part_name(h.part)}: up to {figure(h.peak_degC, 'degC')} at its hottest, about "
                     f"{figure(h.then_degC, 'degC')} when the minutes are up"))
        for h in plan.hot
    ]  # fmt: skip
    if plan.hot_unknown:
        names = listed(tuple(part_name(part).lower() for part in plan.hot_unknown))
        items.append(html.Li(glue(f"Not logged, take them as hot: {names}")))
    return section("Hot", "Estimated. Do not touch to find out.", html.Ul(items, className="reasons"))


def _not_checked(plan: PitPlan) -> html.Section | None:
    """What the log could not say: silence is not soundness."""
    rows = [(CHECK_WORDS.get(row.check, row.check.replace("_", " ")), part_name(row.part)) for row in plan.not_checked]
    told = not_checked_words(rows)
    return section("Not checked", f"After {plan.match}.", html.P(glue(told))) if told else None


def _list(entry: Entry, plan: PitPlan) -> html.Section:
    ticks = [_tick(f"{entry.token}/{i}", text) for i, text in enumerate(plan.before_power)]
    body = [
        html.P("Without these two: do not power up.", className="forbids"),
        html.Div(ticks[:FORBIDS], className="ticks first"),
        html.Div(ticks[FORBIDS:], className="ticks"),
        html.P("", className="ticked", **spoken("How much is ticked", **{"aria-live": "polite"})),
    ]
    return section("Before power", "Tick each one. The list starts afresh for every match; no log can see it.", body)


def _tick(key: str, text: str) -> html.Button:
    what, _, how = text.rstrip(".").partition(": ")
    inner = [html.Span(className="box"), html.Span([html.B(what), html.Span(how)], className="text")]
    more: dict[str, Any] = {"data-tick": key, "aria-checked": "false"}
    return html.Button(inner, className="tick", type="button", role="checkbox", **more)
