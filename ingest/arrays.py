"""Arrow columns as numpy arrays without what pyarrow's own `to_numpy` imports on first use: all of pandas.

That import takes a third of a second, which the pit laptop and every worker of a season run would spend for nothing.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray


def numbers(column: pa.Array | pa.ChunkedArray) -> NDArray[Any]:
    """(n,) the values of a column of numbers or flags, as `to_numpy(zero_copy_only=False)` gives them.

    A null becomes NaN, and whole numbers or flags with nulls become float64. One chunk without nulls is not copied and
    may not be written to. Raises TypeError for a column of anything else.
    """
    parts = [_one(chunk) for chunk in (column.chunks if isinstance(column, pa.ChunkedArray) else [column])]
    if len(parts) == 1:
        return parts[0]
    return np.concatenate(parts) if parts else np.empty(0, dtype=_dtype(column.type))


def _one(chunk: pa.Array) -> NDArray[Any]:
    kind = chunk.type
    if pa.types.is_boolean(kind):  # kept as bits
        flags = _one(chunk.cast(pa.uint8()))
        return flags if chunk.null_count else flags.astype(np.bool_)
    dtype = _dtype(kind)
    if not len(chunk):
        return np.empty(0, dtype=dtype)
    if chunk.null_count:
        if pa.types.is_integer(kind):
            return _one(chunk.cast(pa.float64(), safe=False))
        chunk = chunk.fill_null(pa.scalar(np.nan, kind))
    return np.frombuffer(chunk.buffers()[1], dtype, len(chunk), chunk.offset * dtype.itemsize)


def _dtype(kind: pa.DataType) -> np.dtype[Any]:
    if not (pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_boolean(kind)):
        raise TypeError(f"a column of {kind} is not one of numbers")
    return np.dtype(kind.to_pandas_dtype())
