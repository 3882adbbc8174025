"""Lines sampled across a file, so that a decision rests on more than its head."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import islice

from ingest.delimited.encoding import Encoding, encoding_of, line_end_of, narrow_encoding, normal_ends
from ingest.delimited.lines import joined_lines
from ingest.delimited.source import Source, to_utf8

WHOLE_BYTES = 1 << 20  # up to here every line is looked at before reading
HEAD_BYTES = 256 << 10
PIECES = 12
PIECE_BYTES = 24 << 10
MOST_ROWS = 20_000


@dataclass
class Sample:
    """head: numbered lines from the start. pieces: stretches further on, their line numbers unknown."""

    encoding: Encoding
    line_end: str
    head: list[tuple[int, str]]
    pieces: list[list[str]]
    whole: bool
    nuls_inside: bool = False

    def lines_for_dialect(self) -> list[str]:
        """Up to about 300 lines, most of them from where rows rather than a preamble stand."""
        texts = [text for _, text in self.head]
        rows = [text for text in texts if _is_mostly_digits(text)]
        if len(rows) >= 3:
            texts = rows
        wanted = 300 if not self.pieces else 100
        chosen = texts[:: max(1, len(texts) // wanted)]
        for piece in self.pieces:
            chosen.extend(islice(piece, 0, None, max(1, len(piece) // 20)))
        return chosen


def take_sample(source: Source, codec: str | None, head_bytes: int = HEAD_BYTES) -> Sample:
    """Encoding, line ends and lines of the head, and of stretches in the middle and at the tail."""
    whole = source.size <= WHOLE_BYTES
    head = source.peek(0, source.size if whole else head_bytes)
    encoding = _named(codec, head) if codec else encoding_of(head)
    places = []
    if not whole:
        span = source.size - head_bytes - PIECE_BYTES
        if span > 0:
            places = [head_bytes + span * k // (PIECES - 1) for k in range(PIECES)]
    if encoding.codec == "utf-8" and encoding.bom_bytes == 0 and codec is None:
        for place in places:
            piece = source.peek(place, PIECE_BYTES)
            if not piece.isascii():
                found = narrow_encoding(_whole_characters(piece))
                if found.codec != "utf-8":
                    encoding = found
                    break
    body = head[encoding.bom_bytes :]
    if encoding.unit == 2:
        body = body[: len(body) & ~1]
    data = to_utf8(body, encoding)
    line_end = line_end_of(data[: 1 << 18])
    lines = normal_ends(data).decode("utf-8", errors="replace").split("\n")
    if not whole or lines[-1] == "":
        lines.pop()
    numbered = list(enumerate(lines, 1))
    if b'"' in data:
        numbered = list(joined_lines(numbered))
    inside = data.rstrip(b"\0").count(0)
    damaged = sum("\0" in text.strip("\0") for text in lines)
    pieces = [source.sample_lines(place, PIECE_BYTES, encoding) for place in places]
    return Sample(
        encoding,
        line_end,
        numbered,
        [p for p in pieces if p],
        whole,
        inside > 0 and damaged > 0.5 * max(1, len(lines)),
    )


_NO_FIGURES = re.compile(r"[^0-9.,;:+\-\t |\"/]")


def _is_mostly_digits(text: str) -> bool:
    """A row of figures rather than a line of words: at most a third of it is neither digit, mark nor delimiter."""
    text = text[:400]
    return any(c.isdigit() for c in text) and 3 * len(_NO_FIGURES.findall(text)) <= len(text)


def _whole_characters(piece: bytes) -> bytes:
    """Without the halves of a UTF-8 character at both ends."""
    start = 0
    while start < min(3, len(piece)) and piece[start] & 0xC0 == 0x80:
        start += 1
    return piece[start:]


def _named(codec: str, head: bytes) -> Encoding:
    """The encoding that a reading names."""
    import codecs

    found = encoding_of(head)
    name = codecs.lookup(codec).name
    if found.bom_bytes and name in ("utf-8", "utf-8-sig", "utf-16"):
        return found
    if name in ("utf-16-le", "utf-16-be", "utf-16"):
        return Encoding(name, "utf-16-le" if name == "utf-16" else name, found.bom_bytes, 2)
    if name in ("utf-8", "utf-8-sig"):
        return Encoding("utf-8", "utf-8", found.bom_bytes if found.codec == "utf-8" else 0)
    return Encoding(codec, name)
