"""The page of `afterbout inspect`: what each file is, its channels and how sure they are, its faults, what to answer.

Plain text, at most 100 columns, no colour. Made from the inspect document alone (ingest.inspect).
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from dashboard.inspect_bench import bench_words

WIDTH: Final = 100
SURE_WORDS: Final = {
    "certain": "certain",
    "likely": "likely",
    "guess": "a guess",
    "unknown": "unknown",
}
SEVERITY_WORDS: Final = {"repaired": "repaired", "dropped": "left out", "doubtful": "doubtful"}
FAULT_WORDS: Final = {
    "encoding": "character encoding",
    "bad_frame": "damaged frame",
    "stray_bytes": "bytes between frames",
    "short_frame": "frame cut short",
    "id_form": "identifier written in another form",
    "second_bus": "a second interface",
    "database_missing": "no database given",
    "array_channel": "channel of several values a sample",
    "header_guessed": "names taken from an unmarked line",
    "no_header": "no line of names",
    "several_tables": "several tables",
    "footer": "text after the samples",
    "short_row": "row with too few cells",
    "long_row": "row with too many cells",
    "bad_number": "cell that is no number",
    "unit_in_cell": "units inside the cells",
    "sentinel": "figures that stand for no value",
    "nul_bytes": "bytes without content",
    "truncated": "file cut off",
    "duplicate_name": "same name twice",
    "clock_missing": "no clock",
    "clock_restart": "clock starts again",
    "clock_wrap": "clock ran over",
    "clock_backward": "clock goes backward",
    "clock_duplicate": "same time twice",
    "clock_gap": "gap in the samples",
    "leftovers": "perhaps rows of an older recording",
    "clock_disagrees": "two clocks disagree",
    "unit_unknown": "unit not stated",
    "sign_normalised": "sign turned round",
    "implausible": "figures that cannot be",
    "checksum": "checksum wrong",
    "unknown_id": "frames of unknown kind",
    "count_disagrees": "count of rows disagrees",
    "no_way": "state that says neither charge nor discharge",
    "note_line": "text between the samples",
    "repeated_header": "names repeated",
}
NO_CLOCK: Final = "It has no clock: say how many samples a second it holds with --rate."
_LINES_SHOWN: Final = 3
_NAME: Final = 26


def inspect_text(document: Mapping[str, Any]) -> str:
    """The page for an inspect document, ending in one line feed."""
    lines: list[str] = []
    for entry in document["files"]:
        if lines:
            lines.append("")
        lines += _refusal(entry) if entry["refused"] is not None else _file(entry)
    return "\n".join(lines) + "\n"


def _file(entry: Mapping[str, Any]) -> Iterator[str]:
    yield _shown(entry["file"], WIDTH)
    yield from _wrapped(what_words(entry), "  ")
    if entry["dialect"]:
        yield from _wrapped(dialect_words(entry["dialect"]), "  ")
    if entry["reading"]:
        yield from _wrapped(f"Read as the reading file {_shown(entry['reading'], 60)} says.", "  ")
    if entry.get("bench"):
        yield from _wrapped(bench_words(entry["bench"]), "  ")
    yield from _channels(entry)
    yield from _faults(entry["faults"])
    yield from _questions(entry)


def _refusal(entry: Mapping[str, Any]) -> Iterator[str]:
    yield _shown(entry["file"], WIDTH)
    yield from _wrapped(f"REFUSED, nothing of it is used: {_clean(entry['refused'])}", "  ")


def what_words(entry: Mapping[str, Any], no_clock: str = NO_CLOCK) -> str:
    """Format, rows, length, rate and clock of a file that was read, in one line."""
    rows = entry["rows"]
    counted = "row" if rows == 1 else "rows"
    if "frames" in entry:
        counted = "frames decoded"
    elif "messages" in entry:
        counted = "messages"
    clock = entry["clock"]
    text = f"{entry['format']}: {rows:,} {counted}"
    if clock is None:
        return f"{text}. {no_clock}"
    if clock["duration_s"] is not None:
        text += f", {_duration(clock['duration_s'])}"
    if clock["rate_Hz"] is not None and clock["rate_Hz"] < 1.0:
        text += f", a sample every {plain_figure(1.0 / clock['rate_Hz'])} s"
    elif clock["rate_Hz"] is not None:
        text += f" at {plain_figure(clock['rate_Hz'])} samples a second"
    if clock["column"] is None and clock["unit"] == "samples":
        return f"{text}. It has no clock; timed by its rate: {_clean(clock['origin'])}."
    named = f'Clock "{_shown(clock["column"], 30)}"' if clock["column"] else "Clock"
    unit = {"datetime": "date and time", "time": "hours, minutes and seconds"}.get(clock["unit"], clock["unit"])
    text += f". {named} in {unit}: {SURE_WORDS[clock['sure']]}."
    if clock["restarts"]:
        text += f" It starts again {_times(len(clock['restarts']))}."
    if clock["gaps"]:
        longest = max(end - start for start, end in clock["gaps"])
        text += f" {_count(len(clock['gaps']), 'gap')}, the longest {plain_figure(longest)} s."
    if clock["wall_start"]:
        text += f" Begun {_clean(clock['wall_start'])}."
    return text


def dialect_words(dialect: Mapping[str, Any]) -> str:
    """How a text log is written."""
    marks = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars", " ": "spaces", None: "nothing"}
    delimiter = dialect.get("delimiter")
    parts = [f"Cells parted by {marks.get(delimiter, repr(delimiter))}"]
    if dialect.get("figures_named"):
        parts = ["Each figure stands behind its name"]
    if dialect.get("decimal"):
        parts.append("decimal " + {",": "comma", ".": "point"}.get(dialect["decimal"], repr(dialect["decimal"])))
    if dialect.get("encoding"):
        parts.append(str(dialect["encoding"]))
    for key, word in (("header_line", "names"), ("units_line", "units"), ("first_data_line", "first samples")):
        if dialect.get(key) is not None:
            parts.append(f"{word} on line {dialect[key]}")
    return ", ".join(parts) + "."


def _channels(entry: Mapping[str, Any]) -> Iterator[str]:
    clock = entry["clock"]["column"] if entry["clock"] else None
    shown = [c for c in entry["columns"] if c["channel"] is not None]
    rest = [c for c in entry["columns"] if c["channel"] is None and c["source"] != clock]
    if shown:
        yield ""
        yield f"  {'channel':<31}{'from':<28}{'lowest':>10}{'highest':>11}  {'unit':<7}{'how sure'}"
        stream = None
        for column in shown:
            if (of := column.get("stream")) is not None and of != stream:
                stream = of
                yield f"  of {_shown(stream, 60)}:"
            yield _row(column)
    if not shown:
        yield ""
        yield "  No column is understood as a channel."
    kept = [f'"{_shown(c["source"], 30)}" ({c["quantity"]})' for c in rest if c["sure"] != "unknown"]
    asked = [f'"{_shown(c["source"], 30)}" ({c["quantity"]})' for c in rest if c["sure"] == "unknown"]
    if asked:
        yield from _wrapped(f"Not understood: {', '.join(asked)}.", "  ")
    if kept:
        yield from _wrapped(f"No channel, kept under its own name: {', '.join(kept)}.", "  ")


def _row(column: Mapping[str, Any]) -> str:
    low, high = plain_figure(column["min"]), plain_figure(column["max"])
    name = f'"{_shown(column["source"], _NAME)}"'
    unit = column["unit"] if column["unit"] not in (None, "1") else ""
    sure = SURE_WORDS[column["sure"]]
    text = f"  {column['channel']:<30} {name:<28}{low:>9} {high:>10}  {unit:<6} {sure}"
    return (
        text if len(text) <= WIDTH else f"  {column['channel']}\n{'':33}{name:<28}{low:>9} {high:>10}  {unit:<6} {sure}"
    )


def _faults(faults: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    lines = fault_lines(faults)
    if lines:
        yield ""
        yield "  Faults of the file"
    for line in lines:
        yield from _wrapped(line, "    ", "      ")


def fault_lines(faults: Sequence[Mapping[str, Any]]) -> list[str]:
    """Each kind of fault in words, what is not to be trusted first."""
    groups: dict[tuple[str, str, str | None], list[Mapping[str, Any]]] = {}
    for fault in faults:
        groups.setdefault((fault["severity"], fault["code"], fault["column"]), []).append(fault)
    order = list(SEVERITY_WORDS)
    out = []
    for (severity, code, column), group in sorted(
        groups.items(), key=lambda item: order.index(item[0][0]), reverse=True
    ):
        words = FAULT_WORDS.get(code, code.replace("_", " "))
        places = [f"line {f['line']}" for f in group[:_LINES_SHOWN] if f["line"] is not None]
        if column is not None:
            places.insert(0, f'"{_shown(column, _NAME)}"')
        count = sum(f["count"] for f in group)
        if count > max(1, len([p for p in places if p.startswith("line")])):
            places.append(f"{count:,} in all")
        where = f" ({', '.join(places)})" if places else ""
        note = _clean(group[0]["note"]).rstrip(".")
        out.append(f"{SEVERITY_WORDS[severity]}: {words}{where}: {note}.")
    return out


def _questions(entry: Mapping[str, Any]) -> Iterator[str]:
    asked = [c for c in entry["columns"] if c["question"] and c["sure"] in ("guess", "unknown")]
    likely = sum(1 for c in entry["columns"] if c["question"] and c["sure"] == "likely")
    if asked:
        yield ""
        yield "  Questions. Put the lines below each into a reading file and name it with --reading;"
        yield "  or write one with: afterbout inspect FILE --save-reading NAME"
        for number, column in enumerate(asked, start=1):
            text, *answer = column["question"].split("\n")
            yield from _wrapped(f"{number}. {_clean(text)}", "    ", "       ")
            others = [a for a in column["alternatives"] if not any(f'"{a}"' in line for line in answer)]
            if others:
                yield from _wrapped(f"It could also be {', '.join(others)}.", "       ")
            yield from (f"         {line}" for line in answer)
    if likely:
        yield ""
        word = "column is" if likely == 1 else "columns are"
        yield from _wrapped(f"{likely} {word} likely but not stated outright; a reading file makes them certain.", "  ")


def _wrapped(text: str, indent: str, further: str | None = None) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent if further is None else further,
        break_on_hyphens=False,
    )


def _clean(text: str) -> str:
    """Text that a terminal shows as it is: no control characters out of a file's names."""
    return "".join(c if c.isprintable() else " " for c in text)


def _shown(text: str, most: int) -> str:
    plain = _clean(text)
    return plain if len(plain) <= most else plain[: most - 1] + "…"


def plain_figure(value: float | None) -> str:
    """Four significant digits, never in powers of ten below a billion."""
    if value is None:
        return "none"
    size = abs(value)
    if size >= 1e9 or 0 < size < 1e-4:
        return f"{value:.2e}"
    if size >= 1000:
        return f"{value:,.0f}"
    return f"{value:.4g}"


def _duration(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.4g} s"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes} min" if hours else f"{minutes} min {rest} s"


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{number} times")
