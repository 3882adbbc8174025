"""afterbout pit: before the next match."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from dashboard.output import print_json, say

if TYPE_CHECKING:
    from analysis.pit import PackHistory, PitPlan
    from analysis.season_rows import MatchRow
    from ingest.season import Season


def run(args: argparse.Namespace) -> int:
    from analysis.pit import LONGEST_MIN, pit_plan
    from dashboard.cli import EXIT_DONE
    from ingest.errors import UsageError
    from ingest.season import Season

    if args.minutes is not None and not 0 <= args.minutes <= LONGEST_MIN:
        mend = f"Give the minutes to the next match, 0 to {LONGEST_MIN:.0f}."
        raise UsageError("--minutes cannot be", found=f"{args.minutes:g}", mend=mend)
    season = Season(args.season)
    last, others = histories(season)
    plan = pit_plan(last, others, season.charger, args.minutes)
    document = pit_document(plan)
    if args.json:
        print_json(document)
    else:
        from dashboard.pit_page import pit_text

        say(pit_text(document))
    return EXIT_DONE


def histories(season: Season) -> tuple[PackHistory, list[PackHistory]]:
    """The season's last logged match, and every other pack with the last match that it was in."""
    from analysis.pit import PackHistory
    from analysis.pit_packs import ever_against
    from dashboard.progress import Progress
    from dashboard.reviewing import review_match
    from ingest.errors import SeasonError

    matches = [m for m in season.matches() if m.logs]
    if not matches:
        raise SeasonError(
            "no match of this season has logs yet",
            file=season.root,
            mend=f"Add one with: afterbout add FILES --season {season.root} --match m01",
        )
    latest = matches[-1]
    packs = season.packs()
    rows = rows_by_match(season, [m.id for m in matches])
    ever = {pack.id: ever_against(pack, season.matches(), rows) for pack in packs}
    by_pack = {pack.id: [m for m in matches if pack.id in m.fitted_packs] for pack in packs}
    with Progress("reviewing") as show:
        show(0.0, latest.id)
        bench = review_match(season, latest.id)
        fitted = bench.pack
        if fitted is None:
            raise SeasonError(
                f"match {latest.id} names no pack",
                file=season.root / "matches" / f"{latest.id}.toml",
                mend='State pack = "<id>" in it.',
            )
        last = PackHistory(fitted, bench.data, bench.review, ever.get(fitted.id, ()))
        others = []
        for index, pack in enumerate(p for p in packs if p.id != fitted.id):
            show((index + 1) / (len(packs) + 1), pack.id)
            seen = by_pack[pack.id]
            if not seen:
                others.append(PackHistory(pack, None, None, ever[pack.id]))
                continue
            old = review_match(season, seen[-1].id, with_advice=False)
            others.append(PackHistory(pack, old.data, old.review, ever[pack.id]))
    return last, others


def rows_by_match(season: Season, matches: list[str]) -> dict[str, MatchRow]:
    """The season rows of these matches, from what was kept where nothing changed."""
    from analysis.season_run import run_season
    from dashboard.progress import Progress

    with Progress("looking back") as show:
        run = run_season(season, matches=matches, progress=lambda done, of, name: show(done / max(of, 1), name))
    return {row.match: row for row in run.rows()}


def pit_document(plan: PitPlan) -> dict[str, Any]:
    """The plan as its JSON document."""
    from analysis.findings import plain
    from analysis.wording import CAUTIONS

    return plain(
        {
            "schema": "afterbout.pit/1",
            "match": plan.match,
            "minutes": plan.minutes,
            "ending": plan.ending,
            "reasons": list(plan.reasons),
            "use_pack": plan.use,
            "packs": [asdict(pack) for pack in plan.packs],
            "hot": [asdict(part) for part in plan.hot],
            "hot_unknown": list(plan.hot_unknown),
            "change": None if plan.change is None else asdict(plan.change),
            "other_changes": [asdict(row) for row in plan.others],
            "not_checked": [asdict(row) for row in plan.not_checked],
            "before_power": list(plan.before_power),
            "cautions": list(CAUTIONS),
        }
    )
