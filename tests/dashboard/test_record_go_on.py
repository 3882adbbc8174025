"""`record --go-on` as a user runs it: real processes that die by SIGKILL, a real pseudo-terminal, one file."""

from __future__ import annotations

import contextlib
import json
import random
import signal
import socket
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from dashboard.live_follow import Follower
from ingest.formats import read_log
from ingest.record.blocks import read_packets, whole_blocks
from tests.dashboard.recording_process import (
    HEADER,
    SCHEMA,
    Port,
    Recording,
    kept,
    posix,
    row,
)
from tests.ingest.record.made_recorder import folder_in_memory
from tests.ports import unused_port

Command = Callable[..., Any]
KILLS = 8
MOST_LOST_S = 0.5


@posix
def test_the_command_killed_and_gone_on_with_loses_half_a_second_at_most(tmp_path: Path, port: Port) -> None:
    """Eight kills of the command itself, in the middle of what a port sends; every row is known by its number."""
    with folder_in_memory(tmp_path) as folder:
        kill_often(folder / "x.rec", port)


def waited_s(process: int) -> float:
    """For how long a thread of a process was ready and got no processor (Linux, /proc/PID/task/*/schedstat)."""
    most = 0.0
    for path in Path(f"/proc/{process}/task").glob("*/schedstat"):
        with contextlib.suppress(OSError, IndexError):
            most = max(most, int(path.read_text().split()[1]) / 1e9)
    return most


def kill_often(out: Path, port: Port) -> None:
    """What a busy machine kept from the recorder's threads is no loss of the recorder's: it is taken off."""
    chance, n = random.Random(3), 0
    whole_before: list[bytes] = []
    for turn in range(KILLS):
        size = out.stat().st_size if out.exists() else 0
        made = Recording(f"serial:{port.path}@921600", "--out", out, "--go-on")
        made.wait_for(lambda: out.exists() and out.stat().st_size > size)  # noqa: B023 - of this turn
        waited = waited_s(made.process.pid)
        said: list[tuple[float, int]] = []
        until = time.monotonic() + chance.uniform(0.3, 1.2)
        if turn == 0:
            port.say(HEADER)
        while time.monotonic() < until:
            port.say(row(n))
            said.append((time.monotonic(), n))
            n += 1
            time.sleep(0.005)
        waited = waited_s(made.process.pid) - waited
        killed = time.monotonic()
        made.process.send_signal(signal.SIGKILL)
        made.process.wait(180)
        packets = [p.data for p in read_packets(out)]
        assert packets[: len(whole_before)] == whole_before
        whole_before = packets
        lines = kept(out).splitlines(keepends=True)
        for at, number in said:
            assert at > killed - MOST_LOST_S - waited or row(number) in lines, f"{killed - at:.3f} s before the kill"
        import termios

        termios.tcflush(port._slave, termios.TCIFLUSH)  # what nobody has read
    assert {block.part for block in whole_blocks(out)} == set(range(KILLS))
    table = read_log(out).to_pandas()
    assert set((table.index * 100).round().astype(int)) <= set(range(n)) and len(table) > 0.4 * n


@posix
def test_a_second_recorder_is_kept_out_of_a_file(tmp_path: Path, port: Port, afterbout: Command) -> None:
    out = tmp_path / "x.rec"
    made = Recording(f"serial:{port.path}", "--out", out)
    made.wait_for(lambda: out.exists() and out.stat().st_size > 0)
    port.say(HEADER + row(0))
    (tmp_path / "b").mkdir()
    second = Port(tmp_path / "b" / "port")  # a source of the same name
    try:
        ran = afterbout("record", f"serial:{second.path}", "--out", out, "--go-on", "--for", "1")
        assert ran.code == 1 and "is being written by another program" in ran.err, ran.err
    finally:
        second.pull()
    made.wait_for(lambda: HEADER + row(0) in kept(out))
    code, _ = made.end(signal.SIGINT)
    assert code == 0 and {block.part for block in whole_blocks(out)} == {0}


def test_it_must_be_asked_for_and_says_what_it_does(tmp_path: Path, afterbout: Command) -> None:
    out = tmp_path / "x.rec"
    assert afterbout("record", "demo:", "--out", out, "--for", "1.2", "--go-on").code == 0  # nothing is there: begun
    first = out.read_bytes()
    ran = afterbout("record", "demo:", "--out", out, "--for", "1")
    assert ran.code == 2 and "--go-on" in ran.err and out.read_bytes() == first
    out.write_bytes(first[:-20])
    ran = afterbout("record", "demo:", "--out", out, "--for", "1.2", "--go-on", "--json")
    assert ran.code == 0, ran.err
    Draft202012Validator(SCHEMA).validate(ran.json)
    went = ran.json["went_on"]
    torn = out.with_name("x.rec.torn-001")
    assert went["part"] == 2 and went["kept_in"] == str(torn) and went["cut_bytes"] == torn.stat().st_size > 0
    assert first[went["earlier_bytes"] :].startswith(torn.read_bytes())
    assert ran.json["bytes_written"] == out.stat().st_size - went["earlier_bytes"]
    assert "goes on behind its last whole block" in ran.err and "torn bytes" in ran.err and str(torn) in ran.err
    assert {"pack_voltage_V", "weapon_current_A"} <= {v["name"] for v in ran.json["sources"][0]["values"]}
    ran = afterbout("inspect", out, "--json")
    assert ran.code == 0
    assert "recorded_in_parts" in json.dumps(ran.json)
    shown = Follower(out).look()
    assert shown.ended == "the time limit is reached" and any(kind == "part" for _, kind, _ in shown.events)


@pytest.mark.parametrize(("data", "said"), [(b"time,V\n0,1\n", "is no recording"), (b"", "is no recording")])
def test_what_is_no_recording_is_left_alone(data: bytes, said: str, tmp_path: Path, afterbout: Command) -> None:
    (tmp_path / "x.rec").write_bytes(data)
    ran = afterbout("record", "demo:", "--out", tmp_path / "x.rec", "--for", "1", "--go-on")
    assert ran.code != 0 and said in ran.err and "Traceback" not in ran.err
    assert (tmp_path / "x.rec").read_bytes() == data


def test_other_sources_are_refused_and_rotated_files_get_the_next_number(tmp_path: Path, afterbout: Command) -> None:
    out = tmp_path / "x.rec"
    words = ("record", "demo:", "--out", out, "--rotate-every", "1s", "--for", "1.5")
    assert afterbout(*words).code == 0
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert afterbout(*words).code == 2
    ran = afterbout(*words, "--go-on", "--json")
    assert ran.code == 0, ran.err
    assert Path(ran.json["files"][0]).name == f"x-{len(before) + 1:03d}.rec" and ran.json["went_on"] is None
    assert all((tmp_path / name).read_bytes() == data for name, data in before.items())
    first = tmp_path / "x-001.rec"
    ran = afterbout("record", "demo:", f"udp:{unused_port(socket.SOCK_DGRAM)}", "--out", first, "--for", "1", "--go-on")
    assert ran.code == 2 and "demo (demo)" in ran.err and first.read_bytes() == before["x-001.rec"]


def test_what_a_match_holds_already_is_not_added_twice(tmp_path: Path, afterbout: Command) -> None:
    season, out = tmp_path / "season", tmp_path / "x.rec"
    assert afterbout("new", season, "--class", "3lb", "--yes").code == 0
    words = ("record", "demo:", "--out", out, "--for", "1.5", "--season", season)
    assert afterbout(*words, "--match", "t01").code == 0
    before = out.read_bytes()
    ran = afterbout(*words, "--match", "t01", "--go-on")
    assert ran.code == 2 and "would stand there twice" in ran.err and out.read_bytes() == before
    ran = afterbout(*words, "--match", "t02", "--go-on", "--json")
    assert ran.code == 0 and ran.json["added"]["match"] == "t02", ran.err
