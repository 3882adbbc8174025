"""Wrong builds: what does not fit is said before any match, and a sound one is not blamed."""

from __future__ import annotations

from typing import Any

import pytest

from analysis.build_check import check_build
from analysis.findings import Finding, worst_verdict
from analysis.wording import check_sentence
from ingest.builds import Build
from tests.dashboard.made_up import build_b, pack_p1


def found(build: Build, check: str, pack: Any = None) -> list[Finding]:
    rows = check_build(build, pack_p1() if pack is None else pack).of(Finding)
    return [row for row in rows if isinstance(row, Finding) and row.check == check]


def first(build: Build, **changes: Any) -> Build:
    one = build.controllers[0].model_copy(update=changes)
    return build.model_copy(update={"controllers": (one, *build.controllers[1:])})


def test_a_sound_build_has_none_of_these() -> None:
    for check in ("main_disconnect", "fits_build", "controller_overvoltage", "burst_current"):
        assert found(build_b(), check) == []


def test_a_build_without_a_main_disconnect_is_at_fault() -> None:
    contacts = tuple(c.model_copy(update={"kind": "connector"}) for c in build_b().contacts)
    (one,) = found(build_b().model_copy(update={"contacts": contacts}), "main_disconnect")
    assert one.verdict == "fault"
    assert "do not power up" in check_sentence(one)
    assert worst_verdict((one,), True) == "fault"


def test_a_pack_of_another_cell_count_is_not_to_be_connected() -> None:
    (one,) = found(build_b(), "fits_build", pack_p1().model_copy(update={"cells": 4}))
    assert one.verdict == "over"
    assert "has 4 cells, the build is wired for 6: do not connect it" in check_sentence(one)


@pytest.mark.parametrize(
    ("changes", "check", "verdict", "words"),
    [
        ({"maximum_V": 20.0}, "controller_overvoltage", "over", "a full pack has 25.2 V; it bears 20 V"),
        ({"cutoff_V": 6.0}, "controller_cutoff", "note", "1.00 V a cell"),
        ({"cutoff_V": 25.0}, "controller_cutoff", "close", "it will cut at the first spin-up"),
        ({"current_limit_A": 999.0, "burst_A": 160.0}, "burst_current", "close", "lets through 999 A"),
    ],
)
def test_a_controller_that_does_not_fit(changes: dict[str, float], check: str, verdict: str, words: str) -> None:
    rows = [row for row in found(first(build_b(), **changes), check) if row.measured is None]
    assert [row.verdict for row in rows] == [verdict]
    assert words in check_sentence(rows[0])


def test_the_load_of_a_regulator_that_nobody_states_is_said() -> None:
    rows = found(build_b(), "rail_current")
    assert [row.verdict for row in rows] == ["note"] * len(build_b().regulators)
    assert all("stated nowhere" in check_sentence(row) for row in rows)
