"""The main job: from logs, a build and a pack to what went past its rating, why, and what to do.

trust -> window -> checks -> causes -> advice -> Review. Each step is one call; the work is in the modules it names.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis import causes, wording
from analysis.causes.power import without_the_dead
from analysis.checks import run_checks
from analysis.contact_check import split_suspects
from analysis.current_balance import balanced
from analysis.findings import (
    Estimate,
    Finding,
    LogUsed,
    MatchFacts,
    NotChecked,
    Passed,
    Review,
    worst_verdict,
)
from analysis.fit_check import fit_rows
from analysis.log_ends import log_ends
from analysis.match_data import MatchData, gather, place
from analysis.outcome import Outcome
from analysis.partial import long_enough
from analysis.settings import DEFAULTS, Settings
from analysis.trusting import trusted
from analysis.unusable import reasons_told, without_unusable
from analysis.window import find_window
from analysis.wiring import tree
from ingest.align import PlacedLog
from ingest.builds import Build, Match, Pack
from ingest.log import Log


def review(
    logs: Log | Sequence[Log] | Sequence[PlacedLog],
    build: Build | None,
    pack: Pack | Sequence[Pack] | None,
    match: Match | None = None,
    settings: Settings = DEFAULTS,
    *,
    with_advice: bool = True,
) -> Review:
    """Review one match.

    logs: one Log or several; several are put on the first one's clock (by the match file's offsets, else by
    alignment). build, pack: None where not known; the checks that need them are then not_checked.
    All times in the result are seconds on the match clock.
    """
    data = prepare(logs, build, pack, match, settings)
    return review_data(data, with_advice=with_advice)


def prepare(
    logs: Log | Sequence[Log] | Sequence[PlacedLog],
    build: Build | None,
    pack: Pack | Sequence[Pack] | None,
    match: Match | None = None,
    settings: Settings = DEFAULTS,
) -> MatchData:
    """Signals on the match clock with what is not to be trusted marked, and the match window found."""
    packs = () if pack is None else (pack,) if isinstance(pack, Pack) else tuple(pack)
    data = gather(place(logs, match), build, packs, match, settings)
    data = trusted(replace(data, window=find_window(data)))
    return log_ends(without_the_dead(balanced(without_unusable(data))))


def review_data(data: MatchData, *, with_advice: bool = True, others: Sequence[Pack] = ()) -> Review:
    """Checks, causes, advice and words on prepared data; the replay uses this too. others: packs that are at hand."""
    checked = run_checks(data)
    extra = fit_rows(data)
    detected, happened = causes.detect(data, checked)
    wiring = tree(data.build) if data.build is not None else None
    found = [*checked.of(Finding), *(row for row in extra if isinstance(row, Finding))]
    findings = causes.explain(data, wiring, found, detected, happened)
    findings = [replace(f, sentence=wording.sentence(f, data.build)) for f in findings]
    stands, falls = split_suspects(checked.of(Passed), findings)
    stands, short = long_enough(data, stands)
    passed: tuple[Passed, ...] = tuple(stands)
    not_checked = _not_checked(checked, [*falls, *short, *(row for row in extra if isinstance(row, NotChecked))], data)
    # Without a build nothing below the pack was held against anything: never "within".
    facts = _facts(data, tuple(findings), data.build is not None and bool(passed or findings))
    result = Review(
        match=facts,
        quality=tuple(sorted(data.quality, key=lambda note: (note.start_s, note.code))),
        estimates=checked.of(Estimate),
        findings=tuple(findings),
        passed=passed,
        not_checked=not_checked,
        chain=causes.chain(findings, happened),
        cautions=_cautions(data),
        curves={**checked.curves, "signals": data.signals, "happened": tuple(happened), "window": data.window},
    )
    if with_advice and data.build is not None:
        from analysis.advice import advise

        result = replace(result, advice=advise(data, result, others))
    lines = wording.three_lines(
        facts, result.findings, passed, not_checked, result.quality, result.advice, result.estimates
    )
    return replace(result, lines=lines)


def _not_checked(checked: Outcome, extra: list[NotChecked], data: MatchData) -> tuple[NotChecked, ...]:
    """Each once, in the order of the checks; without a build, that is said once and not for every part."""
    rows = [*extra, *checked.of(NotChecked), *data.undermined]
    if data.build is None:
        rows.append(
            NotChecked(
                "build",
                "",
                "no build is named: no rating of a wire, contact, fuse, controller or motor is known",
                "name the build of this match, or give --build",
            )
        )
    return reasons_told(tuple(dict.fromkeys(rows)), data)


def _facts(data: MatchData, findings: tuple[Finding, ...], anything: bool) -> MatchFacts:
    match = data.match
    logs = tuple(
        LogUsed(
            placed.log.name,
            placed.log.provenance.sha256,
            placed.log.samples,
            placed.offset_s,
            placed.drift_ppm,
            placed.correlation,
            placed.error_s,
        )
        for placed in data.placed
    )
    return MatchFacts(
        id=match.id if match is not None else "",
        build=data.build.id if data.build is not None else None,
        pack=data.pack.id if data.pack is not None else None,
        start_s=data.window.start_s if data.window is not None else None,
        end_s=data.window.end_s if data.window is not None else None,
        verdict=worst_verdict(findings, anything),
        logs=logs,
        event=match.event if match is not None else "",
        opponent=match.opponent if match is not None else "",
        result=match.result if match is not None else "",
        minutes_to_next=match.minutes_to_next if match is not None else None,
    )


def _cautions(data: MatchData) -> tuple[str, ...]:
    spins = data.build is not None and any(c.motor_type == "brushless" for c in data.build.controllers)
    return (*wording.CAUTIONS, wording.SPINNING_CAUTION) if spins else wording.CAUTIONS
