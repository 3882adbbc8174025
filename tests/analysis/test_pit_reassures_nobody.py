"""Damaged logs, thin descriptions and other packs: the plan never says "nothing found" of what nobody looked at."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from analysis.match_data import MatchData
from analysis.pit import ENDINGS, PackHistory, PitPlan, pit_plan
from analysis.pit_packs import ever_against
from analysis.review import review_data
from analysis.season_rows import MatchRow
from ingest.builds import Match
from tests.analysis import resimulated as rs

CALM = Match(id="m1", minutes_to_next=90.0, air_degC=20.0)


@pytest.fixture(scope="module")
def calm() -> MatchData:
    data = rs.logged(rs.run(rs.BUILDS["b"], rs.PACKS["p1"], rs.script(4)))
    return replace(data, match=CALM)


def plan(data: MatchData, others: tuple[PackHistory, ...] = (), ever: tuple[str, ...] = ()) -> PitPlan:
    pack = data.pack
    assert pack is not None
    return pit_plan(PackHistory(pack, data, review_data(data, with_advice=False), ever), others, None, 90)


def fresh(data: MatchData, **changes: Any) -> MatchData:
    return replace(data, **changes, _inside={}, memo={})


def test_the_whole_log_is_the_measure(calm: MatchData) -> None:
    found = plan(calm)
    assert found.ending == ENDINGS[0]
    assert "if the charger gives" in found.packs[0].why  # no charger is stated


@pytest.mark.parametrize(
    ("lost", "named"),
    [("weapon", "weapon"), ("left_drive", "left drive"), ("pack_current", "pack"), ("pack_voltage", "pack")],
)
def test_a_part_that_was_not_logged_is_not_checked(calm: MatchData, lost: str, named: str) -> None:
    left = {name: s for name, s in calm.signals.items() if not name.startswith(lost)}
    found = plan(fresh(calm, signals=left))
    assert found.ending == "not checked"
    assert named in found.reasons[0] or found.use is None


@pytest.mark.parametrize("kept", ["receiver", "weapon", "link"])
def test_one_log_of_many_vouches_for_nothing(calm: MatchData, kept: str) -> None:
    found = plan(fresh(calm, signals={name: s for name, s in calm.signals.items() if name.startswith(kept)}))
    assert (found.ending, found.use) == ("not checked", None)
    assert found.packs[0].charge_min is None


@pytest.mark.parametrize(
    ("kind", "keys"),
    [
        ("contacts", ("rated_A", "limit_degC", "resistance_mohm")),
        ("controllers", ("continuous_A", "burst_A", "limit_degC", "cutoff_V", "minimum_V", "maximum_V")),
        ("wires", ("gauge", "area_mm2")),
    ],
)
def test_ratings_that_are_not_stated_are_not_checked(calm: MatchData, kind: str, keys: tuple[str, ...]) -> None:
    build = calm.build
    assert build is not None
    bare = tuple(part.model_copy(update=dict.fromkeys(keys)) for part in getattr(build, kind))
    found = plan(fresh(calm, build=build.model_copy(update={kind: bare})))
    assert found.ending == "not checked"
    assert "No check could be made of" in found.reasons[0]


def test_a_build_without_wiring_is_not_checked(calm: MatchData) -> None:
    assert calm.build is not None
    bare = calm.build.model_copy(update={"wires": (), "contacts": (), "fuses": ()})
    found = plan(fresh(calm, build=bare))
    assert found.ending == "not checked"
    assert "no wiring" in found.reasons[0]


def test_a_log_that_holds_half_the_match_is_not_checked(calm: MatchData) -> None:
    half = 0.5 * max(s.t_s[-1] for s in calm.signals.values())
    short = {name: s.between(0.0, half) for name, s in calm.signals.items()}
    told = CALM.model_copy(update={"length_s": 180.0})
    data = fresh(calm, signals=short, match=told)
    assert plan(data).ending == "not checked"
    early = told.model_copy(update={"ended_by": "knockout"})
    assert not any("holds" in reason for reason in plan(replace(data, match=early)).reasons)


def test_a_temperature_that_stopped_early_is_not_the_pack_s_now(calm: MatchData) -> None:
    temp = calm.signals["pack_temp_degC"]
    stops = temp.between(0.0, 0.5 * float(temp.t_s[-1]))
    (pack,) = plan(fresh(calm, signals={**calm.signals, "pack_temp_degC": stops})).packs
    assert pack.charge_min is None and "temperature is not known" in pack.why


def test_a_current_that_reads_nothing_does_not_leave_the_pack_full(calm: MatchData) -> None:
    amps = calm.signals["pack_current_A"]
    (pack,) = plan(fresh(calm, signals={**calm.signals, "pack_current_A": amps.with_values(amps.x * 0)})).packs
    assert not pack.fits and "full" not in pack.why


def test_a_pack_better_than_new_is_another_pack(calm: MatchData) -> None:
    assert calm.pack is not None and calm.pack.resistance_mohm is not None
    other = calm.pack.model_copy(update={"resistance_mohm": 2.5 * calm.pack.resistance_mohm})
    (pack,) = plan(fresh(calm, packs=(other,))).packs
    assert pack.verdict.word == "not checked" and "another pack" in pack.verdict.reasons[0]


def test_a_pack_without_a_figure_from_new_is_not_vouched_for(calm: MatchData) -> None:
    assert calm.pack is not None
    bare = calm.pack.model_copy(update={"resistance_mohm": None})
    (pack,) = plan(fresh(calm, packs=(bare,))).packs
    assert pack.verdict.word == "watch"
    assert any("not stated" in reason for reason in pack.verdict.reasons)


# -- earlier matches ------------------------------------------------------------------------------------------


def row(match: str, lowest_V: float) -> MatchRow:
    from analysis.metric_kinds import Metric

    low = Metric("cell_minimum_V", "pack", lowest_V, lowest_V, lowest_V, "V", "", "cell2")
    return MatchRow(match, "b", "p1", "", "", "", "within", 180.0, (low,), (), ())


def test_ever_means_any_match(calm: MatchData) -> None:
    pack = calm.pack
    assert pack is not None
    deep, puffed, fine = (Match(id=i, pack=pack.id, notes=n) for i, n in (("m1", ""), ("m2", "puffed"), ("m3", "")))
    rows = {"m1": row("m1", 2.71), "m3": row("m3", 3.5)}
    found = ever_against(pack, (deep, puffed, fine), rows)
    assert len(found) == 2
    assert "2.71 V a cell in m1" in found[0] and "puffed" in found[1]
    assert ever_against(pack, (fine,), rows) == ()
    other = pack.model_copy(update={"id": "p9"})
    assert ever_against(other, (deep, puffed, fine), rows) == ()


def test_what_was_once_below_three_volts_gets_no_charge_time_and_is_not_taken(calm: MatchData) -> None:
    against = ("down to 2.71 V a cell in m1; under 3.0 V a cell is suspect",)
    (pack,) = plan(calm, ever=against).packs
    assert (pack.charge_min, pack.ready_min, pack.fits) == (None, None, False)
    assert "2.71" in pack.why
    assert calm.pack is not None
    spare = calm.pack.model_copy(update={"id": "p9"})
    rested = PackHistory(spare, calm, review_data(calm, with_advice=False), against)
    taken = plan(calm, (rested,))
    p9 = next(p for p in taken.packs if p.pack == "p9")
    assert not p9.fits and p9.ready_min is None and taken.use != "p9"


def test_a_spare_pack_is_taken_only_once_it_is_measured(calm: MatchData) -> None:
    assert calm.pack is not None
    spare = calm.pack.model_copy(update={"id": "p9"})
    found = plan(calm, (PackHistory(spare, calm, review_data(calm, with_advice=False)),))
    p9 = next(p for p in found.packs if p.pack == "p9")
    assert p9.fits and "once every cell reads 4.10 V or more" in p9.why
    assert any(line.startswith("Pack:") for line in found.before_power)


def test_what_was_not_checked_and_what_may_be_hot_is_said(calm: MatchData) -> None:
    left = {name: s for name, s in calm.signals.items() if not name.endswith("motor_temp_degC")}
    found = plan(fresh(calm, signals=left))
    assert {"weapon_motor", "left_motor"} <= set(found.hot_unknown)
    assert any(n.check == "motor_temperature" for n in found.not_checked)
