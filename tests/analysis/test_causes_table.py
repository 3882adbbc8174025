"""The causes against labelled matches that share no code with the analysis: the subset that a test can carry.

Source of the labels: tests/synthetic/scenarios (physics stated there; parameters are our choice). The full table is
docs/causes.md, made by `python -m benchmarks.causes`.
"""

from __future__ import annotations

import pytest

from analysis.review import review
from tests.synthetic.scenarios.catalogue import ci_subset
from tests.synthetic.scenarios.score import Table, score

WANTED_RECALL = 0.95
WANTED_FALSE_ALARMS = 0.1


@pytest.fixture(scope="module")
def table() -> Table:
    return score(ci_subset(), lambda logs, build, pack, match: review(logs, build, pack, match, with_advice=False))


def test_recall(table: Table) -> None:
    assert table.recall() >= WANTED_RECALL, "\n".join(table.failures())


def test_false_alarms(table: Table) -> None:
    assert table.false_alarms_per_match <= WANTED_FALSE_ALARMS, "\n".join(table.failures())
    assert table.healthy_false_alarms_per_match <= WANTED_FALSE_ALARMS, "\n".join(table.failures())


def test_the_forbidden_twin_is_never_certain(table: Table) -> None:
    assert table.twins == 0, "\n".join(table.failures())


def test_no_cause_is_lost(table: Table) -> None:
    """With two to four events of a cause here, half is the most that chance may take; the full table holds 0.85."""
    assert [cause for cause in table.causes if cause and table.recall(cause) < 0.5] == []
