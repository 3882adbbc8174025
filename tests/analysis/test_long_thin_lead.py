"""A long thin battery lead that warms by 140 K in a match: its copper is all that the taps see, and no joint is bad.

The robot is the demo's simulation, which shares no code with the analysis; it has no fault but the lead and one cell.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.findings import Review
from analysis.review import review_data
from tests.analysis import resimulated as rs


@pytest.fixture(scope="module")
def found() -> Review:
    build = rs.gauge(rs.BUILDS["b"], "battery_lead", 18, 695.0)
    cells = list(rs.PACKS["p3"].cell_mohm)
    cells[4] = 8.6
    return review_data(rs.logged(rs.run(build, replace(rs.PACKS["p3"], cell_mohm=tuple(cells)), rs.script(8))))


def test_no_joint_or_fuse_is_blamed(found: Review) -> None:
    assert [f.sentence for f in found.findings if f.check in ("joint", "power")] == []
    assert {f.cause for f in found.findings} >= {"weak_cell", "thin_wire"}


def test_the_lead_is_what_to_change(found: Review) -> None:
    first = found.advice[0]
    assert first.proved and first.change.startswith("wire.battery_lead.gauge = ")
    over = {f.id for f in found.findings if f.check == "controller_cutoff"}
    assert over and over <= set(first.clears)
