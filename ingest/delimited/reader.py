"""DELIMITED: text logs as a Format, read in one pass with flat memory."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import pyarrow as pa

from ingest.delimited.clock_run import ClockRun
from ingest.delimited.column import ColumnMeaning
from ingest.delimited.encoding import looks_like_text
from ingest.delimited.fast import parse_block
from ingest.delimited.ledger import Ledger
from ingest.delimited.meaning import name_columns
from ingest.delimited.plan import Parsed
from ingest.delimited.report import clock_faults, clock_of, dialect_of, end_of_file, header_pairs
from ingest.delimited.rough import parse_rough
from ingest.delimited.sniff import Sniffed, sniff
from ingest.delimited.source import BLOCK_BYTES, Block, Source
from ingest.delimited.streams import StreamState
from ingest.delimited.tally import Tally, stored_names
from ingest.delimited.ticks import Ticks, clock_ticks
from ingest.delimited.unit_columns import apply_unit_columns
from ingest.delimited.ways import apply_ways
from ingest.errors import UnreadableLog
from ingest.formats import Format, ReadOptions
from ingest.log import Fault, Provenance
from ingest.readings import find_reading, fingerprint

READER_VERSION = "1"
_IN_FLIGHT = 3
SMALL_BLOCK_BYTES = 1 << 20
MAX_RECORDINGS = 10_000  # our choice: a clock that starts again more often than this is no clock


@dataclass
class _Ready:
    """A parsed block with the clock of each stream."""

    parsed: Parsed
    ticks: list[Ticks | None]


class DelimitedReader:
    """One text log. Raises UnreadableLog with the line and the mend; never gives a half-read log."""

    def __init__(self, path: Path, options: ReadOptions, source: Source | None = None) -> None:
        """source: the bytes, where they are not the file itself."""
        self._path = path
        self._source = source or Source(path)
        self._name = options.name or path.name
        reading = options.reading if options.reading is not None and options.reading.kind == "text" else None
        try:
            self._sniffed = sniff(self._source, reading, options.rate_Hz)
            if reading is None and options.readings:
                reading = find_reading(options.readings, fingerprint(header_pairs(self._sniffed)), self._name)
                if reading is not None:
                    self._sniffed = sniff(self._source, reading, options.rate_Hz)
        except BaseException:
            self._source.close()
            raise
        self._reading = reading
        meanings = name_columns(
            self._sniffed.evidence,
            file_name=self._name,
            preamble=self._sniffed.layout.preamble,
            parts=options.parts,
            reading=reading,
            pole_pairs=options.pole_pairs,
        )
        self._tallies = _tallies(self._sniffed, meanings, reading)
        self._provenance: Provenance | None = None
        self._stopped = False

    @property
    def sniffed(self) -> Sniffed:
        """How the file will be read."""
        return self._sniffed

    @property
    def provenance(self) -> Provenance:
        if self._provenance is None:
            raise RuntimeError("provenance is complete only after batches() is exhausted")
        return self._provenance

    def batches(self) -> Iterator[tuple[str, pa.RecordBatch]]:
        """(stream name, rows) in order; the provenance is complete afterwards."""
        sniffed = self._sniffed
        ledger = Ledger(sniffed.plan)
        states = [StreamState.start(s, self._tallies, sniffed.plan, sniffed.rate_Hz) for s in sniffed.streams]
        try:
            for ready, following in self._with_next():
                if self._stopped:
                    continue
                self._stop_at_other_table(ready, following, states[0].run, ledger)
                ledger.take(ready.parsed)
                if ready.parsed.rows == 0:
                    continue
                for k, state in enumerate(states):
                    ahead = (following.ticks[k], following.parsed) if following else (None, None)
                    batch = state.batch(ready.parsed, ready.ticks[k], *ahead)
                    self._check_restarts(state)
                    if batch is not None:
                        yield state.plan.name, batch
        finally:
            self._source.close()
        self._finish(ledger, states)

    def _check_restarts(self, state: StreamState) -> None:
        if state.run is not None and state.run.recording > MAX_RECORDINGS:
            raise UnreadableLog(
                f"its clock goes back more than {MAX_RECORDINGS} times",
                file=self._path,
                column=state.run.plan.label,
                mend="Name the right time column in a reading (time_column).",
            )

    def _blocks(self) -> Iterator[Block]:
        sample = self._sniffed.sample
        size = BLOCK_BYTES if not sample.whole and self._sniffed.plan.fast else SMALL_BLOCK_BYTES
        return self._source.blocks(sample.encoding, sample.line_end, sample.nuls_inside, size)

    def _parse(self, block: Block) -> _Ready:
        sniffed = self._sniffed
        parsed = parse_block(block, sniffed.plan)
        if block.last:
            end_of_file(parsed, block, sniffed)
        ticks = self._ticks(parsed)
        alone = len(sniffed.streams) == 1
        if alone and ticks[0] is not None and not ticks[0].valid.all() and not parsed.rough:
            parsed = parse_rough(block, sniffed.plan)
            apply_unit_columns(parsed, sniffed.plan)
            apply_ways(parsed, sniffed.plan)
            ticks = self._ticks(parsed)
        return _Ready(parsed, ticks)

    def _ticks(self, parsed: Parsed) -> list[Ticks | None]:
        clocks = [stream.clock for stream in self._sniffed.streams]
        return [None if c is None else clock_ticks(c.parts, self._sniffed.plan, parsed.columns) for c in clocks]

    def _ready(self) -> Iterator[_Ready]:
        """Parsed blocks in order, a few being parsed ahead; ends early where another table begins."""
        with ThreadPoolExecutor(2) as pool:
            waiting: deque[Future[_Ready]] = deque()
            for block in self._blocks():
                if self._stopped:
                    continue  # the rest is still hashed
                waiting.append(pool.submit(self._parse, block))
                if len(waiting) > _IN_FLIGHT:
                    ready = waiting.popleft().result()
                    yield ready
            while waiting:
                yield waiting.popleft().result()

    def _stop_at_other_table(
        self, ready: _Ready, following: _Ready | None, run: ClockRun | None, ledger: Ledger
    ) -> None:
        """Cut the block where other names stand and the clock does not go on: what follows is another table."""
        parsed, ticks = ready.parsed, ready.ticks[0]
        for entry in parsed.odd:
            if entry.kind != "new_header":
                continue
            place = entry.position
            after = ticks.ticks[place] if ticks is not None and place < parsed.rows else None
            if after is None and following is not None and following.ticks[0] is not None and following.parsed.rows:
                after = following.ticks[0].ticks[0]
            if run is not None and after is not None:
                before = ticks.ticks[place - 1] if ticks is not None and place > 0 else run.last_raw
                if before is not None and 0 < after - before <= run.plan.gap:
                    continue
            elif place >= parsed.rows and (following is None or following.parsed.rows == 0):
                continue
            parsed.columns = [c.slice(0, place) for c in parsed.columns]
            parsed.lines = parsed.lines[:place]
            parsed.rows = place
            parsed.odd = [e for e in parsed.odd if e.line < entry.line]
            ready.ticks = [None if t is None else Ticks(t.ticks[:place], t.valid[:place]) for t in ready.ticks]
            self._stopped = True
            note = f"Another table begins ({entry.text!r}); nothing is read from there on."
            ledger.add(Fault("several_tables", "dropped", note, entry.line))
            return

    def _with_next(self) -> Iterator[tuple[_Ready, _Ready | None]]:
        previous: _Ready | None = None
        for ready in self._ready():
            if previous is not None:
                yield previous, ready
            previous = ready
        if previous is not None:
            yield previous, None

    def _finish(self, ledger: Ledger, states: list[StreamState]) -> None:
        ledger.settle_tail()
        sniffed = self._sniffed
        rows = max(state.rows for state in states)
        if rows == 0:
            raise UnreadableLog(
                "has no rows of numbers (no data rows)",
                file=self._path,
                line=sniffed.layout.first_data_line,
                mend="Export it again with its samples.",
            )
        if ledger.dropped + ledger.texts > rows and ledger.dropped + ledger.texts > 10:
            raise UnreadableLog(
                f"more lines are damaged or foreign ({ledger.dropped + ledger.texts}) than good ({rows})",
                file=self._path,
                line=next((f.line for f in ledger.faults if f.line), None),
                mend="Export it again, or write a reading that says how its lines are built.",
            )
        for fault in sniffed.faults:
            ledger.faults.insert(0, fault)
        clock = clock_of(sniffed, states[0].run, states[0].wall, rows)
        if clock is not None and sniffed.clock is not None:
            texts = {t.plan.index: t.first_text for t in self._tallies if t.first_text is not None}
            written = " ".join(texts[index] for index, _ in sniffed.clock.parts if index in texts)
            clock = replace(clock, origin=written or clock.origin)
        for state in states:
            ledger.faults.extend(clock_faults(sniffed, state.plan.clock, state.run, state.wall))
        if len(states) > 1:
            labels = ", ".join(f'"{s.plan.clock.label}"' for s in states if s.plan.clock is not None)
            note = f"Clocks stand side by side ({labels}); each is a stream with the columns behind it."
            ledger.faults.append(Fault("several_clocks", "repaired", note, count=len(states)))
        if self._source.nul_bytes and not any(f.code == "nul_bytes" for f in ledger.faults):
            ledger.faults.append(Fault("nul_bytes", "repaired", f"{self._source.nul_bytes} NUL bytes were left out."))
        for tally in self._tallies:
            ledger.faults.extend((*tally.meaning.faults, *tally.late_faults()))
            if tally.plan.unit_varies:
                note = f"The unit beside it varies; all are read in {tally.plan.unit_of_column}."
                ledger.faults.append(Fault("unit_in_cell", "repaired", note, None, tally.plan.source))
            if tally.plan.unit is not None:
                ledger.faults.append(
                    Fault(
                        "unit_in_cell",
                        "repaired",
                        f"Cells carry their unit; all are read in {tally.plan.unit}.",
                        None,
                        tally.plan.source,
                    )
                )
        columns = tuple(t.column() for t in self._tallies)
        self._provenance = Provenance(
            file=self._name,
            sha256=self._source.sha256,
            format=DELIMITED.name,
            reading=self._reading.name if self._reading is not None else None,
            reader_version=READER_VERSION,
            dialect=dialect_of(sniffed),
            rows=rows,
            columns=columns,
            clock=clock,
            faults=ledger.finish(),
        )


def _tallies(sniffed: Sniffed, meanings: list[ColumnMeaning], reading: object) -> list[Tally]:
    plans = sniffed.plan.columns
    clocks = {index: s.clock for s in sniffed.streams if s.clock is not None for index, _ in s.clock.parts}
    said = getattr(reading, "columns", {}) or {}
    ignored = {source for source, column in said.items() if column.ignore}
    names = stored_names(plans, meanings, set(clocks), ignored)
    tallies = []
    for plan, evidence, meaning, name in zip(plans, sniffed.evidence, meanings, names, strict=True):
        plan.way_column, plan.way_letters = meaning.way_column, meaning.way_letters
        if meaning.channel is not None and name is not None and name != meaning.channel:
            meaning = replace(
                meaning, why=f"{meaning.why}; an earlier column is {meaning.channel} already".lstrip("; ")
            )
        tallies.append(Tally(plan, evidence, meaning, name, clocks.get(plan.index)))
    return tallies


def _open(path: Path, options: ReadOptions) -> DelimitedReader:
    return DelimitedReader(path, options)


def _looks_like(head: bytes, path: Path) -> bool:
    return looks_like_text(head)


DELIMITED = Format(
    name="delimited text",
    description="text logs with one row of measurements a line: any delimiter, preamble, number style and clock",
    specification="RFC 4180 where the file keeps to it; otherwise as the file shows it",
    looks_like=_looks_like,
    open=_open,
)
