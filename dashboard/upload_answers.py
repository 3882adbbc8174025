"""What the page asks about a file, and the reading that the answers make: the same text as `inspect --save-reading`."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from dashboard.page_words import unit_word
from ingest.channels import QUANTITIES, Channel, channel_name, parse_channel
from ingest.errors import ReadingError
from ingest.log import Provenance
from ingest.readings import Reading, parse_reading, reading_from
from ingest.readings_check import TIME_UNITS
from ingest.readings_examples import column_lines
from ingest.toml_text import edit

QUESTIONS_MOST: Final = 40  # our choice: whoever has more writes the reading file itself
LEAVE_OUT: Final = "leave out"
ELSE: Final = "else"
# unit of the vocabulary -> what files write for it, the usual first
UNITS: Final[Mapping[str, tuple[str, ...]]] = {
    "V": ("V", "mV", "cV", "dV"),
    "A": ("A", "mA", "cA", "dA"),
    "degC": ("degC", "degF", "K"),
    "rpm": ("rpm", "erpm", "rps"),
    "%": ("%", "us", "ratio"),
    "mAh": ("mAh", "Ah"),
    "Wh": ("Wh", "mWh"),
    "W": ("W", "kW"),
    "s": ("s", "ms", "us", "min"),
    "g": ("g", "m/s2"),
    "deg/s": ("deg/s", "rad/s"),
    "dBm": ("dBm",),
}
CLOCK_UNITS: Final = tuple(unit for unit in TIME_UNITS if unit != "date")
_PARTS_OF: Final[Mapping[str, tuple[str, ...]]] = {
    "controller": ("voltage_V", "input_current_A", "motor_current_A", "command_pct", "duty_pct", "speed_rpm",
                   "temp_degC", "power_W", "charge_used_mAh", "energy_used_Wh", "uptime_s", "fault_code"),
    "motor": ("speed_rpm", "temp_degC", "current_A"),
    "regulator": ("voltage_V", "temp_degC"),
    "wire": ("current_A", "temp_degC"),
    "contact": ("current_A", "temp_degC"),
    "fuse": ("current_A", "temp_degC"),
}  # fmt: skip
_ALWAYS: Final[Mapping[str, tuple[str, ...]]] = {
    "pack": ("voltage_V", "current_A", "cell_min_V", "temp_degC", "charge_used_mAh", "energy_used_Wh", "power_W"),
    "receiver": ("rail_voltage_V", "rail_current_A", "uptime_s"),
    "link": ("quality_pct", "strength_dBm", "failsafe_active", "frames_lost"),
    "chassis": ("temp_degC", "shock_g", "spin_dps"),
}


def units_of(channel: Channel) -> tuple[str, ...]:
    """What files write for a channel; pulses only for what a receiver or a controller is told."""
    usual = UNITS.get(channel.unit, ())
    return (
        usual
        if channel.quantity.kind == "command"
        else tuple(unit for unit in usual if unit != "us" or channel.unit == "s")
    )


@dataclass(frozen=True)
class Question:
    """One open question about a column. source: the key of the reading's column; proposed: its keys if it is right."""

    at: int
    source: str
    text: str
    proposed: Mapping[str, Any]
    alternatives: tuple[str, ...]
    quantity: str

    def choices(self) -> list[tuple[str, str]]:
        """(value, words): what one tap can answer; the value holds channel and unit."""
        out: dict[str, str] = {}
        names = [str(self.proposed["channel"])] if self.proposed.get("channel") else []
        names += [name for name in self.alternatives if parse_channel(name) is not None]
        for place, name in enumerate(dict.fromkeys(names)):
            channel = parse_channel(name)
            assert channel is not None
            usual = units_of(channel)
            first = self.proposed.get("unit") if place == 0 else None
            units = list(dict.fromkeys([*([str(first)] if first else []), *usual])) if place == 0 else list(usual[:1])
            for unit in units or [""]:
                out[f"{name}|{unit}"] = f"{name}, in {unit_word(unit)}" if unit else name
        return list(out.items())


@dataclass
class Answers:
    """What was chosen on the page for one file. columns: place of the column -> keys of a reading's column."""

    columns: dict[int, dict[str, Any]] = field(default_factory=dict)
    rate_Hz: float | None = None
    time_unit: str | None = None
    keep: bool = False
    name: str = ""

    @property
    def any(self) -> bool:
        return bool(self.columns) or self.rate_Hz is not None or self.time_unit is not None


def questions(entry: Mapping[str, Any]) -> list[Question]:
    """The open questions of an inspect entry: what is only a guess, or not known at all."""
    out = []
    for at, column in enumerate(entry["columns"]):
        if not column["question"] or column["sure"] not in ("guess", "unknown"):
            continue
        text, _, answer = column["question"].partition("\n")
        try:
            proposed = dict(tomllib.loads(answer)["column"][0])
        except (tomllib.TOMLDecodeError, KeyError, IndexError, TypeError):
            proposed = {}
        source = str(proposed.pop("source", column["source"]))
        proposed.pop("ignore", None)
        out.append(Question(at, source, text, proposed, tuple(column["alternatives"]), column["quantity"]))
    return out


def asks_rate(entry: Mapping[str, Any]) -> bool:
    return entry["clock"] is None


def asks_time_unit(entry: Mapping[str, Any]) -> bool:
    clock = entry["clock"]
    return clock is not None and clock["column"] is not None and clock["sure"] in ("guess", "unknown")


def channel_groups(parts: Mapping[str, str], quantity: str) -> list[tuple[str, list[str]]]:
    """(part, its channels): everything that a column of this quantity may be; of all quantities where none fits."""
    found: list[tuple[str, list[str]]] = []
    wanted: dict[str, tuple[str, ...]] = {part: _PARTS_OF.get(kind, ()) for part, kind in parts.items()}
    for part, suffixes in {**_ALWAYS, **{part: own for part, own in wanted.items() if own}}.items():
        fits = [s for s in suffixes if QUANTITIES[s].kind == quantity]
        chosen = fits if quantity in {q.kind for q in QUANTITIES.values()} else list(suffixes)
        if chosen:
            found.append((part, [channel_name(part, suffix) for suffix in chosen]))
    if quantity == "voltage":
        found.append(("cells", [f"cell{n}_voltage_V" for n in range(1, 13)]))
    return found


def read_answers(form: Mapping[str, str], file: str, entry: Mapping[str, Any]) -> Answers:
    """The answers of one file out of the page's form. Raises ReadingError where a figure is none."""
    out = Answers(keep=form.get(f"{file}.keep") == "1", name=form.get(f"{file}.name", "").strip())
    for asked in questions(entry):
        key = f"{file}.{asked.at}"
        chosen = form.get(key, "")
        if not chosen:
            continue
        if chosen == LEAVE_OUT:
            out.columns[asked.at] = {"ignore": True}
            continue
        channel, _, unit = chosen.partition("|")
        keys: dict[str, Any] = {}
        if chosen == ELSE:
            channel, unit = form.get(f"{key}.channel", ""), form.get(f"{key}.unit", "").strip()
            if not channel:
                raise ReadingError(
                    "which channel is not said", column=asked.source, mend="Choose one, or leave it open."
                )
            times = form.get(f"{key}.scale", "").strip()
            keys["scale"] = _number(times, asked.source, "times") if times else None
        elif channel == asked.proposed.get("channel"):
            keys |= {name: asked.proposed[name] for name in ("scale", "offset") if name in asked.proposed}
        keys |= {"channel": channel, "unit": unit or None}
        poles = form.get(f"{key}.pole_pairs", "").strip()
        if poles and channel.endswith("_speed_rpm"):
            keys["pole_pairs"] = int(_number(poles, asked.source, "pole pairs"))
        out.columns[asked.at] = {name: value for name, value in keys.items() if value is not None}
    if asks_rate(entry) and (rate := form.get(f"{file}.rate", "").strip()):
        out.rate_Hz = _number(rate, "samples a second", "samples a second")
        if not out.rate_Hz > 0:
            raise ReadingError("samples a second must be above zero", found=rate, mend="Give how many a second.")
    if asks_time_unit(entry) and form.get(f"{file}.time_unit") in CLOCK_UNITS:
        out.time_unit = form[f"{file}.time_unit"]
    return out


def _number(text: str, column: str, what: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e12:
        raise ReadingError(f"{what}: this is no number", column=column, found=text, mend="Give a plain number.")
    return value


def reading_of(provenance: Provenance, entry: Mapping[str, Any], answers: Answers) -> tuple[Reading, str]:
    """The reading that the answers make, and its text as it is kept. Raises ReadingError, DescriptionError."""
    by_source = {q.source: answers.columns[q.at] for q in questions(entry) if q.at in answers.columns}
    text = reading_from(provenance, by_source)
    written = {column.source for column in provenance.columns}
    for source, keys in by_source.items():
        if source not in written:  # one of several columns of the same name: its key is not the name alone
            text += f"\n{column_lines(source, **keys)}\n"
    name = answers.name or reading_name(provenance.file)
    head: dict[str, Any] = {"name": name}
    if hint := hint_of(provenance.file):
        head["file_name_hint"] = hint
    if answers.rate_Hz is not None:
        head["rate_Hz"] = answers.rate_Hz
    if answers.time_unit is not None:
        head["time_unit"] = answers.time_unit
    text = edit(text, file=f"{name}.toml", keys={("reading",): head})
    return parse_reading(text, file=f"{name}.toml"), text


def hint_of(file_name: str) -> str:
    """What the names of logs of this kind share: the longest run of letters; "weapon" of "m06_weapon-0012.csv"."""
    stem = re.split(r"[/\\]", file_name)[-1].rsplit(".", 1)[0]
    runs = re.findall(r"[^\W\d_]+(?:[_ -][^\W\d_]+)*", stem)
    longest = max(runs, key=len, default="")
    return longest if len(longest) >= 3 else ""


def reading_name(file_name: str) -> str:
    """A name for a reading of this file: small letters, digits and lines."""
    base = hint_of(file_name) or re.split(r"[/\\]", file_name)[-1].rsplit(".", 1)[0]
    return re.sub(r"[^a-z0-9]+", "-", base.lower()).strip("-")[:40] or "log"


def is_reading_name(name: str) -> bool:
    return re.fullmatch(r"[a-z0-9][a-z0-9_-]{0,39}", name) is not None
