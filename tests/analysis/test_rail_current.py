"""The regulator's load is held against its rating by what was logged on the rail, not by what its input drew."""

from __future__ import annotations

import numpy as np

from analysis.changes import changed
from analysis.replay import replay
from analysis.review import review_data
from tests.analysis import resimulated as rs


def test_the_rail_s_worst_is_that_of_the_rail() -> None:
    """Against every window of a tenth of a second, one by one. The supply lead carries a fifth of it at four times
    the volts, and its current is made from the rail's."""
    data = rs.logged(rs.run(rs.BUILDS["b"], rs.PACKS["p1"], rs.script(4)))
    found = review_data(data, with_advice=False)
    rail = data.inside("receiver_rail_current_A")
    assert rail is not None and data.build is not None
    n = round(0.1 / rail.period_s)
    worst = max(float(np.sqrt(np.mean(rail.x[k : k + n] ** 2))) for k in range(len(rail) - n))
    row = next(p for p in found.passed if p.check == "rail_current")
    assert abs(row.measured - worst) <= 0.02 * worst
    again = replay(data, changed(data.build, data.pack, ["fuse.weapon_fuse.rated_A=80"]), found).after
    assert again is not None
    assert next(p for p in again.passed if p.check == "rail_current").measured == row.measured
