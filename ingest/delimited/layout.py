"""The names, units and edges of the main table, read from the lines above it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from ingest.delimited.dialect import Dialect, cell_class, split_line, strip_comment
from ingest.delimited.table import Table, is_statistic
from ingest.delimited.units import bracketed_unit, is_unit, unit_of

_KEY_VALUE = re.compile(r"^\s*(?P<key>[^:=]{1,60}?)\s*(?::(?!\d\d)|=)\s*(?P<value>.+?)\s*$")
_PREAMBLE_KEYS = frozenset(
    ("device", "serial", "serial number", "serial no", "model", "firmware", "version", "operator", "user", "file",
     "filename", "sample rate", "sampling rate", "sample interval", "interval", "comment", "location", "project",
     "software", "hardware", "channels", "samples", "points", "record length", "test", "logger", "title", "name",
     "id", "unit", "batch", "profile", "rate", "instrument", "sn")
)  # fmt: skip


RULERS = " \t\r\x1a-=_+|*#~;,:"  # a line of these alone is drawn, not written


@dataclass
class Layout:
    """Lines are 1-based. names: exactly as written, "" where there is none. left: empty edge cells cut in front."""

    width: int
    names: list[str]
    header_line: int | None = None
    units_line: int | None = None
    first_data_line: int = 1
    units: list[str] | None = None
    preamble: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    guessed: str = ""
    shifted: bool = False  # the names may not stand over their columns
    extra_names: int = 0


def read_layout(table: Table, dialect: Dialect, empty_right: int, counts_first: bool, split_stamp: bool) -> Layout:
    """Names and units for the table's columns.

    empty_right        how many delimiters stand at the end of every row
    counts_first       the first column is 0, 1, 2, … or 1, 2, 3, …: row numbers that a writer leaves unnamed
    split_stamp        the first two columns are a date and a time, which one name may stand for
    """
    layout = Layout(table.width, [""] * table.width, first_data_line=table.first_line)
    lines = [(n, text) for n, text in table.above if text.strip(RULERS) and not _is_types_row(text, dialect)]
    lines = [(n, text) for n, text in lines if not is_statistic(split_line(strip_comment(text)[0], dialect))]
    rows = [(n, text, _cells(text, dialect, table.width, split_stamp, empty_right)) for n, text in lines]
    header = None
    fresh: list[int] = []
    for k in range(len(rows) - 1, max(-1, len(rows) - 6), -1):
        number, _text, cells = rows[k]
        if cells is None:
            if header is not None or fresh:
                break
            continue
        above = rows[k - 1][2] if k > 0 else None
        if layout.units is None and (_is_units_row(cells) or _repeats_with_units(cells, above)):
            layout.units_line = number
            layout.units = ["" if c.strip().lower().rstrip(":") in _UNIT_LABELS else c.strip() for c in cells]
            fresh.append(k)
            continue
        exact = len(cells) == table.width
        near = exact or (k == len(rows) - 1 - len(fresh) and number >= table.first_line - 1 - len(fresh))
        fitting = exact or not _KEY_VALUE.match(_text)
        if header is None and near and fitting and _is_header(cells, table, layout.units is not None):
            header = k
            layout.header_line, layout.names = number, cells
            continue
        break
    if header is not None:
        _fit_names(layout, empty_right > 0, counts_first)
    elif layout.units is not None:
        # Nothing but units above the rows: they are the only names there are.
        layout.names, layout.header_line, layout.units_line = layout.units, layout.units_line, None
        layout.units = [c if is_unit(c) else "" for c in layout.names]  # "Time (s),Volts,Amps": a name among them
    if layout.units is not None:
        layout.units = (layout.units + [""] * table.width)[: table.width]
        for k, cell in enumerate(layout.units):
            if cell_class(cell) == "N" and layout.names[k].strip():
                layout.preamble[layout.names[k].strip()] = cell  # "Increment" over its figure
                layout.units[k] = ""
    used = {layout.header_line, layout.units_line}
    _read_notes(layout, [(n, text) for n, text in lines if n not in used], dialect)
    return layout


def _cells(
    text: str, dialect: Dialect, width: int, split_stamp: bool = False, empty_right: int = 0
) -> list[str] | None:
    """The line as a row of about `width` names, also where its delimiter is another one than the rows'."""
    bare, commented = strip_comment(text)
    if commented and text.lstrip()[1:2] == dialect.delimiter and dialect.delimiter.strip():
        bare, commented = text.lstrip(), False  # the first name is "#"
    if dialect.cuts:
        dialect = Dialect(" ")  # names need not stand over their columns
    cells = split_line(bare, dialect)
    if commented and text.lstrip()[:1] in "#%" and len(cells) == width - 1 and not cells[0].strip():
        cells = ["", *cells]
    if split_stamp and len(cells) == width - 1 and row_text_share(cells) > 0.8:
        return [cells[0], "", *cells[1:]]
    if empty_right > 1 and len(cells) == width - empty_right > 1 and cells[-1].strip():
        return cells + [""] * empty_right
    about_right = len(cells) in (width, width + 1) or (len(cells) == width - 1 and width > 2)
    if about_right and (dialect.delimiter != " " or len(cells) == width):
        return cells
    if dialect.delimiter == " ":
        for pattern in (r"\t+", r"\s{2,}", r"\s*[,;|]\s*"):
            parts = re.split(pattern, bare.strip())
            if len(parts) == width:
                return parts
        glued = re.sub(r"\s+(?=[\[({])", "\x1f", bare.strip()).split()
        if len(glued) == width:
            return [c.replace("\x1f", " ") for c in glued]
        return None
    for other in ("\t", ";", ",", "|"):
        if other != dialect.delimiter and bare.count(other) == width - 1 and width > 1:
            return [c.strip() for c in split_line(bare, Dialect(other))]
    if width > 2 and len(cells) > width + 1:
        return cells if row_text_share(cells) > 0.8 else None
    return None


_TYPES = re.compile(
    r"(?:u?int|float|real|double|long|short|byte|char|string|str|text|bool|boolean|number|integer)\d{0,2}"
)


def _is_types_row(text: str, dialect: Dialect) -> bool:
    """A row that gives each column's type, "float;float;string": neither names nor units."""
    cells = [c.strip().lower() for c in split_line(strip_comment(text)[0], dialect) if c.strip()]
    return len(cells) > 1 and all(_TYPES.fullmatch(c) for c in cells)


def row_text_share(cells: Sequence[str]) -> float:
    named = [c for c in cells if c.strip()]
    return sum(cell_class(c) == "X" or is_unit(c) for c in named) / len(named) if named else 0.0


_REMARKS = ("", "comment", "comments", "remark", "remarks", "note", "notes", "message", "bemerkung", "kommentar")
_UNIT_LABELS = ("unit", "units", "einheit", "einheiten")


def _is_units_row(cells: Sequence[str]) -> bool:
    """Nearly every cell that is not empty is a unit; names in brackets like "[V]" count."""
    named = [c.strip() for c in cells if c.strip() and c.strip().lower().rstrip(":") not in _UNIT_LABELS]
    if not named:
        return False
    if len(named) > 2:
        # A start or an increment may stand between the units.
        named = [c for c in named if cell_class(c) != "N"] or named
    hits = sum(is_unit(c) for c in named)
    strong = sum(is_unit(c) and c not in ("time", "date", "Time", "n", "index", "raw") for c in named)
    if len(cells) > 1 and len(named) == 1:
        return hits == 1 and named[0][:1] in "[(" and strong == 1
    return strong >= 1 and (hits >= 0.75 * len(named) or (strong >= 2 and hits > 0.6 * len(named)))


def _repeats_with_units(cells: Sequence[str], above: Sequence[str] | None) -> bool:
    """The names once more, with units in place of those that have one."""
    if above is None or len(above) != len(cells):
        return False
    pairs = [(c.strip(), a.strip()) for c, a in zip(cells, above, strict=True)]
    same = sum(c == a for c, a in pairs)
    units = sum(c != a and is_unit(c) for c, a in pairs)
    return same >= 1 and units >= 1 and same + units >= 0.75 * len(pairs)


def _is_header(cells: Sequence[str], table: Table, above_units: bool) -> bool:
    named = [c.strip() for c in cells if c.strip()]
    if not named:
        return False
    classes = [cell_class(c) for c in cells]
    text = classes.count("X") + classes.count("F")
    if text == 0:
        return False
    if above_units:
        return True
    if table.width == 2 and "N" in classes:
        return False  # a key and its value
    if table.width == 2 and named[0].lower().rstrip(":") in _PREAMBLE_KEYS:
        return False
    if table.width == 1:
        return ":" not in named[0].rstrip(":") and "=" not in named[0] and len(named[0]) <= 40
    if table.width > 2 and len(named) <= 2 and len(named) < 0.5 * table.width:
        return False  # "Device;Logger;;;;": a key and its value, filled up
    # Names stand where numbers follow: at least one cell must differ in sort from the rows below.
    return any(c == "X" and mine in "NE" for c, mine in zip(classes, table.mask, strict=False)) or text == len(named)


def _fit_names(layout: Layout, last_column_empty: bool, counts_first: bool) -> None:
    names, width = layout.names, layout.width
    if len(names) == width:
        return
    if len(names) == width - 1:
        if last_column_empty:
            layout.names = [*names, ""]
            return
        if counts_first:
            layout.names = ["", *names]
            if layout.units is not None and len(layout.units) == width - 1:
                layout.units = ["", *layout.units]
            return
    if len(names) > width and not any(c.strip() for c in names[width:]):
        layout.names = names[:width]
        return
    if len(names) == 2 * width and layout.units is None and all(is_unit(c) for c in names[1::2]):
        layout.names, layout.units = names[::2], names[1::2]  # "Voltage, V" in a table of commas
        return
    layout.guessed = f"{len(names)} names stand above rows of {width} cells"
    # A column of remarks that every row leaves out; any other name more or fewer may have shifted the rest.
    layout.shifted = not (len(names) > width and all(c.strip().lower() in _REMARKS for c in names[width:]))
    layout.extra_names = max(0, len(names) - width)
    layout.names = (names + [""] * width)[:width]


def _read_notes(layout: Layout, lines: Sequence[tuple[int, str]], dialect: Dialect) -> None:
    for _, text in lines:
        bare = strip_comment(text)[0].strip()
        if not bare:
            continue
        found = _KEY_VALUE.match(bare.strip(';,\t |"'))
        if found is not None:
            layout.preamble.setdefault(found["key"].strip('" '), found["value"].strip('"; ,\t'))
        else:
            for other in dict.fromkeys((dialect.delimiter, ";", ",", "\t")):
                parts = [c.strip() for c in bare.split(other) if c.strip()] if other not in ("", " ") else []
                if len(parts) in (2, 3) and cell_class(parts[0]) == "X" and len(parts[0]) <= 40:
                    layout.preamble.setdefault(parts[0].strip(':"'), " ".join(parts[1:]))
                    break
        layout.notes.append(bare)


_LIST_OF_UNITS = re.compile(r"\bunits?\b\s*[:=]?\s*(?P<list>.+)", re.IGNORECASE)
_QUANTITY_IN = re.compile(
    r"\b(?P<word>voltages?|currents?|temperatures?|times?|time\s?stamps?|speeds?|powers?|energ(?:y|ies)|charges?|"
    r"capacit(?:y|ies)|clock|counter)\b[^.;\n]{0,30}?\b(?:in|unit|units|as)\b\s*:?\s*(?P<unit>[^\s,;.]+)",
    re.IGNORECASE,
)
_WORD_STEMS = {
    "voltage": ("volt", "u_", "vbat", "v_", "spannung"),
    "current": ("curr", "amp", "i_", "ibat", "strom"),
    "temperature": ("temp", "t_"),
    "time": ("time", "zeit", "t", "tick", "clock", "stamp"),
    "speed": ("rpm", "speed", "rev"),
    "power": ("power", "p_", "watt"),
    "energy": ("energy",),
    "charge": ("charge",),
    "capacity": ("cap",),
    "clock": ("time", "clock", "tick", "t"),
    "counter": ("count", "tick", "time"),
}


def unit_of_column(layout: Layout, index: int) -> tuple[str | None, str | None]:
    """(unit as written, where it was found) of one column, from the units row, the name, or a note."""
    from ingest.delimited.units import suffix_unit

    name = layout.names[index]
    if layout.units is not None and layout.units[index]:
        return layout.units[index].strip("[](){}<> "), "units row"
    unit = bracketed_unit(name)
    if unit is not None and (is_unit(unit) or not re.search(r"[A-Za-z]{5,}|\d", unit)):
        return unit, "name"
    unit = suffix_unit(re.sub(r"[\[({<][^\])}>]{0,200}[\])}>]", " ", name).strip()) or _own_unit(name)
    if unit is not None:
        return unit, "name"
    return _unit_from_notes(layout, index)


def _own_unit(name: str) -> str | None:
    """A name that is nothing but a unit: "ms", "V"; "time" and "count" say no unit."""
    found = unit_of(name)
    return name.strip() if found is not None and found[0] not in ("clock", "samples", "1") else None


def _unit_from_notes(layout: Layout, index: int) -> tuple[str | None, str | None]:
    name = layout.names[index].strip()
    low = name.lower()
    for note in layout.notes:
        listed = _LIST_OF_UNITS.search(note)
        if listed is not None:
            parts = [p.strip('[]() "') for p in re.split(r"[,;\t|]\s*|\s+", listed["list"].strip()) if p.strip()]
            if len(parts) == layout.width and sum(is_unit(p) for p in parts) >= 0.7 * len(parts):
                return parts[index], "note"
        if name and len(name) > 0:
            own = re.search(
                rf"(?<![\w]){re.escape(name)}(?![\w])\s*(?:[:=-]|\bis\b)*[^;,\n]*?"
                rf"(?:\bin\s+(?P<u1>[^\s,;.]+)|[\[(](?P<u2>[^\])]+)[\])]|[:=]\s*(?P<u3>[^\s,;]+)\s*$)",
                note,
                re.IGNORECASE if len(name) > 2 else 0,
            )
            if own is not None:
                unit = own["u1"] or own["u2"] or own["u3"]
                if is_unit(unit):
                    return unit.strip("[]()"), "note"
    for note in layout.notes:
        for found in _QUANTITY_IN.finditer(note):
            word = re.sub(r"ies$", "y", found["word"].lower()).rstrip("s").replace(" ", "")
            word = "time" if word.startswith("timestamp") else word
            if is_unit(found["unit"]) and _is_about(low, word):
                return found["unit"].strip("[]()"), "note"
    return None, None


def _is_about(name: str, word: str) -> bool:
    stems = _WORD_STEMS.get(word, (word,))
    return any(name == stem.rstrip("_") or (len(stem) > 1 and stem in name) for stem in stems)
