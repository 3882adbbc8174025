"""What can be read of a season's descriptions as a whole, and what a match names that is not there."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from ingest.builds import Build
from ingest.description import Complaint
from ingest.errors import AfterboutError, nearest
from ingest.matches import Match
from ingest.packs import Pack

if TYPE_CHECKING:
    from ingest.season import Season

Described = TypeVar("Described", Build, Pack, Match)


@dataclass(frozen=True)
class Survey:
    """All that could be read, and the errors of what could not: for a screen that must not fail on one bad file."""

    matches: tuple[Match, ...]
    builds: tuple[Build, ...]
    packs: tuple[Pack, ...]
    problems: tuple[AfterboutError, ...]


def survey(season: Season) -> Survey:
    """Everything readable, with the errors of the rest."""
    problems: list[AfterboutError] = []

    def readable(kind: str, load: Callable[[str], Described]) -> list[Described]:
        found = []
        for each in season.ids(kind):
            try:
                found.append(load(each))
            except AfterboutError as error:
                problems.append(error)
        return found

    matches = sorted(readable("matches", season.match), key=match_order)
    builds, packs = readable("builds", season.build), readable("packs", season.pack)
    return Survey(tuple(matches), tuple(builds), tuple(packs), tuple(problems))


def reference_complaints(season: Season, match: Match) -> list[Complaint]:
    """The keys of a match that name a build, pack or slot which does not exist."""
    complaints = []
    if match.build is not None and match.build not in season.ids("builds"):
        mend = season.missing("builds", match.build)
        complaints.append(Complaint(("match", "build"), "names a build that is not there", match.build, mend=mend))
    if match.pack is not None and match.pack not in season.ids("packs"):
        mend = season.missing("packs", match.pack)
        complaints.append(Complaint(("match", "pack"), "names a pack that is not there", match.pack, mend=mend))
    slots = None
    if match.packs and match.build in season.ids("builds"):
        slots = {slot.id for slot in season.build(str(match.build)).packs}
    for slot, fitted in match.packs.items():
        if slots is not None and slot not in slots:
            what = f"is no [[pack]] of build {match.build}"
            complaints.append(Complaint(("packs", slot), what, slot, mend=nearest(slot, slots)))
        for pack_id in [fitted] if isinstance(fitted, str) else fitted:
            if pack_id not in season.ids("packs"):
                mend = season.missing("packs", pack_id)
                complaints.append(Complaint(("packs", slot), "names a pack that is not there", pack_id, mend=mend))
    return complaints


def match_order(match: Match) -> tuple[dt.datetime, str]:
    """By time. A start without a zone counts as universal time: matches of one season share their zone."""
    start = match.start or dt.datetime.min.replace(tzinfo=dt.UTC)
    return (start if start.tzinfo else start.replace(tzinfo=dt.UTC)), match.id
