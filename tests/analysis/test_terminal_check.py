"""Terminals by their drop, motors by their insulation class.

7.5 mV at 25 to 43 A: MIL-DTL-83454A, paragraph 4.5.3 and table VIII. Class limits: IEC 60085, in
tests/reference/motor.csv.
The circuit is solved by Ohm's law in tests/synthetic.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis.build_check import check_build
from analysis.checks import run_checks
from analysis.findings import Finding, NotChecked, Passed
from analysis.match_data import MatchData
from analysis.motors import winding_mohm_at
from analysis.review import prepare, review
from analysis.terminal_check import check
from analysis.wording.sentences import check_sentence
from ingest.builds import Build
from tests.synthetic.circuit_truth import EVERYTHING, LENGTH_S, Circuit, after, build, log, pack

LIMIT_MOHM = 7.5 / 43.0  # of one terminal
RUN_MOHM = 2.6  # of the weapon's lead in the circuit, out and back, with whatever is in it


def wired(copper_mohm: float, **terminal: object) -> Build:
    """The circuit's build with as much copper in the weapon's lead, as somebody measured it."""
    made = build()
    per_m = copper_mohm / (2 * 0.16)
    wires = tuple(
        w.model_copy(update={"resistance_mohm_per_m": per_m}) if w.id == "weapon_lead" else w for w in made.wires
    )
    contacts = tuple(c.model_copy(update=terminal) if c.kind == "terminal" and terminal else c for c in made.contacts)
    return made.model_copy(update={"wires": wires, "contacts": contacts})


def row(made: Build, circuit: Circuit | None = None) -> Finding | Passed | NotChecked:
    data = prepare(log((circuit or Circuit()).play(), EVERYTHING), made, pack())
    (found,) = check(data).rows
    assert found.part == "weapon_terminal" and not hasattr(found, "method")
    return found  # type: ignore[return-value]


def test_a_sound_terminal_passes_where_the_copper_is_known() -> None:
    found = row(wired(RUN_MOHM - 0.5 * LIMIT_MOHM))
    assert isinstance(found, Passed)
    assert found.limit == 7.5 and found.unit == "mV" and "MIL-DTL-83454A" in found.rating_source
    assert found.high is not None and found.high <= 7.5


def test_a_bad_terminal_is_over_and_says_how_much_it_drops() -> None:
    found = row(wired(RUN_MOHM - 0.5 * LIMIT_MOHM), Circuit(weapon_mohm=after(0.0, 9.0)))
    assert isinstance(found, Finding) and found.verdict == "over"
    assert found.low is not None and found.high is not None
    assert found.low <= 43.0 * (9.0 + 0.5 * LIMIT_MOHM) <= found.high


@pytest.mark.parametrize("copper_mohm", [1.9, 2.2])
def test_what_the_copper_may_hide_is_not_judged(copper_mohm: float) -> None:
    """Warm copper has up to 71 % more: the terminal may be sound or bad."""
    assert winding_mohm_at(copper_mohm, 183.0) > RUN_MOHM
    found = row(wired(copper_mohm))
    assert isinstance(found, NotChecked) and "hides it" in found.reason


def test_less_than_the_copper_alone_is_told() -> None:
    found = row(wired(4.0))
    assert isinstance(found, NotChecked) and "less than its copper" in found.reason


def test_other_contacts_between_the_taps_and_no_taps() -> None:
    other = build().contacts[0]
    made = wired(2.5)
    wires = tuple(
        w.model_copy(update={"through": ("weapon_terminal", "spare")}) if w.id == "weapon_lead" else w
        for w in made.wires
    )
    spare = other.model_copy(update={"id": "spare"})
    found = row(made.model_copy(update={"wires": wires, "contacts": (*made.contacts, spare)}))
    assert isinstance(found, NotChecked) and "spare lie between" in found.reason
    data = prepare(log(Circuit().play(), ("pack_voltage_V", "pack_current_A")), wired(2.5), pack())
    (untapped,) = check(data).rows
    assert isinstance(untapped, NotChecked) and "17.2 mV at 43 A" in untapped.reason


@pytest.mark.parametrize(("r_mohm", "kind"), [(0.1, Passed), (0.4, Finding)])
def test_without_a_log_the_stated_resistance_is_held(r_mohm: float, kind: type) -> None:
    rows = [
        r
        for r in check_build(wired(2.5, resistance_mohm=r_mohm), pack()).rows
        if getattr(r, "check", "") == "contact_drop"
    ]
    (found,) = rows
    assert isinstance(found, kind)
    if isinstance(found, Finding):
        assert found.verdict == "note" and found.measured == pytest.approx(17.2)
        assert "17.2 mV of 7.5 mV" in check_sentence(found)
    unknown = check_build(wired(2.5, resistance_mohm=None), pack()).rows
    assert any(isinstance(r, NotChecked) and r.check == "contact_drop" for r in unknown)


def test_every_terminal_is_answered_for_in_a_review() -> None:
    document = review([log(Circuit().play(), EVERYTHING)], wired(RUN_MOHM - 0.5 * LIMIT_MOHM), pack()).to_dict()
    named = [
        r["part"]
        for kind in ("passed", "not_checked", "findings")
        for r in document[kind]
        if r.get("check") == "contact_drop"
    ]
    assert named == ["weapon_terminal"]


# Motors


def classes() -> dict[str, float]:
    path = Path(__file__).parents[1] / "reference" / "motor.csv"
    with path.open(newline="") as stream:
        rows = [r for r in csv.reader(stream) if len(r) > 2 and r[1] == "insulation_class_limit"]
    return {row[17]: float(row[18]) for row in rows}


def motor(hottest_degC: float, **figures: object) -> MatchData:
    made = build()
    motors = tuple(m.model_copy(update=figures) for m in made.motors)
    t = np.arange(0.0, LENGTH_S, 0.01)
    heat = np.interp(t, [0.0, 40.0], [30.0, hottest_degC]) - 0.1 * np.sin(t) ** 2  # a sensor that lives
    truth = log(Circuit().play(), EVERYTHING, extra={"weapon_motor_temp_degC": heat})
    return prepare(truth, made.model_copy(update={"motors": motors}), pack())


def judged(data: MatchData) -> Finding | Passed | NotChecked:
    (found,) = [r for r in run_checks(data).rows if getattr(r, "check", "") == "motor_temperature"]
    return found  # type: ignore[return-value]


@pytest.mark.parametrize(("letter", "limit"), sorted(classes().items()))
def test_a_motor_is_held_against_its_class(letter: str, limit: float) -> None:
    cool, hot = (
        judged(motor(limit - 45.0, insulation_class=letter)),
        judged(motor(limit + 6.0, insulation_class=letter)),
    )
    assert isinstance(cool, Passed) and cool.limit == limit
    assert f"class {letter}" in cool.rating_source and "IEC 60085" in cool.rating_source
    assert isinstance(hot, Finding)
    assert hot.verdict == ("close" if letter in "NR" else "over")  # N and R are recalled: never over by themselves


def test_near_the_class_the_hot_spot_may_be_over() -> None:
    found = judged(motor(145.0, insulation_class="F"))
    assert isinstance(found, Finding) and found.verdict == "close"
    assert any("hot spot" in text for text in found.evidence)


def test_a_stated_limit_goes_before_the_class_and_without_either_it_is_asked() -> None:
    stated = judged(motor(130.0, insulation_class="F", limit_degC=120.0))
    assert isinstance(stated, Finding) and stated.limit == 120.0
    open_ = judged(motor(130.0))
    assert isinstance(open_, NotChecked) and "insulation_class" in open_.mend
