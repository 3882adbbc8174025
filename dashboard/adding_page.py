"""The page that adds files, as HTML text: each file as it is read, its questions, the match, one button.

Every text of a file or a person is escaped here. The form's controls are the browser's own: they work with a finger,
a keyboard and a screen reader alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from dashboard.adding_questions import labelled, minus, questions_html, select, text_input
from dashboard.ink import esc
from dashboard.inspect_page import SURE_WORDS, dialect_words, fault_lines, plain_figure, what_words
from dashboard.marks import mark_svg
from dashboard.page_words import unit_word
from dashboard.upload import Draft, Incoming, megabytes
from ingest.builds import Build, Match
from ingest.errors import AfterboutError

if TYPE_CHECKING:
    from dashboard.intake import Intake

COLUMNS_MOST = 60  # shown of one file (our choice); the rest is counted
FAULTS_MOST = 12
NO_CLOCK = "It has no clock."


def adding_html(intake: Intake, draft: Draft) -> str:
    """All that stands below the field for files."""
    if draft.phase == "stored":
        return _stored(draft)
    parts: dict[str, str] = {}
    try:
        build = intake.build(draft)
        parts = build.part_kinds() if build is not None else {}
    except AfterboutError as error:
        build, draft.error = None, draft.error or str(error)
    files = "".join(_file(file, parts, draft) for file in draft.files)
    body = [f'<div class="incoming">{files}</div>']
    if draft.files:
        body.append(_match(intake, draft, build))
        body.append(_end(draft))
    return f'<form data-adding autocomplete="off">{"".join(body)}</form>'


def _stored(draft: Draft) -> str:
    told = "".join(f"<li>{mark_svg('note')}<span>{esc(text)}</span></li>" for text in draft.told)
    return (
        f'<section class="message"><h1>Stored</h1><ul class="told">{told}</ul>'
        f'<p><a class="go" href="/match/{draft.match}" data-go>To the match</a></p></section>'
    )


# One file


def _file(file: Incoming, parts: Mapping[str, str], draft: Draft) -> str:
    leave = ""
    if draft.phase == "open":
        leave = (
            f'<button class="plain" name="do" value="leave:{file.token}" formnovalidate>'
            f'Leave out<span class="unseen"> {esc(file.name)}</span></button>'
        )
    head = f'<div class="file-head"><h2>{esc(file.name)}</h2>{leave}</div>'
    return f'<section class="file {file.state}" data-file="{file.token}">{head}{_state(file, parts)}</section>'


def _state(file: Incoming, parts: Mapping[str, str]) -> str:
    if file.state == "receiving":
        share = 0 if not file.size else int(100 * file.have / file.size)
        return (
            f'<p class="doing">Arriving: {share} % of {megabytes(file.size)}'
            f'<progress max="100" value="{share}" aria-label="arrived of {esc(file.name)}"></progress></p>'
        )
    if file.state in ("waiting", "reading"):
        rows = f", {file.rows:,} rows so far" if file.rows else ""
        word = "Reading" if file.state == "reading" else "Waits to be read"
        return f'<p class="doing">{word}{rows}<progress aria-label="reading {esc(file.name)}"></progress></p>'
    if file.state == "refused":
        why = esc(file.why).replace("\n", "<br>")
        return (
            f'<p class="stopped">{mark_svg("fault")}<b>Refused: nothing of it is used.</b></p><p>{why}</p>'
            '<p class="about">Where a reading file (.toml) or a CAN database (.dbc) is asked for: drop it here too.</p>'
        )
    if file.kind == "database":
        return "<p>A CAN database: the traces among these files are read with it.</p>"
    if file.kind == "reading":
        return "<p>A reading file: these files are read with it where it fits, and it is kept in the season.</p>"
    assert file.entry is not None
    assert file.asked is not None
    return "".join(
        (
            _duplicates(file),
            _summary(file.entry),
            _columns(file.entry),
            _faults(file.entry),
            questions_html(file, parts),
        )
    )


def _duplicates(file: Incoming) -> str:
    told = []
    if file.also_in:
        word = "match" if len(file.also_in) == 1 else "matches"
        told.append(f"The same bytes are already a log of {word} {', '.join(file.also_in)}.")
    if file.same_as:
        told.append(f"The same bytes as {file.same_as}: taken once.")
    return "".join(f'<p class="twice">{mark_svg("note")}<b>{esc(text)}</b></p>' for text in told)


def _summary(entry: Mapping[str, Any]) -> str:
    lines = [what_words(entry, NO_CLOCK)]
    if entry["dialect"]:
        lines.append(dialect_words(entry["dialect"]))
    if entry["reading"]:
        lines.append(f"Read as the reading {entry['reading']} says.")
    text = " ".join(lines)
    return f'<p class="summary">{esc(text[:1].upper() + text[1:])}</p>'


def _columns(entry: Mapping[str, Any]) -> str:
    clock = entry["clock"]["column"] if entry["clock"] else None
    shown = [c for c in entry["columns"] if c["channel"] is not None]
    rest = [c for c in entry["columns"] if c["channel"] is None and c["source"] != clock]
    out = "<p>No column is understood as a channel.</p>"
    if shown:
        rows = "".join(_row(column) for column in shown[:COLUMNS_MOST])
        more = f"<p>And {len(shown) - COLUMNS_MOST} more.</p>" if len(shown) > COLUMNS_MOST else ""
        out = (
            '<table class="channels"><thead><tr><th>Channel</th><th>From</th><th class="r">Lowest</th>'
            f'<th class="r">Highest</th><th>How sure</th></tr></thead><tbody>{rows}</tbody></table>{more}'
        )
    own = [f"“{c['source'][:40]}” ({c['quantity']})" for c in rest]
    if own:
        listed = ", ".join(own[:COLUMNS_MOST]) + (f" and {len(own) - COLUMNS_MOST} more" if own[COLUMNS_MOST:] else "")
        out += f'<p class="about">No channel, kept under its own name: {esc(listed)}.</p>'
    return out


def _row(column: Mapping[str, Any]) -> str:
    unit = unit_word(column["unit"] or "")
    tag = "span" if column["sure"] in ("certain", "likely") else "b"
    sure = f"<{tag}>{SURE_WORDS[column['sure']]}</{tag}>"
    low, high = (esc(minus(f"{plain_figure(column[end])} {unit}".strip())) for end in ("min", "max"))
    low_name, high_name = ('<span class="only-narrow">lowest </span>', '<span class="only-narrow">highest </span>')
    return (
        f'<tr><td class="named"><b>{esc(column["channel"])}</b></td><td class="from">{esc(column["source"])}</td>'
        f'<td class="r">{low_name}{low}</td><td class="r">{high_name}{high}</td><td class="sure">{sure}</td></tr>'
    )


def _faults(entry: Mapping[str, Any]) -> str:
    lines = fault_lines(entry["faults"])
    if not lines:
        return ""
    told = [f"<li>{esc(line[:1].upper() + line[1:])}</li>" for line in lines[:FAULTS_MOST]]
    if len(lines) > FAULTS_MOST:
        told.append(f"<li>And {len(lines) - FAULTS_MOST} more kinds.</li>")
    return f'<h3>Faults of the file</h3><ul class="faults">{"".join(told)}</ul>'


# The match


def _match(intake: Intake, draft: Draft, build: Build | None) -> str:
    form, season = draft.form, intake.season
    entries = [e.match for e in intake.source.entries() if e.match is not None]
    there = [("", "A new match"), *((m.id, _match_words(m)) for m in reversed(entries))]
    fields = [labelled("Which match", select("match", there, form.get("match", ""), "", "data-again"))]
    match = intake.match(draft)
    if match is None:
        fields += [
            text_input("new_id", form.get("new_id", ""), "Its id", 'required pattern="[a-z0-9][a-z0-9_]{0,39}"'),
            text_input("opponent", form.get("opponent", ""), "Opponent"),
            text_input("event", form.get("event", ""), "Event"),
            text_input("start", form.get("start", ""), "Fought", 'type="datetime-local"'),
            text_input("result", form.get("result", ""), "Result"),
            text_input("minutes_to_next", form.get("minutes_to_next", ""), "Minutes to the next match",
                   'inputmode="numeric"'),
        ]  # fmt: skip
    if match is None or not match.build:
        builds = [("", "Not stated"), *((name, name) for name in season.ids("builds"))]
        fields.append(labelled("Build", select("build", builds, form.get("build", ""), "", "data-again")))
    if match is None or not match.fitted_packs:
        slots = [slot.id for slot in build.packs] if build is not None and len(build.packs) > 1 else []
        packs = [("", "Not stated"), *((name, name) for name in season.ids("packs"))]
        for name, word in [(f"pack.{slot}", slot.replace("_", " ")) for slot in slots] or [("pack", "Pack fitted")]:
            fields.append(labelled(word, select(name, packs, form.get(name, ""), "")))
    about = "What is not stated is not checked."
    if match is not None:
        stated = [f"build {match.build}"] if match.build else []
        stated += [f"pack {', '.join(match.fitted_packs)}"] if match.fitted_packs else []
        about = f"It states {' and '.join(stated)}." if stated else about
    inner = f'<h2>The match</h2><p class="about">{esc(about)}</p><div class="fields">{"".join(fields)}</div>'
    return f'<section class="file">{inner}</section>'


def _match_words(match: Match) -> str:
    told = ", ".join(x for x in (match.opponent, match.event) if x)
    logs = "no logs yet" if not match.logs else "1 log" if len(match.logs) == 1 else f"{len(match.logs)} logs"
    return f"{match.id}: {told}, {logs}" if told else f"{match.id}, {logs}"


def _end(draft: Draft) -> str:
    error = f'<p class="stopped" role="alert">{mark_svg("fault")}<b>{esc(draft.error)}</b></p>' if draft.error else ""
    if draft.phase == "storing":
        return (
            f'<div class="store busy"><p class="doing"><b>{esc(draft.doing or "Storing")}</b>'
            '<progress aria-label="storing"></progress></p></div>'
        )
    ready = len(draft.logs())
    if draft.busy or not ready:
        why = "Not all files are read yet." if draft.busy else "No file here can be stored."
        return f'{error}<div class="store calm"><p>{why}</p>{_cancel()}</div>'
    word = "1 file" if ready == 1 else f"{ready} files"
    left = sum(1 for file in draft.files if file.state == "refused")
    note = f" {left} refused, not stored." if left else ""
    return (
        f'{error}<div class="store"><p>{word} to store.{note}</p>'
        f'<button class="go" name="do" value="store">Store and review</button></div>{_cancel()}'
    )


def _cancel() -> str:
    return '<button class="plain" name="do" value="cancel" formnovalidate>Cancel: nothing is stored</button>'
