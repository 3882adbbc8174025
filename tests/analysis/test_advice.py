"""Advice: what it offers for planted faults, that the first cures when simulated again, what it never offers."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.advice import advise
from analysis.candidates import candidates
from analysis.candidates.drops import drop_changes
from analysis.changes import changed
from analysis.findings import Advice, Finding, Review
from analysis.match_data import MatchData
from analysis.replay import replay
from analysis.review import review_data
from analysis.wiring import tree
from ingest.builds import Match
from sample_data import JointStep, Plants
from tests.analysis import resimulated as rs

P1 = rs.PACKS["p1"]
B = rs.BUILDS["b"]
NEXT = Match(id="m1", minutes_to_next=40.0)


def reviewed(data: MatchData) -> tuple[MatchData, Review]:
    data = replace(data, match=NEXT)
    return data, review_data(data, with_advice=False)


@pytest.fixture(scope="module")
def calm() -> tuple[MatchData, Review]:
    return reviewed(rs.logged(rs.run(B, P1, rs.script(4))))


@pytest.fixture(scope="module")
def loose() -> tuple[MatchData, Review]:
    plants = Plants(joint_step=JointStep(36.0, "pack_plug", 16.0))
    return reviewed(rs.logged(rs.run(B, P1, rs.script(4), plants)))


@pytest.fixture(scope="module")
def weak() -> tuple[MatchData, Review]:
    pack = replace(P1, cell_mohm=(4.03, 4.08, 4.13, 16.0, 4.1, 4.08))
    return reviewed(rs.logged(rs.run(B, pack, rs.script(4))))


def finding(**kinds: object) -> Finding:
    base: dict[str, object] = {
        "kind": "thermal_buildup", "cause": "unknown", "part": "weapon", "channel": None, "start_s": 30.0,
        "end_s": 31.0, "measured": 100.0, "low": 95.0, "high": 105.0, "unit": "A", "verdict": "over",
        "confidence": "likely", "limit": 80.0, "margin_pct": -25.0, "id": "f1",
    }  # fmt: skip
    return Finding(**(base | kinds))  # type: ignore[arg-type]


def with_finding(case: tuple[MatchData, Review], **kinds: object) -> tuple[MatchData, Review]:
    return case[0], replace(case[1], findings=(finding(**kinds),))


def test_a_calm_match_has_none(calm: tuple[MatchData, Review]) -> None:
    assert [f for f in calm[1].findings if f.verdict in ("over", "fault", "close")] == []
    assert advise(*calm) == ()


def test_a_bad_joint_is_remade_first_and_that_cures_it(loose: tuple[MatchData, Review]) -> None:
    first = advise(*loose)[0]
    joint = next(f for f in loose[1].findings if f.check == "joint")
    assert first.rank == 1 and first.proved
    assert "wire.battery_lead.joints = remade" in first.change
    assert joint.id in first.clears
    assert first.adds_g == 0 and first.minutes is not None and first.minutes <= 40
    assert first.sentence.startswith("Remake ") and "of your 40 minutes, 0 g." in first.sentence
    # Simulated again without the bad joint the match is clean.
    again = review_data(rs.logged(rs.run(B, P1, rs.script(4))), with_advice=False)
    assert again.match.verdict == "within"


def test_a_weak_cell_asks_for_a_sound_pack_and_nothing_else(weak: tuple[MatchData, Review]) -> None:
    rows = advise(*weak)
    assert rows[0].change == "pack.condition = sound"
    assert any(f.id in rows[0].clears for f in weak[1].findings if f.cause == "weak_cell")
    assert not [r for r in rows if "parallel" in r.change or "capacity" in r.change]


def test_what_cannot_be_replayed_says_so(calm: tuple[MatchData, Review]) -> None:
    cases = {
        "radio_loss": ("link", "antenna"),
        "brush_noise": ("left_drive", "capacitors"),
        "sync_loss": ("weapon", "motor_plugs"),
    }
    for cause, (part, key) in cases.items():
        (row,) = advise(*with_finding(calm, cause=cause, part=part, verdict="fault", limit=None, margin_pct=None))
        assert not row.proved and row.clears == ()
        assert key in row.change and row.cost_note.startswith("Not proved: ")
        assert row.after["measured"] is None


def test_a_hot_wire_gets_the_lightest_that_stays_cool(calm: tuple[MatchData, Review]) -> None:
    """Held to a low limit, the battery lead of build b needs more copper; the replay then clears it."""
    data, review = calm
    build = data.build
    assert build is not None
    peak = next(e for e in review.estimates if (e.name, e.part) == ("wire_peak_degC", "battery_lead")).value
    wires = tuple(
        w.model_copy(update={"limit_degC": round(peak, 1) - 1.0}) if w.id == "battery_lead" else w for w in build.wires
    )
    hot = replace(data, build=build.model_copy(update={"wires": wires}), memo={}, _inside={})
    found = review_data(hot, with_advice=False)
    rows = advise(hot, found)
    over = next(f for f in found.findings if f.check == "wire_temperature")
    thicker = [r for r in rows if "gauge" in r.change or "parallel" in r.change]
    assert thicker and over.id in thicker[0].clears
    assert thicker[0].adds_g is not None and thicker[0].adds_g > 0
    assert thicker[0].after["measured"] < thicker[0].before["measured"]
    assert thicker[0].after["low"] <= thicker[0].after["measured"] <= thicker[0].after["high"]


def test_too_heavy_and_too_long_is_said(loose: tuple[MatchData, Review]) -> None:
    data, review = loose
    build = data.build
    assert build is not None
    head = build.build.model_copy(update={"mass_limit_kg": 13.43})
    tight = replace(
        data,
        build=build.model_copy(update={"build": head}),
        match=Match(id="m1", minutes_to_next=6.0),
    )
    rows = advise(tight, review)
    for row in rows:
        if row.adds_g is not None and row.adds_g > 10.0:
            assert "over the limit of 13.43 kg" in row.cost_note
        if row.minutes is not None and row.minutes > 6.0:
            assert "do not fit in 6" in row.cost_note


KINDS: list[dict[str, object]] = [
    {"check": "burst_current", "part": "weapon"},
    {"check": "continuous_current", "part": "left_drive"},
    {"check": "controller_temperature", "part": "weapon", "unit": "degC"},
    {"check": "motor_temperature", "part": "left_motor", "unit": "degC"},
    {"check": "fuse_curve", "part": "weapon_fuse", "unit": "1", "measured": 1.2, "limit": 1.0},
    {"check": "contact_current", "part": "pack_plug"},
    {"check": "contact_temperature", "part": "main_disconnect", "unit": "degC", "measured": 120.0, "limit": 105.0},
    {"check": "wire_temperature", "part": "weapon_lead", "unit": "degC", "measured": 190.0, "limit": 183.0},
    {"check": "controller_cutoff", "part": "weapon", "unit": "V", "measured": 17.5, "limit": 18.0},
    {"check": "pack_sag", "part": "pack", "unit": "V", "measured": 19.5, "limit": 19.8},
    {"check": "rail_voltage", "part": "receiver", "cause": "regulator_overload", "unit": "V"},
    {
        "check": "power",
        "part": "main_disconnect",
        "cause": "disconnect_opened",
        "could_be": ("pack_plug", "battery_lead"),
    },
]


@pytest.mark.parametrize("kinds", KINDS, ids=[str(k["check"]) for k in KINDS])
def test_nothing_unsafe_is_ever_a_candidate(calm: tuple[MatchData, Review], kinds: dict[str, object]) -> None:
    data, review = with_finding(calm, **kinds)
    build = data.build
    assert build is not None
    options = candidates(data, review)
    assert options
    limits = {c.id: c.current_limit_A for c in build.controllers}
    for option in options:
        for key, value in option.sets:
            assert "cutoff_V" not in key and "minimum_cell_V" not in key and "charge_C" not in key
            assert value != "removed"
            if key.endswith(".current_limit_A"):
                assert float(value) < (limits[key.split(".")[1]] or 1e9)
            if key.startswith("fuse."):
                assert float(value) <= 120
        assert option.minutes > 0


def low_volts(case: tuple[MatchData, Review], by_V: float) -> tuple[MatchData, Review]:
    """The weapon's cutoff set this far above the lowest volts that it saw."""
    data, _ = case
    build = data.build
    assert build is not None
    lowest = float(data.signals["weapon_voltage_V"].x.min())
    controllers = tuple(
        c.model_copy(update={"cutoff_V": lowest + by_V}) if c.id == "weapon" else c for c in build.controllers
    )
    low = replace(data, build=build.model_copy(update={"controllers": controllers}), memo={}, _inside={})
    return low, review_data(low, with_advice=False)


def test_too_few_volts_offer_less_drop_on_the_way(calm: tuple[MatchData, Review]) -> None:
    """A thicker lead where it is enough by itself; the robot simulated again with it has higher lowest volts."""
    data, found = low_volts(calm, -0.5)
    options = {o.action: o for o in candidates(data, found) if o.clears}
    assert {"gauge", "larger_pack", "parallel_packs", "limit"} <= set(options)
    number = int(options["gauge"].sets[0][1].split()[0])
    run = options["gauge"].sets[0][0].split(".")[1]
    assert run in ("battery_lead", "weapon_lead")
    again = rs.logged(rs.run(rs.gauge(B, run, number), P1, rs.script(4)))
    assert again.signals["weapon_voltage_V"].x.min() > data.signals["weapon_voltage_V"].x.min()


def test_each_candidate_on_the_way_is_offered_where_it_is_enough(calm: tuple[MatchData, Review]) -> None:
    """With next to nothing wanted a shorter lead, a better contact and one fewer are enough too; the pack's own plug
    and the disconnect are never soldered through."""
    data, review = calm
    at = float(data.signals["weapon_voltage_V"].t_s[data.signals["weapon_voltage_V"].x.argmin()])
    f = finding(check="controller_cutoff", kind="voltage_sag", part="weapon", unit="V", start_s=at, limit=18.0)
    room = 0.15 * (25.2 - 18.0)
    options = drop_changes(data, tree(data.build), replace(f, measured=18.0 + room - 0.001))  # type: ignore[arg-type]
    kinds = {o.action for o in options}
    assert {"gauge", "parallel", "length_mm", "contact"} <= kinds
    gone = [o for o in options if o.action == "one_fewer"]
    assert all(o.sets[0][0] not in ("contact.pack_plug", "contact.main_disconnect") for o in gone)
    assert not drop_changes(data, tree(data.build), replace(f, measured=10.0))  # type: ignore[arg-type]
    for option in options:
        made = replay(data, changed(data.build, data.pack, option.sets), review)  # type: ignore[arg-type]
        assert made.after is not None


def test_a_fresher_pack_of_the_season_is_offered(weak: tuple[MatchData, Review]) -> None:
    data, review = weak
    p1, p3 = data.pack, rs.described(B, rs.PACKS["p3"])[1]
    assert p1 is not None
    other_cells = p3.model_copy(update={"id": "p9", "cells": p3.cells - 1})
    rows = advise(data, review, [p1, p3, other_cells])
    assert any(row.change == "pack = p3" and row.proved and row.clears for row in rows)
    offered = [o.sets for o in candidates(data, review, [p1, p3, other_cells])]
    assert (("pack", "p9"),) not in offered and (("pack", p1.id),) not in offered


def test_rows_are_the_contract_s(loose: tuple[MatchData, Review]) -> None:
    rows = advise(*loose)
    assert [row.rank for row in rows] == list(range(1, len(rows) + 1))
    assert len(rows) <= 3
    for row in rows:
        assert isinstance(row, Advice)
        assert " = " in row.change and row.sentence.endswith(".")
        assert set(row.before) == {"measured", "unit"}
        assert set(row.after) == {"measured", "low", "high", "unit"}
