"""`new` on a terminal: ten questions, the wiring drawn, nothing written before yes."""

from __future__ import annotations

import os
import time
from pathlib import Path

from ingest.season import Season
from tests.terminal import MOST_S, shown, started

ANSWERS = ("Trialmote", "30lb", "13.4 kg", "6", "3300 mAh", "brushless", "", "2", "brushed", "12 AWG")


def talk(folder: Path, answers: tuple[str, ...], last: str) -> str:
    """Answer each question as it appears, on a pseudo-terminal."""
    process, terminal = started("-m", "dashboard.cli", "new", folder)
    said = b""
    waiting = [*answers, last]
    until = time.monotonic() + MOST_S
    try:
        while piece := shown(terminal, until):
            said += piece
            if waiting and (said.endswith(b": ") or said.endswith(b"[Y/n] ")):
                os.write(terminal, waiting.pop(0).encode() + b"\n")
        assert process.wait(MOST_S) == 0, said.decode()
    finally:
        process.kill()
        os.close(terminal)
    return said.decode()


def test_ten_answers_make_a_valid_season(tmp_path: Path) -> None:
    folder = tmp_path / "season"
    said = talk(folder, ANSWERS, "y")
    assert "--> weapon" in said and "Traceback" not in said
    season = Season(folder)
    build = season.build("b")
    assert (build.build.robot, build.cells, build.build.mass_kg) == ("Trialmote", 6, 13.4)
    assert season.pack("p1").capacity_Ah == 3.3


def test_no_writes_nothing(tmp_path: Path) -> None:
    folder = tmp_path / "season"
    assert "Nothing was written" in talk(folder, ANSWERS, "n")
    assert not folder.exists()


def test_a_wrong_answer_is_asked_again(tmp_path: Path) -> None:
    folder = tmp_path / "season"
    said = talk(folder, (*ANSWERS[:3], "many", *ANSWERS[3:]), "y")
    assert said.count("Cells in series") == 2
    assert Season(folder).build("b").cells == 6
