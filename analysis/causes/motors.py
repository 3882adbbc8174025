"""What the motors and their controllers did: findings of their own, and happenings that explain others.

Each signature is looked for in its own file; here it is decided which of two that overlap stands. Signatures are
common practice, no source, unless a file says so.
"""

from __future__ import annotations

from analysis.causes import cutoffs, limits, motor_faults, shorts, spin_and_hits, stalls, synchronism
from analysis.causes.drives import Drive, Happening, clear_of, drives
from analysis.findings import Finding
from analysis.match_data import MatchData

__all__ = ["Happening", "detect"]


def detect(data: MatchData) -> tuple[list[Finding], list[Happening]]:
    """Findings of their own, and everything that may explain another finding."""
    found = drives(data)
    shorted = shorts.shorts(data, found)
    findings: list[Finding] = shorts.findings(data, shorted)
    happened: list[Happening] = [*shorted, *spin_and_hits.shocks(data)]
    changed, changes = motor_faults.findings(data, found)
    findings += changed
    happened += changes
    for drive in found:
        own, did = _of_drive(data, drive, shorted)
        findings += own
        happened += did
    return findings, happened


def _of_drive(data: MatchData, drive: Drive, shorted: list[Happening]) -> tuple[list[Finding], list[Happening]]:
    """What one drive did. The surer signature comes first; what shares its time with a surer one is not told again."""
    cut = cutoffs.low_voltage_cutoffs(data, drive)
    tripped = cutoffs.regeneration_trips(data, drive)
    stopped = cut + tripped
    failed = clear_of(synchronism.failed_starts(drive), stopped)
    lost = clear_of(synchronism.lost_synchronism(data, drive), [*stopped, *failed])
    lost = [h for h in lost if not cutoffs.restarted(data, drive, h.start_s - 0.3, h.end_s)]
    stalled = clear_of(stalls.stalls(data, drive), [*lost, *failed, *shorted])
    thermal = limits.thermal_limits(data, drive)
    pushed = clear_of(stalls.pushes(drive), stalled)
    limited = clear_of(limits.current_limits(drive), [*stalled, *thermal, *lost, *failed, *shorted])
    spun = clear_of(spin_and_hits.spin_ups(drive), lost)
    hit = clear_of(spin_and_hits.hits(drive), [*lost, *stopped])
    did = [*cut, *tripped, *failed, *lost, *stalled, *thermal, *pushed, *limited, *spun, *hit]
    found = [
        *cutoffs.findings(drive, cut, tripped),
        *synchronism.findings(drive, lost, failed),
        *stalls.findings(drive, stalled, pushed),
        *limits.findings(drive, thermal, limited),
        *spin_and_hits.findings(drive, spun + hit, data.settings),
    ]
    return found, did
