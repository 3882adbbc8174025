"""Declared binary telemetry: checksums against the catalogue and a library, decoding, and finding frames behind damage.

Check values of "123456789": catalogue of parametrised CRC algorithms (G. Cook, reveng.sourceforge.io/crc-catalogue).
Reference library for checksums: crccheck.
"""

from __future__ import annotations

import hashlib
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ingest.binary.checksum import KINDS, Crc, of_bytes, over_frames
from ingest.errors import ReadingError, UnreadableLog
from ingest.formats import ReadOptions, detect, open_log, read_log
from ingest.inspect import inspect_files
from ingest.readings import EXAMPLE_BINARY_READING, Reading, parse_reading, reading_from

crccheck = pytest.importorskip("crccheck", reason="the reference library for checksums")

CHECK = b"123456789"
CATALOGUE = [  # name in the catalogue, parameters, check
    ("CRC-8/SMBUS", Crc(8, 0x07), 0xF4),
    ("CRC-8/MAXIM-DOW", Crc(8, 0x31, 0x00, True), 0xA1),
    ("CRC-5/USB", Crc(5, 0x05, 0x1F, True, 0x1F), 0x19),
    ("CRC-7/MMC", Crc(7, 0x09), 0x75),
    ("CRC-16/IBM-3740 (CCITT-FALSE)", Crc(16, 0x1021, 0xFFFF), 0x29B1),
    ("CRC-16/XMODEM", Crc(16, 0x1021), 0x31C3),
    ("CRC-16/IBM-SDLC (X.25)", Crc(16, 0x1021, 0xFFFF, True, 0xFFFF), 0x906E),
    ("CRC-16/MODBUS", Crc(16, 0x8005, 0xFFFF, True), 0x4B37),
    ("CRC-24/OPENPGP", Crc(24, 0x864CFB, 0xB704CE), 0x21CF02),
    ("CRC-32/ISO-HDLC", Crc(32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF), 0xCBF43926),
    ("CRC-32/BZIP2", Crc(32, 0x04C11DB7, 0xFFFFFFFF, False, 0xFFFFFFFF), 0xFC891918),
    ("CRC-32/MPEG-2", Crc(32, 0x04C11DB7, 0xFFFFFFFF), 0x0376E6E7),
]
NAMED = {"crc8": 0xF4, "crc16-ccitt": 0x29B1, "crc16-modbus": 0x4B37, "crc32": 0xCBF43926}


@pytest.mark.parametrize(("name", "crc", "check"), CATALOGUE, ids=[row[0] for row in CATALOGUE])
def test_check_values_of_the_catalogue(name: str, crc: Crc, check: int) -> None:
    assert of_bytes(crc, CHECK) == check


@pytest.mark.parametrize(("kind", "check"), NAMED.items())
def test_the_named_kinds_are_those_of_the_catalogue(kind: str, check: int) -> None:
    assert of_bytes(KINDS[kind], CHECK) == check


@given(
    width=st.sampled_from((5, 7, 8, 12, 15, 16, 24, 31, 32)),
    reflect=st.booleans(),
    seed=st.integers(0, 2**32 - 1),
    length=st.integers(1, 40),
)
@settings(max_examples=60, deadline=None)
def test_any_parameters_agree_with_the_library(width: int, reflect: bool, seed: int, length: int) -> None:
    random = np.random.default_rng(seed)
    polynomial, start, xor_out = (int(v) for v in random.integers(0, 2**width, 3))
    polynomial |= 1
    frames = random.integers(0, 256, (9, length + 3), dtype=np.uint8)
    crc = Crc(width, polynomial, start, reflect, xor_out)
    library = crccheck.crc.Crc(width, polynomial, start, reflect, reflect, xor_out)
    ours = over_frames(crc, frames, 2, length + 2)
    assert ours.tolist() == [int(library.calc(bytes(row[2 : length + 2]))) for row in frames]


def test_sum_and_exclusive_or() -> None:
    frames = np.frombuffer(b"\x01\xff\x02\x10\x20\x30", dtype=np.uint8).reshape(2, 3)
    assert over_frames(KINDS["sum8"], frames, 0, 3).tolist() == [2, 0x60]
    assert over_frames(KINDS["xor8"], frames, 0, 3).tolist() == [0xFC, 0x00]


# A whole file


def drive_frame(t_ms: int, volts_mV: int, current_cA: int, flags: int) -> bytes:
    body = struct.pack("<IHhBx", t_ms & 0xFFFFFFFF, volts_mV, current_cA, flags)
    return b"\xaa\x55" + body + struct.pack("<H", int(crccheck.crc.Crc16CcittFalse.calc(body)))


def drive_values(k: int) -> tuple[int, int, int, int]:
    return k * 10, 24000 - (k % 50) * 30, (k * 37) % 9000 - 300, int(k % 7 == 0)


def drive_bytes(count: int, start_ms: int = 0) -> bytes:
    rows = (drive_values(k) for k in range(count))
    return b"".join(drive_frame(start_ms + t, v, i, f) for t, v, i, f in rows)


READING = parse_reading(EXAMPLE_BINARY_READING)


def written(folder: Path, data: bytes, name: str = "drive.bin") -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def test_every_value_of_a_clean_file(tmp_path: Path) -> None:
    data = drive_bytes(500)
    log = read_log(written(tmp_path, data), READING)
    table = log.streams[0].table
    truth = [drive_values(k) for k in range(500)]
    assert table["time_s"].to_pylist() == [pytest.approx(t / 1000.0) for t, *_ in truth]
    assert table["left_drive_voltage_V"].to_pylist() == [pytest.approx(v / 1000.0) for _, v, _, _ in truth]
    assert table["left_drive_input_current_A"].to_pylist() == [pytest.approx(i / 100.0) for _, _, i, _ in truth]
    assert table["link_failsafe_active"].to_pylist() == [f for *_, f in truth]
    about = log.provenance
    assert (about.format, about.reading, about.rows) == ("binary telemetry", "drive-telemetry", 500)
    assert about.sha256 == hashlib.sha256(data).hexdigest()
    assert about.faults == ()
    assert about.clock is not None
    assert (about.clock.column, about.clock.unit, about.clock.rate_Hz) == ("t", "ms", pytest.approx(100.0))
    assert [column.source for column in about.columns] == ["t", "voltage", "current", "flags"]
    current = about.columns[2]
    assert (current.channel, current.unit, current.source_unit, current.sure) == (
        "left_drive_input_current_A", "A", "cA", "certain",
    )  # fmt: skip
    assert current.source_min == min(i for _, _, i, _ in truth)
    assert current.max == pytest.approx(max(i for _, _, i, _ in truth) / 100.0)


def test_inspect_says_the_same(tmp_path: Path) -> None:
    entry = inspect_files([written(tmp_path, drive_bytes(50))], ReadOptions(reading=READING))["files"][0]
    assert (entry["format"], entry["rows"], entry["refused"]) == ("binary telemetry", 50, None)
    assert [c["kind"] for c in entry["columns"]] == ["number"] * 4


def faults_of(log: Any) -> dict[str, int]:
    return {fault.code: fault.count for fault in log.provenance.faults}


def test_damage_is_counted_and_the_rest_is_kept(tmp_path: Path) -> None:
    data = bytearray(drive_bytes(300))
    data[14 * 10 + 7] ^= 0x40  # in place
    data[14 * 20 : 14 * 20 + 14] = bytes(14)  # a frame of zeros
    del data[14 * 100 + 5]  # a lost byte
    data[14 * 200 - 1 : 14 * 200 - 1] = b"\xaa\x55\xaa"  # a burst that looks like a beginning
    log = read_log(written(tmp_path, bytes(data) + drive_bytes(1)[:6]), READING)
    kept = log.streams[0].table["time_s"].to_pylist()
    assert kept == [pytest.approx(k / 100.0) for k in range(300) if k not in (10, 20, 100)]
    assert faults_of(log)["checksum"] == 3
    assert faults_of(log)["truncated"] == 1
    assert "byte 140" in next(f.note for f in log.provenance.faults if f.code == "checksum")


def test_bytes_before_the_first_frame_and_a_header_are_passed(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, b"\x01\x02\x03" + drive_bytes(40)), READING)
    assert log.samples == 40
    assert "checksum" not in faults_of(log) and "stray_bytes" in faults_of(log)
    text = EXAMPLE_BINARY_READING.replace("skip_bytes = 0", "skip_bytes = 3")
    assert read_log(written(tmp_path, b"\xaa\x55\x03" + drive_bytes(40)), parse_reading(text)).provenance.faults == ()


def test_the_counter_goes_round(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, drive_bytes(200, 2**32 - 500)), READING)
    assert np.diff(log.streams[0].table["time_s"].to_numpy()) == pytest.approx(0.01)
    assert faults_of(log) == {"clock_wrap": 1}
    assert set(log.streams[0].table["recording"].to_pylist()) == {0}


def test_the_counter_goes_round_where_frames_were_lost(tmp_path: Path) -> None:
    frames = [drive_frame(2**32 - 500 + t, v, i, f) for t, v, i, f in map(drive_values, range(400))]
    for k in range(40, 70):  # the wrap itself is among the damaged ones
        frames[k] = bytes(14)
    log = read_log(written(tmp_path, b"".join(frames)), READING)
    times = log.streams[0].table["time_s"].to_pylist()
    assert times == [pytest.approx(k / 100.0) for k in range(400) if not 40 <= k < 70]
    assert faults_of(log)["clock_wrap"] == 1


def test_a_restart_is_another_recording(tmp_path: Path) -> None:
    log = read_log(written(tmp_path, drive_bytes(300, 60_000) + drive_bytes(100)), READING)
    recording = log.streams[0].table["recording"].to_pylist()
    assert recording == [0] * 300 + [1] * 100
    assert log.streams[0].table["time_s"].to_pylist()[300] == 0.0


def test_without_a_time_field_the_rate_counts_lost_frames_too(tmp_path: Path) -> None:
    text = EXAMPLE_BINARY_READING.replace('time_column = "t"', "rate_Hz = 100").replace('time_unit = "ms"', "")
    data = bytearray(drive_bytes(100))
    data[14 * 50 + 6] ^= 1
    log = read_log(written(tmp_path, bytes(data)), parse_reading(text))
    assert log.streams[0].table["time_s"].to_pylist() == [pytest.approx(k / 100) for k in range(100) if k != 50]
    no_rate = parse_reading(text.replace("rate_Hz = 100", ""))
    unclocked = read_log(written(tmp_path, drive_bytes(20)), no_rate)
    assert unclocked.provenance.clock is None and "clock_missing" in faults_of(unclocked)
    assert unclocked.streams[0].table["time_s"].null_count == 20
    given_rate = read_log(tmp_path / "drive.bin", options=ReadOptions(reading=no_rate, rate_Hz=50.0))
    assert given_rate.streams[0].table["time_s"].to_pylist()[-1] == pytest.approx(19 / 50)


TYPES = {
    "u8": "B",
    "i8": "b",
    "u16": "H",
    "i16": "h",
    "u32": "I",
    "i32": "i",
    "u64": "Q",
    "i64": "q",
    "f32": "f",
    "f64": "d",
}


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("kind", [*TYPES, "u24", "i24"])
def test_every_type_in_both_byte_orders(tmp_path: Path, kind: str, order: str) -> None:
    bits = int(kind[1:])
    low = 0 if kind[0] == "u" else -(2 ** (min(bits, 48) - 1))
    wanted = [low, 0, 1, 2 ** (min(bits, 48) - (kind[0] != "u")) - 1]
    if kind[0] == "f":
        wanted = [-1.5, 0.0, 3.25, 1e6]
    mark = "<" if order == "little" else ">"
    rows = []
    for value in wanted * 5:
        if bits == 24:
            body = int(value).to_bytes(3, order, signed=kind[0] == "i")  # type: ignore[arg-type]
        else:
            body = struct.pack(mark + TYPES[kind], value)
        rows.append(b"\xc0\xde" + body)
    text = f"""[reading]
name = "x"
kind = "binary"
rate_Hz = 10
[frame]
length_bytes = {len(rows[0])}
sync = "C0DE"
byte_order = "{order}"
[[field]]
name = "zz"
offset_byte = 2
type = "{kind}"
[[column]]
source = "zz"
sentinels = []
"""
    log = read_log(written(tmp_path, b"".join(rows)), parse_reading(text))
    assert log.streams[0].table["other:zz"].to_pylist() == wanted * 5


def test_bits_of_a_field(tmp_path: Path) -> None:
    text = """[reading]
name = "x"
kind = "binary"
rate_Hz = 10
[frame]
length_bytes = 3
sync = "A5"
[[field]]
name = "low"
offset_byte = 1
type = "u16"
bits = 3
[[field]]
name = "signed"
offset_byte = 1
type = "i16"
bit = 4
bits = 4
[[field]]
name = "top"
offset_byte = 1
type = "u16"
bit = 15
"""
    words = [0x8075, 0x00F2, 0x7F87]
    log = read_log(written(tmp_path, b"".join(struct.pack("<BH", 0xA5, w) for w in words)), parse_reading(text))
    table = log.streams[0].table
    assert table["other:low"].to_pylist() == [5, 2, 7]
    assert table["other:signed"].to_pylist() == [7, -1, -8]
    assert table["other:top"].to_pylist() == [1, 0, 0]


def test_a_fraction_that_is_no_number_is_missing(tmp_path: Path) -> None:
    text = '[reading]\nname="x"\nkind="binary"\nrate_Hz=10\n[frame]\nlength_bytes=6\nsync="C0DE"\n'
    text += '[[field]]\nname="zz"\noffset_byte=2\ntype="f32"\n'
    rows = [b"\xc0\xde" + struct.pack("<f", v) for v in (1.0, float("nan"), float("inf"), 2.0)]
    log = read_log(written(tmp_path, b"".join(rows)), parse_reading(text))
    assert log.streams[0].table["other:zz"].to_pylist() == [1.0, None, None, 2.0]
    assert log.provenance.columns[0].missing == 2


# What is refused


def reading_with(old: str, new: str) -> Reading:
    assert old in EXAMPLE_BINARY_READING
    return parse_reading(EXAMPLE_BINARY_READING.replace(old, new))


@pytest.mark.parametrize(
    ("old", "new", "what", "column"),
    [
        ('time_column = "t"', 'time_column = "tt"', "names no field", "time_column"),
        ('time_unit = "ms"', "", "unit of its time field", "time_unit"),
        ("at_byte = 12", "at_byte = 13", "past the end", "at_byte"),
        ("end_byte = 12", "end_byte = 13", "covers itself", "end_byte"),
        ("end_byte = 12", "end_byte = 1", "covers no bytes", "end_byte"),
    ],
)
def test_a_layout_that_does_not_hold_together(tmp_path: Path, old: str, new: str, what: str, column: str) -> None:
    with pytest.raises(ReadingError, match=what) as caught:
        read_log(written(tmp_path, drive_bytes(20)), reading_with(old, new))
    assert column in str(caught.value.column)


def test_what_is_not_such_a_file_is_refused(tmp_path: Path) -> None:
    random = np.random.default_rng(5)
    strangers = (random.bytes(100_000), b"\0" * 50_000, b"\xaa\x55" * 20_000, b"t,V\n0,1\n" * 900)
    for data in (*strangers, b"\xaa", drive_bytes(1)[:-1]):
        with pytest.raises(UnreadableLog, match="drive-telemetry") as caught:
            read_log(written(tmp_path, data), READING)
        assert caught.value.byte is not None and caught.value.mend
    with pytest.raises(UnreadableLog, match="empty"):
        read_log(written(tmp_path, b""), READING)
    mostly_noise = drive_bytes(20) + random.bytes(5_000)
    with pytest.raises(UnreadableLog, match="280 of 5280 bytes"):
        read_log(written(tmp_path, mostly_noise), READING)


# Which reading


def test_a_saved_reading_is_found_by_its_frames(tmp_path: Path) -> None:
    other = reading_with('sync = "AA 55"', 'sync = "AA 56"')
    path = written(tmp_path, drive_bytes(60))
    options = ReadOptions(readings=(other, READING))
    assert detect(path, options).name == "binary telemetry"
    assert read_log(path, options=options).provenance.reading == "drive-telemetry"
    noise = written(tmp_path, np.random.default_rng(1).bytes(4000), "noise.bin")
    with pytest.raises(UnreadableLog, match="none of the kinds"):
        detect(noise, options)
    text = written(tmp_path, b"t_ms,Ubat [V]\n" + b"".join(b"%d,24.1\n" % k for k in range(50)), "plain.csv")
    assert detect(text, options).name == "delimited text"


def test_the_reading_saved_from_a_binary_log_reads_it_the_same_way(tmp_path: Path) -> None:
    path = written(tmp_path, drive_bytes(60))
    log = read_log(path, READING)
    again = read_log(path, parse_reading(reading_from(log.provenance, reading=READING)))
    assert again.streams[0].table.equals(log.streams[0].table)


def test_the_reading_that_was_named_wins(tmp_path: Path) -> None:
    path = written(tmp_path, drive_bytes(60))
    assert detect(path, ReadOptions(reading=READING)).name == "binary telemetry"


# Random layouts, random damage


@st.composite
def damaged(draw: st.DrawFn) -> tuple[str, bytes, list[tuple[int, int]], int]:
    """(reading, bytes, values of the frames left whole, frames damaged)."""
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    sync = random.bytes(draw(st.integers(1, 3)))
    kind, library = draw(
        st.sampled_from(
            [
                ("crc16-ccitt", crccheck.crc.Crc16CcittFalse),
                ("crc16-modbus", crccheck.crc.Crc16Modbus),
                ("crc32", crccheck.crc.Crc32),
            ]
        )
    )
    size = 4 if kind == "crc32" else 2
    padding = draw(st.integers(0, 9))
    order = draw(st.sampled_from(("little", "big")))
    body_bytes = 6 + padding
    length = len(sync) + body_bytes + size
    frames, truth = [], []
    for k in range(draw(st.integers(30, 90))):
        values = (k, int(random.integers(-32768, 32768)))
        body = struct.pack("<Ih" if order == "little" else ">Ih", *values) + random.bytes(padding)
        frames.append(sync + body + int(library.calc(body)).to_bytes(size, order))  # type: ignore[arg-type]
        truth.append(values)
    hurt = set(draw(st.lists(st.integers(0, len(frames) - 1), max_size=len(frames) // 4)))
    pieces: list[bytes] = []
    for k, frame in enumerate(frames):
        if k in hurt:
            how = draw(st.sampled_from(("flip", "lose", "gain", "blank")))
            place = draw(st.integers(0, length - 3))
            if how == "flip":
                frame = frame[:place] + bytes([frame[place] ^ draw(st.integers(1, 255))]) + frame[place + 1 :]
            elif how == "lose":
                frame = frame[:place] + frame[place + draw(st.integers(1, 2)) :]
            elif how == "gain":
                frame = frame[: place + 1] + random.bytes(draw(st.integers(1, 7))) + frame[place + 1 :]
            else:
                frame = bytes(length)
        pieces.append(frame)
    text = f"""[reading]
name = "random"
kind = "binary"
rate_Hz = 100
[frame]
length_bytes = {length}
sync = "{sync.hex()}"
byte_order = "{order}"
[checksum]
kind = "{kind}"
first_byte = {len(sync)}
end_byte = {len(sync) + body_bytes}
at_byte = {len(sync) + body_bytes}
[[field]]
name = "number"
offset_byte = {len(sync)}
type = "u32"
[[field]]
name = "value"
offset_byte = {len(sync) + 4}
type = "i16"
[[column]]
source = "value"
sentinels = []
"""
    return text, b"".join(pieces), [v for k, v in enumerate(truth) if k not in hurt], len(hurt)


@given(case=damaged(), block=st.sampled_from((64, 333, 1 << 20)))
@settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))
def test_whole_frames_are_kept_and_none_is_made_up(
    tmp_path_factory: pytest.TempPathFactory, case: tuple[str, bytes, list[tuple[int, int]], int], block: int
) -> None:
    """False frames: fewer than 2^-16 for each place with sync bytes, so none in a few hundred kilobytes."""
    import ingest.frames as frames

    text, data, truth, hurt = case
    path = tmp_path_factory.mktemp("frames") / "x.bin"
    path.write_bytes(data)
    before, frames.BLOCK_BYTES = frames.BLOCK_BYTES, block  # type: ignore[misc]
    try:
        log = read_log(path, parse_reading(text))
    finally:
        frames.BLOCK_BYTES = before  # type: ignore[misc]
    table = log.streams[0].table
    got = list(zip(table["other:number"].to_pylist(), table["other:value"].to_pylist(), strict=True))
    assert got == truth
    assert faults_of(log).get("checksum", 0) + faults_of(log).get("stray_bytes", 0) >= (hurt > 0)


@given(seed=st.integers(0, 2**32 - 1), block=st.sampled_from((40, 111, 1 << 20)))
@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
def test_without_a_checksum_the_spacing_decides(
    tmp_path_factory: pytest.TempPathFactory, seed: int, block: int
) -> None:
    """Sync bytes inside some payloads make no frame; frames away from the damage are all kept."""
    import ingest.frames as frames

    random = np.random.default_rng(seed)
    text = '[reading]\nname="x"\nkind="binary"\nrate_Hz=10\n[frame]\nlength_bytes=9\nsync="A55A"\n'
    text += '[[field]]\nname="n"\noffset_byte=2\ntype="u16"\n'
    like_sync = random.random(60) < 0.1
    rows = [
        b"\xa5\x5a" + struct.pack("<H", k) + (b"\xa5\x5a\x00\xa5\x5a" if like_sync[k] else bytes(5)) for k in range(60)
    ]
    place = int(random.integers(5, 45))
    rows[place] = rows[place][: int(random.integers(2, 8))]
    path = tmp_path_factory.mktemp("frames") / "x.bin"
    path.write_bytes(b"".join(rows))
    before, frames.BLOCK_BYTES = frames.BLOCK_BYTES, block  # type: ignore[misc]
    try:
        log = read_log(path, parse_reading(text))
    finally:
        frames.BLOCK_BYTES = before  # type: ignore[misc]
    got = log.streams[0].table["other:n"].to_pylist()
    # Without a checksum the frames next to the damage cannot be told for sure; the others are all there.
    assert got[: place - 1] == list(range(place - 1))
    after = list(range(place + 8, 60))
    assert not after or got[-len(after) :] == after
    assert abs(len(got) - 60) <= 8


def test_damage_everywhere_takes_no_time_to_speak_of(tmp_path: Path) -> None:
    """Linear: the places that are looked at for 4 MB of the worst kind of noise are counted, not timed."""
    import ingest.binary.framing as framing
    from ingest.binary.layout import layout_of

    framer = framing.Framer(layout_of(READING))
    looked = 0
    good = type(framer.layout).good

    def counting(layout: Any, frames: Any) -> Any:
        nonlocal looked
        looked += len(frames)
        return good(layout, frames)

    data = (b"\xaa\x55" * 3 + drive_bytes(1)[:11]) * 20_000
    type(framer.layout).good = counting  # type: ignore[method-assign,assignment]
    try:
        framer.feed(data, True)
    finally:
        type(framer.layout).good = good  # type: ignore[method-assign]
    assert framer.good == 0
    assert looked <= 8 * len(data)


def test_memory_stays_flat(tmp_path: Path) -> None:
    """A batch for each block, never the whole file."""
    path = tmp_path / "drive.bin"
    path.write_bytes(drive_bytes(20_000) * 20)
    reader = open_log(path, ReadOptions(reading=reading_with('time_column = "t"', "rate_Hz = 100")))
    sizes = [batch.num_rows for _, batch in reader.batches()]
    assert sum(sizes) == 400_000 and max(sizes) <= (2 << 20) // 14 + 1
