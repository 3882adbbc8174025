"""What can be planted in a simulated match. All times are simulation seconds (match clock plus PRE_ROLL_s)."""

from __future__ import annotations

from dataclasses import dataclass

BURST_SHARE = 0.4


@dataclass(frozen=True)
class JointStep:
    """A joint gains resistance at a moment and keeps it."""

    at_s: float
    joint: str
    added_mohm: float


@dataclass(frozen=True)
class Plants:
    """Faults of the robot (faults of the loggers belong to the devices).

    stall: the left wheels are wedged between the two times, at full command.
    joint_step: see JointStep. open_at_s: the main disconnect opens there.
    lifter_stalls: (start, end, resistance of the stalled servo in ohm).
    link_losses: (start, end) of no radio reception. sync_losses: (start, end) of the weapon motor out of step:
    ragged current for BURST_SHARE of it, then the controller lets go until it starts again.
    """

    stall: tuple[float, float] | None = None
    joint_step: JointStep | None = None
    open_at_s: float | None = None
    lifter_stalls: tuple[tuple[float, float, float], ...] = ()
    link_losses: tuple[tuple[float, float], ...] = ()
    sync_losses: tuple[tuple[float, float], ...] = ()


NOTHING = Plants()
