"""What the formats other than text share: naming of decoded columns, samples as batches, one clock for all streams.

A format decodes its file into streams of float64 columns (NaN: no value); from here on they are named by the same
code as the columns of a text log, and stored with the same figures.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ingest.delimited.column import ColumnEvidence, ColumnMeaning
from ingest.delimited.meaning import name_columns
from ingest.delimited.meaning_draft import QUANTITY_OF
from ingest.delimited.plan import ColumnPlan
from ingest.delimited.tally import Tally
from ingest.delimited.words_units import parse_unit
from ingest.formats import ReadOptions
from ingest.log import Column, Fault
from ingest.readings import Reading, ReadingColumn
from ingest.readings_examples import column_lines

Floats = NDArray[np.float64]
EVIDENCE_ROWS: Final = 20_000  # as the text reader samples
_QUANTITIES: Final = frozenset(
    (
        *("voltage", "current", "temperature", "speed", "command", "charge", "energy", "power", "resistance"),
        *("time", "count", "acceleration", "pressure", "other"),
    )
)


@dataclass(frozen=True)
class Signal:
    """One decoded column. unit: as the format's own definition writes it.

    said   what a published standard says of it; the user's reading goes before it
    plain  no channel by itself: it keeps its own name unless a reading names it
    kind   "text" columns are dictionaries of words and are never channels
    """

    source: str
    unit: str | None = None
    said: ReadingColumn | None = None
    why: str = ""
    sure: Literal["certain", "likely", "guess"] = "certain"
    plain: bool = False
    question: str = ""
    kind: Literal["number", "text"] = "number"


def numbered_controller(options: ReadOptions, part: str | None, live: Collection[int], number: int) -> str | None:
    """The part that motor controller `number` (from 1) of a bus is; None where it must be asked which one.

    The build's only controller where one reports; without a build `esc1`, `esc2`; part: the reading's.
    """
    controllers = [known for known, kind in options.parts.items() if kind == "controller"]
    if len(live) == 1 and (part or len(controllers) == 1):
        return part or controllers[0]
    name = f"esc{number}"
    return name if not controllers or name in controllers else None


def said(
    source: str,
    shown: str | None,
    channel: str,
    unit: str,
    why: str,
    *,
    scale: float | None = None,
    none: tuple[float, ...] = (),
    sure: Literal["certain", "likely", "guess"] = "certain",
) -> Signal:
    """A column that a published standard defines. none: its figures for "not known"."""
    return Signal(source, shown, ReadingColumn(source, channel, unit, scale, sentinels=none), why, sure)


def asked(source: str, shown: str | None, which: str, channel: str, unit: str) -> Signal:
    """A column that could be of several parts: no channel, and the question with the lines that answer it."""
    question = f'{which} is "{source}" of?\n{column_lines(source, channel=channel, unit=unit)}'
    why = "several report, and it is not said which one this is"
    return Signal(source, shown, plain=True, why=why, question=question)


@dataclass(eq=False)
class _Named:
    """A stream: its signals and, once they are named, their running figures."""

    signals: tuple[Signal, ...]
    times: Floats
    values: list[Any]
    tallies: list[Tally] = field(default_factory=list)
    schema: pa.Schema | None = None
    rows: int = 0


class Streams:
    """The streams of one log. add() each with its first samples, name() them together, then batch() by batch.

    A stream that is met later may be added and named then: what was named before keeps its channel.
    """

    def __init__(self, file_name: str, options: ReadOptions, reading: Reading | None) -> None:
        self._file_name = file_name
        self._options = options
        self._reading = reading
        self._streams: dict[str, _Named] = {}
        self._taken: set[str] = set()
        self._count = 0

    def __contains__(self, stream: str) -> bool:
        return stream in self._streams

    def __len__(self) -> int:
        return len(self._streams)

    def add(self, stream: str, signals: Sequence[Signal], times: Floats, values: Sequence[Any]) -> None:
        """times: seconds, ascending; values: one array a signal, of the same length; both only for naming."""
        kept = [
            np.asarray(v, dtype=np.float64) if s.kind == "number" else None
            for s, v in zip(signals, values, strict=True)
        ]
        self._streams[stream] = _Named(tuple(signals), np.asarray(times, dtype=np.float64), kept)

    def name(self) -> None:
        """Name the columns of all streams that were added since the last time."""
        new = {name: stream for name, stream in self._streams.items() if stream.schema is None}
        if not new:
            return
        grid = _grid([stream.times for stream in new.values()])
        evidence: list[ColumnEvidence] = []
        signals: list[Signal] = []
        for stream in new.values():
            place = np.searchsorted(stream.times, grid, side="right") - 1
            for signal, values in zip(stream.signals, stream.values, strict=True):
                held = np.full(grid.size, np.nan)
                if values is not None and values.size:
                    held = np.where(place >= 0, values[np.maximum(place, 0)], np.nan)
                evidence.append(_evidence(self._count + len(evidence), signal, held))
                signals.append(signal)
        meanings = self._meanings(evidence, signals)
        self._count += len(evidence)
        following = iter(zip(evidence, signals, meanings, strict=True))
        for stream in new.values():
            names = {"time_s", "recording"}
            for _ in stream.signals:
                shown, signal, meaning = next(following)
                stored = self._stored(signal, meaning, names)
                if meaning.channel is not None and stored != meaning.channel:
                    why = f"{meaning.why}; an earlier column is {meaning.channel} already".lstrip("; ")
                    meaning = replace(meaning, why=why)
                plan = ColumnPlan(shown.index, signal.source, signal.kind, few_words=True)
                stream.tallies.append(Tally(plan, shown, meaning, stored))
            stream.times, stream.values = np.empty(0), []
            fields = [pa.field("time_s", pa.float64(), nullable=True)]
            fields += [pa.field("recording", pa.int16(), nullable=False)]
            stream.schema = pa.schema([*fields, *(t.field() for t in stream.tallies if t.stored is not None)])

    def batch(
        self, stream: str, time_s: Floats | None, recording: NDArray[np.int16], values: Sequence[Any]
    ) -> pa.RecordBatch:
        """Samples of a named stream. time_s None: the file has no clock."""
        held = self._streams[stream]
        assert held.schema is not None
        rows = recording.size
        held.rows += rows
        stored = [pa.nulls(rows, pa.float64()) if time_s is None else pa.array(time_s), pa.array(recording)]
        for tally, column in zip(held.tallies, values, strict=True):
            kept = tally.take(column if isinstance(column, pa.Array) else _nullable(column))
            if tally.stored is not None:
                stored.append(kept)
        return pa.RecordBatch.from_arrays(stored, schema=held.schema)

    def columns(self) -> tuple[Column, ...]:
        """In the order of the streams; complete when the last batch was made."""
        return tuple(
            replace(tally.column(), samples=stream.rows)
            for stream in self._streams.values()
            for tally in stream.tallies
        )

    def faults(self) -> list[Fault]:
        return [fault for stream in self._streams.values() for t in stream.tallies for fault in t.meaning.faults]

    @property
    def rows(self) -> int:
        """Of the longest stream."""
        return max((stream.rows for stream in self._streams.values()), default=0)

    def _stored(self, signal: Signal, meaning: ColumnMeaning, names: set[str]) -> str | None:
        said = self._reading.columns.get(signal.source) if self._reading is not None else None
        if said is not None and said.ignore:
            return None
        stored = meaning.channel
        if stored is None or stored in self._taken:
            stem = stored = f"other:{signal.source}"
            number = 2
            while stored in names:
                stored, number = f"{stem}#{number}", number + 1
        else:
            self._taken.add(stored)
        names.add(stored)
        return stored

    def _meanings(self, evidence: Sequence[ColumnEvidence], signals: Sequence[Signal]) -> list[ColumnMeaning]:
        """By the user's reading, by the standard that defines the column, else by name, unit and figures."""
        user: Mapping[str, ReadingColumn] = self._reading.columns if self._reading is not None else {}
        said = {s.source: s.said for s in signals if s.said is not None} | dict(user)
        asked = [k for k, s in enumerate(signals) if s.source in said or not (s.plain or s.kind == "text")]
        reading = self._reading
        if said:
            reading = replace(reading or Reading(name="standard"), columns=said)
        named = name_columns(
            [evidence[k] for k in asked],
            file_name=self._file_name,
            preamble={},
            parts=self._options.parts,
            reading=reading,
            pole_pairs=self._options.pole_pairs,
        )
        made = [_plain_meaning(signal) for signal in signals]
        for k, meaning in zip(asked, named, strict=True):
            signal = signals[k]
            if signal.said is not None and signal.source not in user:
                meaning = replace(meaning, why=signal.why, question=signal.question, source_unit=signal.unit)
                if meaning.sure == "certain":
                    meaning = replace(meaning, sure=signal.sure)
            made[k] = meaning
        return made


def _plain_meaning(signal: Signal) -> ColumnMeaning:
    unit = parse_unit(signal.unit)
    quantity = "other" if unit is None or signal.kind == "text" else QUANTITY_OF.get(unit.kind, unit.kind)
    return ColumnMeaning(
        quantity=quantity if quantity in _QUANTITIES else "other",
        channel=None,
        unit=signal.unit,
        source_unit=signal.unit,
        sure="unknown" if signal.question else "certain",
        why=signal.why or "kept under its own name",
        question=signal.question,
    )


def _grid(times: Sequence[Floats]) -> Floats:
    """Instants at which the columns are compared: those of all streams, thinned evenly."""
    together = np.unique(np.concatenate([t[np.isfinite(t)] for t in times])) if times else np.empty(0)
    if together.size > EVIDENCE_ROWS:
        together = together[np.linspace(0, together.size - 1, EVIDENCE_ROWS).astype(np.intp)]
    return together


def _evidence(index: int, signal: Signal, values: Floats) -> ColumnEvidence:
    good = values[np.isfinite(values)]
    whole = bool(good.size) and bool((good == np.round(good)).all())
    return ColumnEvidence(
        index=index,
        source=signal.source,
        unit_text=signal.unit or None,
        unit_note="units row" if signal.unit else None,
        kind=signal.kind,
        values=values,
        decimals=0 if whole else 3,
        is_clock=False,
    )


def _nullable(values: Any) -> pa.Array:
    """float64 with null for what is no ordinary number."""
    column = np.asarray(values, dtype=np.float64)
    bad = ~np.isfinite(column)
    return pa.array(column, mask=bad) if bad.any() else pa.array(column)
