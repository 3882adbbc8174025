"""The first suggestion for random robots, held against the robot simulated again with it (an independent generator).

benchmarks/advice_claims.py counts over many more.
"""

from __future__ import annotations

import pytest

from tests.analysis import advice_cases as cases


# A limit, two packs that leave a cutoff near, a ramp that was learned from a lighter spin-up, a joint.
@pytest.mark.parametrize("seed", [100, 16, 33, 39, 123])
def test_what_a_suggestion_says_comes_true(seed: int) -> None:
    told = cases.tried(cases.random_robot(seed))
    assert not isinstance(told, str), told
    assert told.cleared
    assert not told.still and not told.new
    assert told.holds is True
