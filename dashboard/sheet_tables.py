"""The tables of the sheet: changes and their proof, what was not checked, margins; each with its height in px."""

from __future__ import annotations

from analysis.findings import Advice, NotChecked, Review
from dashboard.bars import margin_bar_svg
from dashboard.ink import esc, fit, text_width, wrap
from dashboard.marks import mark_svg
from dashboard.page_words import (
    VERDICT_WORDS,
    bounded,
    check_name,
    figure,
    interval,
    margin,
    minutes,
    number,
    part_name,
    seconds,
    short_source,
)
from dashboard.rows import Row, row_label
from dashboard.sheet_style import WIDTH_PX


def advice_table(advice: tuple[Advice, ...]) -> tuple[str, float]:
    rows, px = [], 29.0 + 18
    for item in advice:
        lines = wrap(item.sentence, 11.5, 205, lines=2)
        unit = str(item.after.get("unit", item.before.get("unit", "")))
        before, after = item.before.get("measured"), item.after.get("measured")
        becomes = "not replayed"
        if item.proved and isinstance(before, int | float) and isinstance(after, int | float):
            becomes = f"{number(before, unit)} to {figure(after, unit)}"
        adds = "" if item.adds_g is None else figure(item.adds_g, "g")
        takes = "" if item.minutes is None else minutes(item.minutes)
        said = "<br>".join(esc(line) for line in lines)
        rows.append(
            f'<tr><td class="small">{said}</td><td class="r small b">{esc(becomes)}</td>'
            f'<td class="r small">{adds}</td><td class="r small">{takes}</td></tr>'
        )
        px += 5 + 15 * len(lines)
    head = "Change, replayed on this match" if all(item.proved for item in advice) else "Changes"
    return (
        f'<h2>{head}</h2><table><tr><th>Change</th><th class="r">becomes</th><th class="r">adds</th>'
        f'<th class="r">time</th></tr>{"".join(rows)}</table>',
        px,
    )


def grouped_not_checked(review: Review) -> list[tuple[str, NotChecked]]:
    """What could not be checked, the parts with the same reason together: ("Left drive, right drive", item)."""
    groups: dict[tuple[str, str, str], list[NotChecked]] = {}
    for item in review.not_checked:
        groups.setdefault((item.check, item.reason, item.mend), []).append(item)
    out = []
    for items in groups.values():
        names = [part_name(item.part) for item in items]
        shown = names[:1] + [name[:1].lower() + name[1:] for name in names[1:3]]
        more = f" and {len(names) - 3} more" if len(names) > 3 else ""
        out.append((", ".join(shown) + more, items[0]))
    return out


def not_checked_list(review: Review, most: int, *, short: bool) -> tuple[str, float]:
    groups = grouped_not_checked(review)
    width = WIDTH_PX - 310 - 26
    told, px = [], 29.0
    for names, item in groups[:most]:
        mend = item.mend[:1].upper() + item.mend[1:]
        why = mend if short and mend else f"{item.reason}. {mend}"
        lines = wrap(f"{names}, {check_name(item.check)}: {why}", 11.5, width - 26, lines=1 if short else 2)
        told.append("<br>".join(esc(line) for line in lines))
        px += 15 * len(lines) + 4
    if len(groups) > most:
        told.append(f"and {len(groups) - most} more not checked")
        px += 19
    if not told:
        told.append("Nothing: every check that applies could run.")
        px += 19
    for note in review.quality[:1]:
        text = f"The log: {note.note} ({seconds(note.start_s)} to {seconds(note.end_s)} s)"
        told.append(esc(fit(text, 11.5, width - 26, 400)))
        px += 19
    items = "".join(f'<li class="small">{mark_svg("unknown", 16, theme="print")}{text}</li>' for text in told)
    return f'<h2>Not checked</h2><ul class="list">{items}</ul>', px


def margins_table(rows: list[Row], most: int) -> str:
    if not rows:
        return '<h2>Margins</h2><p class="small">No figure could be held against a rating.</p>'
    shown = rows if len(rows) <= most else rows[: max(1, most - 1)]
    body = [_margin_row(row, i) for i, row in enumerate(shown)]
    others = rows[len(shown) :]
    if others:
        close = sum(row.verdict == "close" for row in others)
        word = "within" if all(row.verdict == "within" for row in others) else "with larger margins"
        word += f", {close} of them close" if close else ""
        body.append(f'<tr><td colspan="8" class="small">and {len(others)} more {word}</td></tr>')
    widths = "".join(f'<col style="width:{w}px">' for w in (188, 58, 78, 56, 150, 48, 78))
    return (
        f'<h2>Margins, smallest first</h2><table class="margins"><colgroup>{widths}<col></colgroup>'
        '<tr><th>Part and check</th><th class="r">Measured</th><th class="r">Interval</th><th class="r">Rating</th>'
        '<th class="at">rating</th><th class="r">Margin</th><th class="word">Word</th><th>Source</th></tr>'
        f"{''.join(body)}</table>"
    )


def _margin_row(row: Row, i: int) -> str:
    part = fit(row.name, 12.5, 186, 600)
    check = fit(f", {row_label(row)}", 12.5, 188 - text_width(part, 12.5), 400)
    word = VERDICT_WORDS.get(row.verdict, row.verdict)
    return (
        f'<tr><td><span class="b">{esc(part)}</span>{esc(check)}</td>'
        f'<td class="r b">{esc(bounded(row.measured, row.low, row.high, row.unit))}</td>'
        f'<td class="r">{esc(interval(row.low, row.high, row.unit))}</td>'
        f'<td class="r">{esc(figure(row.limit, row.unit))}</td>'
        f'<td class="bar">{margin_bar_svg(row, f"s{i}", width=150, height=20, theme="print")}</td>'
        f'<td class="r">{margin(row.margin_pct)}</td>'
        f'<td class="word"><span class="v">{mark_svg(row.verdict, 18, theme="print")}{word}</span></td>'
        f'<td class="small">{esc(fit(short_source(row.source), 11.5, 60, 400))}</td></tr>'
    )
