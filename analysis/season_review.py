"""One match of a season, reviewed: what the commands, the pages and the season run all call."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.findings import Review
from analysis.match_data import MatchData
from analysis.review import prepare, review_data
from analysis.settings import ABOUT, DEFAULTS, Settings, with_overrides
from ingest.builds import Build, Match, Pack
from ingest.errors import DescriptionError, UsageError
from ingest.season import Season
from ingest.season_file import Setting


@dataclass(frozen=True, eq=False)
class Reviewed:
    """One match laid out: what it was reviewed from, and the review."""

    data: MatchData
    review: Review
    match: Match
    build: Build | None
    packs: tuple[Pack, ...]


def threshold_settings() -> list[Setting]:
    """Every threshold with its default and its reason, for season.toml."""
    return [Setting(key, getattr(DEFAULTS, key), unit, reason) for key, (unit, reason) in ABOUT.items()]


def settings_of(season: Season) -> Settings:
    """The thresholds with the season's own; a wrong one is a located error."""
    season.check_settings(threshold_settings())
    try:
        return with_overrides(season.settings)[0]
    except (KeyError, ValueError) as error:
        file = season.root / "season.toml"
        raise DescriptionError(f"a threshold is wrong: {error}", file=file, mend="See the comments in it.") from None


def review_match(season: Season, match_id: str, *, with_advice: bool = True) -> Reviewed:
    """Review one match of a season. Raises SeasonError, DescriptionError, and UsageError where it has no logs."""
    match = season.match(match_id)
    build = season.build(match.build) if match.build else None
    packs = tuple(season.pack(pack) for pack in match.fitted_packs)
    if not match.logs:
        raise UsageError(
            f"match {match_id} has no logs yet",
            file=season.root / "matches" / f"{match_id}.toml",
            mend=f"Add them with: afterbout add FILES --season {season.root} --match {match_id}",
        )
    data = prepare(season.log(match), build, packs, match, settings_of(season))
    others = readable_packs(season) if with_advice else ()
    return Reviewed(data, review_data(data, with_advice=with_advice, others=others), match, build, packs)


def readable_packs(season: Season) -> tuple[Pack, ...]:
    """Every pack of the season whose file can be read: a broken one of another pack is not this match's concern."""
    found = []
    for pack_id in season.ids("packs"):
        try:
            found.append(season.pack(pack_id))
        except DescriptionError:
            continue
    return tuple(found)
