"""The live page: a recording that is being written, followed once a second. It shows figures, never a verdict."""

from __future__ import annotations

import math
import time
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html

from dashboard.live_words import CURRENT_S, clock_text, lost_text, size_text
from dashboard.page_words import figure
from dashboard.pages.parts import cautions, mark, message, section, title_block

if TYPE_CHECKING:
    from dashboard.live_follow import Followed, Follower
    from ingest.record.live import Extreme, SourceView, Value

ADDRESS = "/live"
EVERY_MS = 1000  # our choice: as often as a figure can be read across a bench
SILENT_S = 3.0
MOST_EVENTS = 9
CAUTIONS = (
    "Blade or belt off, or the robot in the closed test box; wheels raised; the laptop isolated from the charger.",
    "These are readings, not a review: nothing here says that a part is within its rating.",
)


def layout(follower: Follower | None) -> html.Div | html.Section:
    """The whole page; it redraws its body by itself."""
    if follower is None:
        text = "Record in one window, and follow the file that is written in another:"
        commands = "afterbout record SOURCE --out match.rec\nafterbout serve --live match.rec"
        return message("No recording is followed", text, html.Pre(commands))
    return html.Div([dcc.Interval(id="live-tick", interval=EVERY_MS), html.Div(body(follower), id="live-body")])


def register(app: Dash, follower: Follower | None) -> None:
    if follower is None:
        return

    @app.callback(
        Output("live-body", "children"), Input("live-tick", "n_intervals"), State("live-tick", "id"),
        prevent_initial_call=True,
    )  # fmt: skip
    def again(_: int, __: str) -> list[Any]:
        return body(follower)


def body(follower: Follower) -> list[Any]:
    shown = follower.look()
    if shown.error:
        return [message("Nothing to show yet", shown.error)]
    lowest, highest = shown.live.lowest_voltage(), shown.live.highest_current()
    cells = [
        ("Recording", follower.path.name),
        ("Length", clock_text(shown.now_s)),
        ("Size", size_text(shown.bytes)),
        ("State", state_text(shown)),
    ]
    extremes = html.Div(
        [_extreme("Lowest voltage", lowest), _extreme("Highest current", highest)], className="extremes"
    )
    parts: list[Any] = [title_block(cells), html.H1("Live", className="unseen"), extremes]
    parts += [_source(view, shown.now_s) for view in shown.live.views]
    alarms = [text for _, kind, text in shown.events if kind == "alarm"]
    if alarms:
        items = [html.Li([mark("over"), html.Span(f" {text}")], className="alarm") for text in alarms]
        parts.insert(2, section("Past a rating", "As the recorder saw it.", html.Ul(items)))
    others = [event for event in shown.events if event[1] != "alarm"]
    if others:
        items = [html.Li([html.B(f"{at_s:.1f} s"), f" {text}"]) for at_s, _, text in others[:-MOST_EVENTS:-1]]
        parts.append(section("What happened", "The latest first.", html.Ul(items, className="reasons")))
    parts.append(cautions(CAUTIONS))
    return parts


def state_text(shown: Followed) -> str:
    if shown.ended is not None:
        return f"ended: {shown.ended}"
    idle_s = time.monotonic() - shown.changed_at
    return "recording" if idle_s < SILENT_S else f"nothing new for {idle_s:.0f} s"


def _extreme(name: str, found: Extreme | None) -> html.Div:
    if found is None:
        return html.Div([html.Div(name), html.B("not logged")])
    return html.Div(
        [html.Div(name), html.B(figure(found.value, found.unit)), html.Div(f"{found.name} at {found.at_s:.1f}\u00a0s")]
    )


def _source(view: SourceView, now_s: float) -> html.Section:
    _, size, good = view.rates()
    rate = f"{size_text(size)}/s"
    if view.decoder.word:
        rate += f", {good:,.0f} {view.decoder.word}/s"
    state: list[Any] = ["listening"]
    if view.state == "lost":
        state = [mark("fault"), html.B(" vanished")]
    elif view.state == "silent":
        state = ["nothing came yet"]
    about = [html.Div(state), html.Div(rate), html.Div(lost_text(view) or "none lost")]
    values = [v for v in view.values.values() if math.isfinite(v.last)]
    if not values:
        return section(view.name, about, html.P("No figures yet: what its bytes mean is not known, or none came."))
    head = html.Tr([html.Th("Figure"), *(html.Th(word, className="r") for word in ("Now", "Lowest", "Highest"))])
    rows = [_row(value, now_s) for value in values]
    return section(view.name, about, html.Table([html.Thead(head), html.Tbody(rows)], className="readings"))


def _row(value: Value, now_s: float) -> html.Tr:
    old = now_s - value.seen_s > CURRENT_S
    now: list[Any] = [html.B(figure(value.last, value.unit))]
    if old:
        now.append(f" {now_s - value.seen_s:.0f} s old")
    cells: list[Any] = [html.Td(html.B(value.name), className="id"), html.Td(now, className="r now")]
    for word, found, at_s in (("Lowest", value.low, value.low_at_s), ("Highest", value.high, value.high_at_s)):
        label: dict[str, Any] = {"data-label": word}
        cells.append(html.Td(f"{figure(found, value.unit)} at {at_s:.1f}\u00a0s", className="r", **label))
    return html.Tr(cells)
