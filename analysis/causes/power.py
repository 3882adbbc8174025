"""Power that went away: disconnect, fuse, a controller or receiver that restarted; and what a dead part still shows.

What still runs tells them apart: a log ahead of the break goes on and sees the pack at rest; behind a fuse only one
branch is dead; a controller that restarted counts its uptime from zero again.
"""

from __future__ import annotations

from dataclasses import replace

from analysis.causes import branch_lost, disconnect, restarts
from analysis.causes.disconnect import power_gone
from analysis.findings import Finding
from analysis.match_data import MatchData
from analysis.openings import openings
from analysis.outcome import Outcome

__all__ = ["detect", "power_gone", "without_the_dead"]

# Loggers of 50 Hz and clocks aligned to some milliseconds: this long before the loss nothing is blurred by it.
END_OF_POWER_S = 0.05
# A bus without its pack collapses, or is driven past any sensor by what still turns; neither is the sensor's fault.
DEAD_NOTES = ("logger_gap", "sensor_clipped", "frozen_values")


def detect(data: MatchData, checked: Outcome) -> list[Finding]:
    """Supply lost for good, contacts that bounced, branches that were lost, parts that restarted."""
    gone = power_gone(data)
    found = [gone] if gone is not None else []
    return [*found, *disconnect.bounces(data), *branch_lost.detect(data), *restarts.detect(data, checked)]


def _of_pack(channel: str | None) -> bool:
    return channel is not None and channel.startswith(("pack_", "cell"))


def without_the_dead(data: MatchData) -> MatchData:
    """The match up to the loss of power, and every branch up to the loss of its own.

    What a dying supply shows is no sag, no cutoff and no lost synchronism, and a log that falls silent with its
    supply has no gap.
    """
    if data.build is None:
        return data
    gone = power_gone(data)
    kept: dict[str, object] = {"openings": openings(data), "power_gone": gone}
    lost = branch_lost.lost_branches(data)
    kept["lost_branches"] = lost
    if gone is not None and data.window is not None and gone.start_s < data.window.end_s:
        end = max(gone.start_s - END_OF_POWER_S, data.window.start_s)
        window = replace(data.window, end_s=end, how=data.window.how + ", up to the loss of power")
        quality = tuple(n for n in data.quality if n.code not in DEAD_NOTES or n.start_s < end or _of_pack(n.channel))
        data = replace(data, window=window, quality=quality)
    signals = dict(data.signals)
    for one in lost:
        for name in branch_lost.channels_below(data, one.run):
            signals[name] = signals[name].where(branch_lost.alive_until(data, name, one.start_s - END_OF_POWER_S))
    signals = {name: signal for name, signal in signals.items() if len(signal)}
    return replace(data, signals=signals, _inside={}, memo=dict(kept))
