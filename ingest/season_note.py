"""Adding what a person read off (a thermometer, a charger, a controller's screen) to a match."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ingest.channels import RESERVED_PARTS, cell_number
from ingest.description import parse_document, read_description
from ingest.errors import DescriptionError, SeasonError, nearest
from ingest.matches import Match, Noted, match_of
from ingest.toml_text import edit

if TYPE_CHECKING:
    from ingest.season import Season


def note_figure(season: Season, match_id: str, noted: Noted) -> Match:
    """See Season.note."""
    season.match(match_id)
    path = season.root / "matches" / f"{match_id}.toml"
    with season.locked(f"noting a figure in match {match_id}"):
        match = season.match(match_id)
        known = _parts(season, match)
        if match.build is not None and noted.part not in known and cell_number(noted.part) is None:
            raise SeasonError("is no part of this match's build", file=path, column="part", found=noted.part,
                              mend=nearest(noted.part, known))  # fmt: skip
        table: dict[str, Any] = noted.model_dump(exclude_defaults=True)
        text = edit(read_description(path), file=path, append=[("noted", table)])
        try:
            changed = match_of(parse_document(text, file=path), f"matches/{path.name}")
        except DescriptionError as error:
            # The line is one of the text that was not written.
            raise SeasonError(error.what, file=path, column=error.column, found=error.found, expected=error.expected,
                              mend=error.mend) from None  # fmt: skip
        season.store.write_text(path, text)
    return changed


def _parts(season: Season, match: Match) -> set[str]:
    build = season.build(match.build) if match.build else None
    return set(RESERVED_PARTS) | set(match.fitted_packs) | set({} if build is None else build.part_kinds())
