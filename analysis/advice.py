"""Candidate changes."""

from __future__ import annotations

from analysis.findings import Advice, Review
from analysis.match_data import MatchData


def advise(data: MatchData, found: Review) -> tuple[Advice, ...]:
    return ()
