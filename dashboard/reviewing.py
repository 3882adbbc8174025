"""From a season (or bare files) to a Review: the one path that the commands and the pages share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.findings import Review
from analysis.match_data import MatchData
from analysis.review import prepare, review_data
from analysis.season_past import review_with_past
from analysis.season_review import review_match as review_bare
from analysis.season_review import settings_of, threshold_settings
from ingest.builds import Build, Match, Pack, load_build, load_pack
from ingest.errors import UsageError, nearest
from ingest.formats import ReadOptions, read_log
from ingest.readings import Reading, load_reading
from ingest.season import Season

__all__ = [
    "Bench", "bare_pack", "parts_of", "read_options", "review_files", "review_match", "settings_of",
    "threshold_settings",
]  # fmt: skip

FILE_NAME_OF_READING = ".toml"


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


def parts_of(build: Build | None) -> ReadOptions:
    """What a build says about columns: its parts, and the pole pairs that electrical speed needs."""
    if build is None:
        return ReadOptions()
    poles = {m.controller: m.pole_pairs for m in build.motors if m.pole_pairs}
    poles |= {m.id: m.pole_pairs for m in build.motors if m.pole_pairs}
    return ReadOptions(parts=build.part_kinds(), pole_pairs=poles)


def read_options(
    build: Build | None = None,
    season: Season | None = None,
    reading: str | None = None,
    rate_Hz: float | None = None,
    dbc: str | None = None,
) -> ReadOptions:
    """How files are to be read. reading: a .toml file, or the name of one in the season."""
    base = parts_of(build)
    saved = tuple(season.readings()) if season is not None else ()
    chosen: Reading | None = None
    if reading is not None:
        if Path(reading).suffix == FILE_NAME_OF_READING or Path(reading).exists():
            chosen = load_reading(reading)
        else:
            named = {r.name: r for r in saved}
            if reading not in named:
                raise UsageError(f"there is no reading {reading!r}", mend=nearest(reading, named))
            chosen = named[reading]
    if rate_Hz is not None and not rate_Hz > 0:
        raise UsageError("--rate must be above zero", found=rate_Hz)
    return ReadOptions(
        reading=chosen,
        readings=saved,
        rate_Hz=rate_Hz,
        dbc=Path(dbc) if dbc else None,
        parts=base.parts,
        pole_pairs=base.pole_pairs,
    )


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
