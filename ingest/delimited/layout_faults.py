"""What is to be said about the names and the tables of a file."""

from __future__ import annotations

from collections.abc import Sequence

from ingest.delimited.layout import Layout
from ingest.delimited.sample import Sample
from ingest.delimited.table import Table
from ingest.log import Fault


def layout_faults(layout: Layout, tables: Sequence[Table], table: Table, sample: Sample) -> list[Fault]:
    """Names missing or twice, other tables, an encoding that nothing declares."""
    faults: list[Fault] = []
    if layout.header_line is None and not any(layout.names):
        faults.append(
            Fault(
                "no_header",
                "doubtful",
                "No line of names stands above the rows; columns have no names.",
                layout.first_data_line,
            )
        )
    if layout.guessed:
        faults.append(
            Fault(
                "header_guessed", "doubtful", layout.guessed[0].upper() + layout.guessed[1:] + ".", layout.header_line
            )
        )
    names = [n.strip() for n in layout.names if n.strip()]
    for name in dict.fromkeys(n for n in names if names.count(n) > 1):
        faults.append(
            Fault(
                "duplicate_name",
                "doubtful",
                f'{names.count(name)} columns are named "{name}".',
                layout.header_line,
                name,
                names.count(name),
            )
        )
    others = [t for t in tables if t is not table and (t.rows >= 5 or (t.rows >= 3 and t.header is not None))]
    # Keys and values above the table are its preamble, not a table of their own.
    others = [t for t in others if not (t.width == 2 and t.mask[0] == "X" and t.last_line < table.first_line)]
    # Rows of another width between those of the table are its ragged rows.
    others = [t for t in others if not (table.first_line < t.first_line and t.last_line < table.last_line)]
    if others:
        places = ", ".join(f"lines {t.first_line}–{t.last_line} ({t.rows} rows)" for t in others[:5])
        faults.append(
            Fault(
                "several_tables",
                "dropped",
                f"{len(others) + 1} tables; the largest is read, not {places}.",
                others[0].first_line,
                None,
                len(others),
            )
        )
    if not sample.encoding.sure:
        faults.append(
            Fault("encoding", "doubtful", f"No mark tells the encoding; {sample.encoding.name} fits the bytes.")
        )
    return faults
