"""The season's table as HTML text: five hundred rows as one piece, which a browser takes in at once.

Every text of a season is escaped here; assets/pages.js puts it into the page.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from itertools import groupby
from typing import Final

from dashboard.bars import margin_bar_svg
from dashboard.ink import esc
from dashboard.marks import mark_svg
from dashboard.page_words import VERDICT_WORDS, bounded, figure
from dashboard.season_lines import FIGURES, Summary
from dashboard.season_table import Asked, Line
from dashboard.source import Entry

# key to sort by, word, class
HEADS: Final = (
    ("match", "Match", ""), ("opponent", "Opponent", ""), ("with", "Build, pack", ""), ("result", "Result", ""),
    ("verdict", "Verdict", ""), ("", "Because", ""), ("hottest", "Hottest wire", "r"), ("", "rating", "at"),
    *((name, word, "r") for name, word in FIGURES),
)  # fmt: skip
COLUMNS: Final = len(HEADS) + 1


def table_html(rows: Sequence[Line], asked: Asked, pick: bool) -> str:
    """In groups by event, or sorted by a column. pick: with a box to choose each row that can be compared."""
    body = []
    if asked.sort:
        body = [_row(line, pick, asked.sort) for line in rows]
    else:
        for event, group in groupby(rows, key=lambda line: line[0].match.event if line[0].match else ""):
            if event:
                head = f'<th colspan="{COLUMNS}" scope="rowgroup">{esc(event)}</th>'
                body.append(f'<tr class="event-head">{head}</tr>')
            body += [_row(line, pick, "") for line in group]
    return f'<table class="season"><thead>{_head(asked)}</thead><tbody>{"".join(body)}</tbody></table>'


def _head(asked: Asked) -> str:
    cells = ['<th class="pick"><span class="unseen">Choose</span></th>']
    for key, word, name in HEADS:
        if not key:
            cells.append(f'<th class="{name}">{esc(word)}</th>')
            continue
        order = sign = ""
        if asked.sort == key:
            order = f' aria-sort="{"descending" if asked.down else "ascending"}"'
            sign = f'<span class="sign" aria-hidden="true"> {"↓" if asked.down else "↑"}</span>'
        link = f'<a href="{esc(asked.sorted_by(key))}" data-go>{esc(word)}{sign}</a>'
        cells.append(f'<th class="{name} sorts"{order}>{link}</th>')
    return f"<tr>{''.join(cells)}</tr>"


def _row(line: Line, pick: bool, sort: str) -> str:
    entry, summary = line
    match = entry.match
    build_pack = ", ".join(x for x in ((match.build or ""), *match.fitted_packs) if x) if match else ""
    opponent = esc(match.opponent) if match else ""
    if sort and match is not None and match.event:
        opponent += f'<span class="event-of">{esc(match.event)}</span>'
    box = _box(entry) if pick and match is not None and match.logs else ""
    cells = (
        f'<td class="pick">{box}</td>'
        f'<td class="id"><a href="/match/{entry.token}" data-go>{esc(entry.title)}</a></td>'
        f'<td class="opponent">{opponent}</td><td class="with">{esc(build_pack)}</td>'
        f'<td class="result">{esc(match.result if match else "")}</td>'
    )
    if summary is None:
        cells += '<td colspan="8" class="waiting">reviewing</td>'
    elif summary.problem:
        cells += f'<td>{_verdict("unknown")}</td><td colspan="7" class="problem">{esc(summary.problem)}</td>'
    else:
        cells += _figures(entry, summary, sort)
    return f"<tr>{cells}</tr>"


def _box(entry: Entry) -> str:
    title = esc(entry.title)
    said = f'data-pick="{title}" aria-checked="false" aria-label="choose {title}"'
    return f'<button type="button" role="checkbox" class="pickbox" {said}><span class="box"></span></button>'


@cache
def _verdict(verdict: str) -> str:
    """The mark with its word: never the one without the other."""
    sign = f'<span class="drawn sign">{mark_svg(verdict)}</span>'
    return f'<span class="word">{sign}<b>{esc(VERDICT_WORDS.get(verdict, verdict))}</b></span>'


def _figures(entry: Entry, summary: Summary, sort: str) -> str:
    hot = summary.hottest
    told = figure(hot.measured, hot.unit) if hot else "not known"
    cells = [
        f'<td class="verdict-cell">{_verdict(summary.verdict)}</td>'
        f'<td class="because">{esc(summary.because or "no action")}</td>',
        _cell("Hottest wire", told, "r hot fig", sort == "hottest"),
        f'<td class="bar">{margin_bar_svg(hot, f"h{entry.token}", width=150, height=59)}</td>',
    ]
    for name, word in FIGURES:
        found = summary.estimates.get(name)
        told, known = ("not known", " none") if found is None else (_figure(*found), "")
        cells.append(_cell(word, told, f"r fig{known}", sort == name))
    return "".join(cells)


def _cell(word: str, told: str, name: str, is_sorted: bool) -> str:
    """A figure with its name, which shows only where the heads do not."""
    shown = f'<span class="only-narrow">{esc(word)}</span>{esc(told)}'
    return f'<td class="{name}{" sorted" if is_sorted else ""}">{shown}</td>'


def _figure(value: float, low: float, high: float, unit: str) -> str:
    if math.isinf(high):
        return f"≥ {figure(low if math.isfinite(low) else value, unit)}"
    return bounded(value, low, high, unit)
