"""The comma as delimiter and as decimal mark at once: read in pairs where the names settle it, else refused."""

from __future__ import annotations

from collections.abc import Sequence

from ingest.delimited.dialect import Dialect, cell_class, split_line, strip_comment
from ingest.delimited.table import Table


def pairs_of(table: Table, dialect: Dialect, rows: Sequence[Sequence[str]]) -> str:
    """ "pairs" where each number is two cells, "unclear" where that may be so, "" where it is not.

    Pairs: commas delimit, every cell is a whole number, the second of each pair has no sign and always the same
    number of digits, and the names above are half as many as the cells. Unclear: no names, but the second of some
    pair has a zero in front, as the digits behind a decimal mark have and counted things have not.
    """
    if dialect.delimiter != "," or table.width % 2 or len(rows) < 2:
        return ""
    firsts = [cell.strip() for row in rows for cell in row[0::2]]
    if not all(cell.lstrip("+-").isdecimal() for cell in firsts):
        return ""
    zeros = 0
    for column in range(1, table.width, 2):
        cells = [row[column].strip() for row in rows]
        if not all(cell.isdecimal() for cell in cells) or len({len(cell) for cell in cells}) > 1:
            return ""
        zeros += any(cell[0] == "0" and len(cell) > 1 for cell in cells)
    names = _names_above(table, dialect)
    if names is not None and len(names) * 2 == table.width:
        return "pairs"
    return "unclear" if names is None and zeros else ""


def _names_above(table: Table, dialect: Dialect) -> list[str] | None:
    for _, text in reversed(table.above):
        if text.strip():
            cells = split_line(strip_comment(text)[0], dialect)
            return cells if cells and all(cell_class(c) == "X" for c in cells) else None
    return None
