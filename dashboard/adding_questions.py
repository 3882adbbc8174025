"""The questions about one file on the page that adds files, and the browser's own controls that they use."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from dashboard.ink import esc
from dashboard.inspect_page import plain_figure
from dashboard.page_words import unit_word
from dashboard.upload import Incoming
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


def questions_html(file: Incoming, parts: Mapping[str, str]) -> str:
    assert file.asked is not None
    asked, answers = questions(file.asked), file.answers
    rows = []
    if asks_rate(file.asked):
        value = "" if answers.rate_Hz is None else f"{answers.rate_Hz:g}"
        control = text_input(f"{file.token}.rate", value, "Samples a second", 'inputmode="decimal" placeholder="open"')
        text = "How many samples a second does it hold? Without that it has no time and most stays not checked."
        rows.append(_asked(text, control))
    if asks_time_unit(file.asked):
        options = [("", "Leave it open"), *((unit, unit) for unit in CLOCK_UNITS)]
        name = file.asked["clock"]["column"]
        control = select(f"{file.token}.time_unit", options, answers.time_unit or "", f"Unit of the clock {name}")
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
    control = select(key, options, chosen, "Answer", "data-else")
    if asked.proposed.get("pole_pairs") or asked.quantity == "speed":
        poles = "" if said is None or "pole_pairs" not in said else str(said["pole_pairs"])
        control += text_input(f"{key}.pole_pairs", poles, "Pole pairs of its motor", 'inputmode="numeric"')
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
        + text_input(f"{key}.scale", scale, "Times", 'inputmode="decimal" placeholder="1"')
        + "</div>"
    )
    text = asked.text
    source = file.asked["columns"][asked.at] if file.asked is not None else {}
    seen = source.get("source_min"), source.get("source_max")
    if all(isinstance(value, int | float) for value in seen):
        text += minus(f" In the file: {plain_figure(seen[0])} to {plain_figure(seen[1])}.")
    return _asked(text, control)


def _keep(file: Incoming) -> str:
    answers = file.answers
    name = answers.name or reading_name(file.name)
    checked = " checked" if answers.keep or not answers.any else ""
    return (
        f'<div class="keep"><label class="check"><input type="checkbox" name="{file.token}.keep" value="1"{checked}>'
        "<span>Keep the answers for the next log of this kind, as</span></label>"
        + text_input(f"{file.token}.name", name, "Name of the reading", 'pattern="[a-z0-9][a-z0-9_\\-]{0,39}"')
        + "</div>"
    )


def labelled(word: str, control: str) -> str:
    return f"<label>{esc(word)}{control}</label>"


def text_input(name: str, value: str, word: str, more: str = "") -> str:
    return labelled(word, f'<input name="{esc(name)}" value="{esc(value)}" {more}>')


def _option(value: str, word: str, chosen: object) -> str:
    selected = " selected" if value == chosen else ""
    return f'<option value="{esc(value)}"{selected}>{esc(word)}</option>'


def select(name: str, options: Sequence[tuple[str, str]], chosen: str, spoken: str, more: str = "") -> str:
    label = f' aria-label="{esc(spoken)}"' if spoken else ""
    return f'<select name="{esc(name)}"{label} {more}>{_all(options, chosen)}</select>'


def _all(options: Iterable[tuple[str, str]], chosen: str) -> str:
    return "".join(_option(value, word, chosen) for value, word in options)


def minus(text: str) -> str:
    return text.replace("-", "\u2212")
