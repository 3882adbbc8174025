"""Changes a builder would really make, for each finding: what to set, how long it takes, what it needs.

Screened on what the review already has (bins of i², the fitted pack): whether one clears its finding is proved by
the replay afterwards. Never among them: a fuse that the wire does not allow, a cutoff below the cell minimum, a
higher current limit, anything done to the main disconnect or the light but making it better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.candidates.common import ANTENNA, CAPACITORS, LOW_VOLTS, MOTOR_PLUGS, REGULATOR_G, SUPPLY, Candidate
from analysis.candidates.drives import limit_changes, limit_on_run
from analysis.candidates.drops import drop_changes
from analysis.candidates.parts import contact_changes, fuse_changes, regulator_changes
from analysis.candidates.supply import pack_changes, volt_changes
from analysis.candidates.wires import joint_changes, of_a_joint, opened, wire_changes
from analysis.findings import Finding, Review
from analysis.match_data import MatchData
from analysis.wiring import Tree, tree
from ingest.builds import Pack

__all__ = ["Candidate", "candidates"]


def candidates(data: MatchData, review: Review, packs: Sequence[Pack] = ()) -> list[Candidate]:
    """Every change for every serious finding, the plainest first. packs: the others of the season."""
    assert data.build is not None
    wiring = tree(data.build)
    serious = [f for f in review.findings if f.verdict in ("over", "fault", "close")]
    if not serious:
        return []
    found: list[Candidate] = []
    found += joint_changes(data, wiring, serious)
    found += wire_changes(data, wiring, [f for f in serious if f.check == "wire_temperature"])
    for finding in serious:
        if finding.consequence_of and finding.verdict != "over" and finding.check not in LOW_VOLTS:
            continue
        found += _for(data, wiring, review, finding, serious, packs)
    merged: dict[tuple[tuple[str, str], ...], Candidate] = {}
    for one in found:
        other = merged.get(one.sets)
        if other is not None:
            one = replace(other, clears=tuple(dict.fromkeys((*other.clears, *one.clears))))
        merged[one.sets] = one
    return list(merged.values())


def _for(
    data: MatchData, wiring: Tree, review: Review, f: Finding, serious: list[Finding], packs: Sequence[Pack]
) -> list[Candidate]:
    check, cause = f.check, f.cause
    if cause == "regulator_overload":
        return regulator_changes(data, f)
    if cause == "radio_loss":
        why = "what the radio would have received is not in the log"
        return [Candidate((("link.antenna", "moved clear"),), "antenna", ("link",), "", ANTENNA, (f.id,), "", why)]
    if cause == "brush_noise":
        why = "the log is too slow for what a capacitor takes away"
        key = f"motor.{f.part}.capacitors"
        return [Candidate(((key, "fitted"),), "capacitors", (f.part,), "", CAPACITORS, (f.id,), "", why, 3.0)]
    if cause in ("sync_loss", "start_failure"):
        why = "what the motor would have done is not in the log"
        key = f"controller.{f.part}.motor_plugs"
        return [Candidate(((key, "remade"),), "motor_plugs", (f.part,), "", MOTOR_PLUGS, (f.id,), "", why, 0.0)]
    if cause in ("disconnect_opened", "disconnect_bounce") or (cause == "joint_intermittent"):
        return opened(wiring, f)
    if check in ("burst_current", "continuous_current", "controller_temperature", "motor_temperature"):
        return limit_changes(data, review, f, serious)
    if check == "fuse_curve":
        return [*fuse_changes(data, wiring, f), *limit_on_run(data, wiring, f, serious)]
    if check in ("contact_current", "contact_temperature") and not of_a_joint(data, f):
        return [*contact_changes(data, wiring, f), *limit_on_run(data, wiring, f, serious)]
    if check == "wire_temperature":
        return limit_on_run(data, wiring, f, serious)
    if check in LOW_VOLTS or check in (
        "pack_current",
        "pack_temperature",
        "cell_resistance",
        "pack_resistance",
        "charge_used",
    ):
        drops = [] if any(o.check == "joint" for o in serious) else drop_changes(data, wiring, f)
        return [*pack_changes(data, f, packs), *volt_changes(data, wiring, f), *drops]
    if cause == "brown_out":
        why = "a supply of its own is not in the log"
        own = Candidate(
            (("regulator.own_supply", "fitted"),), "own_supply", (f.part,), "", SUPPLY, (f.id,), "", why, REGULATOR_G
        )
        return [*pack_changes(data, f, packs), *volt_changes(data, wiring, f), own]
    return []
