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
# Our choice: in less, no weapon spins up and nothing gets warm, so nothing in it stands for a match.
SHORTEST_S = 2.0
MEND = "log the whole match, without holes"


def unseen(data: MatchData, signal: Signal) -> str:
    """What of the match this channel (valid samples inside the window) did not see, in words; "" where it saw enough.

    A branch that lost its supply draws nothing afterwards: its match ends there.
    """
    if len(signal) < FEWEST:
        return f"{len(signal)} samples" if len(signal) > 1 else "one sample"
    if data.window is None:
        return ""
    start, end = data.window.start_s, data.window.end_s
    lost = [one.start_s for one in data.memo.get("lost_branches") or [] if one.start_s < end]
    edges = np.concatenate(([min(start, signal.t_s[0])], signal.t_s, [max(end, signal.t_s[-1])]))
    holes = np.diff(edges)
    if lost and signal.t_s[-1] < min(lost) + LONGEST_HOLE_S and signal.t_s[-1] > min(lost) - LONGEST_HOLE_S:
        holes[-1] = 0.0
    long = holes[holes > max(5.0 * signal.period_s, 0.0)]
    total = float(long.sum())
    if not len(long) or end <= start:
        return ""
    if float(long.max()) > LONGEST_HOLE_S or total > UNSEEN_SHARE * (end - start):
        return f"{total:.3g} s of the match are not in it"
    return ""


def long_enough(data: MatchData, passed: list[Passed]) -> tuple[list[Passed], list[NotChecked]]:
    """The same passed rows; or none of them, each not checked, where the logs hold next to nothing of a match."""
    length = data.window.length_s if data.window is not None else 0.0
    if length >= SHORTEST_S:
        return passed, []
    reason = f"the logs hold {length:.2g} s of a match"
    return [], [NotChecked(row.check, row.part, reason, MEND) for row in passed]


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
    missing = unseen(data, signal) if isinstance(row, Passed) else ""
    if not missing:
        return row
    word = "at least" if held.sense == "max" else "at most"
    reason = f"{word} {figure.value:.3g} {held.unit} of {held.limit:.4g} {held.unit}: {held.channel} holds {missing}"
    if "not in it" in missing:
        reason = reason.replace(f"{held.channel} holds {missing}", missing.replace("in it", f"in {held.channel}"))
    return NotChecked(held.check, held.part, reason, MEND)
