"""Which file `afterbout record` writes: a new one, the next number, or behind what a recording holds already."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboard.live_words import size_text
from ingest.errors import UsageError
from ingest.record.recorded import Recording
from ingest.record.recovery import recover

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ingest.matches import LogEntry
    from ingest.record.recovery import Recovered
    from ingest.record.session import Session
    from ingest.season import Season


def choose_file(session: Session, go_on: bool, season: Season | None, match: str | None) -> None:
    """A recording is never written over; with go_on what is there is gone on with, or the next number is taken."""
    out = session.out
    if not out.parent.is_dir():
        raise UsageError("the folder of the recording is not there", file=out.parent, mend="Make it, or name another.")
    there = sorted(out.parent.glob(f"{out.stem}-[0-9][0-9][0-9]{out.suffix}")) if session.plan.rotates else [out]
    there = [path for path in there if path.exists()]
    if not there:
        return
    if not go_on:
        raise UsageError(
            "is there already; a recording is never written over", file=there[0],
            mend="Name another file, or add --go-on to go on behind what it holds.",
        )  # fmt: skip
    if session.plan.rotates:
        session.first_number = int(there[-1].stem[-3:]) + 1
    else:
        _go_on(session, season, match)


def _go_on(session: Session, season: Season | None, match: str | None) -> None:
    found = recover(session.out)
    why = found.differs(session.notes)
    if why:
        raise UsageError(f"cannot be gone on with: {why}", file=session.out, mend="Name another file.")
    before = Recording(session.out)
    logs: Sequence[LogEntry] = ()
    if season is not None and match is not None and match in season.ids("matches"):
        logs = season.match(match).logs
    if any(log.sha256 == before.sha256 for log in logs):
        raise UsageError(
            f"stands in match {match} already, as far as it goes: added again when it is longer, "
            "its beginning would stand there twice",
            file=session.out, mend="Record into another file, or name another match.",
        )  # fmt: skip
    session.behind = found
    for number, view in enumerate(session.live.views):
        view.learn(before.blocks(number))


def went_on_text(found: Recovered) -> str:
    """What stands in the file that is gone on with, and what becomes of the rest."""
    text = f"{found.path}: goes on behind its last whole block, at {size_text(found.end)}; the gap will be marked."
    if found.torn_bytes:
        text += f" {found.torn_bytes:,} torn bytes behind it are cut off and kept in a file beside it."
    if found.damages:
        lost = sum(damage.blocks for damage in found.damages)
        text += f" Damaged before that: {len(found.damages)} places, {lost} blocks; they stay as they are."
    return text
