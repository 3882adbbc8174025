"""What is said about the file when it has been read: dialect, clock and the clock's faults."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from ingest.delimited.clock import ClockPlan
from ingest.delimited.clock_run import ClockRun
from ingest.delimited.dialect import split_line
from ingest.delimited.ledger import lines_fault
from ingest.delimited.numbers import decimals_of, tidy
from ingest.delimited.plan import OddLine, Parsed
from ingest.delimited.sniff import Sniffed
from ingest.delimited.source import Block
from ingest.delimited.stamps import parse_stamp, shape_of, style_of, wall_text
from ingest.delimited.units import unit_of
from ingest.delimited.wall import WallCheck
from ingest.log import Clock, Fault
from ingest.readings import fingerprint

MOST_LISTED = 200


def dialect_of(sniffed: Sniffed) -> dict[str, Any]:
    """The contract's dialect object. Lines are 1-based; delimiter is null for one bare column and for named figures."""
    layout, plan = sniffed.layout, sniffed.plan
    return {
        "encoding": sniffed.sample.encoding.name,
        "delimiter": None if plan.dialect.labels else plan.dialect.delimiter or None,
        "figures_named": bool(plan.dialect.labels),
        "decimal": plan.decimal,
        "header_line": layout.header_line,
        "units_line": layout.units_line,
        "first_data_line": layout.first_data_line,
        "line_end": sniffed.sample.line_end,
        "lines_in_quotes": plan.dialect.wrapped,
        "comment": plan.dialect.comment,
        "fingerprint": fingerprint(header_pairs(sniffed)),
    }


def header_pairs(sniffed: Sniffed) -> list[tuple[str, str | None]]:
    """(name, unit of the units row) of every column: what a reading is found again by."""
    return [(e.source, e.unit_text if e.unit_note == "units row" else None) for e in sniffed.evidence]


def clock_of(sniffed: Sniffed, run: ClockRun | None, wall: WallCheck | None, rows: int) -> Clock | None:
    """The contract's clock object; None where the file has none and no rate was given."""
    plan = sniffed.clock
    if plan is None or run is None:
        if sniffed.rate_Hz is None:
            return None
        return Clock(
            None, "samples", "certain", 0.0, (rows - 1) / sniffed.rate_Hz, sniffed.rate_Hz, origin=sniffed.rate_why
        )
    first = run.first if run.first is not None else 0.0
    wall_start: str | None = None
    start_s = 0.0
    if plan.absolute:
        if plan.style is not None:
            wall_start = wall_text(int(first), plan.style.zoned) if plan.style.sure else None
        else:
            zoned = plan.epoch_shift_s == 0.0
            wall_start = wall_text(round((first * (plan.tick_s or 1.0) + plan.epoch_shift_s) * 1e3) * 1_000_000, zoned)
    else:
        start_s = float(first) * (plan.tick_s or 1.0)
        if plan.tick_s is not None and plan.tick_s < 1.0:
            start_s = float(first) / round(1.0 / plan.tick_s)
        if wall is not None:
            wall_start = wall.first_text
        wall_start = wall_start or _wall_from_preamble(sniffed)
    return Clock(
        column=plan.label,
        unit=plan.unit,
        sure=plan.sure,
        start_s=start_s,
        duration_s=run.total_s(),
        rate_Hz=run.rate_Hz(),
        restarts=tuple(run.restarts[:MOST_LISTED]),
        gaps=tuple(run.gaps[:MOST_LISTED]),
        wall_start=wall_start,
        origin=f"{first!r}",
        leftovers_from=run.leftovers_from,
    )


def _wall_from_preamble(sniffed: Sniffed) -> str | None:
    """A start that the lines above the table state, with its date."""
    for key, value in sniffed.layout.preamble.items():
        if re.search(r"start|begin|trigger|record|date|created|time", key, re.IGNORECASE):
            text = tidy(value)
            if shape_of(text) == "datetime":
                style = style_of([text])
                if style is not None and style.sure:
                    found = parse_stamp(text, style)
                    if found is not None:
                        return wall_text(found, style.zoned)
    return None


def clock_faults(sniffed: Sniffed, plan: ClockPlan | None, run: ClockRun | None, wall: WallCheck | None) -> list[Fault]:
    """Everything the clock did that a clock should not."""
    faults: list[Fault | None] = []
    if plan is None or run is None:
        if sniffed.rate_Hz is None:
            counted = next(
                (e.source for e in sniffed.evidence if e.source.strip().lower() in ("sample", "index", "n", "#")),
                None,
            )
            hint = f' "{counted}" only counts rows.' if counted else ""
            stuck = next(
                (e for e in sniffed.evidence if e.unit_text and (unit_of(e.unit_text) or ("",))[0] == "s"), None
            )
            if stuck is not None:
                hint = f' "{stuck.source}" does not run like one: it stands still or goes back too often.'
            faults.append(
                Fault(
                    "clock_missing",
                    "doubtful",
                    f"No column is a clock.{hint} Give the rate: --rate HZ, or rate_Hz in a reading.",
                )
            )
        return [f for f in faults if f is not None]
    label = plan.label
    faults.append(lines_fault("clock_wrap", "repaired", run.wraps, "The counter went round; counted on", label))
    faults.append(
        lines_fault(
            "clock_restart",
            "repaired",
            run.restart_lines,
            "The clock starts again: a recording of its own from here",
            label,
        )
    )
    faults.append(
        lines_fault("clock_backward", "repaired", run.late, "A stamp lies before the one above it; put in order", label)
    )
    faults.append(
        lines_fault(
            "clock_backward", "dropped", run.glitches, "A stamp does not fit its neighbours; row left out", label
        )
    )
    if run.duplicates:
        faults.append(
            Fault(
                "clock_duplicate",
                "doubtful",
                f"{run.duplicates} rows carry the stamp of the row above them.",
                run.duplicate_line,
                label,
                run.duplicates,
            )
        )
    for line, reason in run.leftovers[:20]:
        note = f"The clock leaps ahead, and {reason}: from here on perhaps rows of an older recording; kept apart."
        faults.append(Fault("leftovers", "doubtful", note, line, label))
    for line, (start, end), reason in list(zip(run.gap_lines, run.gaps, run.gap_reasons, strict=True))[:20]:
        why = f" Taken for a pause: {reason}." if reason else ""
        faults.append(
            Fault(
                "clock_gap",
                "doubtful",
                f"Nothing was logged for {end - start:.6g} s from {start:.6g} s on.{why}",
                line,
                label,
            )
        )
    if run.gap_count > 20:
        faults.append(
            Fault("clock_gap", "doubtful", f"{run.gap_count - 20} more gaps.", None, label, run.gap_count - 20)
        )
    if wall is not None and wall.jumps:
        line, jump = wall.jumps[0]
        faults.append(
            Fault(
                "clock_disagrees",
                "doubtful",
                f'"{wall.clock.label}" and "{label}" part by {jump:+.6g} s here'
                f"{f' and {len(wall.jumps) - 1} times more' if len(wall.jumps) > 1 else ''}: a pause or a set clock.",
                line,
                label,
                len(wall.jumps),
            )
        )
    elif wall is not None and abs(wall.drift_s) > max(2.0 * wall.tolerance_s, 0.01 * wall.span_s) and wall.span_s > 0:
        faults.append(
            Fault(
                "clock_disagrees",
                "doubtful",
                f'"{wall.clock.label}" and "{label}" drift apart by {wall.drift_s:+.6g} s over {wall.span_s:.6g} s.',
                None,
                label,
            )
        )
    if not plan.unit_stated:
        faults.append(
            Fault(
                "unit_unknown",
                "doubtful",
                f"The unit of the clock is not clear; {plan.unit} is taken: {plan.why}. Say time_unit in a reading.",
                None,
                label,
            )
        )
    if plan.style is not None and plan.absolute and not plan.style.sure:
        faults.append(
            Fault(
                "date_unclear",
                "doubtful",
                "Day and month cannot be told apart; the start on the wall clock is left open.",
                None,
                label,
            )
        )
    return [f for f in faults if f is not None]


def _counting(sniffed: Sniffed) -> str | None:
    """A column that only numbers the rows."""
    names = ("sample", "samples", "index", "n", "#", "no", "no.", "record", "row", "scan")
    return next((e.source for e in sniffed.evidence if e.source.strip().lower() in names), None)


def end_of_file(parsed: Parsed, block: Block, sniffed: Sniffed) -> None:
    """A last line without its line end may be cut inside its last number: keep it only where that can be excluded."""
    if block.ended or not parsed.rows:
        return
    last_line = block.line + block.data.count(b"\n")
    if int(parsed.lines[-1]) != last_line:
        return
    text = block.data.rpartition(b"\n")[2].decode("utf-8", errors="replace")
    column = sniffed.plan.columns[-1]
    if column.kind != "number" or not _cut_short(text, parsed, sniffed):
        return
    parsed.columns = [c.slice(0, parsed.rows - 1) for c in parsed.columns]
    parsed.rows -= 1
    parsed.lines = parsed.lines[:-1]
    parsed.odd.append(OddLine(last_line, "short", sniffed.plan.width, text[:80], parsed.rows, True))


def _cut_short(text: str, parsed: Parsed, sniffed: Sniffed) -> bool:
    column = sniffed.plan.columns[-1]
    cells = split_line(text, sniffed.plan.dialect)
    if len(cells) <= column.index:
        return False
    cell = tidy(cells[column.index])
    evidence = next(e for e in sniffed.evidence if e.index == column.index)
    values = evidence.values[np.isfinite(evidence.values)]
    if cell == "" and values.size and not np.isnan(evidence.values[:-1]).any():
        return True
    if evidence.decimals and column.unit is None:
        # With a fixed number of decimals a shorter last cell has lost digits.
        shown = sniffed.fixed_decimals.get(column.index)
        return shown is not None and decimals_of(cell, column.style) < shown
    if column.unit is not None:
        return not any(c.isalpha() or c == "%" for c in cell)
    digits = [len(str(int(abs(v)))) for v in values[-50:-1]]
    return bool(digits) and len(cell.lstrip("+-")) < min(digits)
