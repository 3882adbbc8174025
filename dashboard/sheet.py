"""The pit sheet: one page to print, pin up and grease. Self-contained HTML, no script, nothing fetched."""

from __future__ import annotations

import re
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version

from analysis.findings import Review
from analysis.wording import in_part
from dashboard.envelope import envelope_svg
from dashboard.ink import esc, fit, glue, wrap
from dashboard.marks import mark_svg
from dashboard.page_words import (
    VERDICT_WORDS,
    minutes,
    pack_words,
    seconds,
)
from dashboard.rows import margin_rows
from dashboard.sheet_style import HEIGHT_PX, STYLE, WIDTH_PX, font_faces
from dashboard.sheet_tables import advice_table, margins_table, not_checked_list
from dashboard.wiring_picture import wiring_svg
from ingest.builds import Build, Match, Pack

# Tried in turn until the margins have the rows named last: height of the picture, changes, not-checked lines,
# envelope or not, rows.
BRIEFER = (
    (336, 3, 5, True, 5), (336, 3, 3, True, 5), (336, 2, 2, True, 4), (336, 1, 2, True, 3), (300, 1, 2, True, 3),
    (240, 1, 2, True, 3), (200, 1, 1, True, 3), (200, 1, 1, False, 3), (150, 1, 1, False, 3), (0, 1, 1, False, 1),
)  # fmt: skip
CURVE_PX = 180
TABLE_PX = 50
ROW_PX = 21


def sheet_html(
    review: Review,
    build: Build | None,
    pack: Pack | None,
    match: Match | None,
    *,
    share: bool = False,
    packs: Mapping[str, Pack] | None = None,
) -> str:
    """One page of A4 or letter. share leaves out the opponent, the notes and the names of the log files.

    What does not fit is counted ("and 6 more within"), never silently cut; verdict, what to do, cautions and where
    the figures come from are always whole.
    """
    fitted = dict(packs or ({build.packs[0].id: pack} if build is not None and pack is not None else {}))
    head = _title(review, build, pack, share) + _verdict(review) + _chain(review)
    foot = _foot(review, match, share)
    used = 70 + _verdict_px(review) + (72 if review.chain else 0) + _foot_px(review, match, share)
    rows = margin_rows(review)
    for tallest, changes, unable, curve, least in BRIEFER:
        picture, picture_px = _picture(build, review, fitted, tallest)
        middle, middle_px = _middle(review, build, pack, changes, unable, curve)
        room = int((HEIGHT_PX - used - picture_px - middle_px - TABLE_PX) // ROW_PX)
        if room >= min(least, len(rows) + 1):
            break
    table = margins_table(rows, max(1, room))
    title = f"{review.match.id}: {VERDICT_WORDS[review.match.verdict]}"
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{esc(title)}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{font_faces()}{STYLE}</style></head><body>'
        f"{head}{picture}{middle}{table}{foot}</body></html>\n"
    )


def _title(review: Review, build: Build | None, pack: Pack | None, share: bool) -> str:
    facts = review.match
    cells = [("Match", ", ".join(x for x in (facts.id, facts.result) if x))]
    event = [facts.event] if share else [facts.event, facts.opponent]
    if any(event):
        cells.append(("Event" if share else "Event, opponent", ", ".join(x for x in event if x)))
    if build is not None:
        cells.append(("Build", ", ".join(x for x in (build.id, build.build.summary) if x)))
    if pack is not None:
        cells.append(("Pack", pack_words(pack)))
    if facts.minutes_to_next is not None:
        cells.append(("Next match", f"in {minutes(facts.minutes_to_next)}"))
    robot = f"Match sheet, {build.build.robot}" if build is not None and build.build.robot else "Match sheet"
    told = ""
    for name, value in cells:
        cut = ' class="cut"' if name.startswith(("Event", "Build")) else ""
        told += f"<div{cut}><dt>{name}</dt><dd>{esc(fit(value, 12.5, 230))}</dd></div>"
    robot = esc(fit(robot, 12.5, 400))
    return f'<header class="top"><b>afterbout</b><span>{robot}</span></header><dl class="who">{told}</dl>'


def _verdict(review: Review) -> str:
    verdict = review.match.verdict
    word = VERDICT_WORDS[verdict]
    what, why, do = review.lines
    small = " small-say" if _say_lines(review, 17) > 4 else ""
    calm = " calm" if verdict == "within" else ""
    wide = " long" if len(word) > 6 else ""
    said = f'<p class="what">{esc(glue(what))}</p>' + (f"<p>{esc(glue(why))}</p>" if why else "")
    said += f'<p class="do{calm}">{esc(glue(do))}</p>' if do else ""
    mark = mark_svg(verdict, 48, theme="print")
    part = in_part(verdict, len(review.passed), len(review.not_checked))
    rests_on = f'<p class="rests-on">{part}</p>' if part else ""
    return (
        f'<section class="verdict"><div class="word{wide}">{mark}<h1>{word}</h1>{rests_on}</div>'
        f'<div class="say{small}">{said}</div></section>'
    )


def _say_lines(review: Review, size: float) -> int:
    room = WIDTH_PX - 128 - 18 - 28
    return sum(len(wrap(line, size, room, weight=600)) for line in review.lines if line)


def _verdict_px(review: Review) -> float:
    lines = _say_lines(review, 17)
    said = lines * 23 + 30 if lines <= 4 else _say_lines(review, 13) * 17 + 34
    return max(104, said)


def _chain(review: Review) -> str:
    if not review.chain:
        return ""
    room = WIDTH_PX / len(review.chain[:5]) - 12
    out = []
    for event in review.chain[:5]:
        what = wrap(event.what, 12, room, lines=2, weight=600)  # a figure at its end is never cut off
        detail = wrap(event.detail, 12, room, lines=3 - len(what))
        out.append(
            f'<li><span class="t">{mark_svg(event.verdict, 20, theme="print")}{seconds(event.start_s)} s</span>'
            f'<span class="w">{"<br>".join(esc(line) for line in what)}</span>'
            f"<span>{'<br>'.join(esc(line) for line in detail)}</span></li>"
        )
    return f'<ol class="chain">{"".join(out)}</ol>'


def _picture(build: Build | None, review: Review, packs: Mapping[str, Pack], tallest: float) -> tuple[str, float]:
    """The wiring at a height that leaves room for the rest: fewer loads are drawn where it would be taller."""
    if build is None or not build.wires:
        return '<h2>The wiring</h2><p class="small">No build describes it, so it is not drawn.</p>', 44
    if tallest < 1:
        return '<h2>The wiring</h2><p class="small">Left out for room: the words above need it.</p>', 44
    loads: int | None = None
    while True:
        svg = wiring_svg(build, review, theme="print", width=WIDTH_PX, packs=packs, max_rows=loads)
        width, height = (float(v) for v in re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)[0])
        shown = height * min(1.0, WIDTH_PX / width)
        if shown <= tallest or loads == 1:
            break
        loads = len(build.wires) if loads is None else loads - 1
    return f"<h2>The wiring, every run at its worst</h2>{svg}", shown + 29


def _middle(
    review: Review, build: Build | None, pack: Pack | None, changes: int, unable_lines: int, curve: bool
) -> tuple[str, float]:
    envelope = envelope_svg(review, build, pack, theme="print", width=310, height=150, size=12) if curve else None
    right, right_px = "", 0.0
    if review.advice:
        right, right_px = advice_table(review.advice[:changes])
    room = CURVE_PX - right_px if envelope is not None else 0.0
    unable, unable_px = not_checked_list(review, unable_lines, short=bool(review.advice) or unable_lines < 5)
    for lines, short in ((6, False), (4, False), (3, False), (6, True), (4, True), (3, True)):
        fuller, fuller_px = not_checked_list(review, lines, short=short)
        if unable_px < fuller_px <= room:  # the envelope beside it is as high anyway
            unable, unable_px = fuller, fuller_px
            break
    right, right_px = right + unable, right_px + unable_px
    if envelope is None:
        return f"<div>{right}</div>", right_px
    left = f'<div class="fig"><h2>Worst r.m.s. current of the pack by window</h2>{envelope}</div>'
    return f'<div class="two">{left}<div>{right}</div></div>', max(right_px, CURVE_PX)


def _foot_words(review: Review, match: Match | None, share: bool) -> tuple[str, str]:
    facts = review.match
    logs = []
    for log in facts.logs[:6]:
        hashed = f"{log.sha256[:4]}…{log.sha256[-2:]}"
        logs.append(hashed if share else f"{log.name} {hashed}")
    if len(facts.logs) > 6:
        logs.append(f"{len(facts.logs) - 6} more")
    origin = ", ".join(logs) or "no log"
    errors = [log.offset_error_s for log in facts.logs if log.offset_error_s is not None]
    if errors:
        origin += f"; clocks aligned to {max(errors) * 1000:.0f} ms"
    if facts.start_s is not None and facts.end_s is not None:
        origin += f". Match {seconds(facts.start_s)} to {seconds(facts.end_s)} s"
    origin += f". afterbout {app_version()}."
    if match is not None and match.notes and not share:
        notes = match.notes if len(match.notes) <= 240 else match.notes[:239].rstrip() + "…"
        origin += f" Notes: {notes}"
    return " ".join(review.cautions), origin


def app_version() -> str:
    try:
        return version("afterbout")
    except PackageNotFoundError:  # run from a checkout that was not installed
        return "(not installed)"


def _foot_px(review: Review, match: Match | None, share: bool) -> float:
    cautions, origin = _foot_words(review, match, share)
    room = (WIDTH_PX - 26) / 2.5
    lines = max(len(wrap(cautions, 11.5, room * 1.5)), len(wrap(origin, 11.5, room)))
    return 18 + 14.5 * lines


def _foot(review: Review, match: Match | None, share: bool) -> str:
    cautions, origin = _foot_words(review, match, share)
    return (
        f'<footer class="foot"><p><b>Cautions.</b> {esc(cautions)}</p>'
        f"<p><b>{'From' if review.match.logs else 'Origin:'}</b> {esc(origin)}</p></footer>"
    )
