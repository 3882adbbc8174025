"""What a worker of a season run does: review one match and keep its row."""

from __future__ import annotations

from typing import Any

from analysis.season_keys import Key, app_version
from analysis.season_review import review_match
from analysis.season_rows import row_of
from analysis.season_tables import keep
from ingest.errors import UsageError
from ingest.season import Season


def review_and_keep(address: str, match_id: str, key: Key) -> dict[str, Any] | None:
    """Review one match and keep its row; the row itself comes back only where it could not be kept.

    address: Season.address. Raises AfterboutError where the match cannot be reviewed, and where this worker's code is
    not that of the run.
    """
    if key[1] != app_version():
        raise UsageError(
            "this worker has another version of afterbout than the run",
            found=app_version(), expected=str(key[1]), mend="Install the same version everywhere.",
        )  # fmt: skip
    season = Season(address)
    return keep(season, key, row_of(review_match(season, match_id, with_advice=False)))
