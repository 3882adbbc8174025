"""`inspect`: the contract's document for whole files, its schema, and the page a builder reads."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import numpy as np
import pytest

from dashboard.inspect_page import FAULT_WORDS, WIDTH, inspect_text
from ingest.formats import ReadOptions
from ingest.inspect import entry_of, exit_code, inspect_files, read_provenance
from ingest.log import Clock, Column, Fault, Provenance
from ingest.readings import load_reading, reading_from

SCHEMA = json.loads((Path(__file__).parents[2] / "dashboard/schemas/inspect.schema.json").read_text("utf-8"))
ROWS = 400
# the contract's list of fault codes, section 5
CODES = (
    "encoding header_guessed no_header several_tables footer short_row long_row bad_number unit_in_cell sentinel "
    "nul_bytes truncated duplicate_name clock_missing clock_restart clock_wrap clock_backward clock_duplicate "
    "clock_gap clock_disagrees unit_unknown sign_normalised implausible checksum unknown_id count_disagrees"
)


def load(rows: int = ROWS) -> tuple[Any, Any]:
    rng = np.random.default_rng(3)
    amps = np.abs(np.convolve(rng.normal(0.0, 45.0, rows), np.ones(12) / 5.0, "same")) + 0.5
    return 24.9 - 0.02 * amps - 0.001 * np.arange(rows) / 10, amps


def weapon_csv(folder: Path) -> Path:
    """Semicolons, decimal comma, a units row, one short row, an unlabelled temperature in degF."""
    volts, amps = load()
    lines = ["t;Ubat;Ibat [mA];ESC temp;dbg", "ms;V;;;"]
    for k in range(ROWS):
        temp = 72.0 + k / 8.0
        lines.append(f"{k * 10};{volts[k]:.2f};{amps[k] * 1000:.0f};{temp:.1f};{k % 5}".replace(".", ","))
    lines.insert(100, "98;1")
    path = folder / "weapon.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def plain_csv(folder: Path, name: str = "log1.csv") -> Path:
    volts, amps = load()
    lines = ["Time [s],Voltage [V],Current [A]"]
    lines += [f"{k * 0.01:.2f},{volts[k]:.2f},{-amps[k]:.2f}" for k in range(ROWS)]
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def checked(document: dict[str, Any]) -> dict[str, Any]:
    jsonschema.validate(document, SCHEMA)
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    return document


def by_source(entry: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {column["source"]: column for column in entry["columns"]}


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_one_document_for_all_files_and_a_refusal_hides_none(tmp_path: Path) -> None:
    (tmp_path / "empty.csv").write_bytes(b"")
    (tmp_path / "noise.bin").write_bytes(bytes(range(256)) * 8)
    paths = [tmp_path / "empty.csv", weapon_csv(tmp_path), tmp_path / "noise.bin", tmp_path, tmp_path / "none.csv"]
    paths.append(plain_csv(tmp_path))
    document = checked(inspect_files(paths))
    assert document["schema"] == "afterbout.inspect/1"
    assert [entry["file"] for entry in document["files"]] == [path.name for path in paths]
    refused = [entry["refused"] is not None for entry in document["files"]]
    assert refused == [True, False, True, True, True, False]
    assert "empty" in document["files"][0]["refused"]
    assert document["files"][2]["sha256"] == hashlib.sha256((tmp_path / "noise.bin").read_bytes()).hexdigest()
    assert document["files"][4]["sha256"] is None
    assert exit_code(document) == 1


def test_all_read_is_exit_code_zero(tmp_path: Path) -> None:
    assert exit_code(inspect_files([plain_csv(tmp_path)])) == 0
    assert inspect_files([]) == {"schema": "afterbout.inspect/1", "files": []}


def test_what_is_said_of_a_file(tmp_path: Path) -> None:
    path = weapon_csv(tmp_path)
    entry = checked(inspect_files([path]))["files"][0]
    assert entry["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (entry["format"], entry["rows"], entry["reading"]) == ("delimited text", ROWS, None)
    dialect = entry["dialect"]
    assert (dialect["delimiter"], dialect["decimal"]) == (";", ",")
    assert (dialect["header_line"], dialect["units_line"], dialect["first_data_line"]) == (1, 2, 3)
    clock = entry["clock"]
    assert (clock["column"], clock["unit"], clock["sure"]) == ("t", "ms", "certain")
    assert (clock["duration_s"], clock["rate_Hz"]) == (pytest.approx(3.99), pytest.approx(100.0))
    columns = by_source(entry)
    current = columns["Ibat [mA]"]
    assert (current["channel"], current["unit"], current["source_unit"]) == ("pack_current_A", "A", "mA")
    assert (current["sure"], current["quantity"], current["kind"]) == ("certain", "current", "number")
    assert current["max"] == pytest.approx(current["source_max"] / 1000.0)
    assert columns["ESC temp"]["channel"] is None and columns["ESC temp"]["sure"] == "unknown"
    short = [fault for fault in entry["faults"] if fault["code"] == "short_row"]
    assert [(fault["line"], fault["severity"]) for fault in short] == [(101, "dropped")]


def test_names_stay_as_written(tmp_path: Path) -> None:
    path = tmp_path / "log1.csv"
    volts, amps = load()
    rows = [f"{k * 0.01:.2f},{amps[k]:.2f},{amps[-k]:.2f},{volts[k]:.2f}" for k in range(ROWS)]
    path.write_text("Time [s],Current,Current,\n" + "\n".join(rows) + "\n", encoding="utf-8")
    entry = checked(inspect_files([path]))["files"][0]
    assert [column["source"] for column in entry["columns"]] == ["Time [s]", "Current", "Current", ""]
    assert [column["channel"] for column in entry["columns"]] == [None] * 4


def test_the_sign_is_turned_round_and_told(tmp_path: Path) -> None:
    entry = checked(inspect_files([plain_csv(tmp_path)]))["files"][0]
    current = by_source(entry)["Current [A]"]
    assert current["source_max"] < 0 < current["min"] < current["max"]
    assert "sign_normalised" in [fault["code"] for fault in entry["faults"]]


def test_the_same_bytes_say_the_same_twice(tmp_path: Path) -> None:
    path = weapon_csv(tmp_path)
    assert inspect_files([path]) == inspect_files([path])


def test_nothing_is_written(tmp_path: Path) -> None:
    path = weapon_csv(tmp_path)
    before = sorted((p.name, p.stat().st_mtime_ns) for p in tmp_path.iterdir())
    inspect_files([path, tmp_path / "none.csv"])
    assert sorted((p.name, p.stat().st_mtime_ns) for p in tmp_path.iterdir()) == before


def test_a_build_gives_the_parts(tmp_path: Path) -> None:
    path = tmp_path / "log1.csv"
    path.write_text(
        "Time [s],Left drive current [A]\n" + "\n".join(f"{k * 0.01:.2f},{1 + k % 7}.25" for k in range(ROWS)) + "\n"
    )
    entry = inspect_files([path], ReadOptions(parts={"left_drive": "controller"}))["files"][0]
    assert entry["columns"][1]["channel"] == "left_drive_input_current_A"


def test_the_answers_settle_the_file(tmp_path: Path) -> None:
    path = weapon_csv(tmp_path)
    provenance = read_provenance(path, ReadOptions())
    answers: dict[str, dict[str, Any]] = {
        "ESC temp": {"channel": "weapon_temp_degC", "unit": "degF"},
        "dbg": {"ignore": True},
    }
    file = tmp_path / "weapon.toml"
    file.write_text(reading_from(provenance, answers), encoding="utf-8")
    entry = checked(inspect_files([path], ReadOptions(reading=load_reading(file))))["files"][0]
    temp = by_source(entry)["ESC temp"]
    assert (temp["channel"], temp["sure"]) == ("weapon_temp_degC", "certain")
    assert temp["min"] == pytest.approx((72.0 - 32.0) * 5 / 9)
    assert entry["reading"] == "weapon"
    assert not [c for c in entry["columns"] if c["sure"] in ("guess", "unknown")]


def test_what_other_formats_count_is_carried_over() -> None:
    frames = dict.fromkeys(("total", "data", "error", "remote", "fd", "extended", "ids", "decoded"), 3)
    column = Column("Pack.Volts", "number", "voltage", "pack_voltage_V", "V", "V", "certain", "declared", samples=3)
    column_nan = Column("x", "number", "other", None, None, None, "unknown", "", min=float("nan"), max=float("inf"))
    provenance = Provenance("bus.log", "0" * 64, "CAN", rows=3, columns=(column, column_nan), counts={"frames": frames})
    entry = entry_of(provenance, Path("bus.log"))
    checked({"schema": "afterbout.inspect/1", "files": [entry]})
    assert entry["frames"]["total"] == 3 and entry["columns"][0]["samples"] == 3
    assert entry["columns"][1]["min"] is None
    assert "3 frames decoded" in inspect_text({"files": [entry]})


# the page


def test_the_page_says_what_a_builder_needs(tmp_path: Path) -> None:
    (tmp_path / "empty.csv").write_bytes(b"")
    document = inspect_files([weapon_csv(tmp_path), tmp_path / "empty.csv"])
    page = inspect_text(document)
    lines = page.splitlines()
    assert lines[0] == "weapon.csv"
    assert "400 rows" in page and "3.99 s at 100 samples a second" in page
    assert any("pack_current_A" in line and '"Ibat [mA]"' in line and line.endswith("certain") for line in lines)
    assert "line 101" in page
    assert "REFUSED" in page and "empty" in page
    start = lines.index('         source = "ESC temp"')
    assert lines[start - 1] == "         [[column]]"
    assert lines[start + 2].startswith('         unit = "degF"')
    assert max(len(line) for line in lines) <= WIDTH
    assert page.endswith("\n") and not page.endswith("\n\n")


def test_every_fault_code_of_the_contract_has_words() -> None:
    assert set(CODES.split()) <= set(FAULT_WORDS)
    assert all("_" not in words for words in FAULT_WORDS.values())


def test_many_faults_of_one_kind_are_one_line() -> None:
    faults = tuple(Fault("short_row", "dropped", f"2 cells instead of 5, {k}", line=k) for k in range(10, 40))
    clock = Clock("t", "s", "certain", 0.0, 4000.0, 50.0, restarts=(10.0,), gaps=((1.0, 3.5), (7.0, 7.5)))
    entry = entry_of(Provenance("a.csv", "0" * 64, "delimited text", rows=1, clock=clock, faults=faults), Path("a.csv"))
    page = " ".join(inspect_text({"files": [entry]}).split())
    assert page.count("too few cells") == 1
    assert "line 10, line 11, line 12, 30 in all" in page
    assert "1 h 6 min" in page and "starts again once" in page and "2 gaps, the longest 2.5 s" in page
    assert "No column is understood" in page


def test_names_from_a_file_cannot_steer_the_terminal() -> None:
    column = Column("\x1b[31mred\x07\u202e" + "x" * 80, "number", "other", None, None, None, "unknown", "why")
    entry = entry_of(
        Provenance("\x1b]0;t\x07.csv", "0" * 64, "delimited text", rows=2, columns=(column,)), Path("\x1b[2J.csv")
    )
    page = inspect_text({"files": [entry]})
    assert all(c.isprintable() or c == "\n" for c in page)
    assert max(len(line) for line in page.splitlines()) <= WIDTH
