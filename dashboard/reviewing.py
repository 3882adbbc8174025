"""From a season (or bare files) to a Review: the one path that the commands and the pages share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.findings import Review
from analysis.match_data import MatchData
from analysis.review import prepare, review_data
from analysis.season_past import review_with_past
from analysis.season_review import review_match as review_bare
from analysis.season_review import settings_of, threshold_settings
from dashboard.reading_options import read_options
from ingest.builds import Build, Match, Pack, load_build, load_pack
from ingest.errors import UsageError
from ingest.formats import read_log
from ingest.season import Season

__all__ = ["Bench", "bare_pack", "review_files", "review_match", "settings_of", "threshold_settings"]


@dataclass(frozen=True, eq=False)
class Bench:
    """One match laid out: what it was reviewed from, and the review."""

    data: MatchData
    review: Review
    build: Build | None
    packs: tuple[Pack, ...]
    match: Match | None

    @property
    def pack(self) -> Pack | None:
        return self.packs[0] if self.packs else None


def review_match(season: Season, match_id: str, *, with_advice: bool = True) -> Bench:
    """Review one match of a season."""
    found = review_with_past(season, match_id) if with_advice else review_bare(season, match_id, with_advice=False)
    return Bench(found.data, found.review, found.build, found.packs, found.match)


def review_files(
    files: Sequence[str],
    build_file: str | None = None,
    pack_file: str | None = None,
    cells: int | None = None,
    *,
    reading: str | None = None,
    rate_Hz: float | None = None,
    dbc: str | None = None,
) -> Bench:
    """Review bare log files; without a build the facts only."""
    build = load_build(build_file) if build_file else None
    packs: tuple[Pack, ...] = (load_pack(pack_file),) if pack_file else ()
    if not packs and cells is not None:
        packs = (bare_pack(cells),)
    options = read_options(build, None, reading, rate_Hz, dbc)
    logs = [read_log(file, options=options) for file in files]
    data = prepare(logs, build, packs, None)
    return Bench(data, review_data(data), build, packs, None)


def bare_pack(cells: int) -> Pack:
    """A lithium-polymer pack of which only the cell count is known (--cells)."""
    if not 1 <= cells <= 60:
        raise UsageError("--cells must be from 1 to 60", found=cells)
    return Pack(id="pack", cells=cells, capacity_Ah=None, source_name="--cells")
