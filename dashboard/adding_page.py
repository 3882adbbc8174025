"""The page that adds files, as HTML text: each file as it is read, its questions, the match, one button.

Every text of a file or a person is escaped here. The form's controls are the browser's own: they work with a finger,
a keyboard and a screen reader alike.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dashboard.ink import esc
from dashboard.inspect_page import SURE_WORDS, dialect_words, fault_lines, plain_figure, what_words
from dashboard.marks import mark_svg
from dashboard.page_words import unit_word
from dashboard.upload import Draft, Incoming, megabytes
from dashboard.upload_answers import (
    CLOCK_UNITS,
    ELSE,
    LEAVE_OUT,
    QUESTIONS_MOST,
    UNITS,
    Question,
    asks_rate,
    asks_time_unit,
    channel_groups,
    questions,
    reading_name,
)
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
        (_duplicates(file), _summary(file.entry), _columns(file.entry), _faults(file.entry), _questions(file, parts))
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
    low, high = (esc(_minus(f"{plain_figure(column[end])} {unit}".strip())) for end in ("min", "max"))
    low_name, high_name = ('<span class="only-narrow">lowest </span>', '<span class="only-narrow">highest </span>')
    return (
        f'<tr><td class="channel"><b>{esc(column["channel"])}</b></td><td class="from">{esc(column["source"])}</td>'
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


def _minus(text: str) -> str:
    return text.replace("-", "\u2212")


# Questions


def _questions(file: Incoming, parts: Mapping[str, str]) -> str:
    assert file.asked is not None
    asked, answers = questions(file.asked), file.answers
    rows = []
    if asks_rate(file.asked):
        value = "" if answers.rate_Hz is None else f"{answers.rate_Hz:g}"
        rows.append(
            _asked("How many samples a second does it hold? Without that it has no time and most stays not checked.",
                   _input(f"{file.token}.rate", value, "Samples a second", 'inputmode="decimal" placeholder="open"'))
        )  # fmt: skip
    if asks_time_unit(file.asked):
        options = [("", "Leave it open"), *((unit, unit) for unit in CLOCK_UNITS)]
        name = file.asked["clock"]["column"]
        control = _select(f"{file.token}.time_unit", options, answers.time_unit or "", f"Unit of the clock {name}")
        rows.append(_asked(f"Which unit is the clock “{name}” in? {file.asked['clock']['unit']} is a guess.", control))
    rows += [_question(file, one, parts) for one in asked[:QUESTIONS_MOST]]
    if not rows:
        return ""
    more = ""
    if len(asked) > QUESTIONS_MOST:
        left = len(asked) - QUESTIONS_MOST
        more = f"<p>{left} more are open. Write a reading file: afterbout inspect FILE --save-reading NAME</p>"
    word = "1 question" if len(rows) == 1 else f"{len(rows)} questions"
    return (
        f'<div class="questions"><h3>{word}</h3><p class="about">What is left open is stored as it is read now; '
        "a guess is named wherever it is used.</p>"
        f'{"".join(rows)}{more}{_keep(file)}<button class="step wide" name="do" value="again">'
        f'Read it with these answers<span class="unseen">: {esc(file.name)}</span></button></div>'
    )


def _asked(text: str, control: str) -> str:
    return f'<div class="asked"><p>{esc(text)}</p><div class="controls">{control}</div></div>'


def _question(file: Incoming, asked: Question, parts: Mapping[str, str]) -> str:
    key = f"{file.token}.{asked.at}"
    said = file.answers.columns.get(asked.at)
    offered = asked.choices()
    chosen, other = "", dict[str, Any]()
    if said is not None and said.get("ignore"):
        chosen = LEAVE_OUT
    elif said is not None:
        chosen = f"{said['channel']}|{said.get('unit', '')}"
        if chosen not in dict(offered) or (said.get("scale") and said["scale"] != asked.proposed.get("scale")):
            chosen, other = ELSE, said
    options = [("", "Leave it open"), *offered, (ELSE, "Something else"), (LEAVE_OUT, "Leave the column out")]
    control = _select(key, options, chosen, "Answer", "data-else")
    if asked.proposed.get("pole_pairs") or asked.quantity == "speed":
        poles = "" if said is None or "pole_pairs" not in said else str(said["pole_pairs"])
        control += _input(f"{key}.pole_pairs", poles, "Pole pairs of its motor", 'inputmode="numeric"')
    groups = channel_groups(parts, asked.quantity)
    channels = "".join(
        f'<optgroup label="{esc(part.replace("_", " "))}">'
        + "".join(_option(name, name, other.get("channel")) for name in names)
        + "</optgroup>"
        for part, names in groups
    )
    units = sorted({unit for several in UNITS.values() for unit in several})
    listed = "".join(_option(unit, unit_word(unit) or "as written", other.get("unit", "")) for unit in ("", *units))
    scale = f"{other['scale']:g}" if other.get("scale") is not None else ""
    hidden = "" if chosen == ELSE else " hidden"
    control += (
        f'<div class="else"{hidden}><label>Channel<select name="{key}.channel"><option value="">Choose</option>'
        f'{channels}</select></label><label>Unit in the file<select name="{key}.unit">{listed}</select></label>'
        + _input(f"{key}.scale", scale, "Times", 'inputmode="decimal" placeholder="1"')
        + "</div>"
    )
    text = asked.text
    source = file.asked["columns"][asked.at] if file.asked is not None else {}
    seen = source.get("source_min"), source.get("source_max")
    if all(isinstance(value, int | float) for value in seen):
        text += _minus(f" In the file: {plain_figure(seen[0])} to {plain_figure(seen[1])}.")
    return _asked(text, control)


def _keep(file: Incoming) -> str:
    answers = file.answers
    name = answers.name or reading_name(file.name)
    checked = " checked" if answers.keep or not answers.any else ""
    return (
        f'<div class="keep"><label class="check"><input type="checkbox" name="{file.token}.keep" value="1"{checked}>'
        "<span>Keep the answers for the next log of this kind, as</span></label>"
        + _input(f"{file.token}.name", name, "Name of the reading", 'pattern="[a-z0-9][a-z0-9_\\-]{0,39}"')
        + "</div>"
    )


# The match


def _match(intake: Intake, draft: Draft, build: Build | None) -> str:
    form, season = draft.form, intake.season
    entries = [e.match for e in intake.source.entries() if e.match is not None]
    there = [("", "A new match"), *((m.id, _match_words(m)) for m in reversed(entries))]
    fields = [_labelled("Which match", _select("match", there, form.get("match", ""), "", "data-again"))]
    match = intake.match(draft)
    if match is None:
        fields += [
            _input("new_id", form.get("new_id", ""), "Its id", 'required pattern="[a-z0-9][a-z0-9_]{0,39}"'),
            _input("opponent", form.get("opponent", ""), "Opponent"),
            _input("event", form.get("event", ""), "Event"),
            _input("start", form.get("start", ""), "Fought", 'type="datetime-local"'),
            _input("result", form.get("result", ""), "Result"),
            _input("minutes_to_next", form.get("minutes_to_next", ""), "Minutes to the next match",
                   'inputmode="numeric"'),
        ]  # fmt: skip
    if match is None or not match.build:
        builds = [("", "Not stated"), *((name, name) for name in season.ids("builds"))]
        fields.append(_labelled("Build", _select("build", builds, form.get("build", ""), "", "data-again")))
    if match is None or not match.fitted_packs:
        slots = [slot.id for slot in build.packs] if build is not None and len(build.packs) > 1 else []
        packs = [("", "Not stated"), *((name, name) for name in season.ids("packs"))]
        for name, word in [(f"pack.{slot}", slot.replace("_", " ")) for slot in slots] or [("pack", "Pack fitted")]:
            fields.append(_labelled(word, _select(name, packs, form.get(name, ""), "")))
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


# Controls


def _labelled(word: str, control: str) -> str:
    return f"<label>{esc(word)}{control}</label>"


def _input(name: str, value: str, word: str, more: str = "") -> str:
    return _labelled(word, f'<input name="{esc(name)}" value="{esc(value)}" {more}>')


def _option(value: str, word: str, chosen: object) -> str:
    selected = " selected" if value == chosen else ""
    return f'<option value="{esc(value)}"{selected}>{esc(word)}</option>'


def _select(name: str, options: Sequence[tuple[str, str]], chosen: str, spoken: str, more: str = "") -> str:
    label = f' aria-label="{esc(spoken)}"' if spoken else ""
    return f'<select name="{esc(name)}"{label} {more}>{_all(options, chosen)}</select>'


def _all(options: Iterable[tuple[str, str]], chosen: str) -> str:
    return "".join(_option(value, word, chosen) for value, word in options)
