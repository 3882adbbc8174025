"""Columns as numpy arrays: the same as pyarrow's own conversion, without its import of pandas."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.arrays import numbers

KINDS = {
    pa.float64(): st.floats(),
    pa.float32(): st.floats(width=32),
    pa.int64(): st.integers(-(2**53), 2**53),
    pa.int32(): st.integers(-(2**31), 2**31 - 1),
    pa.uint8(): st.integers(0, 255),
    pa.bool_(): st.booleans(),
}


@settings(deadline=None)  # the first call imports pandas
@given(st.data())
def test_every_column_is_as_pyarrow_itself_gives_it(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(list(KINDS)))
    cells = st.lists(st.one_of(st.none(), KINDS[kind]) if data.draw(st.booleans()) else KINDS[kind], max_size=20)
    chunks = [pa.array(part, kind) for part in data.draw(st.lists(cells, max_size=4))]
    low = data.draw(st.integers(0, 5))
    column = pa.chunked_array(chunks, kind).slice(low)
    # Whole numbers beside an empty chunk: the type of one part alone is not the column's.
    want = np.asarray(column.combine_chunks().to_numpy(zero_copy_only=False))
    got = numbers(column)
    assert got.shape == (len(column),)
    np.testing.assert_array_equal(got.astype(np.float64), want.astype(np.float64))
    if not column.null_count:
        assert got.dtype == want.dtype


def test_a_column_of_text_is_refused() -> None:
    with pytest.raises(TypeError, match="string"):
        numbers(pa.array(["a"]))


def test_a_review_does_not_wait_for_pandas() -> None:
    """pandas is there for who asks for a frame; importing it takes longer than reviewing a match."""
    words = (
        "import sys, tempfile, pathlib\n"
        "from ingest.season import Season\n"
        "from analysis.season_review import review_match\n"
        "folder = pathlib.Path(tempfile.mkdtemp())\n"
        "season = Season(sys.argv[1])\n"
        "review_match(season, 'm1')\n"
        "assert 'pandas' not in sys.modules\n"
    )
    make = (
        "import sys, pathlib\n"
        "from ingest.season import Season\n"
        "season = Season.create(sys.argv[1])\n"
        "log = pathlib.Path(sys.argv[1]) / 'log.csv'\n"
        "rows = ''.join(f'{k / 50:.2f},{20 + k % 7},{25 - (k % 7) / 50:.2f}\\n' for k in range(2000))\n"
        "log.write_text('time_s,pack_current_A,pack_voltage_V\\n' + rows)\n"
        "season.add([log], 'm1')\n"
    )
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        where = str(Path(folder) / "season")
        for script in (make, words):
            subprocess.run([sys.executable, "-c", script, where], check=True, cwd=Path(__file__).parents[2])
