"""A user's CAN database (DBC) through cantools, and its signals decoded for all frames of a message at once."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.errors import ReadingError

Floats = NDArray[np.float64]
Raw = NDArray[Any]
MAX_DBC_BYTES = 64 << 20  # our choice: the largest databases of whole vehicles are a tenth of it


@dataclass(frozen=True, eq=False)
class MessagePlan:
    """One message of the database. sources: `Message.Signal`; units as the database writes them."""

    name: str
    length: int
    sources: tuple[str, ...]
    units: tuple[str | None, ...]
    decode: Callable[[NDArray[np.uint8]], list[Floats]]


def load_dbc(path: Path) -> dict[tuple[int, bool], MessagePlan]:
    """Messages by (id, whether it is a 29-bit one). Raises ReadingError, located."""
    import cantools

    try:
        if path.stat().st_size > MAX_DBC_BYTES:
            raise ReadingError("is too large for a CAN database", file=path, mend="Name the right file with --dbc.")
        raw = path.read_bytes()
    except OSError as error:
        reason = (
            "there is no such CAN database"
            if isinstance(error, FileNotFoundError)
            else f"cannot be read: {error.strerror}"
        )
        raise ReadingError(reason, file=path, mend="Name the DBC file with --dbc.") from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    try:
        base: Any = cantools.database.load_string(text, database_format="dbc", strict=False)
    except (cantools.database.UnsupportedDatabaseFormatError, cantools.database.Error) as error:
        what = str(error).splitlines()[0][:200]
        line = re.search(r"at line (\d+)", what)
        raise ReadingError(
            f"is not a CAN database: {what}", file=path, line=int(line[1]) if line else None,
            mend="Export it again as DBC, or name the right file with --dbc.",
        ) from None  # fmt: skip
    except (
        ValueError,
        KeyError,
        TypeError,
        IndexError,
        AttributeError,
        RecursionError,
    ) as error:  # cantools on garbage
        raise ReadingError(
            f"is not a CAN database ({type(error).__name__})", file=path, mend="Name the right file with --dbc."
        ) from None
    plans = {
        (message.frame_id, bool(message.is_extended_frame)): _plan(message)
        for message in base.messages
        if not message.is_container
    }
    if not plans:
        raise ReadingError("describes no messages", file=path, mend="Name the right file with --dbc.")
    return plans


def _plan(message: Any) -> MessagePlan:
    signals = list(message.signals)
    by_name = {signal.name: signal for signal in signals}

    def decode(data: NDArray[np.uint8]) -> list[Floats]:
        raws: dict[str, Raw] = {}

        def raw(signal: Any) -> Raw:
            if signal.name not in raws:
                raws[signal.name] = raw_values(
                    data, signal.start, signal.length, signal.byte_order == "big_endian", signal.is_signed,
                    signal.is_float,
                )  # fmt: skip
            return raws[signal.name]

        def present(signal: Any, depth: int = 0) -> NDArray[np.bool_] | None:
            """Where its multiplexer selects it; None: always."""
            chooser = by_name.get(signal.multiplexer_signal) if signal.multiplexer_ids is not None else None
            if chooser is None or depth > len(signals):
                return None
            chosen = np.isin(raw(chooser), np.array(list(signal.multiplexer_ids)))
            above = present(chooser, depth + 1)
            return chosen if above is None else chosen & above

        columns = []
        for signal in signals:
            values = raw(signal).astype(np.float64)
            if signal.scale != 1:
                values = values * float(signal.scale)
            if signal.offset != 0:
                values = values + float(signal.offset)
            where = present(signal)
            columns.append(values if where is None else np.where(where, values, np.nan))
        return columns

    return MessagePlan(
        message.name,
        int(message.length),
        tuple(f"{message.name}.{signal.name}" for signal in signals),
        tuple(signal.unit or None for signal in signals),
        decode,
    )


def raw_values(
    data: NDArray[np.uint8], start: int, length: int, big: bool, signed: bool, is_float: bool
) -> NDArray[Any]:
    """The raw figures of one signal of every row (rows × bytes). start as a DBC writes it; length 1 to 64 bits.

    Little endian counts bits from the lowest of the first byte; big endian begins at the highest bit of the signal.
    """
    if big:
        first_bit = 8 * (start // 8) + 7 - start % 8  # counted from the highest bit of the first byte
        first, last = first_bit // 8, (first_bit + length - 1) // 8
        places = range(last, first - 1, -1)
        shift = 8 * (last + 1) - first_bit - length
    else:
        first, last = start // 8, (start + length - 1) // 8
        places = range(first, last + 1)
        shift = start % 8
    if last >= data.shape[1]:
        return np.full(data.shape[0], np.nan)
    value = np.zeros(data.shape[0], dtype=np.uint64)
    for k, place in enumerate(places):
        byte = data[:, place].astype(np.uint64)
        bits = 8 * k - shift
        value |= byte << np.uint64(bits) if bits >= 0 else byte >> np.uint64(-bits)
    if length < 64:
        value &= np.uint64((1 << length) - 1)
    if is_float:
        return value.astype({16: "u2", 32: "u4", 64: "u8"}[length]).view({16: "f2", 32: "f4", 64: "f8"}[length])
    if signed:
        room = np.uint64(64 - length)
        return (value << room).view(np.int64) >> room.astype(np.int64)
    return value
