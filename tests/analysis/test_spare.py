"""Weight offered to be taken out of wire: only where many matches say so, and never past what it promises.

The bound for the thinner wire is held against the heat model of analysis/wire_heat.py over random loads (which is held
to a closed form and to rings elsewhere); the offer itself against the robot simulated again with the thinner wire.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.binned import Binned
from analysis.findings import Advice, Finding, Review
from analysis.match_data import MatchData
from analysis.metrics import metrics_of
from analysis.review import review_data
from analysis.settings import with_overrides
from analysis.signal import Measured
from analysis.spare import RMS, Past, spare, thinner_rise_K
from analysis.spare_advice import with_spare
from analysis.wire_heat import wire_heat
from analysis.wire_run import run_of_wire
from ingest.builds import Wire
from ingest.tables.gauges import awg_area_mm2, awg_name
from tests.analysis import resimulated as rs

AIR = 25.0


# An invented build with drive leads far thicker than 40 A needs, each behind a fuse of 30 A.
FAT = replace(
    rs.BUILDS["b"],
    runs=tuple(replace(r, awg=8) if r.id in ("left_lead", "right_lead") else r for r in rs.BUILDS["b"].runs),
    fuses=tuple(
        replace(f, rated_A=30.0) if f.id in ("left_fuse", "right_fuse") else f for f in rs.BUILDS["b"].fuses
    ),
)  # fmt: skip


def match_of(seed: int) -> tuple[MatchData, Review]:
    data = rs.logged(rs.run(FAT, rs.PACKS["p1"], rs.script(seed)))
    return data, review_data(data, with_advice=False)


@pytest.fixture(scope="module")
def this() -> tuple[MatchData, Review]:
    return match_of(4)


@pytest.fixture(scope="module")
def other() -> Past:
    data, review = match_of(5)
    metrics, _ = metrics_of(data, review)

    def of(name: str) -> dict[str, Measured]:
        return {m.part: Measured(m.value, m.low, m.high) for m in metrics if m.name == name}

    return Past("other", of("wire_peak_standard_degC"), of(RMS), frozenset())


def offered(this: tuple[MatchData, Review], past: list[Past]) -> Advice | None:
    rows = with_spare(*this, past).advice
    return rows[-1] if rows else None


@given(
    st.integers(0, 2**32 - 1), st.sampled_from(["silicone", "PVC", "PTFE"]), st.sampled_from([8, 10, 12, 14, 16]),
    st.sampled_from([2, 4]),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_no_thinner_wire_rises_more_than_the_bound(seed: int, jacket: str, gauge: int, steps: int) -> None:
    rng = np.random.default_rng(seed)
    edges = np.arange(0.0, 180.25, 0.25)
    amps = rng.uniform(5, 60) * (rng.random(len(edges) - 1) < rng.uniform(0.02, 1.0)) * rng.random(len(edges) - 1) ** 2
    square = np.square(amps)
    load = Binned(edges, square, np.ones(len(square)), square, square)
    wires = [
        Wire.model_validate({
            "id": f"w{n}", "from": "pack", "to": "x", "gauge": awg_name(n), "length_mm": 200.0, "insulation": jacket,
        })
        for n in (gauge, gauge + steps)
    ]  # fmt: skip
    old, new = wire_heat([run_of_wire(w) for w in wires], [load, load], AIR, air_uncertainty_K=0.0)
    bound = thinner_rise_K(old.peak.value - AIR, awg_area_mm2(gauge + steps) / awg_area_mm2(gauge))
    assert new.peak.value - AIR <= bound * 1.001 + 0.02


def test_thick_drive_leads_are_offered_with_what_it_rests_on(this: tuple[MatchData, Review], other: Past) -> None:
    row = offered(this, [other] * 4)
    assert row is not None
    assert row.purpose == "weight" and row.proved and row.clears == () and row.matches == 5
    assert "wire.left_lead.gauge" in row.change and "battery_lead" not in row.change  # no fuse is over that one
    assert row.adds_g is not None and row.adds_g < -1.0
    assert row.minutes == 6.0 + 10.0 * len(row.change.split("; "))
    assert row.margin_pct is not None and row.margin_pct >= 40.0
    assert row.after["low"] <= row.after["measured"] <= row.after["high"]
    assert row.before["measured"] <= row.after["measured"]
    for words in ("clears nothing", "5 matches of this build", "another opponent may load it more"):
        assert words in row.cost_note
    assert row.sentence.startswith("To take weight out, fit ") and "−" in row.sentence


def test_the_robot_with_the_thinner_wire_is_as_was_said(this: tuple[MatchData, Review], other: Past) -> None:
    row = offered(this, [other] * 4)
    assert row is not None
    build = FAT
    for pair in row.change.split("; "):
        key, value = pair.split(" = ")
        build = rs.gauge(build, key.split(".")[1], int(value.split()[0]))
    again = review_data(rs.logged(rs.run(build, rs.PACKS["p1"], rs.script(4))), with_advice=False)
    assert {(f.check, f.part) for f in again.findings if f.verdict in ("over", "close", "fault")} <= {
        (f.check, f.part) for f in this[1].findings
    }
    peaks = {p.part: p.measured for p in again.passed if p.check == "wire_temperature"}
    lead = min(("left_lead", "right_lead"), key=lambda run: abs(peaks[run] - row.after["measured"]))
    assert row.after["low"] <= peaks[lead] <= row.after["high"]


def test_never_on_few_matches(this: tuple[MatchData, Review], other: Past) -> None:
    assert offered(this, [other] * 3) is None
    assert offered(this, []) is None
    fewer = with_overrides({"spare_matches": 2})[0]
    assert offered((replace(this[0], settings=fewer), this[1]), [other]) is not None


def test_a_match_that_does_not_tell_is_not_counted_but_said(this: tuple[MatchData, Review], other: Past) -> None:
    blind = replace(
        other, wire_degC={run: Measured(m.value, m.low, float("inf")) for run, m in other.wire_degC.items()}
    )
    assert offered(this, [other, other, other, blind]) is None
    row = offered(this, [other] * 4 + [blind])
    assert row is not None and row.matches == 5 and "1 more match does not tell" in row.cost_note


@pytest.mark.parametrize("part", ["left_lead", "left_fuse", "left_drive"])
def test_never_where_another_match_found_something(this: tuple[MatchData, Review], other: Past, part: str) -> None:
    row = offered(this, [other] * 4 + [replace(other, serious=frozenset({part}))])
    assert row is None or "left_lead" not in row.change


def test_never_where_this_match_did_not_see_the_run_whole(this: tuple[MatchData, Review], other: Past) -> None:
    """Two drives that nobody logged: what each of them drew cannot be told."""
    data, _ = this
    less = {k: s for k, s in data.signals.items() if "_drive_" not in k}
    blind = replace(data, signals=less, memo={}, _inside={})
    row = offered((blind, review_data(blind, with_advice=False)), [other] * 4)
    assert row is None or "left_lead" not in row.change


def test_never_near_a_finding(this: tuple[MatchData, Review], other: Past) -> None:
    data, review = this
    f = Finding(
        "voltage_sag", "unknown", "left_drive", None, 1.0, 2.0, 18.0, 17.5, 18.5, "V", "close", "likely", 17.9, 3.0,
        check="controller_cutoff", id="f9",
    )  # fmt: skip
    row = offered((data, replace(review, findings=(*review.findings, f))), [other] * 4)
    assert row is None or "left_lead" not in row.change


def test_never_a_wire_that_its_fuse_would_no_longer_protect(this: tuple[MatchData, Review], other: Past) -> None:
    data, _ = this
    assert data.build is not None
    bare = replace(data, build=data.build.model_copy(update={"fuses": ()}), memo={}, _inside={})
    assert spare(bare, review_data(bare, with_advice=False), [other] * 4) is None
    free = tuple(c.model_copy(update={"current_limit_A": None}) for c in data.build.controllers)
    fat = tuple(f.model_copy(update={"rated_A": 100.0}) for f in data.build.fuses)
    both = {"controllers": free, "fuses": fat}
    loose = replace(data, build=data.build.model_copy(update=both), memo={}, _inside={})
    assert spare(loose, review_data(loose, with_advice=False), [other] * 4) is None  # nothing keeps an overload away


def test_what_the_fuse_leaves_uncovered_is_said(this: tuple[MatchData, Review], other: Past) -> None:
    data, _ = this
    assert data.build is not None
    fat = tuple(f.model_copy(update={"rated_A": 100.0}) for f in data.build.fuses)
    big = replace(data, build=data.build.model_copy(update={"fuses": fat}), memo={}, _inside={})
    row = offered((big, review_data(big, with_advice=False)), [other] * 4)
    assert row is None or "does not cover overloads of left_lead" in row.cost_note
