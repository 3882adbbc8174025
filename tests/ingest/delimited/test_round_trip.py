"""Random tables in random dialects with random damage: read back to the last value, or refused."""

from __future__ import annotations

import math
import tempfile
from dataclasses import dataclass
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.errors import AfterboutError
from ingest.formats import ReadOptions, read_log
from ingest.log import Log


@dataclass
class Written:
    """A table of numbers and how it is written."""

    data: bytes
    time_s: list[float]
    values: list[list[float | None]]


@st.composite
def logs(draw: st.DrawFn) -> Written:
    rows = draw(st.integers(8, 60))
    count = draw(st.integers(1, 5))
    places = [draw(st.integers(0, 4)) for _ in range(count)]
    columns: list[list[float | None]] = []
    for place in places:
        scale = 10**place
        cells = st.integers(-999_999, 999_999).map(lambda n, s=scale: n / s)
        column = [draw(cells) for _ in range(rows)]
        gaps = draw(st.sets(st.integers(1, rows - 1), max_size=rows // 5))
        columns.append([None if k in gaps else x for k, x in enumerate(column)])
    delimiter, decimal = draw(
        st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", ".")])
    )
    end = draw(st.sampled_from(["\n", "\r\n", "\r", "\r\r\n"]))
    codec = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16-le", "utf-16-be", "utf-16", "latin-1"]))
    preamble = draw(
        st.lists(st.sampled_from(["Device: bench", "# note", "", "Serial: 0012", "made by hand"]), max_size=6)
    )
    quoted = draw(st.booleans())
    step = draw(st.sampled_from([0.01, 0.1, 0.5, 1.0]))
    time_s = [round(k * step, 2) for k in range(rows)]
    names = ["Time [s]"] + [f"value {chr(97 + k)} [V]" for k in range(count)]

    def cell(value: float | None, place: int) -> str:
        text = "" if value is None else f"{value:.{place}f}".replace(".", decimal)
        return f'"{text}"' if quoted and text else text

    lines = [*preamble, delimiter.join(names)]
    for k in range(rows):
        cells = [cell(time_s[k], 2)] + [cell(c[k], p) for c, p in zip(columns, places, strict=True)]
        lines.append(delimiter.join(cells))
    return Written((end.join(lines) + end).encode(codec), time_s, columns)


def read(data: bytes, **options: float) -> Log:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.txt"
        path.write_bytes(data)
        return read_log(path, options=ReadOptions(**options))  # type: ignore[arg-type]


def stored(log: Log) -> list[list[float | None]]:
    """Stored columns in the order of the source, in source values."""
    table = log.streams[0].table
    found = []
    for field in table.schema:
        if field.name not in ("time_s", "recording"):
            about = {k.decode(): v.decode() for k, v in field.metadata.items()}
            scale, offset = float(about["scale"]), float(about["offset"])
            values = table[field.name].to_pylist()
            found.append([None if x is None else (x - offset) / scale for x in values])
    return found


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(logs())
def test_read_back(written: Written) -> None:
    log = read(written.data)
    times = log.streams[0].table["time_s"].to_pylist()
    assert len(times) == len(written.time_s)
    assert all(abs(a - b) < 1e-9 for a, b in zip(times, written.time_s, strict=True))
    sentinels = {c.source for c in log.provenance.columns if c.missing}
    for have, want, column in zip(stored(log), written.values, log.provenance.columns[1:], strict=True):
        for a, b in zip(have, want, strict=True):
            if a is None and b is not None:
                # A value that the naming took for "no value" must be said so.
                assert column.source in sentinels
                assert any(f.code == "sentinel" and f.column == column.source for f in log.provenance.faults)
                continue
            assert (a is None) == (b is None)
            assert a is None or b is None or math.isclose(a, b, rel_tol=1e-12, abs_tol=1e-12)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(logs(), st.data())
def test_damage_is_reported(written: Written, data: st.DataObject) -> None:
    """Cut, doubled or emptied bytes: whatever is read has only values of the table, or something is reported."""
    place = data.draw(st.integers(1, len(written.data) - 1))
    kind = data.draw(st.sampled_from(["cut", "nul", "doubled", "garbage"]))
    raw = written.data
    if kind == "cut":
        raw = raw[:place]
    elif kind == "nul":
        raw = raw[:place] + b"\0" * 64
    elif kind == "doubled":
        raw = raw[:place] + raw[max(0, place - 20) :]
    else:
        raw = raw[:place] + b"\x00\xff??" + raw[place:]
    try:
        log = read(raw)
    except AfterboutError as refused:
        assert refused.mend
        return
    table = log.streams[0].table
    assert log.provenance.rows == table.num_rows > 0
    for name in table.column_names:
        values = table[name].to_pylist()
        assert not any(isinstance(x, float) and not math.isfinite(x) for x in values)
    recording = table["recording"].to_pylist()
    times = table["time_s"].to_pylist()
    if times[0] is not None:
        pairs = zip(times, times[1:], recording, recording[1:], strict=False)
        assert all(b >= a for a, b, r, s in pairs if r == s)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=3000))
def test_any_bytes(raw: bytes) -> None:
    """Any bytes are read or refused with a mend; nothing else can happen."""
    try:
        read(raw)
    except AfterboutError as refused:
        assert refused.mend


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="0123456789.,;:-+eE \t\n\r\"'#%/abVsT|xn\x00é°", max_size=600))
def test_any_text(text: str) -> None:
    """Any text made of what logs are made of is read or refused with a mend."""
    try:
        log = read(text.encode())
    except AfterboutError as refused:
        assert refused.mend
    else:
        assert log.provenance.rows == sum(s.table.num_rows for s in log.streams)
        assert log.provenance.sha256
