"""The live page follows a recording that another process writes; nothing it cannot read is an error page."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard.app import make_app
from dashboard.live_follow import Followed, Follower
from tests.dashboard.browser import PATIENCE_S, chromium, served

ROOT = Path(__file__).resolve().parents[2]
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
burst_A = 60
burst_s = 5
"""


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, subprocess.Popen[bytes]]]:
    """A recording of the invented stream, still being written while the tests look."""
    folder = tmp_path_factory.mktemp("live")
    (folder / "b.toml").write_text(BUILD)
    words = ["record", "demo:", "--out", str(folder / "x.rec"), "--build", str(folder / "b.toml"), "--for", "600"]
    process = subprocess.Popen(
        [sys.executable, "-m", "dashboard.cli", *words], cwd=ROOT, stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    until = time.monotonic() + 120
    while not (folder / "x.rec").exists():
        assert process.poll() is None and time.monotonic() < until
        time.sleep(0.05)
    yield folder / "x.rec", process
    process.terminate()
    try:
        process.wait(120)
    finally:
        process.kill()


def wait_for(follower: Follower, met: Any, seconds: float = 120.0) -> Followed:
    until = time.monotonic() + seconds
    while not met(shown := follower.look()):
        assert time.monotonic() < until, shown
        time.sleep(0.1)
    return shown


def test_it_follows_what_is_written(recorded: tuple[Path, subprocess.Popen[bytes]]) -> None:
    follower = Follower(recorded[0])
    shown = wait_for(follower, lambda s: s.live.views and s.live.views[0].decoder.good > 100)
    before = shown.live.views[0].decoder.good
    wait_for(follower, lambda s: s.live.views[0].decoder.good >= before + 50)
    wait_for(follower, lambda s: any(kind == "alarm" for _, kind, _ in s.events))
    lowest = follower.look().live.lowest_voltage()
    assert lowest is not None and lowest.name == "pack_voltage_V" and 20 < lowest.value < 25
    assert follower.look().ended is None


@pytest.mark.parametrize("width", [1400, 390])
def test_the_page_draws_itself_anew_and_fits(recorded: tuple[Path, subprocess.Popen[bytes]], width: int) -> None:
    with chromium() as browser, served(make_app(live=recorded[0])) as address:
        page = browser.new_page(viewport={"width": width, "height": 900})  # type: ignore[attr-defined]
        page.set_default_timeout(1000 * PATIENCE_S)
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: said.append(request.url) if not request.url.startswith(address) else None)
        page.goto(address + "/live")
        page.wait_for_selector(".readings")
        first = page.inner_text("#live-body")
        page.wait_for_function("text => document.querySelector('#live-body').innerText !== text", arg=first)
        page.wait_for_function("document.querySelector('#live-body').innerText.includes('OVER weapon_current_A')")
        text = page.inner_text("#live-body")
        assert "pack_voltage_V" in text and "Lowest voltage" in text and "recording" in text
        assert "OVER weapon_current_A" in text and "Past a rating" in text
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert said == []


def test_a_file_that_is_not_there_or_no_recording_is_told(tmp_path: Path) -> None:
    assert Follower(tmp_path / "none.rec").look().error
    (tmp_path / "log.csv").write_text("t,V\n0,1\n")
    assert Follower(tmp_path / "log.csv").look().error


def test_the_end_is_told(tmp_path: Path) -> None:
    out = tmp_path / "x.rec"
    words = [sys.executable, "-m", "dashboard.cli", "record", "demo:", "--out", str(out), "--for", "1"]
    subprocess.run(words, cwd=ROOT, stdin=subprocess.DEVNULL, capture_output=True, check=True, timeout=300)
    assert Follower(out).look().ended == "the time limit is reached"
