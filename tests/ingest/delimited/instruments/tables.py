"""Made exports beside the table they were made from, and what became of them. All of it is invented.

The physics here shares nothing with ours: pulses of current, and a voltage that sags with them and runs down.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from ingest.errors import AfterboutError
from ingest.formats import ReadOptions, read_log
from ingest.log import Log, Stream

Values = Sequence[float | None]


@dataclass
class Told:
    """What a made export holds.

    t          seconds from any origin; None: it has no clock
    ch         channels that must be there, or be asked for; maybe: channels that may be there. Nothing else may.
    cols       columns without a channel, by their name, in the file's own figures
    rows       their number, where it is not that of t; recs: each row's recording, where there are several
    """

    file: str
    data: bytes | str
    t: Sequence[float] | None = None
    ch: dict[str, Values] = field(default_factory=dict)
    maybe: dict[str, Values] = field(default_factory=dict)
    cols: dict[str, Values] = field(default_factory=dict)
    rows: int | None = None
    parts: dict[str, str] = field(default_factory=dict)
    anyrows: bool = False
    recs: list[int] | None = None


TOLD: list[Callable[[], Told]] = []


def told(make: Callable[[], Told]) -> Callable[[], Told]:
    """List a case; its name is the function's."""
    TOLD.append(make)
    return make


def lines(rows: Sequence[Sequence[object]], mark: str = ",", end: str = "\n") -> str:
    return end.join(mark.join(str(cell) for cell in row) for row in rows) + end


def comma(value: float, places: int = 3) -> str:
    return f"{value:.{places}f}".replace(".", ",")


def rounded(values: Sequence[float], places: int) -> list[float]:
    return [round(value, places) for value in values]


def drive(
    n: int = 120,
    dt: float = 0.5,
    cells: int = 1,
    seed: int = 1,
    peak: float = 2.0,
    r: float = 0.05,
    v0: float = 4.1,
    rest: int = 20,
) -> tuple[list[float], list[float], list[float], list[float], list[float]]:
    """Time in s, discharge in A, V, degC, Ah: a rest, then pulses."""
    chance = random.Random(seed)
    rows = []
    used, degC = 0.0, 24.0
    for k in range(n):
        amps = 0.0 if k < rest or (k // 15) % 3 == 2 else peak * (0.5 + 0.5 * chance.random())
        if k > rest:
            used += amps * dt / 3600
        degC += 0.02 * amps / peak
        volts = cells * (v0 - 0.25 * used / (peak * n * dt / 3600) - r * amps)
        rows.append((round(k * dt, 6), round(amps, 4), round(volts, 4), round(degC, 2), round(used, 6)))
    t, current, voltage, temperature, charge = (list(column) for column in zip(*rows, strict=True))
    return t, current, voltage, temperature, charge


def charged_and_used(n: int = 150) -> tuple[list[float], list[float], list[float], list[str]]:
    """Time in s, discharge in A, V, and "R", "D" or "C": a rest, 2.5 A out, a rest, 1.5 A in."""
    amps = [0.0] * 20 + [2.5] * 60 + [0.0] * 10 + [-1.5] * (n - 90)
    volts, used = [], 0.0
    for a in amps:
        used += a
        volts.append(round(3.9 - 0.0009 * used - 0.03 * a, 4))
    return [float(k) for k in range(n)], amps, volts, ["R" if a == 0 else "D" if a > 0 else "C" for a in amps]


def difference(have: Values, want: Values) -> str:
    """The first row in which two columns differ; "" where they do not."""
    for k, (a, b) in enumerate(zip(have, want, strict=True)):
        if (a is None) != (b is None) or (
            a is not None and b is not None and not math.isclose(a, b, rel_tol=2e-6, abs_tol=1e-6)
        ):
            return f"row {k}: {a}, not {b}"
    return ""


def judge(made: Told, folder: Path) -> tuple[str, list[str]]:
    """("read" | "asked" | "kept" | "no clock" | "refused" | "wrong", notes)."""
    path = folder / made.file
    path.write_bytes(made.data if isinstance(made.data, bytes) else made.data.encode("utf-8"))
    try:
        log = read_log(path, options=ReadOptions(parts=made.parts))
    except AfterboutError as error:
        return "refused", [str(error)]
    wrong = [*_rows(made, log), *_times(made, log)]
    for stream in log.streams:
        wrong += _columns(made, stream)
    if wrong:
        return "wrong", wrong
    if made.t is not None and not _has_clock(log):
        return "no clock", []
    missing = [name for name in made.ch if name not in log.channels]
    if missing:
        return ("asked" if any(c.question for c in log.provenance.columns) else "kept"), missing
    return "read", []


def _has_clock(log: Log) -> bool:
    clock = log.provenance.clock
    return clock is not None and clock.sure != "unknown" and clock.duration_s is not None


def _main(log: Log) -> Stream:
    return max(log.streams, key=lambda stream: stream.table.num_rows)


def _wanted(made: Told) -> int | None:
    return made.rows if made.rows is not None else None if made.t is None else len(made.t)


def _rows(made: Told, log: Log) -> list[str]:
    have, want = _main(log).table.num_rows, _wanted(made)
    lost = any(fault.severity == "dropped" for fault in log.provenance.faults)
    return [f"{have} rows, not {want}"] if want not in (None, have) and not lost and not made.anyrows else []


def _times(made: Told, log: Log) -> list[str]:
    if not _has_clock(log):
        return []
    if made.t is None:
        return ["a clock is invented"]
    table = _main(log).table
    if table.num_rows != len(made.t):
        return []
    have, recording = table["time_s"].to_pylist(), table["recording"].to_pylist()
    if recording != (made.recs or [0] * len(made.t)):
        return [f"{len(set(recording))} recordings"]
    first = {place: recording.index(place) for place in set(recording)}
    starts = [first[place] for place in recording]
    mine = [have[k] - have[start] for k, start in enumerate(starts)]
    theirs = [made.t[k] - made.t[start] for k, start in enumerate(starts)]
    return [
        f"time in row {k}: {a}, not {b}"
        for k, (a, b) in enumerate(zip(mine, theirs, strict=True))
        if abs(a - b) > 1e-5 + 1e-6 * abs(b)
    ][:1]


def _columns(made: Told, stream: Stream) -> list[str]:
    wrong = []
    for name in stream.table.column_names:
        if name in ("time_s", "recording"):
            continue
        have = stream.table[name].to_pylist()
        want = made.cols.get(name[6:]) if name.startswith("other:") else made.ch.get(name) or made.maybe.get(name)
        if want is None and not name.startswith("other:"):
            wrong.append(f"{name} is invented: {have[:3]}")
        elif want is not None and len(want) == len(have) and (note := difference(have, want)):
            wrong.append(f"{name}: {note}")
    return wrong
