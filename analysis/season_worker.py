"""What a worker of a season run does: review some matches and keep their rows."""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analysis.season_keys import Key, app_version
from analysis.season_review import review_match
from analysis.season_rows import row_of
from analysis.season_tables import keep
from ingest.errors import AfterboutError, UsageError
from ingest.season import Season


@dataclass(frozen=True)
class Outcome:
    """unsaved: the row, only where it could not be kept; reason: why the match could not be reviewed, or None."""

    match: str
    unsaved: dict[str, Any] | None = None
    reason: str | None = None


def end_with_parent() -> None:
    """In a worker process: stop when the process that hands out the work is gone, however it went.

    A worker of a pool waits for its next match for ever, as its fellows hold the other end of its queue. What it was
    writing then is left over under another name, and swept by the next run.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, name="watch the parent", daemon=True).start()


def refuse_while_starting() -> None:
    """Raises UsageError in a process that is only being started as a worker: an unguarded script runs there too."""
    if getattr(multiprocessing.current_process(), "_inheriting", False):
        raise UsageError(
            "a season run began where a worker process was only starting",
            mend='Put the calls of your script under: if __name__ == "__main__":',
        )


def review_and_keep(address: str, jobs: Sequence[tuple[str, Key]], elsewhere: bool = False) -> list[Outcome]:
    """Review matches one after the other and keep each row at once.

    address: Season.address. elsewhere: this worker may run on another machine. Raises UsageError where its code is not
    that of the run.
    """
    if elsewhere and any(key[1] != app_version() for _, key in jobs):
        raise UsageError(
            "a worker has another version of afterbout than the run",
            found=app_version(), expected=str(jobs[0][1][1]), mend="Install the same version everywhere.",
        )  # fmt: skip
    return [_one(address, match_id, key) for match_id, key in jobs]


def _one(address: str, match_id: str, key: Key) -> Outcome:
    try:
        season = Season(address)
        return Outcome(match_id, keep(season, key, row_of(review_match(season, match_id, with_advice=False))))
    except AfterboutError as error:
        return Outcome(match_id, reason=str(error))
    except Exception as error:  # noqa: BLE001 - a defect of ours, or out of memory: one bad match does not stop the rest
        return Outcome(match_id, reason=f"the review of {match_id} stopped with {type(error).__name__}: {error}")
