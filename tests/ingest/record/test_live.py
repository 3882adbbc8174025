"""The live figures: the same names and values as in the finished file, alarms by what build and pack state."""

from __future__ import annotations

import struct
import time
from pathlib import Path

import numpy as np
import pytest

from ingest.builds import load_build, load_pack
from ingest.formats import ReadOptions, read_log
from ingest.readings import parse_reading
from ingest.record.blocks import pack_can
from ingest.record.figures import Figure, FrameDecoder, RawDecoder, TextDecoder
from ingest.record.limits import LOOK_S, Watch, limits_of
from ingest.record.live import Live, SourceView
from ingest.record.sources.demo import HEADER, DemoSignal
from tests.ingest.record.made_sources import ToldSource


def fed(decoder: TextDecoder | FrameDecoder, data: bytes, piece: int) -> dict[str, np.ndarray]:
    """All figures of some bytes that come in pieces."""
    found: dict[str, list[np.ndarray]] = {}
    for start in range(0, len(data), piece):
        for name, _, values in decoder.feed([(start, data[start : start + piece])]):
            found.setdefault(name, []).append(values)
    return {name: np.concatenate(parts) for name, parts in found.items()}


@pytest.mark.parametrize("piece", [1, 7, 500, 100_000])
def test_text_is_read_as_the_finished_file_is(tmp_path: Path, piece: int) -> None:
    signal = DemoSignal()
    count = 40 if piece == 1 else 400
    text = "".join(line + "\n" for line in (HEADER, *(signal.line(n) for n in range(count))))
    path = tmp_path / "demo.csv"
    path.write_text(text)
    log = read_log(path).streams[0].table
    decoder = TextDecoder("demo", ReadOptions())
    found = fed(decoder, text.encode(), piece)
    assert set(found) == {c for c in log.column_names if c not in ("time_s", "recording")}
    for name, values in found.items():
        np.testing.assert_allclose(values, log[name].to_numpy()[: values.size])
        assert values.size == count
    assert decoder.good == count and decoder.bad == 0 and decoder.header == (HEADER + "\n").encode()


def test_units_are_converted_and_bad_lines_are_counted() -> None:
    rows = b"t [ms];Ubat [mV];Ibat [mA]\n" + b"".join(b"%d;24100;%d\n" % (10 * n, 1000 * n) for n in range(60))
    damaged = rows + b"600;241\x00\n" + b"610;24100\n" + b"620;24100;7000\n"
    decoder = TextDecoder("pack", ReadOptions())
    found = fed(decoder, damaged, 300)
    assert found["pack_voltage_V"][0] == pytest.approx(24.1) and found["pack_current_A"][-1] == pytest.approx(7.0)
    assert decoder.bad == 2


def test_bytes_that_are_no_text_are_left_alone() -> None:
    noise = np.random.default_rng(5).integers(0, 256, 40_000, dtype=np.uint8).tobytes()
    decoder = TextDecoder("x", ReadOptions())
    assert fed(decoder, noise, 1000) == {} and decoder.given_up
    assert RawDecoder().feed([(0, noise)]) == []


READING = """\
[reading]
name = "controller"
kind = "binary"
part = "weapon"
time_column = "t_us"
time_unit = "us"
[frame]
length_bytes = 14
sync = "AA55"
[checksum]
kind = "crc16-ccitt"
at_byte = 12
first_byte = 2
end_byte = 12
[[field]]
name = "t_us"
offset_byte = 2
type = "u32"
[[field]]
name = "volts"
offset_byte = 6
type = "u16"
[[field]]
name = "amps"
offset_byte = 8
type = "i16"
[[column]]
source = "volts"
channel = "weapon_voltage_V"
unit = "mV"
[[column]]
source = "amps"
channel = "weapon_current_A"
unit = "A"
"""


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740, bit by bit from its parameters (polynomial 0x1021, start 0xFFFF)."""
    register = 0xFFFF
    for byte in data:
        register ^= byte << 8
        for _ in range(8):
            register = (register << 1 ^ 0x1021 if register & 0x8000 else register << 1) & 0xFFFF
    return register


def test_declared_frames_are_decoded_and_the_damaged_are_counted() -> None:
    reading = parse_reading(READING)
    frames = bytearray()
    for n in range(500):
        body = struct.pack("<IHhH", 1000 * n, 24_000 - n, n - 100, 0)
        frames += b"\xaa\x55" + body + struct.pack("<H", crc16(body))
    frames[14 * 100 + 7] ^= 0x20
    decoder = FrameDecoder("controller", ReadOptions(reading=reading), reading)
    found = fed(decoder, bytes(frames), 333)
    expected = np.delete(np.arange(500), 100)
    np.testing.assert_allclose(found["weapon_voltage_V"], (24_000 - expected) / 1000)
    np.testing.assert_allclose(found["weapon_current_A"], expected - 100)
    assert (decoder.good, decoder.bad) == (499, 1)


DBC = """VERSION ""
NS_ :
BS_:
BU_: X
BO_ 256 Pack: 8 X
 SG_ Volts : 0|16@1+ (0.01,0) [0|60] "V" X
 SG_ Amps : 16|16@1- (0.1,0) [-300|300] "A" X
"""


def test_can_frames_are_decoded_as_cantools_does(tmp_path: Path) -> None:
    cantools = pytest.importorskip("cantools", reason="the can extra is not installed")
    from ingest.record.can_figures import CanDecoder

    path = tmp_path / "robot.dbc"
    path.write_text(DBC)
    database = cantools.database.load_string(DBC)
    sent = [{"Volts": 24.0 - 0.01 * n, "Amps": 1.5 * n} for n in range(100)]
    raw = [pack_can(256, database.encode_message("Pack", figures)) for figures in sent]
    raw += [pack_can(999, b"\x01"), pack_can(256, b"\x01"), pack_can(4, bytes(8), error=True)]
    decoder = CanDecoder("can0", ReadOptions(), path)
    found = {name: (unit, values) for name, unit, values in decoder.feed([(n, data) for n, data in enumerate(raw)])}
    assert sorted(unit for unit, _ in found.values()) == ["A", "V"]
    for unit, values in found.values():
        np.testing.assert_allclose(values, [figures["Volts" if unit == "V" else "Amps"] for figures in sent], atol=1e-9)
    assert (decoder.good, decoder.bad) == (102, 2)


BUILD = """\
[build]
id = "b"
[pack]
cells = 6
[[wire]]
id = "lead"
from = "pack"
to = "weapon"
gauge = "12 AWG"
length_mm = 200
[[controller]]
id = "weapon"
continuous_A = 40
burst_A = 100
burst_s = 10
limit_degC = 90
minimum_V = 9.0
[receiver]
minimum_V = 4.0
"""
PACK = """\
[pack]
id = "p1"
chemistry = "lithium-polymer"
cells = 6
capacity_Ah = 3.0
continuous_C = 20
minimum_cell_V = 3.3
"""


@pytest.fixture
def watch(tmp_path: Path) -> Watch:
    (tmp_path / "b.toml").write_text(BUILD)
    (tmp_path / "p1.toml").write_text(PACK)
    return Watch(limits_of(load_build(tmp_path / "b.toml"), load_pack(tmp_path / "p1.toml")))


def look(watch: Watch, name: str, value: float, seconds: float, from_s: float = 0.0) -> list[str]:
    """The sentences of the alarms that come while one figure stands for so long."""
    said = []
    for step in range(round(seconds / LOOK_S)):
        at_s = from_s + step * LOOK_S
        figures: list[Figure] = [(name, "A", np.full(25, value))]
        said += [alarm.sentence for alarm in watch.take(figures, at_s, at_s + LOOK_S)]
    return said


def test_a_stated_rating_that_is_passed_is_said_once_with_its_source(watch: Watch) -> None:
    assert look(watch, "pack_voltage_V", 20.0, 1.0) == []
    (said,) = look(watch, "pack_voltage_V", 19.5, 3.0, 1.0)  # 6 x 3.3 V = 19.8 V
    assert said.startswith("UNDER pack_voltage_V 19.5 V, rated 19.8 V") and "p1.toml" in said
    assert look(watch, "pack_voltage_V", 22.0, 1.0, 4.0) == [] and not watch.alarms[0].now
    (said,) = look(watch, "weapon_temp_degC", 95.0, 1.0, 5.0)
    assert said.startswith("OVER weapon_temp_degC 95 degC, rated 90 degC") and "weapon.limit_degC" in said


def test_currents_are_held_as_root_mean_square_over_their_time(watch: Watch) -> None:
    assert look(watch, "weapon_current_A", 90.0, 50.0) == []  # under the burst, too short for the continuous one
    (said,) = look(watch, "weapon_current_A", 90.0, 20.0, 50.0)
    assert "over 60 s, rated 40 A" in said
    (said,) = look(watch, "weapon_current_A", 120.0, 1.0, 70.0)
    assert "rated 100 A" in said and "burst_A" in said
    # a single sample above a burst rating is no burst: 25 samples of which one is 300 A have 60 A r.m.s.
    lone = np.zeros(25)
    lone[3] = 300.0
    fresh = Watch([limit for limit in watch.limits if "burst_A" in limit.source])
    assert fresh.take([("weapon_current_A", "A", lone)], 0.0, LOOK_S) == []


def test_what_no_file_states_is_not_watched() -> None:
    assert limits_of(None, None) == []


def test_lowest_voltage_is_the_packs_and_the_highest_current_too() -> None:
    view = SourceView(ToldSource(), RawDecoder())
    live = Live([view])
    figures: list[Figure] = [
        ("receiver_rail_voltage_V", "V", np.array([5.0])),
        ("cell1_voltage_V", "V", np.array([3.1])),
        ("pack_voltage_V", "V", np.array([24.0, np.nan, 21.5, 23.0])),
        ("weapon_current_A", "A", np.array([90.0])),
        ("pack_current_A", "A", np.array([10.0, 80.0])),
    ]
    view.keep(figures, 3.0)
    lowest, highest = live.lowest_voltage(), live.highest_current()
    assert lowest is not None and (lowest.name, lowest.value, lowest.at_s) == ("pack_voltage_V", 21.5, 3.0)
    assert highest is not None and (highest.name, highest.value) == ("pack_current_A", 80.0)
    assert view.values["pack_voltage_V"].last == 23.0
    assert Live([SourceView(ToldSource(), RawDecoder())]).lowest_voltage() is None


def test_a_decoder_that_is_too_slow_is_given_less_to_do_and_nothing_is_forgotten() -> None:
    class Slow(TextDecoder):
        learning = False
        fed = 0

        def feed(self, packets: object) -> list[Figure]:
            self.fed += 1
            until = time.thread_time() + 0.06
            while time.thread_time() < until:
                pass
            return []

    decoder = Slow("slow", ReadOptions())
    view = SourceView(ToldSource(), decoder)
    live = Live([view])
    for step in range(1, 41):
        view.take([(step, b"x")])
        live.look(step * LOOK_S)
    assert view.packets == 40 and decoder.fed < 40 and view.unseen == 40 - decoder.fed
