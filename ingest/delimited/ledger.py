"""The faults of a file: each bad line once, long lists shortened, the tail told apart from the middle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from ingest.delimited.plan import OddLine, Parsed, Plan
from ingest.log import Fault, Severity

MOST_PENDING = 5000  # a longer stretch without a good row is no footer
SHOWN = 20  # faults of one code listed line by line; further ones are counted in the last entry

_NOTES: dict[str, tuple[str, Severity, str]] = {
    "short": ("short_row", "dropped", "{cells} cells instead of {width}"),
    "long": ("long_row", "dropped", "{cells} cells instead of {width}"),
    "bad": ("bad_number", "dropped", "no readable clock or too few numbers in the row"),
    "text": ("note_line", "dropped", "text between the rows"),
    "comment": ("note_line", "dropped", "a comment between the rows"),
    "nul": ("nul_bytes", "dropped", "the line holds NUL bytes"),
    "footer": ("footer", "dropped", "text behind the last row"),
    "truncated": ("truncated", "dropped", "the last line is cut short"),
    "repeat": ("repeated_header", "repaired", "the names are repeated; left out"),
    "units": ("repeated_header", "repaired", "the units are repeated; left out"),
    "new_header": ("note_line", "dropped", "text in place of every number"),
}

_OF_CELLS = {
    "overrange": "is beyond the meter's range",
    "bad_unit": "is no unit of this figure",
    "no_way": "says neither charge nor discharge of this figure",
}


@dataclass
class Ledger:
    """Collects faults; `pending` are odd lines since the last good row, judged when it is known what follows."""

    plan: Plan
    faults: list[Fault] = field(default_factory=list)
    counts: dict[tuple[str, str | None], int] = field(default_factory=dict)
    first: dict[tuple[str, str | None], Fault] = field(default_factory=dict)
    pending: list[OddLine] = field(default_factory=list)
    dropped: int = 0
    texts: int = 0  # lines of words in the middle of the table

    def add(self, fault: Fault) -> None:
        """List a fault, or only count it where its code has been listed often enough."""
        key = (fault.code, fault.column)
        seen = self.counts.get(key, 0) + fault.count
        self.counts[key] = seen
        if key not in self.first:
            self.first[key] = fault
        if seen <= SHOWN or seen == fault.count:
            self.faults.append(fault)

    def odd(self, entry: OddLine, kind: str | None = None) -> None:
        code, severity, note = _NOTES[kind or entry.kind]
        if code in ("short_row", "long_row", "bad_number", "nul_bytes", "truncated"):
            self.dropped += 1
        text = note.format(cells=entry.cells, width=self.plan.width)
        self.add(Fault(code, severity, f"{text[0].upper()}{text[1:]}: {entry.text!r}.", entry.line))

    def settle_middle(self) -> None:
        """A good row follows: what was pending stands in the middle of the table."""
        repeated = any(entry.kind in ("repeat", "units") for entry in self.pending)
        for entry in self.pending:
            inside = entry.kind in ("short", "long", "bad", "new_header") and repeated
            self.texts += entry.kind == "text"
            self.odd(entry, "text" if inside else None)
        self.pending.clear()

    def settle_tail(self) -> None:
        """The file ends: text behind the last row is a footer, a cut last line is truncated."""
        text_seen = False
        for entry in self.pending:
            wordy = entry.kind in ("text", "comment", "repeat", "units", "new_header", "bad")
            text_seen = text_seen or wordy
            if (
                entry.bare
                and entry.kind in ("short", "bad")
                and not (text_seen and entry.kind == "short" and len(self.pending) > 1)
            ):
                self.odd(entry, "truncated")
            elif wordy or (text_seen and entry.kind in ("short", "long")):
                self.odd(entry, "footer")
            else:
                self.odd(entry)
        self.pending.clear()

    def take(self, parsed: Parsed) -> None:
        """The odd lines and cells of one block, in order."""
        for entry in parsed.odd:
            if entry.position > 0 and self.pending and self.pending[-1].position < 0:
                self.settle_middle()
            if self.pending and entry.position > self.pending[-1].position >= 0:
                self.settle_middle()
            self.pending.append(entry)
        if parsed.rows and self.pending:
            if parsed.odd and parsed.odd[-1].position >= parsed.rows:
                tail = [e for e in self.pending if e.position >= parsed.rows]
                self.pending = [e for e in self.pending if e.position < parsed.rows]
                self.settle_middle()
                self.pending = tail
            else:
                self.settle_middle()
        if len(self.pending) > MOST_PENDING:
            kept = self.pending[-MOST_PENDING // 2 :]
            self.pending = self.pending[: -MOST_PENDING // 2]
            self.settle_middle()
            self.pending = kept
        for entry in self.pending:
            entry.position = -1
        for (code, index), (count, line, example) in parsed.cells.items():
            source = next((c.source for c in self.plan.columns if c.index == index), None)
            said = _OF_CELLS.get(code, "is no number")
            self.add(Fault(code, "dropped", f"{example!r} {said}; stored as missing.", line, source, count))
        if parsed.encoding_faults and ("encoding", None) not in self.counts:
            self.add(
                Fault(
                    "encoding",
                    "repaired",
                    "Bytes that are not UTF-8 were read as Windows-1252.",
                    int(parsed.lines[0]) if parsed.rows else None,
                )
            )

    def finish(self) -> tuple[Fault, ...]:
        """All faults; where a code was only counted, its last listed entry says how many more there are."""
        result: list[Fault] = []
        listed: dict[tuple[str, str | None], int] = {}
        for fault in self.faults:
            listed[(fault.code, fault.column)] = listed.get((fault.code, fault.column), 0) + fault.count
        for fault in self.faults:
            result.append(fault)
        for key, total in self.counts.items():
            more = total - listed.get(key, 0)
            if more > 0:
                first = self.first[key]
                result.append(
                    Fault(first.code, first.severity, f"{more} more like line {first.line}.", None, first.column, more)
                )
        return tuple(result)


def lines_fault(code: str, severity: Severity, lines: Sequence[int], note: str, column: str | None) -> Fault | None:
    """One fault for events of the clock: the first line and how many."""
    if not lines:
        return None
    more = f" ({len(lines)} times)" if len(lines) > 1 else ""
    return Fault(code, severity, note + more + ".", lines[0] or None, column, len(lines))
