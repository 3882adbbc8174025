"""Damaged inputs for hypothesis: sound ones that were cut, joined, repeated or changed, and plain noise."""

from __future__ import annotations

import random
from collections.abc import Sequence

from hypothesis import strategies as st

from benchmarks.fuzz_targets.mutators import Mutator

# what breaks parsers: ends of ranges, signs, separators, brackets, NUL, marks of encodings
TOKENS = (
    b"\0", b"\xff", b"\xff\xff\xff\xff", b"\x00\x00\x00\x80", b"\xff\xff\xff\x7f", b"\xfe\xff", b"\xef\xbb\xbf",
    b"[[", b"]]", b"{", b"}", b'"""', b"'''", b"\\u", b"\\", b"=", b"#", b"-", b"nan", b"inf", b"-0", b"1e999",
    b"0x", b"1979-05-27T07:32:00Z", b"\n", b"\r\n", b"\r", b",", b";", b"\t", b" ", b".", b"\xc3\x28", b"\xed\xa0\x80",
    b"PAR1", b"##", b"true", b'"unknown"', b"<script>", b"=cmd|'/C calc'!A0", b"../", b"%00",
)  # fmt: skip


@st.composite
def mutated(draw: st.DrawFn, seeds: Sequence[bytes], largest: int, mutate: Mutator | None = None) -> bytes:
    if draw(st.integers(0, 19)) == 0:
        return draw(st.binary(max_size=min(largest, 600)))
    data = bytearray(draw(st.sampled_from(list(seeds))))
    if mutate is not None and draw(st.integers(0, 2)):
        return mutate(bytes(data), random.Random(draw(st.integers(0, 2**32))))[:largest]
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data)))
        kind = draw(st.integers(0, 6))
        if kind == 0 and at < len(data):
            data[at] ^= 1 << draw(st.integers(0, 7))
        elif kind == 1:
            data[at : at + draw(st.integers(0, 40))] = b""
        elif kind == 2:
            data[at : at + draw(st.integers(0, 8))] = draw(st.sampled_from(TOKENS))
        elif kind == 3:
            del data[at:]
        elif kind == 4:
            start = draw(st.integers(0, len(data)))
            data[at:at] = data[start : start + draw(st.integers(0, 200))]
        elif kind == 5:
            other = draw(st.sampled_from(list(seeds)))
            data[at:] = other[draw(st.integers(0, len(other))) :]
        elif at < len(data):
            data[at] = draw(st.integers(0, 255))
    return bytes(data[:largest])
