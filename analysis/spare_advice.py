"""The last row of a review's advice: weight that can be taken out, replayed on this match, for as many as allow it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis import wording
from analysis.advice_tried import SERIOUS, WORSE_PCT, weighed
from analysis.changes import Changes, changed
from analysis.findings import Advice, Review
from analysis.masses import room_g
from analysis.match_data import MatchData
from analysis.outcome import Row
from analysis.replay import Refused, replay_rows
from analysis.replay.banded import End, judged, measured_with_band, worse_margin_pct
from analysis.search_sizes import uncovered
from analysis.spare import WARM_AIR_DEGC, Past, Spare, spare
from analysis.wiring import tree


def with_spare(data: MatchData, review: Review, past: Sequence[Past]) -> Review:
    """The review with that row below its cures; as it was where matches are few, a run was not seen whole, or the
    replay brings anything close, over or worse."""
    found = spare(data, review, past)
    if found is None or data.build is None:
        return review
    changes = changed(data.build, data.pack, found.candidate.sets)
    made = replay_rows(data, changes, review)
    if isinstance(made, Refused):
        return review
    outcome, replayed = made
    tried = weighed(data, review, found.candidate, changes, outcome.rows, replayed)
    if tried.new or tried.comes or _worse(review, outcome.rows, replayed.ends):
        return review
    row = _row(data, review, found, changes, outcome.rows, replayed.ends)
    return review if row is None else replace(review, advice=(*review.advice, row))


def _worse(review: Review, rows: Sequence[Row], ends: Sequence[End]) -> bool:
    """Whether anything that is past or close to its limit already loses margin."""
    after = judged(rows)
    for f in review.findings:
        row = after.get((f.check, f.part)) if f.verdict in SERIOUS and f.margin_pct is not None else None
        margin = None if row is None else worse_margin_pct(row, ends)
        if margin is not None and f.margin_pct is not None and margin < f.margin_pct - WORSE_PCT:
            return True
    return False


def _row(
    data: MatchData, review: Review, found: Spare, changes: Changes, rows: Sequence[Row], ends: Sequence[End]
) -> Advice | None:
    """before and after are those of the run that is left with the least margin in this match."""
    after, before = judged(rows), {(p.check, p.part): p for p in review.passed}
    keys = [("wire_temperature", run) for run in found.candidate.parts]
    if any(key not in before or key not in after or after[key].measured is None for key in keys):
        return None
    margins = {key: worse_margin_pct(after[key], ends) for key in keys}
    if any(margin is None for margin in margins.values()):
        return None
    key = min(keys, key=lambda k: margins[k] or 0.0)
    low, high = measured_with_band(after[key], ends)
    one = found.candidate
    left = review.match.minutes_to_next
    return Advice(
        rank=len(review.advice) + 1,
        change=one.change,
        clears=(),
        before={"measured": before[key].measured, "unit": before[key].unit},
        after={"measured": after[key].measured, "low": low, "high": high, "unit": after[key].unit},
        adds_g=-found.grams,
        minutes=one.minutes,
        proved=True,
        cost_note=wording.spare_note(
            found.matches,
            found.untold,
            found.worst_degC,
            found.limit_degC,
            found.drop_V,
            WARM_AIR_DEGC,
            room_g=None if data.build is None else room_g(data.build),
            late=None if left is None or one.minutes <= left else (one.minutes, left),
            needs=one.needs,
            overloads=uncovered(data, tree(changes.build), one.parts),
        ),
        sentence=wording.advice_sentence(
            one.action, one.parts, one.figure, one.minutes, left, -found.grams, clears=True
        ),
        purpose="weight",
        margin_pct=min(margins[key] or 0.0, found.margin_pct),
        matches=found.matches,
    )
