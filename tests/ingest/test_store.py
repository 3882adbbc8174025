"""Files appear whole or not at all; only the store opens files for writing."""

from __future__ import annotations

import ast
import errno
import hashlib
import io
import os
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.errors import StoreError, UnreadableLog
from ingest.parquet_output import ROW_GROUP_ROWS
from ingest.store import FileLayer, Store, hash_file

ROOT = Path(__file__).parents[2]
PACKAGES = ("ingest", "analysis", "dashboard")
WRITER = ROOT / "ingest" / "file_layer.py"
STORE = ROOT / "ingest" / "store.py"
PARQUET_WRITER = ROOT / "ingest" / "parquet_output.py"  # is handed an open file

_MODE = re.compile(r"[rwaxbt+]{1,4}")
_WRITE_FLAGS = {"O_WRONLY", "O_RDWR", "O_CREAT", "O_APPEND", "O_TRUNC"}
_WRITING_CALLS = {
    "write_text", "write_bytes", "touch", "symlink_to", "hardlink_to", "copyfile", "copy2", "copytree",
    "NamedTemporaryFile", "TemporaryFile", "mkstemp", "savetxt", "tofile", "to_pickle",
    "memmap", "OSFile", "output_stream",
}  # fmt: skip
_OUR_OWN = {"write_text", "write_bytes"}  # methods of Store, called as store.write_text(...)
# Calls that take a place to write to: fine where that is memory.
_TAKE_A_PLACE = {
    "write_table", "ParquetWriter", "write_csv", "write_dataset", "write_feather", "savefig", "to_csv", "to_parquet",
    "to_excel", "write_html", "write_image", "savez", "savez_compressed",
}  # fmt: skip


# Who writes


def writing(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """(line, what) of every call that opens a file for writing."""
    in_memory = _in_memory(tree)
    own_functions = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)} | _ours(tree)
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        owner = ast.unparse(node.func.value) if isinstance(node.func, ast.Attribute) else ""
        if name in _WRITING_CALLS and not (name in _OUR_OWN and owner.split(".")[-1] in ("store", "Store()")):
            yield node.lineno, ast.unparse(node.func)
        elif name in _TAKE_A_PLACE and not owner.endswith("._writer") and name not in own_functions:
            if not any(isinstance(arg, ast.Name) and arg.id in in_memory for arg in node.args):
                yield node.lineno, ast.unparse(node.func)
        elif name in ("open", "fdopen") and owner not in ("os", "webbrowser"):
            yield from _open_mode(node)
        elif name == "open" and owner == "os" and _WRITE_FLAGS & set(re.findall(r"\w+", ast.unparse(node))):
            yield node.lineno, ast.unparse(node)


def _in_memory(tree: ast.AST) -> set[str]:
    """Names that are bound to a buffer in memory."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and ast.unparse(node.value) in ("io.BytesIO()", "BytesIO()", "io.StringIO()"):
            found |= {ast.unparse(target) for target in node.targets}
    return found


def _ours(tree: ast.AST) -> set[str]:
    """Names imported from this project: their own modules are looked at."""
    imports = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    ours = [node for node in imports if (node.module or "").split(".")[0] in PACKAGES]
    return {alias.asname or alias.name for node in ours for alias in node.names}


def _open_mode(node: ast.Call) -> Iterator[tuple[int, str]]:
    given_mode = [keyword.value for keyword in node.keywords if keyword.arg == "mode"]
    for value in [*node.args[:2], *given_mode]:
        if isinstance(value, ast.Constant) and isinstance(value.value, str):
            if _MODE.fullmatch(value.value) and set(value.value) & set("wax+"):
                yield node.lineno, ast.unparse(node)
        elif value in given_mode:
            yield node.lineno, f"a mode that is computed: {ast.unparse(node)}"


def sources() -> list[Path]:
    return [path for package in PACKAGES for path in sorted((ROOT / package).rglob("*.py"))]


@pytest.mark.parametrize("path", sources(), ids=lambda path: path.relative_to(ROOT).as_posix())
def test_only_the_store_opens_files_for_writing(path: Path) -> None:
    found = list(writing(ast.parse(path.read_text("utf-8"))))
    if path == WRITER:
        assert found, "the search no longer recognises how the store opens a file"
    elif path == STORE:
        assert [what for _, what in found] == ["self.write_bytes"]  # its own
    elif path == PARQUET_WRITER:
        assert [what for _, what in found] == ["pq.ParquetWriter"]
    else:
        assert found == []


@pytest.mark.parametrize(
    "line",
    [
        'open(p, "w")', 'open(p, mode="ab")', "open(p, mode=m)", 'p.open("x")', 'p.open("r+b")', 'gzip.open(p, "wt")',
        "os.open(p, os.O_WRONLY | os.O_CREAT)", 'p.write_text("")', "Path(p).write_bytes(b)", "shutil.copyfile(a, b)",
        "pq.write_table(t, p)", "pq.ParquetWriter(p, s)", "tempfile.NamedTemporaryFile()", "p.touch()",
        "np.savetxt(p, a)", "frame.to_csv(p)", "figure.savefig(p)",
        "from pyarrow.parquet import write_table; write_table(t, p)",
    ],
)  # fmt: skip
def test_the_search_sees_every_way_to_write(line: str) -> None:
    assert list(writing(ast.parse(line)))


@pytest.mark.parametrize(
    "line",
    [
        "open(p)", 'open(p, "rb")', 'p.open("r")', "os.open(p, os.O_RDONLY)", "self.store.write_text(p, t)",
        "reader.open(path, options)", 'webbrowser.open("x")', "sink = io.BytesIO(); pq.write_table(t, sink)",
        "self._writer.write_table(t)", "from ingest.x import write_table; write_table(t, p)",
    ],
)  # fmt: skip
def test_the_search_leaves_reading_alone(line: str) -> None:
    assert not list(writing(ast.parse(line)))


# Whole or not at all


class Layer(FileLayer):
    """Short writes, a failure after some bytes or at a sync, and a record of what happened in which order."""

    def __init__(self, room: int = 1 << 40, most: int = 1 << 30, sync_error: int | None = None) -> None:
        self.room, self.most, self.sync_error = room, most, sync_error
        self.did: list[str] = []

    def write(self, file, data):  # type: ignore[no-untyped-def]
        count = min(len(data), self.most)
        self.room -= count
        if self.room < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return super().write(file, data[:count])

    def sync(self, file):  # type: ignore[no-untyped-def]
        self.did.append("sync")
        if self.sync_error:
            raise OSError(self.sync_error, os.strerror(self.sync_error))
        super().sync(file)

    def replace(self, source: Path, target: Path) -> None:
        self.did.append("replace")
        super().replace(source, target)

    def sync_folder(self, folder: Path) -> None:
        self.did.append("sync folder")
        super().sync_folder(folder)


@given(st.binary(max_size=5000), st.integers(1, 700))
@settings(max_examples=40, deadline=None)
def test_short_writes_still_give_every_byte(tmp_path_factory: pytest.TempPathFactory, data: bytes, most: int) -> None:
    path = tmp_path_factory.mktemp("store") / "x"
    Store(Layer(most=most)).write_bytes(path, data)
    assert path.read_bytes() == data


def test_a_layer_that_takes_nothing_does_not_loop_for_ever(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="took nothing"):
        Store(Layer(most=0)).write_bytes(tmp_path / "x", b"abc")


def test_the_order_is_sync_rename_sync_folder(tmp_path: Path) -> None:
    layer = Layer()
    Store(layer).write_text(tmp_path / "x", "abc")
    assert layer.did == ["sync", "replace", "sync folder"]


@pytest.mark.parametrize("layer", [Layer(room=0), Layer(room=5), Layer(sync_error=errno.EIO)])
def test_a_failure_leaves_what_stood_there(tmp_path: Path, layer: Layer) -> None:
    path = tmp_path / "x"
    path.write_bytes(b"before")
    with pytest.raises(StoreError, match=r"x: could not be written: .*; nothing was changed") as caught:
        Store(layer).write_bytes(path, b"x" * 100)
    assert caught.value.mend
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"x": b"before"}


def test_an_error_of_the_caller_or_an_interrupt_leaves_what_stood_there(tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_bytes(b"before")
    for error in (ValueError, KeyboardInterrupt):
        with pytest.raises(error), Store().atomic(path) as output:
            output.write(b"half")
            raise error
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"x": b"before"}


def test_a_library_can_write_into_it(tmp_path: Path) -> None:
    with Store().atomic(tmp_path / "x.csv") as output:
        text = io.TextIOWrapper(output, encoding="utf-8", newline="")  # type: ignore[type-var]
        text.write("a,b\r\n")
        text.flush()
        text.detach()
    assert (tmp_path / "x.csv").read_bytes() == b"a,b\r\n"


def test_a_recording_grows_under_its_own_name_and_never_over_another(tmp_path: Path) -> None:
    store = Store()
    output = store.record(tmp_path / "live.csv")
    output.write(b"one\n")
    output.sync()
    assert (tmp_path / "live.csv").read_bytes() == b"one\n"
    output.write(b"two\n")
    output.finish()
    assert (tmp_path / "live.csv").read_bytes() == b"one\ntwo\n"
    with pytest.raises(StoreError, match="File exists"):
        store.record(tmp_path / "live.csv")


# Parquet


def batch(rows: int, start: int = 0, name: str = "pack_voltage_V") -> pa.RecordBatch:
    n = np.arange(start, start + rows)
    return pa.record_batch(
        {"time_s": n * 1e-3, "recording": np.zeros(rows, "int16"), name: np.round(25 + np.sin(n / 99), 2)}
    )


def test_parquet_is_split_dictionary_coded_compressed_and_checked(tmp_path: Path) -> None:
    name = "other:I.bat [mA]"
    batches = [batch(30_000, start, name) for start in range(0, 240_000, 30_000)]
    path = tmp_path / "match=m1" / "x.parquet"
    Store().write_parquet(path, iter(batches), batches[0].schema, {"afterbout": '{"a": 1}'})
    file = pq.ParquetFile(path, page_checksum_verification=True)
    assert [file.metadata.row_group(i).num_rows for i in range(3)] == [100_000, 100_000, 40_000]
    time_s, recording, value = (file.metadata.row_group(0).column(i) for i in range(3))
    assert {column.compression for column in (time_s, recording, value)} == {"ZSTD"}
    assert "BYTE_STREAM_SPLIT" in time_s.encodings and "RLE_DICTIONARY" not in time_s.encodings
    assert "RLE_DICTIONARY" in value.encodings and value.path_in_schema == name
    assert time_s.statistics.min == 0.0 and time_s.statistics.max == pytest.approx(99.999)
    assert file.metadata.metadata[b"afterbout"] == b'{"a": 1}'
    assert file.read().equals(pa.Table.from_batches(batches))


@given(st.lists(st.integers(1, 90_000), min_size=1, max_size=5))
@settings(max_examples=15, deadline=None)
def test_batches_of_any_size_come_back_in_full_groups(
    tmp_path_factory: pytest.TempPathFactory, sizes: list[int]
) -> None:
    starts = np.cumsum([0, *sizes[:-1]])
    batches = [batch(size, int(start)) for size, start in zip(sizes, starts, strict=True)]
    path = tmp_path_factory.mktemp("store") / "x.parquet"
    Store().write_parquet(path, batches, batches[0].schema)
    file = pq.ParquetFile(path)
    groups = [file.metadata.row_group(i).num_rows for i in range(file.metadata.num_row_groups)]
    assert all(rows == ROW_GROUP_ROWS for rows in groups[:-1]) and 0 < groups[-1] <= ROW_GROUP_ROWS
    assert file.read().equals(pa.Table.from_batches(batches))


def test_nan_is_never_stored(tmp_path: Path) -> None:
    made = pa.record_batch({"time_s": [0.0, 1.0, 2.0], "x_V": [1.0, float("nan"), None]})
    Store().write_parquet(tmp_path / "x.parquet", [made], made.schema)
    assert pq.ParquetFile(tmp_path / "x.parquet").read()["x_V"].to_pylist() == [1.0, None, None]


def test_no_samples_are_an_empty_file_that_reads(tmp_path: Path) -> None:
    schema = batch(1).schema
    Store().write_parquet(tmp_path / "x.parquet", [], schema)
    assert pq.ParquetFile(tmp_path / "x.parquet").read().schema.equals(schema)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("room", [0, 3, 1000, 300_000])
def test_a_full_disk_in_the_middle_of_parquet(tmp_path: Path, room: int) -> None:
    batches = [batch(100_000, start) for start in range(0, 500_000, 100_000)]
    noise = [
        b.set_column(2, "pack_voltage_V", pa.array(np.random.default_rng(1).normal(size=100_000))) for b in batches
    ]
    with pytest.raises(StoreError, match="No space left"):
        Store(Layer(room=room)).write_parquet(tmp_path / "x.parquet", noise, noise[0].schema)
    assert list(tmp_path.iterdir()) == []


# Originals


def test_an_original_is_kept_once_under_the_hash_of_its_bytes(tmp_path: Path) -> None:
    source = tmp_path / "Weapon Log.CSV"
    source.write_bytes(os.urandom(3_000_000))
    sha256 = hashlib.sha256(source.read_bytes()).hexdigest()
    first = Store().keep_original(source, tmp_path / "originals")
    assert (first.path.name, first.sha256, first.size, first.new) == (f"{sha256}.csv", sha256, 3_000_000, True)
    assert first.path.read_bytes() == source.read_bytes()
    layer = Layer()
    again = Store(layer).keep_original(source.rename(tmp_path / "other.txt"), tmp_path / "originals")
    assert (again.path, again.new, layer.did) == (first.path, False, [])
    source.write_bytes(os.urandom(3_000_000))
    assert Store().keep_original(source, tmp_path / "originals").new
    assert len(list((tmp_path / "originals").iterdir())) == 2


def test_a_damaged_original_is_replaced_by_the_good_bytes(tmp_path: Path) -> None:
    source = tmp_path / "a.csv"
    source.write_bytes(b"x" * 1000)
    kept = Store().keep_original(source, tmp_path / "originals")
    kept.path.write_bytes(b"x" * 500)
    assert Store().keep_original(source, tmp_path / "originals").path == kept.path
    assert kept.path.read_bytes() == b"x" * 1000


def test_a_file_that_grows_while_it_is_copied_is_refused(tmp_path: Path) -> None:
    source = tmp_path / "a.csv"
    source.write_bytes(b"x" * 1000)

    class Growing(FileLayer):
        def create(self, path):  # type: ignore[no-untyped-def]
            with source.open("ab") as file:
                file.write(b"more")
            return super().create(path)

    with pytest.raises(UnreadableLog, match=r"a.csv: changed while it was copied.*Wait"):
        Store(Growing()).keep_original(source, tmp_path / "originals")
    assert list((tmp_path / "originals").iterdir()) == []


def test_a_source_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UnreadableLog, match="cannot be read"):
        Store().keep_original(tmp_path / "none", tmp_path)
    with pytest.raises(UnreadableLog, match="cannot be read"):
        hash_file(tmp_path / "none")


# SHA-256 of "abc": FIPS 180-4 example (NIST, "SHA256.pdf" of the cryptographic examples), from memory.
def test_the_hash_is_sha_256(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(b"abc")
    assert hash_file(tmp_path / "x") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_the_sweep_takes_only_what_is_unfinished(tmp_path: Path) -> None:
    for name in (".a.parquet.12ab34cd.part", "b.part", ".hidden", "c.parquet"):
        (tmp_path / name).touch()
    Store().sweep(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == [".hidden", "b.part", "c.parquet"]
