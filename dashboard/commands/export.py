"""afterbout export: the aligned, normalised samples of a match as one file."""

from __future__ import annotations

import argparse
from pathlib import Path

from dashboard.output import say


def run(args: argparse.Namespace) -> int:
    from analysis.export import aligned_table
    from dashboard.cli import EXIT_DONE
    from dashboard.exporting import write_table
    from dashboard.reviewing import settings_of
    from ingest.align import FixedClock, align
    from ingest.season import Season

    season = Season(args.season)
    match = season.match(args.match)
    logs = season.log(match)
    fixed = {
        i: FixedClock(e.clock_offset_s, e.clock_drift_ppm, e.clock_by)
        for i, e in enumerate(match.logs)
        if i > 0 and e.clock_offset_s is not None
    }
    settings_of(season)
    table = aligned_table(align(logs, fixed))
    target = Path(args.to)
    write_table(table, target)
    say(f"{target}: {table.num_rows:,} rows, {table.num_columns} columns, on the match clock.")
    return EXIT_DONE
