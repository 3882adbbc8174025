"""Whether a channel saw enough of the match for its highest or lowest sample to stand for all of it."""

from __future__ import annotations

import numpy as np

from analysis.findings import Finding, NotChecked, Occurrence, Passed
from analysis.match_data import MatchData
from analysis.outcome import Held, judge
from analysis.signal import Measured, Signal

# Our choices: a part passes on its own samples only where they leave no longer hole in the match, and no more unseen.
LONGEST_HOLE_S = 5.0
UNSEEN_SHARE = 0.1
FEWEST = 10
MEND = "log the whole match, without holes"


def unseen(data: MatchData, signal: Signal, *, ends_only: bool = False) -> str:
    """What of the match this channel (valid samples inside the window) did not see, in words; "" where it saw enough.

    A branch that lost its supply draws nothing afterwards: its match ends there. ends_only: for a figure that bounds
    the holes between its samples itself; what was before the first and after the last of them nothing bounds.
    """
    if len(signal) < (2 if ends_only else FEWEST):
        return f"{len(signal)} samples" if len(signal) > 1 else "one sample"
    if data.window is None:
        return ""
    start, end = data.window.start_s, data.window.end_s
    lost = [one.start_s for one in data.memo.get("lost_branches") or [] if one.start_s < end]
    edges = np.concatenate(([min(start, signal.t_s[0])], signal.t_s, [max(end, signal.t_s[-1])]))
    holes = np.diff(edges)
    if lost and signal.t_s[-1] < min(lost) + LONGEST_HOLE_S and signal.t_s[-1] > min(lost) - LONGEST_HOLE_S:
        holes[-1] = 0.0
    if ends_only:
        holes = holes[[0, -1]]
    long = holes[holes > max(5.0 * signal.period_s, 0.0)]
    total = float(long.sum())
    if not len(long) or end <= start:
        return ""
    if float(long.max()) > LONGEST_HOLE_S or total > UNSEEN_SHARE * (end - start):
        return f"{total:.3g} s of the match are not in it"
    return ""


def judge_seen(
    data: MatchData,
    held: Held,
    signal: Signal,
    figure: Measured,
    span: tuple[float, float],
    *,
    occurrences: tuple[Occurrence, ...] = (),
    note: str = "",
) -> Finding | Passed | NotChecked:
    """`judge` for the highest or lowest sample of a channel: it fails or is close as ever, but passes only if seen."""
    row = judge(held, figure, span, data.settings, occurrences=occurrences, note=note)
    return if_seen(row, held, figure, unseen(data, signal) if isinstance(row, Passed) else "")


def if_seen(
    row: Finding | Passed | NotChecked, held: Held, figure: Measured, missing: str
) -> Finding | Passed | NotChecked:
    """The row, or "at least so much" in place of a pass where something is missing (`unseen`)."""
    if not missing or not isinstance(row, Passed):
        return row
    word = "at least" if held.sense == "max" else "at most"
    reason = f"{word} {figure.value:.3g} {held.unit} of {held.limit:.4g} {held.unit}: {held.channel} holds {missing}"
    if "not in it" in missing:
        reason = reason.replace(f"{held.channel} holds {missing}", missing.replace("in it", f"in {held.channel}"))
    return NotChecked(held.check, held.part, reason, MEND)
