"""Where the tables stand in a file: runs of rows with the same number of cells of the same sort."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from ingest.delimited.dialect import Dialect, cell_class, split_line, strip_comment
from ingest.delimited.units import is_unit

MAX_COLUMNS = 2000  # our choice: the widest log we can imagine is a hundred cells and their balance flags
LINES_ABOVE = 400
ROWS_TO_ASK = 500
MANY_KEYS = 40  # our choice: more lines of keys and values than any preamble between two headings has
FEW_ROWS = 3  # a run as short as this may be the names or key and value lines above the real table


@dataclass
class Table:
    """One table. mask: per column "N" (number, time or flag), "X" (text) or "E" (only empty so far)."""

    width: int
    mask: list[str]
    first_line: int
    last_line: int
    rows: int = 0
    numeric_cells: int = 0
    above: list[tuple[int, str]] = field(default_factory=list)
    closed: bool = False
    ended: bool = False  # nothing that follows belongs to it
    header: tuple[str, ...] | None = None
    goes_to_the_end: bool = False
    texts: list[tuple[int, str]] = field(default_factory=list)
    clocks: list[float] = field(default_factory=list)  # the last two figures of the first column

    def fits(self, classes: list[str]) -> bool:
        """Whether a row of these classes belongs to this table: at most half of its number cells may be odd."""
        if len(classes) != self.width or self.ended:
            return False
        odd = wanted = 0
        for mine, theirs in zip(self.mask, classes, strict=True):
            if mine == "E" or theirs == "E":
                continue
            wanted += 1
            odd += mine != theirs and not (mine == "X" and theirs == "N")
        if {self.mask[0], classes[0]} == {"N", "X"}:
            return False
        return odd * 2 <= wanted

    def goes_on(self, cell: str) -> bool:
        """Whether the first column continues as before: forward, by no more than five of its steps."""
        try:
            value = float(cell)
        except ValueError:
            return False
        if len(self.clocks) < 2:
            return True
        step = self.clocks[1] - self.clocks[0]
        return 0 <= value - self.clocks[1] <= 5 * abs(step)

    def take(self, classes: list[str], line: int, text: str, first: str) -> None:
        try:
            self.clocks = [*self.clocks[-1:], float(first)]
        except ValueError:
            self.clocks = []
        if self.rows < FEW_ROWS:
            self.texts.append((line, text))
        for k, kind in enumerate(classes):
            if self.mask[k] == "E":
                self.mask[k] = kind
        self.rows += 1
        self.last_line = line
        self.numeric_cells += classes.count("N")


_COARSE = {"N": "N", "G": "N", "T": "N", "F": "E", "E": "E", "X": "X"}


def row_classes(cells: list[str]) -> list[str]:
    """Per cell "N", "X" or "E"; flag words decide nothing, "no" and "on" stand in prose too."""
    return [_COARSE[cell_class(cell)] for cell in cells]


_STATISTICS = frozenset(
    ("min", "max", "mean", "minimum", "maximum", "average", "avg", "std", "std dev", "stdev", "std deviation",
     "standard deviation", "median", "rms", "mittelwert", "mittel", "moyenne", "peak to peak", "sigma", "variance")
)  # fmt: skip


def is_statistic(cells: list[str]) -> bool:
    """A line that begins with the name of a statistic and holds its figures: it sums up the rows and is none."""
    name = cells[0].strip(" :=").replace(".", "").replace("_", " ").lower() if len(cells) > 1 else ""
    return name in _STATISTICS and any(cell_class(cell) in "NG" for cell in cells[1:])


def is_row(classes: list[str]) -> bool:
    """Whether a line can be a row of measurements at all."""
    numbers = classes.count("N")
    return numbers > 0 and 3 * numbers >= classes.count("X")


def find_tables(
    lines: Iterable[tuple[int, str]], dialect: Dialect, enough: Callable[[Table], bool] | None = None
) -> list[Table]:
    """All tables among numbered lines, in order. Memory does not grow with their rows.

    enough  asked once of every table that reaches ROWS_TO_ASK rows; where it says so the search ends there
    """
    tables: list[Table] = []
    current: Table | None = None
    above: deque[tuple[int, str]] = deque(maxlen=LINES_ABOVE)
    odd = 0
    foreign = False  # other names stand above; whether another table follows, the first column tells
    for number, text in lines:
        if not text.strip("\0 \t\r\x1a;,"):
            above.append((number, ""))
            continue
        cells = split_line(text, dialect)
        if len(cells) > MAX_COLUMNS * 50:
            cells = cells[: MAX_COLUMNS * 50]
        if strip_comment(text)[1]:
            above.append((number, text))
            continue
        if is_statistic(cells):
            above.append((number, text))
            odd += 1
            continue
        classes = row_classes(cells)
        if current is not None and current.rows <= MANY_KEYS and odd and current.mask[0] == "X" and classes[0] == "E":
            for table in tables:  # keys and values, then names, then rows whose first cell is left empty
                table.ended = True
        if foreign and current is not None and is_row(classes) and not current.goes_on(cells[0]):
            current.closed = True
        if current is not None and not current.closed and current.fits(classes) and is_row(classes):
            current.take(classes, number, text, cells[0])
            odd, foreign = 0, False
            above.clear()
            if enough is not None and current.rows == ROWS_TO_ASK and enough(current):
                current.goes_to_the_end = True
                break
            continue
        if current is not None and _is_repeat(current, cells, dialect):
            above.clear()
            continue
        if is_row(classes):
            back = _reopen(tables, classes) if _no_header(above, dialect, len(cells)) else None
            if back is not None and odd < 200:
                current = back
                current.take(classes, number, text, cells[0])
            else:
                if current is not None:
                    current.closed = True
                if current is not None and current.rows <= FEW_ROWS and len(current.texts) == current.rows:
                    above.extendleft(reversed(current.above + current.texts))  # names that are numbers, say
                current = Table(len(cells), list(classes), number, number, above=list(above))
                current.header = _header_cells(above, dialect, len(cells))
                same = _same_header(tables, current)
                if same is not None:
                    current = same
                    same.closed = False
                    current.take(classes, number, text, cells[0])
                else:
                    current.take(classes, number, text, cells[0])
                    tables.append(current)
            above.clear()
            odd, foreign = 0, False
            continue
        above.append((number, text))
        odd += 1
        foreign = foreign or (current is not None and _is_other_header(current, cells))
    return tables


def _is_repeat(table: Table, cells: list[str], dialect: Dialect) -> bool:
    return table.header is not None and [c.strip() for c in cells] == list(table.header)


def _is_other_header(table: Table, cells: list[str]) -> bool:
    """Names of the same number as the table's columns, all text and all different."""
    named = [c.strip() for c in cells if c.strip()]
    if len(cells) != table.width or len(named) < 0.8 * table.width or len(set(named)) < len(named):
        return False
    if row_classes(named).count("X") < len(named):
        return False
    return table.width >= 3 or bool(set(named) & set(table.header or ()))


def _header_cells(above: Iterable[tuple[int, str]], dialect: Dialect, width: int) -> tuple[str, ...] | None:
    """The nearest line above a table that has its number of cells, all text, and is no row of units."""
    for _, text in list(above)[:-5:-1]:
        if not text:
            continue
        cells = [c.strip() for c in split_line(strip_comment(text)[0], dialect)]
        if len(cells) == width and width > 1 and row_classes(cells).count("X") * 2 >= width:
            named = [c for c in cells if c]
            if sum(is_unit(c) for c in named) < 0.75 * len(named):
                return tuple(cells)
    return None


def _no_header(above: Iterable[tuple[int, str]], dialect: Dialect, width: int) -> bool:
    return _header_cells(above, dialect, width) is None


def _reopen(tables: list[Table], classes: list[str]) -> Table | None:
    """The table that goes on behind damaged or foreign lines, each of which may look like a table of its own."""
    for table in [*tables[-3:], *[t for t in tables[:-3] if t.rows > FEW_ROWS][-3:]][::-1]:
        if table.fits(classes):
            return table
    return None


def _same_header(tables: list[Table], fresh: Table) -> Table | None:
    """An earlier section with the very same header: one table in several pieces."""
    if fresh.header is None:
        return None
    return next((t for t in tables if t.header == fresh.header and t.fits(fresh.mask)), None)


def main_table(tables: list[Table]) -> Table | None:
    """The one with the most numbers. Words with a figure here and there are no table: a third must be numbers."""
    endless = next((t for t in tables if t.goes_to_the_end), None)
    if endless is not None:
        return endless
    usable = [t for t in tables if 3 * t.numeric_cells >= t.rows * sum(kind != "E" for kind in t.mask)]
    return max(usable, key=lambda t: t.numeric_cells) if usable else None
