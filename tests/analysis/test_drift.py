"""What the robot changed over made-up seasons: since when, how sure, and what changed in the build there."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.drift import build_changes, drifts
from ingest.builds import Build, BuildHead, Contact, PackSlot, Wire
from tests.analysis.made_rows import row

LEAD = ("harness_resistance_mohm", "battery_lead")


def build(name: str, gauge: str, *contacts: Contact) -> Build:
    wire = Wire.model_validate({"id": "battery_lead", "from": "pack", "to": "weapon", "gauge": gauge})
    return Build(build=BuildHead(id=name), packs=(PackSlot(cells=6),), wires=(wire,), contacts=contacts)


FOUR = (LEAD, ("no_load_A", "weapon"), ("spin_up_s", "weapon"), ("link_quality_pct", "link"))
BUILDS = {
    "a": build("a", "14 AWG"),
    "b": build("b", "12 AWG", Contact(id="screw", kind="terminal", resistance_mohm=0.25)),
}


def test_since_match_6_and_what_changed_then() -> None:
    values = [5.1, 5.0, 5.2, 5.1, 5.05, 3.7, 3.8, 3.75, 3.72, 3.78, 3.7, 3.76]
    rows = [row(f"m{i + 1}", {LEAD: v}, build="a" if i < 5 else "b") for i, v in enumerate(values)]
    found = drifts(rows, BUILDS)[0]
    assert found.verdict == "changed"
    assert found.since == "m6"
    assert found.before == pytest.approx(5.1)
    assert found.after == pytest.approx(3.75)
    assert found.low is not None and found.high is not None and found.low < -1.3 < found.high
    assert found.builds == ("a", "b")
    assert found.build_changes == ("wire battery_lead: gauge 14 AWG -> 12 AWG", "contact screw added")


def test_a_step_without_a_change_of_build_names_none() -> None:
    rows = [row(f"m{i}", {LEAD: 5.0 + 0.01 * i + (3.0 if i > 5 else 0.0)}) for i in range(12)]
    found = drifts(rows, BUILDS)[0]
    assert (found.verdict, found.since, found.builds, found.build_changes) == ("changed", "m6", (), ())


def test_a_slow_drift() -> None:
    rows = [row(f"m{i}", {("no_load_A", "weapon"): 15.0 + 0.3 * i}) for i in range(10)]
    found = drifts(rows, {})[0]
    assert found.verdict in ("changed", "drifts")
    assert found.per_match == pytest.approx(0.3)


@pytest.mark.parametrize("n", [3, 6, 12])
def test_quiet_seasons_raise_no_alarm(n: int) -> None:
    """500 seasons of four figures without any change: an alarm anywhere in at most 5 % (+2.5 s.e.)."""
    rng = np.random.default_rng(7)
    alarms = 0
    repeats = 500
    for _ in range(repeats):
        rows = [row(f"m{i}", dict(zip(FOUR, rng.normal(50, 2, 4), strict=True))) for i in range(n)]
        alarms += any(found.verdict in ("changed", "drifts") for found in drifts(rows, {}))
    assert alarms / repeats <= 0.05 + 2.5 * math.sqrt(0.05 * 0.95 / repeats)


@pytest.mark.parametrize(("n", "least"), [(3, 0.0), (6, 0.0), (12, 0.9)])
def test_a_real_step_in_the_middle_is_found_where_there_are_matches_for_it(n: int, least: float) -> None:
    """100 seasons in which one of four figures steps by 4 sigma halfway: in twelve matches it is found in nine of ten
    and placed within a match; in three nothing can be said.
    """
    rng = np.random.default_rng(9)
    found, near = 0, []
    for _ in range(100):
        rows = []
        for i in range(n):
            values = dict(zip(FOUR, rng.normal(50, 2, 4), strict=True))
            values[LEAD] += 8.0 * (i >= n // 2)
            rows.append(row(f"m{i}", values))
        lead = next(d for d in drifts(rows, {}) if (d.metric, d.part) == LEAD)
        shown = lead.verdict in ("changed", "drifts")
        found += shown
        if shown:
            near.append(abs(int(str(lead.since)[1:]) - n // 2) <= 1)
    assert found / 100 >= least
    assert n > 3 or found == 0
    assert not near or np.mean(near) >= 0.9


def test_what_one_look_would_show_is_possible_and_no_claim() -> None:
    """Among eight quiet figures a step of p about 0.02 is not shown, and said to be worth a look."""
    rng = np.random.default_rng(12)
    quiet = rng.normal(50, 2, (8, 10))
    rows = []
    for i in range(10):
        values: dict[str | tuple[str, str], float] = {
            ("no_load_A", f"motor{k}"): float(series[i]) for k, series in enumerate(quiet)
        }
        values[LEAD] = (5.0 if i < 3 else 6.0) + 0.1 * (i % 3)
        rows.append(row(f"m{i}", values))
    found = next(d for d in drifts(rows, {}) if d.metric == LEAD[0])
    assert found.p is not None and found.p <= 0.05
    assert found.p_adjusted is not None and found.p_adjusted > 0.05
    assert (found.verdict, found.since) == ("possible", "m3")


def test_too_few_matches_and_gaps() -> None:
    rows = [row(f"m{i}", {LEAD: 5.0} if i != 2 else {}) for i in range(5)]
    found = drifts(rows, {})[0]
    assert found.verdict == "too few"
    assert found.matches == ("m0", "m1", "m3", "m4")
    assert drifts([], {}) == ()


def test_figures_at_other_conditions_stay_out() -> None:
    rows = [row(f"m{i}", {("no_load_A", "weapon"): 15.0}, at="motor current") for i in range(7)]
    rows += [row("other", {("no_load_A", "weapon"): 3.0}, at="input current")]
    assert "other" not in drifts(rows, {})[0].matches


def test_build_changes_lists_what_was_added_removed_and_altered() -> None:
    assert build_changes(BUILDS["a"], BUILDS["a"]) == ()
    assert "contact screw removed" in build_changes(BUILDS["b"], BUILDS["a"])
