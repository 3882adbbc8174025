"""What the other matches of a build tell, from the rows that a season run kept: nothing is reviewed for it."""

from __future__ import annotations

from analysis.findings import Review
from analysis.match_data import MatchData
from analysis.season_keys import unchanged
from analysis.season_review import Reviewed, review_match
from analysis.season_rows import MatchRow
from analysis.season_tables import NotKept, kept
from analysis.signal import Measured
from analysis.spare import RMS, SERIOUS, Past
from analysis.spare_advice import with_spare
from ingest.season import Season

MOST = 40  # our choice: the latest so many matches of a build; reading their rows takes some tens of milliseconds


def review_with_past(season: Season, match_id: str) -> Reviewed:
    """Review one match of a season; its advice ends with the weight that all matches of its build allow to take out."""
    found = review_match(season, match_id)
    past = () if found.build is None else past_of_build(season, found.build.id, match_id)
    review: Review = found.review
    data: MatchData = found.data
    return Reviewed(data, with_spare(data, review, past), found.match, found.build, found.packs)


def past_of_build(season: Season, build_id: str, but: str) -> tuple[Past, ...]:
    """The other matches of that build whose kept rows still hold: neither their files nor this version have changed."""
    found = []
    for match_id, (build, key) in unchanged(season).items():
        if build != build_id or match_id == but:
            continue
        try:
            found.append(past_of(MatchRow.from_dict(kept(season, key))))
        except (NotKept, KeyError, TypeError):
            continue
        if len(found) == MOST:
            break
    return tuple(found)


def past_of(row: MatchRow) -> Past:
    """The figures of a kept row that say what its wires bore."""

    def of(name: str) -> dict[str, Measured]:
        return {m.part: Measured(m.value, m.low, m.high, m.basis) for m in row.metrics if m.name == name}

    serious = [f for f in row.findings if f["verdict"] in SERIOUS]
    parts = {part for f in serious for part in (f["part"], *f["could_be"])}
    return Past(row.match, of("wire_peak_standard_degC"), of(RMS), frozenset(parts))
