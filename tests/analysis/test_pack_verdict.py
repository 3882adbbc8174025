"""Reuse, watch, retire: the figures that decide, on simulated packs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.pack_verdict import PackVerdict, pack_verdict
from analysis.review import review_data
from ingest.builds import Match, Noted
from tests.analysis import resimulated as rs

P1 = rs.PACKS["p1"]


def verdict(cells: tuple[float, ...], match: Match | None = None) -> PackVerdict:
    data = rs.logged(rs.run(rs.BUILDS["b"], replace(P1, cell_mohm=cells, start_degC=25.0), rs.script(4)))
    data = replace(data, match=match)
    return pack_verdict(data, review_data(data, with_advice=False))


@pytest.mark.parametrize(
    ("cells", "word", "reason"),
    [
        (P1.cell_mohm, "reuse", "mΩ at 1 s"),
        (tuple(1.5 * r for r in P1.cell_mohm), "watch", "new"),
        (tuple(2.2 * r for r in P1.cell_mohm), "retire", "times the resistance it had when new"),
        ((4.03, 4.08, 4.13, 12.0, 4.1, 4.08), "retire", "cell 4 has"),
    ],
)
def test_resistance_and_spread_decide(cells: tuple[float, ...], word: str, reason: str) -> None:
    found = verdict(cells)
    assert found.word == word
    assert any(reason in text for text in found.reasons)
    assert found.would_change


def test_what_a_person_saw_overrules_the_log() -> None:
    noted = Noted(part="pack", quantity="puffed", value=1.0, unit="1")
    found = verdict(P1.cell_mohm, Match(id="m1", noted=(noted,)))
    assert found.word == "retire"
    assert found.reasons == ("noted by hand: puffed",)
    assert found.no_charge


def test_a_log_without_the_pack_says_not_checked() -> None:
    data = rs.logged(rs.run(rs.BUILDS["b"], P1, rs.script(4)))
    less = {n: s for n, s in data.signals.items() if not n.startswith(("pack_voltage", "cell"))}
    data = replace(data, signals=less)
    assert pack_verdict(data, review_data(data, with_advice=False)).word == "not checked"
