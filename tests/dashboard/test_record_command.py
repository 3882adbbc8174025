"""`record` as a user runs it: real processes, pseudo-terminals, sockets and signals; every ending leaves a log."""

from __future__ import annotations

import json
import os
import signal
import socket
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from ingest.formats import read_log
from ingest.record.blocks import read_packets, whole_blocks
from tests.dashboard.recording_process import (
    HEADER,
    SCHEMA,
    Command,
    Port,
    Recording,
    kept,
    on_a_terminal,
    posix,
    row,
)
from tests.ports import unused_port
from tests.terminal import MOST_S, heard, shown


@pytest.fixture(scope="module")
def invented(tmp_path_factory: pytest.TempPathFactory, afterbout: Command) -> tuple[Path, dict[str, Any]]:
    """Four seconds of the invented stream, and the document that was printed."""
    path = tmp_path_factory.mktemp("record") / "x.rec"
    ran = afterbout("record", "demo:", "--out", path, "--for", "4", "--json")
    assert ran.code == 0, ran.err
    return path, ran.json


def test_the_document_fits_its_schema_and_tells_what_came(invented: tuple[Path, dict[str, Any]]) -> None:
    path, document = invented
    Draft202012Validator(SCHEMA).validate(document)
    assert document["files"] == [str(path)] and document["stopped_by"] == "time" and document["error"] is None
    assert document["bytes_written"] == path.stat().st_size
    (source,) = document["sources"]
    assert source["bytes"] == len(kept(path))
    lines = kept(path).decode().splitlines()
    assert source["rows_or_frames"] == {"word": "lines", "good": len(lines) - 1, "bad": 0}
    volts = [float(line.split(",")[1]) for line in lines[1:]]
    assert document["lowest_voltage"]["value"] == min(volts)
    assert document["highest_current"]["value"] == max(float(line.split(",")[2]) for line in lines[1:])


def test_the_recording_is_a_log_like_any_other(invented: tuple[Path, dict[str, Any]], afterbout: Command) -> None:
    path, document = invented
    log = read_log(path)
    assert {"pack_voltage_V", "weapon_current_A", "receiver_rail_voltage_V"} <= set(log.channels)
    ran = afterbout("inspect", path, "--json")
    assert ran.code == 0 and ran.json["files"][0]["refused"] is None
    assert ran.json["files"][0]["rows"] == document["sources"][0]["rows_or_frames"]["good"]
    ran = afterbout("review", path, "--cells", "6", "--json")
    assert ran.code == 0 and ran.json["match"]["verdict"] in ("within", "close", "over", "unknown")


def test_it_is_added_to_a_match_at_once(tmp_path: Path, afterbout: Command) -> None:
    season = tmp_path / "season"
    assert afterbout("new", season, "--class", "3lb", "--yes").code == 0
    ran = afterbout("record", "demo:", "--out", tmp_path / "x.rec", "--for", "2", "--season", season, "--match", "t01",
                    "--json")  # fmt: skip
    assert ran.code == 0, ran.err
    assert ran.json["added"]["match"] == "t01" and ran.json["added"]["logs"][0]["status"] == "added"
    Draft202012Validator(SCHEMA).validate(ran.json)
    again = afterbout("add", tmp_path / "x.rec", "--season", season, "--match", "t01", "--json")
    assert again.code == 0 and not again.json["changed"]
    ran = afterbout("record", "demo:", "--out", tmp_path / "y.rec", "--for", "1", "--season", season, "--match", "T 1")
    assert ran.code == 2 and "is no match id" in ran.err and not (tmp_path / "y.rec").exists()


@posix
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, getattr(signal, "SIGHUP", signal.SIGINT)])
def test_a_signal_ends_it_well_and_nothing_was_sent(tmp_path: Path, port: Port, number: int) -> None:
    made = Recording(f"serial:{port.path}@921600", "--out", tmp_path / "x.rec", "--json")
    made.wait_for(lambda: (tmp_path / "x.rec").exists())
    sent = HEADER
    port.say(HEADER)
    for n in range(200):
        port.say(row(n))
        sent += row(n)
    made.wait_for(lambda: kept(tmp_path / "x.rec") == sent)
    code, out = made.end(number)
    document = json.loads(out)
    assert code == 0, made.err.decode()
    assert kept(tmp_path / "x.rec") == sent
    assert document["stopped_by"] == {2: "asked", 15: "terminated", 1: "hangup"}[number]
    assert port.heard() == b""
    assert b"Blade or belt off" in made.err and b"Wheels raised" in made.err and b"not on a charger" in made.err
    assert read_log(tmp_path / "x.rec").samples == 200


@posix
def test_ctrl_c_while_lines_are_parsed_is_a_wish_and_no_error() -> None:
    """The library that parses them would take the signal for its own and break off (pyarrow.enable_signal_handlers)."""
    from pyarrow import BufferReader, csv

    from dashboard.commands.record import _signals
    from ingest.record.ending import Stop

    data, stop = b"a,b\n" + b"1.5,2.5\n" * 500_000, Stop()
    with _signals(stop):
        sender = threading.Timer(0.05, os.kill, (os.getpid(), signal.SIGINT))
        sender.start()
        while not stop.reason:  # so that it comes in the middle of one
            assert csv.read_csv(BufferReader(data)).num_rows == 500_000
        sender.join()
    assert stop.reason == "asked"


@posix
def test_closing_the_terminal_ends_it_well(tmp_path: Path) -> None:
    out = tmp_path / "x.rec"
    process, terminal = on_a_terminal("demo:", "--out", out)
    said, until = b"", time.monotonic() + MOST_S
    while not (b"pack_voltage_V" in said and b"Ctrl-C ends it." in said):
        piece = shown(terminal, until)  # a picture may come in two parts
        assert piece, said.decode()
        said += piece
    text = said.decode()
    assert "recording to x.rec" in text and "Ctrl-C ends it." in text and "disk left" in text
    while kept(out).count(b"\n") < 60:
        assert time.monotonic() < until
        heard(terminal)
    os.close(terminal)
    assert process.wait(MOST_S) == 0
    assert read_log(out).samples > 50


@posix
def test_a_terminal_that_stands_still_does_not_hold_up_the_recording(tmp_path: Path) -> None:
    """Ctrl-S stops the terminal's output; nothing is read from it while some hundred rows come."""
    out = tmp_path / "x.rec"
    process, terminal = on_a_terminal("demo:", "--out", out)
    until = time.monotonic() + MOST_S
    said = b""
    while b"Ctrl-C ends it." not in said:
        assert time.monotonic() < until
        said += heard(terminal)
    os.write(terminal, b"\x13")
    there = kept(out).count(b"\n")
    while kept(out).count(b"\n") < there + 400:
        assert time.monotonic() < until, "it stands still too"
        time.sleep(0.1)
    process.send_signal(signal.SIGTERM)
    while not any(block.kind == b"end " for block in whole_blocks(out)):
        assert time.monotonic() < until, "it does not end"
        time.sleep(0.1)
    os.write(terminal, b"\x11")  # Ctrl-Q: on again
    while shown(terminal, until):
        pass
    assert process.wait(MOST_S) == 0
    os.close(terminal)


@posix
def test_on_a_terminal_it_waits_for_enter_before_a_physical_source(tmp_path: Path, port: Port) -> None:
    out = tmp_path / "x.rec"
    process, terminal = on_a_terminal(f"serial:{port.path}", "--out", out)
    said, until = b"", time.monotonic() + MOST_S
    while b"Enter to go on" not in said:
        piece = shown(terminal, until)
        assert piece, said.decode()
        said += piece
    assert b"Blade or belt off" in said
    time.sleep(0.3)
    assert not out.exists()
    os.write(terminal, b"\n")
    while not out.exists():
        assert time.monotonic() < until, said.decode()
        time.sleep(0.05)
    port.say(HEADER + b"".join(row(n) for n in range(30)))
    while kept(out).count(b"\n") < 31:
        assert time.monotonic() < until
        said += heard(terminal)
    os.write(terminal, b"\x03")  # Ctrl-C, as the terminal sends it
    while piece := shown(terminal, until):
        said += piece
    assert process.wait(MOST_S) == 0, said.decode()
    assert b"stopped by Ctrl-C" in said and read_log(out).samples == 30
    assert port.heard() == b""


@posix
def test_a_pulled_cable_is_a_gap_and_the_rest_is_there(tmp_path: Path, port: Port) -> None:
    made = Recording(f"serial:{port.path}", "--out", tmp_path / "x.rec", "--json")
    made.wait_for(lambda: (tmp_path / "x.rec").exists())
    port.say(HEADER + b"".join(row(n) for n in range(50)))
    made.wait_for(lambda: kept(tmp_path / "x.rec").endswith(row(49)))
    port.pull()
    made.wait_for(lambda: b"vanished" in made.err)
    port.plug()
    made.wait_for(lambda: b"is back" in made.err)
    port.say(b"".join(row(n) for n in range(100, 150)))
    made.wait_for(lambda: kept(tmp_path / "x.rec").endswith(row(149)))
    code, out = made.end(signal.SIGINT)
    assert code == 0, made.err.decode()
    document = json.loads(out)
    Draft202012Validator(SCHEMA).validate(document)
    assert kept(tmp_path / "x.rec") == HEADER + b"".join(row(n) for n in [*range(50), *range(100, 150)])
    (gap,) = document["sources"][0]["gaps"]
    assert gap["end_s"] > gap["start_s"] and [e["kind"] for e in document["events"]] == ["lost", "back"]


@posix
def test_several_sources_at_once_on_one_clock(tmp_path: Path, afterbout: Command) -> None:
    number = unused_port(socket.SOCK_DGRAM)
    made = Recording("demo:", f"udp:{number}", "--out", tmp_path / "x.rec", "--json")
    made.wait_for(lambda: (tmp_path / "x.rec").exists())
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for n in range(40):
            sender.sendto((HEADER if n == 0 else b"") + row(n), ("127.0.0.1", number))
            time.sleep(0.02)
    made.wait_for(lambda: kept(tmp_path / "x.rec", 1).endswith(row(39)))
    code, out = made.end(signal.SIGINT)
    assert code == 0, made.err.decode()
    document = json.loads(out)
    assert [s["name"] for s in document["sources"]] == ["demo", f"udp{number}"]
    assert kept(tmp_path / "x.rec", 1) == HEADER + b"".join(row(n) for n in range(40))
    packets = list(read_packets(tmp_path / "x.rec"))
    for source in (0, 1):
        stamps = [packet.t_ns for packet in packets if packet.source == source]
        assert stamps == sorted(stamps) and stamps[0] >= 0 and stamps[-1] < 100_000_000_000
    told = afterbout("inspect", tmp_path / "x.rec", "--json").json["files"][0]["columns"]
    assert {c["stream"] for c in told if c["channel"] == "pack_voltage_V"} == {"demo", f"udp{number}"}
    page = afterbout("inspect", tmp_path / "x.rec").out
    assert page.index("  of demo:") < page.index(f"  of udp{number}:") < page.rindex("pack_voltage_V")


@posix
def test_a_disk_that_takes_no_more_ends_it_with_what_was_written(tmp_path: Path) -> None:
    made = Recording("demo:", "--out", tmp_path / "x.rec", "--json", most_file_bytes=12_000)
    code, out = made.end()
    document = json.loads(out)
    Draft202012Validator(SCHEMA).validate(document)
    assert code == 1 and document["stopped_by"] == "disk" and "x.rec" in document["error"]
    assert b"File too large" in made.err and b"Traceback" not in made.err
    assert len(kept(tmp_path / "x.rec")) > 5000 and read_log(tmp_path / "x.rec").samples > 50


def test_triggers_and_rotation_from_the_command(tmp_path: Path, afterbout: Command) -> None:
    out = tmp_path / "x.rec"
    ran = afterbout("record", "demo:", "--out", out, "--start-when", "weapon_speed_rpm > 500", "--for", "4",
                    "--rotate-every", "1s", "--json")  # fmt: skip
    assert ran.code == 0, ran.err
    assert ran.json["start_s"] > 1.5 and len(ran.json["files"]) >= 3
    texts = {path: kept(path) for path in map(Path, ran.json["files"])}
    assert all(text.startswith(b"time_ms,pack_voltage_V,") for text in texts.values())
    long = [path for path, text in texts.items() if text.count(b"\n") > 20]  # one that came late may be short
    assert len(long) >= 2 and all("weapon_speed_rpm" in read_log(path).to_pandas() for path in long)


def test_ratings_that_are_passed_are_said_while_it_runs(tmp_path: Path, afterbout: Command) -> None:
    (tmp_path / "b.toml").write_text(
        '[build]\nid = "b"\n[pack]\ncells = 6\n[[wire]]\nid = "lead"\nfrom = "pack"\nto = "weapon"\n'
        'gauge = "12 AWG"\nlength_mm = 200\n[[controller]]\nid = "weapon"\nburst_A = 30\nburst_s = 5\n'
    )
    out, build = tmp_path / "x.rec", tmp_path / "b.toml"
    ran = afterbout("record", "demo:", "--out", out, "--for", "4", "--build", build, "--json")
    assert ran.code == 0, ran.err
    (alarm,) = ran.json["alarms"]
    assert alarm["channel"] == "weapon_current_A" and alarm["limit"] == 30 and alarm["worst"] > 30
    assert "OVER weapon_current_A" in ran.err and "b.toml weapon.burst_A" in ran.err


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("telepathy:",), 2, "is no source"),
        (("demo:", "--match", "m01"), 2, "--match needs --season"),
        (("demo:", "--start-when", "much"), 2, "is no condition"),
        (("demo:", "--rotate-every", "often"), 2, "is no length"),
        (("demo:", "--for", "0"), 2, "must be above zero"),
        (("demo:", "--reading", "other=r.toml"), 2, "names no source"),
        (("serial:/dev/none-such",), 1, "cannot be opened"),
        (("can:socketcan:none7",), 1, "cannot be opened"),
        (("udp:203.0.113.9:9000",), 1, "cannot listen there"),
    ],
)
def test_what_is_wrong_is_said_before_anything_is_written(
    words: tuple[str, ...], code: int, said: str, tmp_path: Path, afterbout: Command
) -> None:
    ran = afterbout("record", *words, "--out", tmp_path / "x.rec")
    assert (ran.code, said in ran.err, "Traceback" in ran.err) == (code, True, False), ran.err
    assert list(tmp_path.iterdir()) == []


def test_a_recording_is_never_written_over(invented: tuple[Path, dict[str, Any]], afterbout: Command) -> None:
    path, _ = invented
    before = path.read_bytes()
    ran = afterbout("record", "demo:", "--out", path, "--for", "1")
    assert ran.code == 2 and "never written over" in ran.err and path.read_bytes() == before
