"""Random tables in random dialects with random damage, each with its truth. One seed, one file."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from tests.ingest.delimited.instruments.made import soc_volts

WORDS = {
    "en": ("Time", "Voltage", "Current", "Temperature"),
    "de": ("Zeit", "Spannung", "Strom", "Temperatur"),
    "fr": ("Temps", "Tension", "Courant", "Température"),
    "short": ("t", "U", "I", "Temp"),
}
COUNTED = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0}


@dataclass
class Told:
    """One column: its values in the channel's unit and the channel's ending."""

    values: list[float]
    channel: str


@dataclass
class Mixture:
    """damaged: rows that were cut or garbled; missing: (row, name) without a value. times are seconds."""

    data: bytes
    times: list[float]
    columns: dict[str, Told]
    tolerance: float
    damaged: set[int] = field(default_factory=set)
    missing: set[tuple[int, str]] = field(default_factory=set)
    about: str = ""


@dataclass
class Dialect:
    delimiter: str
    decimal: str
    thousands: str
    quoted: bool

    def number(self, value: float, places: int) -> str:
        text = f"{abs(value):,.{places}f}".replace(",", "\0").replace(".", self.decimal).replace("\0", self.thousands)
        return ("-" if value < 0 and float(f"{value:.{places}f}") else "") + text

    def line(self, cells: list[str]) -> str:
        return self.delimiter.join(f'"{c}"' if self.quoted else c for c in cells)


def dialect_of(r: random.Random) -> Dialect:
    delimiter = r.choice([",", ";", ";", "\t", "|"])
    decimal = r.choice([".", ","])
    quoted = r.random() < 0.2 or (delimiter == "," == decimal)
    marks = [m for m in (".", ",", "'", " ", "\u00a0", "\u202f") if m != decimal and (m != delimiter or quoted)]
    return Dialect(delimiter, decimal, r.choice(marks) if r.random() < 0.25 else "", quoted)


def times_of(r: random.Random, rows: int) -> tuple[list[float], float]:
    step = r.choice([0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 10.0])
    times = [k * step for k in range(rows)]
    if r.random() < 0.25:
        times = [t + (r.uniform(-0.3, 0.3) * step if k else 0.0) for k, t in enumerate(times)]
    if r.random() < 0.15:
        place, pause = r.randrange(rows // 3, rows - 3), r.choice([30, 600]) * step
        times = [t + (pause if k >= place else 0.0) for k, t in enumerate(times)]
    return times, step


def clock_of(
    r: random.Random, dialect: Dialect, times: list[float], step: float, word: str
) -> tuple[str, str, list[str]]:
    """(name, unit, cells) of a clock in one of the usual ways to write it."""
    style = r.choice([*COUNTED, "time", "dated", "iso", "day first", "half days", "epoch", "epoch ms"])
    if style in COUNTED:
        unit, shift = COUNTED[style], r.choice([0.0, 0.0, 12.5, 3600.25])
        places = 0 if style in ("ms", "us") else max(0, math.ceil(-math.log10(step / unit))) + 4
        return word, style, [dialect.number((t + shift) / unit, places) for t in times]
    begun = datetime(2026, r.choice([3, 5, 11]), r.choice([3, 14, 27]), r.choice([0, 9, 13, 23]), 41)
    stamps = [begun + timedelta(milliseconds=round(1000 * t)) for t in times]
    thousandths = [f"{d.microsecond // 1000:03d}" for d in stamps]
    if style in ("epoch", "epoch ms"):
        whole = [1773480413000 + round(1000 * t) for t in times]
        texts = [str(w) if style == "epoch ms" else f"{w / 1000:.3f}".replace(".", dialect.decimal) for w in whole]
        return "timestamp", "", texts
    form, name = {
        "time": ("%H:%M:%S.{}", word),
        "dated": ("%Y-%m-%d %H:%M:%S.{}", "Date Time"),
        "iso": ("%Y-%m-%dT%H:%M:%S.{}Z", "timestamp"),
        "day first": ("%d.%m.%Y %H:%M:%S.{}", "Datum"),
        "half days": ("%I:%M:%S.{} %p", word),
    }[style]
    return name, "", [d.strftime(form).format(ms) for d, ms in zip(stamps, thousandths, strict=True)]


def figures_of(r: random.Random, rows: int) -> list[tuple[int, str, list[float], float, int, str]]:
    """(word, unit, values in the channel's unit, factor to the unit written, decimals, channel) of each column."""
    amps, volts, heat, now, target = [], [], [], 0.0, 5.0
    for k in range(rows):
        if r.random() < 0.1:
            target = r.choice([0.5, 4.0, 15.0, 40.0, 90.0]) * r.uniform(0.7, 1.3)
        now += (target - now) * 0.4
        amps.append(now + r.gauss(0, 0.05))
        volts.append(soc_volts(0.95 - k / rows * 0.5, 6) - 0.03 * now + r.gauss(0, 0.01))
        heat.append(23.0 + 0.01 * k)
    sign = r.choice([1, 1, -1])
    unit_V, unit_A = r.choice([("V", 1.0, 2), ("V", 1.0, 3), ("mV", 1e3, 0)]), r.choice([("A", 1, 2), ("mA", 1000, 0)])
    columns = [
        (1, unit_V[0], volts, unit_V[1], unit_V[2], "pack_voltage_V"),
        (2, unit_A[0], amps, float(sign * unit_A[1]), unit_A[2], "pack_current_A"),
    ]
    if r.random() < 0.5:
        columns.append((3, "°C", heat, 1.0, 1, "temp_degC"))
    r.shuffle(columns)
    return columns


def mixture(seed: int) -> Mixture:
    """A file as some instrument might write it, and what it holds."""
    r = random.Random(seed)
    dialect, rows = dialect_of(r), r.choice([60, 150, 400, 1200])
    words = WORDS[r.choice(list(WORDS))]
    times, step = times_of(r, rows)
    clock, unit, stamps = clock_of(r, dialect, times, step, words[0])
    where = r.choice(["({})", "[{}]", "row", "/{}", " in {}"])
    names, units, table, columns = [clock], [unit], [stamps], {}
    for word, text, values, factor, places, channel in figures_of(r, rows):
        names.append(words[word])
        units.append(text)
        table.append([dialect.number(v * factor, places) for v in values])
        written = [float(f"{v * factor:.{places}f}") / factor for v in values]
        columns[_named(words[word], text, where)] = Told(written, channel)
    preamble = ["Logger 3", "Operator: bench", "Serial No: 0012", "# recorded on the bench", "", "Range: 60 V"]
    lines = [r.choice(preamble) for _ in range(r.choice([0, 0, 1, 4, 9]))]
    lines.append(dialect.line([_named(n, u, where) for n, u in zip(names, units, strict=True)]))
    if where == "row" and any(units):
        lines.append(dialect.line(units))
    tolerance = max(1e-9, 0.02 * step) if unit else min(1.1e-3, 0.45 * step)
    if unit == "ms":
        tolerance = max(tolerance, 1.1e-3)  # whole milliseconds of two rows
    made = Mixture(b"", times, columns, tolerance)
    cells = [[column[k] for column in table] for k in range(rows)]
    lines += _damaged(r, made, dialect, cells, lines[-1])
    end = r.choice(["\n", "\r\n"])
    encoding = r.choice(["utf-8", "utf-8-sig", "utf-16", "cp1252"])
    if dialect.thousands == "\u202f" and encoding == "cp1252":
        encoding = "utf-8"
    made.data = (end.join(lines) + end).encode(encoding)
    made.about = f"seed {seed}: {dialect}, {where!r}, {encoding}, {lines[:2]}, {made.about}"
    return made


def _named(name: str, unit: str, where: str) -> str:
    if not unit or where == "row":
        return name
    return name + ("" if where[0] in "/ " else " ") + where.format(unit)


def _damaged(r: random.Random, made: Mixture, dialect: Dialect, cells: list[list[str]], names: str) -> list[str]:
    """The rows, some of them with one kind of damage; what it does to the truth is noted."""
    kind = r.choice(
        ["none", "none", "empty", "word", "garble", "nul", "comment", "repeat", "blank", "footer", "cut end"]
    )
    made.about = kind
    out = []
    for k, row in enumerate(cells):
        picked = k > 4 and r.random() < 0.01
        if picked and kind in ("empty", "word"):
            place = r.randrange(1, len(row))
            row = [*row[:place], "" if kind == "empty" else r.choice(["OL", "----", "NaN"]), *row[place + 1 :]]
            made.missing.add((k, list(made.columns)[place - 1]))
        elif picked and kind == "garble":
            made.damaged.add(k)
            text = list(dialect.line(row))
            text[r.randrange(len(text))] = r.choice("xq~^@")
            out.append("".join(text))
            continue
        elif picked and kind in ("nul", "comment", "repeat", "blank"):
            out.append({"nul": "\0" * 512, "comment": "# mark 3", "repeat": names, "blank": ""}[kind])
        out.append(dialect.line(row))
    if kind == "footer":
        out += ["", r.choice(["End of file", f"Max{dialect.delimiter}12", "Total rows: 99"])]
    if kind == "cut end":
        out[-1] = out[-1][: r.randrange(1, len(out[-1]))]
        made.damaged.add(len(cells) - 1)
    return out
