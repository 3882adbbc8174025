"""Live figures out of what a source gives: text lines, declared frames, CAN signals. For the eye, never for a verdict.

The recording keeps the bytes; these decoders only look on. They use the very rules by which the finished file is
read, so that a name on the live view is the name in the log.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from ingest.arrays import numbers
from ingest.binary.framing import Framer
from ingest.binary.layout import layout_of
from ingest.delimited.column import ColumnMeaning
from ingest.delimited.encoding import looks_like_text, normal_ends
from ingest.delimited.fast import parse_block
from ingest.delimited.meaning import name_columns
from ingest.delimited.sniff import Sniffed, sniff
from ingest.delimited.source import Block, Source
from ingest.errors import UnreadableLog
from ingest.formats import ReadOptions
from ingest.readings import Reading
from ingest.record.sources.base import Stamped
from ingest.stream_reader import Signal, Streams

Floats = NDArray[np.float64]
Figure = tuple[str, str, Floats]  # name, unit, the values in the order in which they came

# Our choice: a table is looked for in this much text, first in little, then in ever more.
LEAST_LINES: Final = 12
MOST_HELD: Final = 256 << 10
MOST_STRANGE: Final = 16 << 10  # a board may print some rubbish when it starts; more of it is no text


class Decoder(Protocol):
    """feed() gives the figures of what came; good and bad count rows or frames, word names them."""

    @property
    def word(self) -> str: ...

    @property
    def good(self) -> int: ...

    @property
    def bad(self) -> int: ...

    def feed(self, packets: Sequence[Stamped]) -> list[Figure]: ...

    @property
    def learning(self) -> bool:
        """It must see everything until it knows the table."""

    def skip(self) -> None:
        """Some packets were left out: begin afresh at the next line or frame."""

    def forget(self) -> None:
        """Keep what is known of the table, not what was counted; begin at the next line or frame."""

    @property
    def header(self) -> bytes:
        """What a new file must begin with so that it can be read by itself: the header lines of a text stream."""

    def torn(self, tail: bytes) -> bytes:
        """Of the last bytes of a file those that the next one repeats, so that no line or frame is torn in both."""


class RawDecoder:
    """Bytes of which nobody said what they mean."""

    word = ""
    good = bad = 0
    learning = False
    header = b""

    def feed(self, packets: Sequence[Stamped]) -> list[Figure]:
        return []

    def skip(self) -> None:
        return

    def forget(self) -> None:
        return

    def torn(self, tail: bytes) -> bytes:
        return b""


class _HeldText(Source):
    """Text that came so far, to be looked at as a file is."""

    def __init__(self, name: str, data: bytes) -> None:
        self.path = Path(name)
        self._stream = io.BytesIO(data)
        self.size = len(data)
        self.sha256 = ""
        self.nul_bytes = 0


class TextDecoder:
    """Text lines, one row of figures each. Where the bytes are no table of text, nothing is shown."""

    word = "lines"

    def __init__(self, name: str, options: ReadOptions) -> None:
        self._name, self._options = name, options
        self._held = bytearray()
        self._try_at = 0
        self._carry = b""
        self._sniffed: Sniffed | None = None
        self._meanings: list[ColumnMeaning] = []
        self._line = 1
        self._torn = False
        self.given_up = False
        self.good = self.bad = 0
        self._header = b""

    @property
    def learning(self) -> bool:
        return self._sniffed is None and not self.given_up

    @property
    def header(self) -> bytes:
        return self._header

    def feed(self, packets: Sequence[Stamped]) -> list[Figure]:
        if self.given_up:
            return []
        data = self._carry + b"".join(raw for _, raw in packets)
        if self._torn:
            cut = data.find(b"\n") + 1
            if not cut:
                self._carry = b""
                return []
            data, self._torn = data[cut:], False
        end = data.rfind(b"\n") + 1
        data, self._carry = data[:end], data[end:][-MOST_HELD:]
        if not data:
            self._give_up_if_binary()
            return []
        if self._sniffed is None:
            self._held += data
            if not self._look():
                return []
            data = bytes(self._held)
            self._held.clear()
        return self._rows(data)

    def skip(self) -> None:
        self._carry, self._torn = b"", True

    def forget(self) -> None:
        self.skip()
        self._held.clear()
        self._try_at = self.good = self.bad = 0

    def torn(self, tail: bytes) -> bytes:
        return b"" if self._sniffed is None else tail[tail.rfind(b"\n") + 1 :]

    def _give_up_if_binary(self) -> None:
        if self._sniffed is None and len(self._carry) >= MOST_STRANGE and not looks_like_text(self._carry):
            self.given_up = True

    def _look(self) -> bool:
        size = len(self._held)
        if size < self._try_at or self._held.count(b"\n") < LEAST_LINES:
            return False
        data = bytes(self._held)
        reading = self._options.reading
        try:
            if not looks_like_text(data[:65536]):
                raise UnreadableLog("is no text")
            self._sniffed = sniff(_HeldText(self._name, data), reading, self._options.rate_Hz)
        except UnreadableLog:
            self._try_at = 2 * size
            self.given_up = size > MOST_HELD or (size >= MOST_STRANGE and not looks_like_text(data[:65536]))
            return False
        sniffed = self._sniffed
        self._meanings = name_columns(
            sniffed.evidence, file_name=self._name, preamble=sniffed.layout.preamble, parts=self._options.parts,
            reading=reading, pole_pairs=self._options.pole_pairs,
        )  # fmt: skip
        lines = data.split(b"\n")
        self._header = b"".join(line + b"\n" for line in lines[: sniffed.layout.first_data_line - 1])
        return True

    def _rows(self, data: bytes) -> list[Figure]:
        sniffed = self._sniffed
        assert sniffed is not None
        codec = sniffed.sample.encoding.codec
        text = normal_ends(data if codec == "utf-8" else data.decode(codec, errors="replace").encode())
        parsed = parse_block(Block(text, self._line, False, True), sniffed.plan)
        self._line += text.count(b"\n")
        self.good += parsed.rows
        self.bad += sum(odd.kind in ("short", "long", "text", "nul") for odd in parsed.odd)
        if not parsed.rows:
            return []
        found: list[Figure] = []
        clocks = set(sniffed.plan.clock_columns)
        for plan, meaning, column in zip(sniffed.plan.columns, self._meanings, parsed.columns, strict=True):
            if plan.kind not in ("number", "flag") or plan.index in clocks or meaning.quantity == "time":
                continue
            values = np.asarray(numbers(column), dtype=np.float64)
            if meaning.sentinels:
                values = np.where(np.isin(values, meaning.sentinels), np.nan, values)
            name = meaning.channel or plan.source.strip() or f"#{plan.index + 1}"
            found.append((name, meaning.unit or "", values * meaning.scale + meaning.offset))
        return found


class FrameDecoder:
    """Binary frames as a reading declares them."""

    word = "frames"
    header = b""
    learning = False

    def __init__(self, name: str, options: ReadOptions, reading: Reading) -> None:
        self._layout = layout_of(reading)
        self._framer = Framer(self._layout)
        self._fields = [f for f in self._layout.fields if f is not self._layout.time]
        self._named = SignalNames(name, options, reading)
        self._good_before = self._bad_before = 0

    @property
    def good(self) -> int:
        return self._good_before + self._framer.good

    @property
    def bad(self) -> int:
        return self._bad_before + self._framer.bad

    def feed(self, packets: Sequence[Stamped]) -> list[Figure]:
        runs = self._framer.feed(b"".join(raw for _, raw in packets), False)
        if not runs:
            return []
        frames = np.concatenate([run for run, _ in runs])
        values = [self._layout.values(field, frames).astype(np.float64) for field in self._fields]
        return self._named.figures("frames", [Signal(field.name) for field in self._fields], values)

    def skip(self) -> None:
        self._good_before, self._bad_before = self.good, self.bad
        self._framer = Framer(self._layout)

    def forget(self) -> None:
        self._framer = Framer(self._layout)
        self._good_before = self._bad_before = 0

    def torn(self, tail: bytes) -> bytes:
        """One byte less than a frame: the torn one is in it, and no whole one."""
        return tail[-(self._layout.length - 1) :] if self._layout.length > 1 else b""


class SignalNames:
    """Signals named as the reader of the finished file names them."""

    def __init__(self, name: str, options: ReadOptions, reading: Reading | None) -> None:
        self._streams = Streams(name, options, reading)
        self._seen: dict[str, int] = {}

    def figures(self, stream: str, signals: Sequence[Signal], values: Sequence[Floats]) -> list[Figure]:
        rows = values[0].size if values else 0
        if not rows:
            return []
        if stream not in self._streams:
            self._streams.add(stream, signals, np.arange(rows, dtype=np.float64), values)
            self._streams.name()
        batch = self._streams.batch(stream, None, np.zeros(rows, dtype=np.int16), values)
        found: list[Figure] = []
        for place, field in enumerate(batch.schema):
            if field.name in ("time_s", "recording"):
                continue
            about: dict[bytes, bytes] = field.metadata or {}
            column: Any = batch.column(place)
            unit = about.get(b"unit", b"").decode() or about.get(b"source_unit", b"").decode()
            found.append((field.name.removeprefix("other:"), unit, np.asarray(numbers(column), dtype=np.float64)))
        return found


def decoder_for(kind: str, name: str, options: ReadOptions) -> Decoder:
    """By the kind of source and what is said of it. Raises MissingExtra, ReadingError."""
    if kind == "can":
        from ingest.record.can_figures import CanDecoder

        return CanDecoder(name, options, options.dbc)
    if options.reading is not None and options.reading.kind == "binary":
        return FrameDecoder(name, options, options.reading)
    return TextDecoder(name, options)
