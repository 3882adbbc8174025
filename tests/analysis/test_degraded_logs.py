"""A worse log gives wider intervals, never another truth: each holds the figure of the whole log, no over passes.

The whole log of the demo is the reference; the degradations know nothing of the analysis (tests/synthetic/degrade.py).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.review import review
from benchmarks.degraded import WORSE, held
from ingest.season import Season
from tests.synthetic.degrade import degraded

CASES = 25  # every match in every way; `python -m benchmarks.degraded` runs 200
WANTED = 0.95


def test_intervals_hold_and_no_over_passes(demo: tuple[Path, dict[str, Any]]) -> None:
    found = held(Season(demo[0]), CASES, seed=3)
    assert found.lost == []
    assert found.unseen == []
    assert sum(found.asked.values()) > 300
    assert found.share >= WANTED, "\n".join(found.missed)


class _Rate:
    """Stands in for the chance that picks a degraded log's rate."""

    def __init__(self, rate_Hz: float) -> None:
        self.rate_Hz = rate_Hz

    def choice(self, _: list[float]) -> float:
        return self.rate_Hz


@pytest.mark.parametrize("way", ["decimated", "averaged"])
@pytest.mark.parametrize("rate_Hz", [10.0, 20.0, 50.0])
def test_no_contact_passes_in_a_run_whose_joint_is_bad(
    demo: tuple[Path, dict[str, Any]], rate_Hz: float, way: str
) -> None:
    """The demo's loose joint: seen as one lasting rise at every rate, and as nothing else."""
    season = Season(demo[0])
    match = season.match("m06")
    rng: np.random.Generator = _Rate(rate_Hz)  # type: ignore[assignment]
    logs = [degraded(log, way, rng) if log.name in WORSE else log for log in season.log(match)]
    found = review(logs, season.build("b"), season.pack(str(match.pack)), match, with_advice=False)
    joints = [f for f in found.findings if f.check == "joint"]
    assert [(f.cause, f.part) for f in joints] == [("joint_step", "battery_lead")]
    assert joints[0].low <= 9.0 <= joints[0].high  # what the simulation adds (sample_data)
    suspects = set(joints[0].could_be) - {"battery_lead"}
    assert suspects == {"pack_plug", "main_disconnect", "distribution_screw"}
    assert suspects.isdisjoint(row.part for row in found.passed if row.check == "contact_temperature")


@pytest.mark.parametrize("name", ["m06", "m08"])
def test_what_a_fault_suspects_does_not_pass_as_stated(demo: tuple[Path, dict[str, Any]], name: str) -> None:
    """Match 6: a joint that came loose; match 8: the disconnect that opened under load."""
    document = demo[1][name]
    suspects = {
        part for f in document["findings"] if f["kind"] in ("wiring_fault", "power_loss") for part in f["could_be"]
    }
    contacts = suspects & {"pack_plug", "main_disconnect", "distribution_screw"}
    assert contacts
    rows = {
        kind: {r["part"] for r in document[kind] if r["check"] == "contact_temperature"}
        for kind in ("passed", "not_checked")
    }
    assert contacts.isdisjoint(rows["passed"])
    assert contacts <= rows["not_checked"]
