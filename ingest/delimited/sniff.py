"""One look at a file before it is read: everything that decides how."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from ingest.delimited.clock import ClockPlan
from ingest.delimited.clock_find import find_clock, runs_backward
from ingest.delimited.column import ColumnEvidence
from ingest.delimited.columns import plan_columns, says_minutes
from ingest.delimited.compact import mark_compact
from ingest.delimited.dialect import Dialect, choose_dialect, split_line, strip_comment
from ingest.delimited.evidence import evidence_of, fixed_decimals, row_estimate
from ingest.delimited.fast import can_be_fast, parse_block
from ingest.delimited.layout import Layout, read_layout, unit_of_column
from ingest.delimited.layout_faults import layout_faults
from ingest.delimited.long_table import refuse_long
from ingest.delimited.not_samples import refuse_no_samples, refuse_sideways
from ingest.delimited.pairs import pairs_of
from ingest.delimited.plan import ColumnPlan, Parsed, Plan
from ingest.delimited.rough import merge
from ingest.delimited.sample import Sample, take_sample
from ingest.delimited.sample_rows import (
    counts,
    edge_empty,
    keys_beside,
    some_rows,
    split_stamp,
    stretches,
    with_short_rows,
)
from ingest.delimited.source import Block, Source
from ingest.delimited.stated_rate import rate_from_preamble
from ingest.delimited.streams import StreamPlan, plan_streams
from ingest.delimited.survey import no_table, refuse_markup, tables_of
from ingest.delimited.table import MAX_COLUMNS, Table, main_table
from ingest.delimited.unit_columns import pair_units
from ingest.errors import UnreadableLog
from ingest.log import Fault

if TYPE_CHECKING:
    from ingest.readings import Reading


@dataclass
class Sniffed:
    """All that is decided before the first row is read."""

    sample: Sample
    plan: Plan
    layout: Layout
    evidence: list[ColumnEvidence]
    clock: ClockPlan | None
    streams: tuple[StreamPlan, ...] = ()
    rate_Hz: float | None = None
    rate_why: str = ""
    faults: list[Fault] = field(default_factory=list)
    reading: Reading | None = None
    fixed_decimals: dict[int, int] = field(default_factory=dict)


def sniff(source: Source, reading: Reading | None, rate_Hz: float | None) -> Sniffed:
    """Raises UnreadableLog where there is no table to be found."""
    sample = take_sample(source, reading.encoding if reading else None)
    refuse_markup(source, sample)
    dialect = choose_dialect(sample.lines_for_dialect(), reading.delimiter if reading else None)
    tables, dialect = tables_of(source, sample, dialect, reading)
    table = main_table(tables)
    if table is None:
        raise no_table(source, sample)
    table, least = with_short_rows(tables, table)
    if table.width > MAX_COLUMNS:
        raise UnreadableLog(
            f"has {table.width} columns; more than {MAX_COLUMNS} is no measurement log",
            file=source.path,
            line=table.first_line,
            mend="Export fewer columns.",
        )
    faults: list[Fault] = []
    pieces = stretches(sample, table, tables)
    rows = some_rows(pieces, dialect, table.width, min(400, max(50, 40_000 // table.width)))
    if not rows:
        raise no_table(source, sample)
    paired = pairs_of(table, dialect, rows)
    if paired == "unclear":
        raise UnreadableLog(
            "commas may be both the delimiter and the decimal mark",
            file=source.path,
            line=table.first_line,
            found=",".join(rows[0])[:60],
            mend="Export it with semicolons or tabs between the columns, or with decimal points.",
        )
    if paired:
        table.width //= 2
        table.mask = ["N"] * table.width
        rows = [[f"{a},{b}" for a, b in zip(row[::2], row[1::2], strict=True)] for row in rows]
        faults.append(
            Fault(
                "decimal_split",
                "repaired",
                "Commas are both delimiter and decimal mark: two cells make one number.",
                table.first_line,
            )
        )
    layout = read_layout(table, dialect, edge_empty(rows), counts(rows), split_stamp(rows))
    keys_beside(layout, rows, dialect)
    if dialect.labels:
        layout.names, layout.units = [*[""] * (layout.width - len(dialect.labels)), *dialect.labels], None
    if reading is not None:
        _apply_reading(layout, reading, sample, dialect)
    columns = plan_columns(layout.names, rows, reading.decimal if reading else None)
    columns = _without_edges(columns, layout, rows)
    for column in columns:
        if column.stamp is not None and layout.units is not None:
            column.stamp = says_minutes(column.stamp, layout.units[column.index])
    mark_compact(columns, rows)
    pair_units(columns, rows, lambda k: columns_unit(columns, layout, k))
    plan = _make_plan(dialect, columns, layout, tables, table, sample, faults)
    plan.pairs = bool(paired)
    plan.pad_short, plan.least_width = least > 0, least
    if least:
        note = f"Rows leave out their last empty cells, down to {least} of {table.width}; these are read as missing."
        faults.append(Fault("short_row", "repaired", note, table.first_line))
    plan.file = str(source.path)
    parsed, starts = _parse_sample(pieces, plan)
    if parsed.rows == 0:
        raise no_table(source, sample)
    evidence = evidence_of(plan, layout, parsed, rows)
    total = row_estimate(source, sample, parsed)
    clock, candidates = find_clock(evidence, plan, parsed, starts, total, layout, reading)
    backward = runs_backward(evidence, plan, parsed) if clock is None else None
    if backward is not None:
        raise UnreadableLog(
            "its rows run backward in time, the newest first",
            file=source.path,
            line=layout.first_data_line,
            column=backward,
            mend="Sort it by time and export it again.",
        )
    if reading is None:
        refuse_sideways(plan, parsed)
        refuse_no_samples(evidence, plan.file or None, layout.first_data_line)
        refuse_long(plan, parsed, evidence, [k for k, _ in clock.parts] if clock is not None else [])
    sniffed = Sniffed(sample, plan, layout, evidence, clock, faults=faults, reading=reading)
    _settle_rate(sniffed, reading, rate_Hz)
    sniffed.fixed_decimals = fixed_decimals(plan, rows)
    clock = sniffed.clock
    sniffed.streams = plan_streams(clock, candidates, [c.index for c in columns])
    used = {k for s in sniffed.streams if s.clock is not None for k, _ in s.clock.parts}
    sniffed.evidence = [replace(e, is_clock=e.index in used) for e in evidence]
    # Where several clocks stand side by side the shorter one's cells are empty at the end: such rows are good.
    plan.clock_columns = tuple(used) if len(sniffed.streams) == 1 else ()
    first = evidence[0]
    body = first.values[: max(1, int(0.9 * first.values.size))]  # a footer may stand in the rest
    if not used and len(evidence) > 1 and first.kind == "number" and not np.isnan(body).any():
        plan.guard = first.index
    plan.fast = can_be_fast(plan)
    sniffed.faults.extend(layout_faults(layout, tables, table, sample))
    return sniffed


def _apply_reading(layout: Layout, reading: Reading, sample: Sample, dialect: Dialect) -> None:
    lines = dict(sample.head)
    for attribute, key in (("names", "header_line"), ("units", "units_line")):
        number = getattr(reading, key)
        if number is None:
            continue
        cells = [c.strip() for c in split_line(strip_comment(lines.get(number, ""))[0], dialect)]
        cells = (cells + [""] * layout.width)[: layout.width]
        setattr(layout, attribute, cells)
        setattr(layout, key, number)
        layout.guessed, layout.shifted = "", False
    if reading.first_data_line is not None:
        layout.first_data_line = reading.first_data_line
        above = [(n, t) for n, t in sample.head if n < reading.first_data_line and t.strip()]
        if reading.header_line is None and layout.header_line is None and above:
            cells = [c.strip() for c in split_line(strip_comment(above[-1][1])[0], dialect)]
            if len(cells) == layout.width:
                layout.names, layout.header_line = cells, above[-1][0]


def _without_edges(columns: list[ColumnPlan], layout: Layout, rows: Sequence[Sequence[str]]) -> list[ColumnPlan]:
    """Nameless columns at the edges that are always empty come from a delimiter at the line's end."""
    kept = list(columns)
    while len(kept) > 1 and kept[-1].empty and not kept[-1].source.strip() and not _unit_at(layout, kept[-1].index):
        kept.pop()
    while len(kept) > 1 and kept[0].empty and not kept[0].source.strip() and not _unit_at(layout, kept[0].index):
        kept.pop(0)
    return kept


def columns_unit(columns: Sequence[ColumnPlan], layout: Layout, index: int) -> bool:
    """Whether a column states its unit itself."""
    own = next((c.unit for c in columns if c.index == index), None)
    return own is not None or unit_of_column(layout, index)[0] is not None


def _unit_at(layout: Layout, index: int) -> str:
    return layout.units[index] if layout.units is not None else ""


def _make_plan(
    dialect: Dialect,
    columns: list[ColumnPlan],
    layout: Layout,
    tables: Sequence[Table],
    table: Table,
    sample: Sample,
    faults: list[Fault],
) -> Plan:
    for column in columns:
        column.source = column.source.strip()
    marks = [c.style.decimal for c in columns if c.kind == "number" and not c.exact and not c.empty]
    decimal = max(sorted(set(marks)), key=marks.count) if marks else "."
    used = _used_marks(columns)
    if used:
        decimal = max(sorted(set(used)), key=used.count)
    names = tuple(n.strip() for n in layout.names)
    plan = Plan(
        dialect,
        columns,
        layout.width,
        header=names if any(names) else (),
        units=tuple(u.strip() for u in layout.units) if layout.units else (),
        first_data_line=layout.first_data_line,
        decimal=decimal,
        fallback_codec="cp1252",
        keep_blank=dialect.delimiter == "",
    )
    after = [t for t in tables if t.first_line > table.last_line and t is not table and t.header is not None]
    if after and sample.whole:
        plan.stop_line = table.last_line + 1
    for column in columns:
        if column.kind == "number" and not column.style.sure:
            faults.append(
                Fault(
                    "decimal_unclear",
                    "doubtful",
                    f'"{column.source}": {column.style.decimal!r} is taken as the decimal '
                    "mark; three digits follow it everywhere, so it could group thousands. Say decimal in a reading.",
                    layout.first_data_line,
                    column.source,
                )
            )
    return plan


def _used_marks(columns: Sequence[ColumnPlan]) -> list[str]:
    """The decimal marks of columns that really show one."""
    return [c.style.decimal for c in columns if c.kind == "number" and c.marked]


def _parse_sample(pieces: Sequence[Sequence[str]], plan: Plan) -> tuple[Parsed, list[int]]:
    """The sampled rows as columns, and the rows at which a new stretch begins."""
    loose = replace(plan, first_data_line=0, stop_line=None, clock_columns=())
    loose.fast = can_be_fast(loose)
    parts, starts, seen = [], [], 0
    for stretch in pieces:
        block = Block("\n".join(stretch).encode("utf-8", errors="replace") + b"\n", 1, False, True)
        parsed = parse_block(block, loose)
        if parsed.rows:
            starts.append(seen)
            parts.append(parsed)
            seen += parsed.rows
    return (merge(parts) if parts else Parsed([], 0, np.empty(0, dtype=np.int64))), starts


def _settle_rate(sniffed: Sniffed, reading: Reading | None, rate_Hz: float | None) -> None:
    """A rate only from the user, the reading, or a line of the file that states it."""
    if rate_Hz is not None:
        sniffed.rate_Hz, sniffed.rate_why = rate_Hz, "given with --rate"
    elif reading is not None and reading.rate_Hz is not None:
        sniffed.rate_Hz, sniffed.rate_why = reading.rate_Hz, "the reading says so"
    else:
        stated = rate_from_preamble(sniffed.layout.preamble)
        if stated is not None:
            sniffed.rate_Hz, sniffed.rate_why = stated[0], f'the file says "{stated[1]}"'
    clock = sniffed.clock
    if sniffed.rate_Hz is not None and clock is not None and not clock.unit_stated and clock.interval == 1.0:
        sniffed.clock = None  # it numbers the samples; their rate is stated
