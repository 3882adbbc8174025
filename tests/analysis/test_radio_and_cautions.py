"""Radio pulses and the usual cautions against tests/reference/rc_signal_and_rail.csv and safety_cautions.csv."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from analysis import wording
from ingest.formats import read_log

REFERENCE = Path(__file__).parents[1] / "reference"


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


PULSES = [row for row in rows("rc_signal_and_rail.csv") if row["quantity"] == "normalised_command"]


def test_a_logged_pulse_is_the_command_that_common_practice_makes_of_it(tmp_path: Path) -> None:
    """(pulse - 1500)/500, rows 08-014 to 08-018: common practice, no source."""
    assert len(PULSES) == 5
    made = [(float(row["pulse_us"]), 100.0 * float(row["value"])) for row in PULSES for _ in range(20)] * 4
    text = "".join(f"{k * 0.02:.2f},25.0,{pulse:.0f}\n" for k, (pulse, _) in enumerate(made))
    path = tmp_path / "radio.csv"
    path.write_text("Time [s],Pack voltage [V],Weapon command [us]\n" + text)
    (stream,) = read_log(path).streams
    assert stream.table["weapon_command_pct"].to_pylist() == pytest.approx([percent for _, percent in made])


@pytest.mark.parametrize(
    ("topic", "words"),
    [
        ("power isolation", ("main disconnect", "mechanical", "within reach")),
        ("indicator", ("light",)),
        ("moving parts", ("weapon restrained",)),
        ("charging", ("charge", "watched", "charging place")),
        ("pack condition", ("hot", "puffed", "punctured", "crushed")),
    ],
)
def test_every_review_carries_the_caution_of_each_topic(topic: str, words: tuple[str, ...]) -> None:
    cautions = [row for row in rows("safety_cautions.csv") if row["topic"] == topic]
    assert cautions
    said = " ".join((*wording.CAUTIONS, wording.SPINNING_CAUTION)).lower()
    assert [word for word in words if word not in said] == []


def test_the_cautions_defer_to_those_that_the_reference_defers_to() -> None:
    authorities = " ".join(row["defers_to"] for row in rows("safety_cautions.csv"))
    said = " ".join(wording.CAUTIONS)
    for authority, ours in (("event rules", "event rules"), ("maker", "makers' data"), ("local", "local codes")):
        assert authority in authorities
        assert ours in said
