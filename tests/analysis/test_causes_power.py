"""Lost power, joints and packs as findings. Truth: Kirchhoff's and Ohm's laws (tests/synthetic/circuit_truth.py)."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analysis.findings import Finding, Review
from analysis.openings import openings
from analysis.review import prepare, review
from ingest.builds import Match, Pack
from tests.synthetic.circuit_truth import EVERYTHING, LENGTH_S, REST_V, Circuit, Floats, build, log, pack

AT_S = 33.0
LOGGERS = [(100.0, "good"), (50.0, "poor"), (10.0, "good"), (1000.0, "poor")]
WITHOUT_PACK = tuple(c for c in EVERYTHING if not c.startswith("pack_"))


def reviewed(
    circuit: Circuit,
    rate_Hz: float = 100.0,
    grade: str = "good",
    channels: tuple[str, ...] = EVERYTHING,
    match: Match | None = None,
    made: Pack | None = None,
    **more: Any,
) -> Review:
    recorded = log(circuit.play(), channels, rate_Hz, grade, **more)
    return review(recorded, build(), made or pack(), match, with_advice=False)


def of(result: Review, cause: str) -> list[Finding]:
    return [f for f in result.findings if f.cause == cause]


def one(result: Review, cause: str, check: str = "power") -> Finding:
    mine = [f for f in of(result, cause) if f.check == check]
    assert len(mine) == 1, [(f.cause, f.check, f.part, f.start_s) for f in result.findings]
    return mine[0]


LOST = ("disconnect_opened", "disconnect_bounce", "fuse_opened", "joint_intermittent", "joint_step", "terminal_loose",
        "undervoltage_restart", "brown_out", "weak_cell", "pack_empty", "not_full")  # fmt: skip


@pytest.mark.parametrize(("rate_Hz", "grade"), LOGGERS)
def test_a_sound_match_has_none_of_them(rate_Hz: float, grade: str) -> None:
    result = reviewed(Circuit(), rate_Hz, grade)
    assert [f.cause for f in result.findings if f.cause in LOST] == []
    assert openings(prepare(log(Circuit().play(), EVERYTHING, rate_Hz, grade), build(), pack())) == ()


@pytest.mark.parametrize(("rate_Hz", "grade"), LOGGERS)
@pytest.mark.parametrize("decay_s", [0.05, 6.0])
def test_a_disconnect_that_opens_for_good(rate_Hz: float, grade: str, decay_s: float) -> None:
    """decay_s 6: what still turns holds the bus up for long; 0.05: it collapses at once."""
    result = reviewed(Circuit(open_lead=((AT_S, LENGTH_S),), decay_s=decay_s), rate_Hz, grade)
    gone = one(result, "disconnect_opened")
    assert gone.start_s == pytest.approx(AT_S, abs=0.5)
    assert (gone.part, gone.verdict, gone.confidence) == ("main_disconnect", "fault", "likely")
    assert set(gone.could_be) == {"pack_plug", "main_disconnect", "battery_lead"}
    assert result.match.end_s is not None and result.match.end_s <= AT_S + 0.5
    # What a dying supply shows is no sag.
    assert [f.cause for f in result.findings if f.check in ("controller_cutoff", "controller_voltage")] == []


def test_switched_off_after_the_match_is_nothing() -> None:
    result = reviewed(Circuit(idle_from_s=48.0, open_lead=((56.0, LENGTH_S),)))
    assert of(result, "disconnect_opened") == []


def test_a_driver_who_lets_go_has_not_lost_power() -> None:
    result = reviewed(Circuit(idle_from_s=AT_S))
    assert of(result, "disconnect_opened") == []


def test_a_bus_that_no_pack_holds_is_enough() -> None:
    """Nothing ahead of the break is logged: a pack that loses its load rises, this voltage falls."""
    result = reviewed(Circuit(open_lead=((AT_S, LENGTH_S),), decay_s=6.0), channels=WITHOUT_PACK)
    gone = one(result, "disconnect_opened")
    assert gone.start_s == pytest.approx(AT_S, abs=0.5)
    assert gone.confidence != "certain"


@pytest.mark.parametrize(("rate_Hz", "grade"), [(100.0, "good"), (50.0, "poor"), (1000.0, "poor")])
def test_a_disconnect_that_bounces(rate_Hz: float, grade: str) -> None:
    spans = ((AT_S, AT_S + 0.08), (AT_S + 0.3, AT_S + 0.37))
    result = reviewed(Circuit(open_lead=spans, decay_s=0.4), rate_Hz, grade)
    bounce = one(result, "disconnect_bounce")
    assert bounce.count == 2
    assert [o.start_s for o in bounce.occurrences] == pytest.approx([AT_S, AT_S + 0.3], abs=0.03)
    assert bounce.part == "main_disconnect"
    assert of(result, "disconnect_opened") == []


@pytest.mark.parametrize(("rate_Hz", "grade"), LOGGERS)
def test_a_fuse_that_opens_takes_one_branch(rate_Hz: float, grade: str) -> None:
    result = reviewed(Circuit(open_weapon=((AT_S, LENGTH_S),), decay_s=2.0), rate_Hz, grade)
    fuse = one(result, "fuse_opened")
    assert fuse.start_s == pytest.approx(AT_S, abs=0.5)
    assert fuse.part == "weapon_fuse"
    assert {"weapon_terminal", "weapon_lead"} <= set(fuse.could_be)
    assert of(result, "low_voltage_cutoff") == [] and of(result, "disconnect_opened") == []
    # The rest of the robot went on, and so did its match.
    assert result.match.end_s is not None and result.match.end_s > 50.0


def test_a_fuse_that_never_saw_its_rating_is_only_possible() -> None:
    result = reviewed(Circuit(open_weapon=((AT_S, LENGTH_S),), weapon_mohm=lambda t: 0.0 * t, seed=3))
    fuse = one(result, "fuse_opened")
    worst = max(float(e.split("up to ")[1].split(" A")[0]) for e in fuse.evidence if "up to" in e)
    assert (fuse.confidence == "likely") == (worst > 60.0)


def test_a_branch_that_opens_for_a_moment_is_a_joint() -> None:
    result = reviewed(Circuit(open_weapon=((AT_S, AT_S + 0.15),), decay_s=0.05))
    joint = one(result, "joint_intermittent")
    assert joint.part == "weapon_lead"
    assert joint.start_s == pytest.approx(AT_S, abs=0.1)


def uptimes(reset_s: float, rate_Hz: float = 100.0) -> Floats:
    t = np.arange(0.0, LENGTH_S, 1.0 / rate_Hz)
    return np.where(t < reset_s, t + 5.0, t - reset_s)


def test_a_controller_that_restarts_is_named_with_its_voltage() -> None:
    circuit = Circuit(open_weapon=((AT_S, AT_S + 0.2),), decay_s=0.04)
    result = reviewed(circuit, extra={"weapon_uptime_s": uptimes(AT_S + 0.2)})
    restart = one(result, "undervoltage_restart")
    assert (restart.part, restart.kind, restart.confidence) == ("weapon", "power_loss", "certain")
    assert restart.consequence_of == one(result, "joint_intermittent").id
    assert of(result, "low_voltage_cutoff") == []


def test_a_receivers_restart_follows_from_its_rail() -> None:
    circuit = Circuit(open_lead=((AT_S, AT_S + 0.2),), decay_s=0.04)
    result = reviewed(circuit, extra={"receiver_uptime_s": uptimes(AT_S + 0.1)})
    rail = one(result, "brown_out", "rail_voltage")
    assert rail.part == "receiver"
    assert rail.consequence_of == one(result, "disconnect_bounce").id
    assert [f for f in result.findings if f.part == "receiver" and f.cause == "undervoltage_restart"] == []


def test_a_log_that_simply_ends_is_cut_short_and_no_disconnect() -> None:
    result = reviewed(Circuit(), stops_s=AT_S)
    assert of(result, "disconnect_opened") == []
    assert [n.code for n in result.quality] == ["truncated"]
    assert result.quality[0].end_s == pytest.approx(AT_S, abs=0.1)


def test_the_match_file_can_say_that_it_was_the_disconnect() -> None:
    match = Match(id="m1", ended_s=AT_S, ended_by="the main disconnect opened")
    result = reviewed(Circuit(), stops_s=AT_S, match=match)
    gone = one(result, "disconnect_opened")
    assert gone.confidence == "likely"
    assert gone.start_s == pytest.approx(AT_S, abs=0.1)


def test_a_joint_step_names_its_run_and_what_to_remake() -> None:
    result = reviewed(Circuit(lead_mohm=lambda t: np.where(t > AT_S, 12.0, 0.0)))
    joint = one(result, "joint_step", "joint")
    assert (joint.kind, joint.part) == ("wiring_fault", "battery_lead")
    assert joint.measured == pytest.approx(12.0, rel=0.1)
    assert set(joint.could_be) == {"pack_plug", "main_disconnect", "battery_lead"}
    assert of(result, "pack_resistance") == [] and of(result, "ageing") == []


@pytest.mark.parametrize("rest_cell_V", [3.85, 4.02])
@pytest.mark.parametrize("channels", [EVERYTHING, WITHOUT_PACK])
def test_a_pack_that_was_not_full(rest_cell_V: float, channels: tuple[str, ...]) -> None:
    result = reviewed(Circuit(rest_V=lambda t: np.full_like(t, 6 * rest_cell_V)), channels=channels)
    start = one(result, "not_full", "charge_at_start")
    assert start.verdict == "note"
    assert start.measured == pytest.approx(6 * rest_cell_V, abs=0.1)
    assert start.low is not None and start.high is not None
    assert start.low <= 6 * rest_cell_V <= start.high


def test_other_chemistries_have_no_charge_from_voltage() -> None:
    flat = Circuit(rest_V=lambda t: np.full_like(t, 6 * 3.3))
    assert of(reviewed(flat, made=pack(chemistry="lithium-iron-phosphate", minimum_cell_V=2.5)), "not_full") == []


def test_a_pack_used_up_falls_and_stays_down() -> None:
    def falls(t: Floats) -> Floats:
        return 6.0 * np.interp(t, [0.0, 30.0, 50.0, LENGTH_S], [3.8, 3.75, 3.45, 3.4])

    result = reviewed(Circuit(rest_V=falls))
    empty = one(result, "pack_empty", "pack_empty")
    crosses_s = 30.0 + 20.0 * 0.15 / 0.30
    assert empty.start_s == pytest.approx(crosses_s, abs=4.0)
    for sag in (f for f in result.findings if f.check == "pack_sag"):
        assert (sag.cause, sag.consequence_of) == ("pack_empty", empty.id)


def test_a_deep_sag_that_comes_back_is_not_empty() -> None:
    heavy = Circuit(rest_V=lambda t: np.full_like(t, 6 * 3.75), lead_mohm=lambda t: 0.0 * t)
    assert of(reviewed(heavy), "pack_empty") == []


@pytest.mark.parametrize(("factor", "named"), [(1.0, False), (1.2, False), (3.5, True)])
def test_the_lowest_cell_against_the_pack(factor: float, named: bool) -> None:
    truth = Circuit().play()
    sag = (REST_V - truth["pack_voltage_V"]) / (5.0 + factor)
    truth["cell_min_V"] = REST_V / 6 - factor * sag
    truth["pack_voltage_V"] = truth["pack_voltage_V"] + 0.0
    recorded = log(truth, ("pack_voltage_V", "pack_current_A", "cell_min_V"))
    result = review(recorded, build(), pack(), with_advice=False)
    found = of(result, "weak_cell")
    assert bool(found) is named
    if named:
        assert found[0].part == "pack"
        assert found[0].measured is not None and found[0].limit is not None
        assert found[0].measured / found[0].limit == pytest.approx(factor, rel=0.15)


def test_every_sentence_is_whole() -> None:
    circuits = [
        Circuit(open_lead=((AT_S, AT_S + 0.08),), decay_s=0.3),
        Circuit(open_weapon=((AT_S, LENGTH_S),)),
        Circuit(open_weapon=((AT_S, AT_S + 0.15),), decay_s=0.05),
        Circuit(lead_mohm=lambda t: np.where(t > AT_S, 12.0, 0.0)),
    ]
    for circuit in circuits:
        for finding in reviewed(circuit).findings:
            assert finding.sentence.endswith(".") and finding.sentence[0].isupper()
            assert "{" not in finding.sentence and "None" not in finding.sentence
