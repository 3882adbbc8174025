"""One branch that lost its supply: its fuse, its terminal or its lead, while the rest of the robot goes on."""

from __future__ import annotations

import numpy as np

from analysis.causes.disconnect import worked_until
from analysis.findings import Finding, Occurrence
from analysis.match_data import MatchData
from analysis.openings import Opening, openings
from analysis.spans import max_between
from analysis.suspects import candidates_of
from analysis.wiring import Tree, tree
from ingest.channels import parse_channel

# A fuse carries its rating for good, so it opened only where more flowed in the seconds before (ISO 8820-3 gives
# 0.75 s to 1,800 s at 1.35 times; our choice of how far back is looked).
FUSE_LOOK_BACK_S = 10.0


def lost_branches(data: MatchData) -> list[Opening]:
    """Branches that opened for good within the match; the main path's own opening takes them all and is no branch."""
    if "lost_branches" not in data.memo:
        data.memo["lost_branches"] = _lost_branches(data)
    found: list[Opening] = data.memo["lost_branches"]
    return found


def _lost_branches(data: MatchData) -> list[Opening]:
    if data.build is None or data.window is None:
        return []
    wiring = tree(data.build)
    gone = [o for o in openings(data) if o.run in wiring.roots and o.lasting]
    found = []
    for one in openings(data):
        if one.run in wiring.roots or not one.lasting or any(g.start_s <= one.start_s + 0.5 for g in gone):
            continue
        if data.window.start_s < one.start_s <= data.window.end_s and worked_until(data, one.start_s):
            found.append(one)
    return found


def detect(data: MatchData) -> list[Finding]:
    """Branches that lost their current while the rest went on: for good, or for moments."""
    if data.build is None or data.window is None:
        return []
    wiring = tree(data.build)
    return [_for_good(data, wiring, one) for one in lost_branches(data)] + _for_moments(data, wiring)


def _for_good(data: MatchData, wiring: Tree, one: Opening) -> Finding:
    run = wiring.runs[one.run]
    fuse = run.fuses[0] if run.fuses else None
    current = data.signals[one.current]
    most = max_between(current, one.start_s - FUSE_LOOK_BACK_S, one.start_s) or one.before_A
    evidence = [
        f"{one.current} from {one.before_A:.0f} A to nothing for good",
        f"{one.tap} falls {one.apart_V:.0f} V under what feeds it, which is sound",
    ]
    blown = fuse is not None and fuse.rated_A is not None and most > fuse.rated_A
    if fuse is not None and fuse.rated_A is not None:
        evidence.append(f"up to {most:.0f} A before it; the fuse is rated {fuse.rated_A:g} A")
    evidence.append("a terminal or a lead that let go looks the same: look at the fuse")
    return Finding(
        kind="power_loss",
        cause="fuse_opened" if fuse is not None else "terminal_loose",
        part=fuse.id if fuse is not None else one.run,
        channel=one.current,
        start_s=one.start_s,
        end_s=one.start_s,
        measured=one.before_A,
        low=one.before_A,
        high=one.before_A,
        unit="A",
        verdict="fault",
        confidence="likely" if blown else "possible",
        could_be=candidates_of(wiring, (one.run,)),
        evidence=tuple(evidence),
        check="power",
        occurrences=(Occurrence(one.start_s, one.start_s, one.before_A),),
    )


def _for_moments(data: MatchData, wiring: Tree) -> list[Finding]:
    """A branch that was open for moments and closed again: a joint in its lead."""
    assert data.window is not None
    by_run: dict[str, list[Opening]] = {}
    for one in openings(data):
        if one.run not in wiring.roots and not one.lasting and data.window.start_s < one.start_s < data.window.end_s:
            by_run.setdefault(one.run, []).append(one)
    found = []
    for run, these in by_run.items():
        worst = max(these, key=lambda o: o.end_s - o.start_s)
        long = worst.end_s - worst.start_s
        found.append(
            Finding(
                kind="wiring_fault",
                cause="joint_intermittent",
                part=run,
                channel=worst.tap,
                start_s=worst.start_s,
                end_s=worst.end_s,
                measured=long,
                low=long,
                high=long + 2.0 * data.signals[worst.current].period_s,
                unit="s",
                verdict="fault",
                confidence="likely",
                could_be=candidates_of(wiring, (run,)),
                evidence=(f"{worst.tap} fell {worst.apart_V:.0f} V under what feeds it with no current in {run}",),
                check="power",
                occurrences=tuple(Occurrence(o.start_s, o.end_s, o.end_s - o.start_s) for o in these),
            )
        )
    return found


def channels_below(data: MatchData, run: str) -> list[str]:
    """Channels of everything that a run feeds: its end, the controllers on it and their motors."""
    assert data.build is not None
    wiring = tree(data.build)
    parts = {wiring.runs[r].wire.to for r in wiring.below(run)}
    parts |= {m.id for m in data.build.motors if m.controller in parts}
    return [n for n in data.signals if (c := parse_channel(n)) is not None and c.part in parts]


def alive_until(data: MatchData, channel: str, at_s: float) -> np.ndarray:
    """(n,) the samples of a channel from before its part lost its supply."""
    return np.asarray(data.signals[channel].t_s < at_s)
