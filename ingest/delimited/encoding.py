"""Which bytes are text, in which encoding, and with which line ends."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

from ingest.delimited.scripts import is_han

_MAGIC = (
    b"\x89PNG", b"PK\x03\x04", b"PK\x05\x06", b"\xff\xd8\xff", b"GIF8", b"%PDF", b"\x1f\x8b", b"BZh", b"\xfd7zXZ",
    b"7z\xbc\xaf", b"\x7fELF", b"MZ\x90", b"PAR1", b"MDF     ", b"UnFinMF ", b"SQLite format 3", b"RIFF", b"OggS",
    b"\xd0\xcf\x11\xe0", b"Rar!", b"\x28\xb5\x2f\xfd", b"ARROW1", b"\x89HDF", b"BM\x00",
)  # fmt: skip
_CONTROL = bytes(b for b in range(32) if b not in b"\t\n\r\x0b\x0c\x1a\x1b\x00") + b"\x7f"
# Our choice: a text log has none; a few are line noise of a serial cable; one in fifty is no text.
MAX_CONTROL_SHARE = 0.02


@dataclass(frozen=True)
class Encoding:
    """name as the contract prints it; codec for Python; bom_bytes to skip; unit is the width of a code unit."""

    name: str
    codec: str
    bom_bytes: int = 0
    unit: int = 1
    sure: bool = True


def encoding_of(head: bytes) -> Encoding:
    """From a byte order mark, the pattern of NULs, else UTF-8 where it is valid, else Windows-1252."""
    for bom, name, codec, unit in (
        (codecs.BOM_UTF8, "utf-8-sig", "utf-8", 1),
        (codecs.BOM_UTF16_LE, "utf-16-le", "utf-16-le", 2),
        (codecs.BOM_UTF16_BE, "utf-16-be", "utf-16-be", 2),
    ):
        if head.startswith(bom):
            return Encoding(name, codec, len(bom), unit)
    wide = _wide(head)
    if wide is not None:
        return wide
    if head.isascii():
        return Encoding("utf-8", "utf-8")
    return narrow_encoding(head)


def narrow_encoding(data: bytes) -> Encoding:
    """UTF-8 where valid (a character cut at the end is forgiven), else Windows-1252 or Latin-1."""
    try:
        codecs.getincrementaldecoder("utf-8")().decode(data.replace(b"\0", b""), final=False)
    except UnicodeDecodeError:
        if (han := _han(data)) is not None:
            return han
        # 0x80-0x9F are letters and signs in Windows-1252, control codes in Latin-1: both agree elsewhere.
        high = any(0x80 <= b <= 0x9F for b in data)
        return Encoding("cp1252", "cp1252", sure=False) if high else Encoding("latin-1", "latin-1", sure=False)
    return Encoding("utf-8", "utf-8")


def _han(data: bytes) -> Encoding | None:
    """GB 18030 or Shift JIS, where all bytes beyond ASCII make Han characters and known words stand among them."""
    head = data[: data.rfind(b"\n") + 1] or data
    for codec in ("gb18030", "shift_jis"):
        try:
            text = head.decode(codec)
        except UnicodeDecodeError:
            continue
        if is_han(text):
            return Encoding(codec, codec, sure=False)
    return None


def _wide(head: bytes) -> Encoding | None:
    """UTF-16 without a mark: every other byte of ASCII text is NUL."""
    sample = head[: len(head) & ~1][:4096]
    if len(sample) < 8:
        return None
    half = len(sample) // 2
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    if odd > 0.8 * half and even < 0.05 * half:
        return Encoding("utf-16-le", "utf-16-le", 0, 2)
    if even > 0.8 * half and odd < 0.05 * half:
        return Encoding("utf-16-be", "utf-16-be", 0, 2)
    return None


# The spaces that group digits in UTF-8: U+00A0, U+2007, U+2009, U+202F. They are no letters of another alphabet.
_NO_BREAK = re.compile(rb"\xc2\xa0|\xe2\x80[\x87\x89\xaf]")


def looks_like_text(head: bytes) -> bool:
    """Whether the first bytes of a file can be a text log. Never raises."""
    if not head or head.startswith(_MAGIC):
        return False
    encoding = encoding_of(head)
    if encoding.unit == 2:
        body = head[encoding.bom_bytes :]
        text = body[: len(body) & ~1].decode(encoding.codec, errors="replace")
        if text.count("\ufffd") > 0.01 * len(text) + 1:
            return False
        plain = sum(c.isascii() and (c.isprintable() or c in "\t\r\n\0") for c in text)
        return plain > 0.8 * len(text) and bool(text.strip("\0 \r\n"))
    rest = head.rstrip(b"\0")
    if not rest:
        return False
    if rest.count(0) > 0.5 * len(rest):
        return False
    rest = rest.replace(b"\0", b"")
    control = len(rest) - len(rest.translate(None, _CONTROL))
    if control > MAX_CONTROL_SHARE * len(rest):
        return False
    if not rest.isascii():
        rest = _NO_BREAK.sub(b" ", rest)
    # Random bytes above 127 are no text either: a log is mostly ASCII whatever its alphabet.
    ascii_share = len(rest.translate(None, bytes(range(128, 256)))) / len(rest)
    return ascii_share >= 0.7


_LONE_CR = re.compile(rb"\r(?!\n)")


def line_end_of(head: bytes) -> str:
    """ "lf", "crlf", "cr", "cr-cr-lf" or "mixed" of text whose code unit is one byte."""
    if b"\r\r\n" in head:
        return "cr-cr-lf"
    lone = len(_LONE_CR.findall(head[:-1] if head.endswith(b"\r") else head))
    feeds = head.count(b"\n")
    both = head.count(b"\r\n")
    if lone:
        return "cr" if lone >= feeds else "mixed"
    if both:
        return "crlf" if both == feeds else "mixed"
    return "lf"


def normal_ends(data: bytes) -> bytes:
    """Any line end as a line feed."""
    if b"\r" not in data:
        return data
    return data.replace(b"\r\r\n", b"\n").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
