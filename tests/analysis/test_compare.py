"""Comparisons of made-up seasons: what is claimed, what is not, and what else differs."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from scipy.stats import mannwhitneyu

from analysis.compare import Comparison, compare, grouped
from analysis.metric_kinds import CATALOGUE, Absent
from analysis.season_rows import MatchRow
from analysis.statistics import fewest_each
from tests.analysis.made_rows import row

SCHEMA = Path(__file__).resolve().parents[2] / "dashboard" / "schemas" / "compare.schema.json"
RMS, OHM = "rms_10s_A", "pack_resistance_matched_mohm"


def builds(first: list[float], second: list[float], metric: str = RMS) -> Comparison:
    rows = [row(f"m{i}", {metric: v}, build="a") for i, v in enumerate(first)]
    rows += [row(f"n{i}", {metric: v}, build="b") for i, v in enumerate(second)]
    return compare(grouped(rows, "build"), "build", [metric])


def test_a_difference_that_is_there_is_shown_with_its_size() -> None:
    found = builds([40.0, 41.0, 42.0, 43.0], [50.0, 51.5, 52.0, 53.0]).rows[0]
    assert found.verdict == "differs"
    assert found.p == pytest.approx(2 / 70)
    assert found.shift == pytest.approx(10.0, abs=0.6)
    assert found.low is not None and found.low > 0
    assert "b is 10.0 A above a, the bad way" in found.sentence


def test_three_against_three_never_claims_and_says_why() -> None:
    found = builds([40.0, 41.0, 42.0], [90.0, 91.0, 92.0])
    assert found.rows[0].verdict == "no difference shown"
    assert found.rows[0].achieved_pct == pytest.approx(90.0)
    assert any("takes 4 against 4" in note for note in found.notes)
    assert "the same" not in json.dumps(found.to_dict()).replace("With the same", "").replace("all the same", "")


@pytest.mark.parametrize("n", [3, 6, 12])
def test_error_rates_over_a_whole_comparison(n: int) -> None:
    """500 seasons of four metrics without any difference: a false claim anywhere in at most 5 % (+2.5 s.e.)."""
    names = [RMS, "pack_minimum_V", "energy_per_active_second_J", "spin_up_s"]
    rng = np.random.default_rng(n)
    false = 0
    repeats = 500
    for _ in range(repeats):
        rows = [
            row(f"m{i}", dict(zip(names, rng.normal(50, 5, 4), strict=True)), build="a" if i < n else "b")
            for i in range(2 * n)
        ]
        made = compare(grouped(rows, "build"), "build", names)
        assert made.comparisons == 4
        false += any(r.verdict == "differs" for r in made.rows)
    assert false / repeats <= 0.05 + 2.5 * math.sqrt(0.05 * 0.95 / repeats)


@pytest.mark.parametrize(("n", "least", "most"), [(3, 0.0, 0.0), (6, 0.75, 0.92), (12, 0.97, 1.0)])
def test_a_real_difference_of_two_sigma(n: int, least: float, most: float) -> None:
    """500 seasons each, held to SciPy's exact test on the same draws. The interval's cover is in test_statistics.py."""
    rng = np.random.default_rng(20 + n)
    x, y = rng.normal(50, 5, (500, n)), rng.normal(60, 5, (500, n))
    ours = [builds(list(a), list(b)).rows[0] for a, b in zip(x, y, strict=True)]
    shown = np.array([one.verdict == "differs" for one in ours])
    theirs = np.array([mannwhitneyu(b, a, method="exact").pvalue <= 0.05 for a, b in zip(x, y, strict=True)])
    assert np.array_equal(shown, theirs)
    assert least <= shown.mean() <= most


def test_a_real_difference_is_found_as_often_as_the_needed_matches_promise() -> None:
    rng = np.random.default_rng(8)
    first = builds([45.0, 48.0, 50.0, 52.0, 55.0], [48.5, 51.5, 53.5, 55.5, 58.5]).rows[0]
    assert first.verdict == "no difference shown"
    assert first.needed is not None
    gap, spread, n = 3.5, 3.81, first.needed  # the shift and the spread of these samples
    shown = [
        builds(list(rng.normal(50, spread, n)), list(rng.normal(50 + gap, spread, n))).rows[0].verdict == "differs"
        for _ in range(100)
    ]
    assert np.mean(shown) >= 0.7  # 80 % is promised; three standard errors of a hundred seasons are 12 %


def test_more_questions_make_each_harder() -> None:
    values = {RMS: 40.0, "pack_minimum_V": 20.0}
    rows = [row(f"m{i}", {k: v + 0.1 * i for k, v in values.items()}, build="a") for i in range(4)]
    rows += [row(f"n{i}", {RMS: 60.0 + i, "pack_minimum_V": 20.05 + 0.1 * i}, build="b") for i in range(4)]
    one = compare(grouped(rows, "build"), "build", [RMS])
    two = compare(grouped(rows, "build"), "build", [RMS, "pack_minimum_V"])
    assert one.rows[0].verdict == "differs"
    assert two.rows[0].verdict == "no difference shown"
    assert two.rows[0].p_adjusted == pytest.approx(2 * 2 / 70)
    assert any("share one chance" in note for note in two.notes)
    assert fewest_each(1) == 4
    assert fewest_each(10) == 6  # 2/C(12, 6) = 0.0022 is the first under 0.005


def test_paired_by_the_packs_that_both_builds_ran() -> None:
    """Packs lie 10 mΩ apart, builds 2 mΩ: only within a pack is the build's share plain."""
    rows = []
    for pack, base in (("p1", 20.0), ("p2", 30.0), ("p3", 41.0)):
        rows.append(row(f"a{pack}", {OHM: base}, build="a", pack=pack))
        rows.append(row(f"b{pack}", {OHM: base + 2.0}, build="b", pack=pack))
    found = compare(grouped(rows, "build"), "build", [OHM]).rows[0].paired
    assert found is not None
    assert found.ids == ("p1", "p2", "p3")
    assert found.shift == pytest.approx(2.0)
    assert found.least_p == pytest.approx(0.25)
    words = compare(grouped(rows, "build"), "build", [OHM]).rows[0].sentence
    assert (
        "With the same pack on both (p1, p2, p3): +2.0 mΩ, from +2.0 mΩ to +2.0 mΩ with 75 % (p 0.25 by itself)."
        in words
    )


def test_confounded_with_what_never_meets() -> None:
    rows = [row(f"m{i}", {OHM: 24.0 + i}, build="a", pack="p1") for i in range(3)]
    rows += [row(f"n{i}", {OHM: 30.0 + i}, build="b", pack="p2") for i in range(3)]
    found = compare(grouped(rows, "build"), "build", [OHM]).rows[0]
    assert found.confounded == ("pack (p1 against p2)",)
    assert found.paired is None
    assert "Confounded with pack (p1 against p2)." in found.sentence


def test_confounded_with_temperature_and_charge_and_opponent() -> None:
    def side(name: str, degC: float, pct: float, opponent: str) -> list[MatchRow]:
        values: dict[str | tuple[str, str], float] = {
            "pack_minimum_V": 20.0,
            "pack_temp_mean_degC": degC,
            "charge_state_start_pct": pct,
        }
        return [row(f"{name}{i}", values, build=name, opponent=opponent) for i in range(3)]

    rows = side("a", 27.0, 99.0, "Old Tuppence") + side("b", 13.0, 90.0, "Flint Hen")
    found = compare(grouped(rows, "build"), "build", ["pack_minimum_V"]).rows[0]
    assert found.confounded == (
        "temperature (27 against 13 °C)",
        "charge at the start (99 against 90 %)",
        "opponent (Old Tuppence against Flint Hen)",
    )
    bare = [row("x", {"pack_minimum_V": 20.0}, build="a"), row("y", {"pack_minimum_V": 20.0}, build="b")]
    unknown = compare(grouped(bare, "build"), "build", ["pack_minimum_V"]).rows[0].confounded
    assert "temperature (not known)" in unknown
    assert "charge at the start (not known)" in unknown


def test_packs_in_unlike_builds_are_confounded_for_what_the_build_moves() -> None:
    rows = [
        row("m1", {RMS: 40.0, OHM: 24.0}, build="a", pack="p1"),
        row("m2", {RMS: 41.0, OHM: 20.0}, build="b", pack="p2"),
    ]
    found = {r.metric: r for r in compare(grouped(rows, "pack"), "pack", [RMS, OHM]).rows}
    assert "build (a against b)" in found[RMS].confounded
    assert found[OHM].confounded == ()


def test_two_matches_by_their_own_intervals() -> None:
    first, second = row("m1", {RMS: 40.0}, half=1.0), row("m2", {RMS: 43.0}, half=1.0)
    found = compare(grouped([first, second], "match"), "match", [RMS])
    assert found.rows[0].low == pytest.approx(3 - math.sqrt(2))
    assert found.rows[0].verdict == "differs"
    assert found.rows[0].needed is None
    assert any("not why" in note for note in found.notes)
    near = compare(grouped([first, row("m2", {RMS: 41.0}, half=1.0)], "match"), "match", [RMS]).rows[0]
    assert near.verdict == "no difference shown"


def test_a_bound_alone_tells_nothing_apart() -> None:
    bound = row("m2", {RMS: 30.0}, half=math.inf)
    found = compare(grouped([row("m1", {RMS: 40.0}, half=1.0), bound], "match"), "match", [RMS])
    assert found.rows[0].p is None
    assert found.rows[0].verdict == "not compared"
    assert "only a bound" in found.rows[0].sentence
    document = found.to_dict()
    assert document["rows"][0]["low"] is None
    json.dumps(document, allow_nan=False)


def test_loose_figures_and_unlike_conditions_stay_out() -> None:
    rows = [row(f"m{i}", {OHM: 24.0 + i}, build="a", half=0.2, at="20 A") for i in range(3)]
    rows += [
        row("n1", {OHM: 30.0}, build="b", half=0.2, at="20 A"),
        row("n2", {OHM: 31.0}, build="b", half=20.0, at="20 A"),
    ]
    rows += [row("n3", {OHM: 90.0}, build="b", half=0.2, at="50 A")]
    found = compare(grouped(rows, "build"), "build", [OHM]).rows[0]
    assert [f.match for f in found.second_figures] == ["n1"]


def test_what_is_not_known_says_why() -> None:
    lost = (Absent(OHM, "pack", "pack_temp_degC was not logged", "log pack_temp_degC"),)
    rows = [row("m1", {OHM: 24.0}, build="a"), row("m2", {}, build="b", absent=lost)]
    found = compare(grouped(rows, "build"), "build", [OHM]).rows[0]
    assert found.verdict == "not compared"
    assert found.sentence == "Not compared: not known for b: pack_temp_degC was not logged."


def test_the_document_fits_its_schema() -> None:
    validator = Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8")))
    validator.validate(builds([40.0, 41.0, 42.0, 43.0], [50.0, 51.5, 52.0, 53.0]).to_dict())
    lost = compare(grouped([row("m1", {}, build="a"), row("m2", {}, build="b")], "build"), "build")
    validator.validate(lost.to_dict())
    assert len(lost.rows) == sum(about.headline for about in CATALOGUE.values())


def test_one_group_and_unknown_names_are_refused() -> None:
    rows = [row("m1", {RMS: 40.0})]
    with pytest.raises(ValueError, match="two groups"):
        compare(grouped(rows, "build"), "build")
    with pytest.raises(KeyError):
        grouped(rows, "build", ["zz"])
    with pytest.raises(KeyError):
        compare(grouped([rows[0], row("m2", {RMS: 41.0})], "match"), "match", ["zz"])
