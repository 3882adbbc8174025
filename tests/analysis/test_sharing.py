"""Shared metrics: everything a person wrote or named is looked for in the file, byte by byte."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import replace
from itertools import permutations
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pa_csv
import pyarrow.parquet as pq
import pytest

from analysis.season_rows import MatchRow
from analysis.sharing import anonymous
from dashboard.exporting import csv_bytes
from ingest.builds import Build, BuildHead, PackSlot, Wire
from ingest.season import Season
from tests.analysis.made_rows import row
from tests.conftest import run_command

# Everything that somebody may have typed, or a file may be called. No word stands in any text of ours.
ROBOT, EVENT, OPPONENT, NOTE = "Quillbane", "Yarrowfield", "Zephyrine", "Ottoline"
BUILD, PACK, LEAD, HUB, MATCH, FILE = "vexmark", "jasperine", "wrenlead", "hobcontact", "kestrelbout", "dunlinlog"
DAY = "2031-07-19"
NAMES = (ROBOT, EVENT, OPPONENT, NOTE, BUILD, PACK, LEAD, HUB, MATCH, FILE, "2031", "07-19", "fennick")


def named_season(folder: Path) -> Path:
    build = f"""
[build]
id = "{BUILD}"
robot = "{ROBOT}"
summary = "wired by {NOTE}"
[pack]
cells = 6
[[wire]]
id = "{LEAD}"
from = "pack"
to = "weapon"
through = ["{HUB}"]
gauge = "12 AWG"
length_mm = 250
insulation = "silicone"
[[contact]]
id = "{HUB}"
kind = "connector"
[[controller]]
id = "weapon"
motor_type = "brushless"
continuous_A = 40
"""
    pack = f'[pack]\nid = "{PACK}"\nin_service = {DAY}\ncells = 6\ncapacity_Ah = 3.3\nresistance_mohm = 20\n'
    season = Season.create(folder, files={f"builds/{BUILD}.toml": build, f"packs/{PACK}.toml": pack})
    (folder / "season.toml").write_text(f'[season]\nname = "{EVENT}"\nrobot = "{ROBOT}"\n', encoding="utf-8")
    season = Season(folder)
    for number in range(2):
        rng = np.random.default_rng(number)
        t = np.arange(0.0, 30.0, 0.05)
        amps = np.where((t > 3) & (t < 27), np.where((t // 1.5) % 2 == 0, 8.0, 50.0), 0.0)
        volts = 25.0 - 0.02 * amps + rng.normal(0, 0.005, len(t))
        lines = "\n".join(f"{a:.2f},{b:.2f},{c:.3f},{b:.2f}" for a, b, c in zip(t, amps, volts, strict=True))
        file = folder.parent / f"{FILE}{number}.csv"
        file.write_text(f"time_s,pack_current_A,pack_voltage_V,weapon_input_current_A\n{lines}\n", encoding="utf-8")
        season.add([file], f"{MATCH}{number}", build=BUILD, pack=PACK, event=EVENT, opponent=OPPONENT)
        path = folder / "matches" / f"{MATCH}{number}.toml"
        text = path.read_text(encoding="utf-8")
        text = text.replace("[match]\n", f"[match]\nstart = {DAY}T1{number}:20:30Z\n", 1)
        path.write_text(text.replace('notes = ""', f'notes = "{NOTE} saw fennick smoke"', 1), encoding="utf-8")
        assert season.match(f"{MATCH}{number}").notes
    return folder


def plain_bytes(path: Path) -> bytes:
    """The bytes, with every part of a workbook unpacked, and every text of a table decoded."""
    raw = path.read_bytes()
    if path.suffix == ".xlsx":
        with zipfile.ZipFile(io.BytesIO(raw)) as book:
            return b"\n".join(name.encode() + book.read(name) for name in book.namelist())
    if path.suffix == ".parquet":
        table = pq.read_table(path)
        return raw + json.dumps(table.to_pylist()).encode() + str(table.schema.metadata).encode()
    return raw


@pytest.mark.parametrize("kind", [".csv", ".parquet", ".xlsx"])
def test_no_name_date_note_or_file_is_in_the_shared_file(tmp_path: Path, kind: str) -> None:
    season = named_season(tmp_path / "club" / f"{ROBOT}-folder")
    out = tmp_path / f"shared{kind}"
    ran = run_command("season", "--seasons", tmp_path / "club", "--share", out, "--json")
    assert ran.code == 0, ran.err
    assert ROBOT in ran.out  # the person's own document names it
    kept = json.dumps(pq.read_table(season / "results" / "metrics.parquet").to_pylist())
    assert [name for name in (BUILD, PACK, LEAD, OPPONENT, EVENT, MATCH, DAY) if name not in kept] == []
    found = plain_bytes(out)
    for name in (*NAMES, "folder", str(tmp_path)):
        assert name.lower().encode() not in found.lower(), name
    assert b"robot 1" in found and b"pack 1" in found and b"wire 1" in found
    assert "knows its figures again" in " ".join(ran.err.split())


def test_robots_do_not_stand_in_the_order_of_their_folders() -> None:
    """The order of reading, which is that of the alphabet, changes nothing in the table."""
    seasons: list[tuple[list[MatchRow], dict[str, Build]]] = [
        ([row(f"m{k}{i}", {"rms_10s_A": 10.0 * k + i}) for i in range(2)], {}) for k in range(3)
    ]
    tables = [anonymous(order) for order in permutations(seasons)]
    assert all(table == tables[0] for table in tables)
    assert set(tables[0].column("robot").to_pylist()) == {"robot 1", "robot 2", "robot 3"}


def test_cells_and_figures_of_several_packs_do_not_tell_their_names() -> None:
    wire = Wire.model_validate({"id": "wrenlead", "from": "pack", "to": "weapon"})
    build = Build(build=BuildHead(id="x"), packs=(PackSlot(cells=6),), wires=(wire,))
    made = row("m", {
        ("cell_resistance_1s_mohm", "jasperine_left_cell3"): 3.0, ("cell_resistance_1s_mohm", "quill_cell1"): 3.1,
        ("cell_resistance_1s_mohm", "cell2"): 3.2, ("wire_peak_standard_degC", "wrenlead"): 60.0,
        ("rms_1s_A", "nobody_knows"): 5.0, ("dropouts_per_min", "link"): 0.0,
    })  # fmt: skip
    table = anonymous([([replace(made, pack="jasper+quill")], {"x": build})])
    assert table.column("part").to_pylist() == [
        "fitted pack 1 cell3", "fitted pack 2 cell1", "cell2", "wire 1", "part 1", "link",
    ]  # fmt: skip
    assert set(table.column("pack").to_pylist()) == {"pack 1"}


def test_text_that_a_spreadsheet_would_run_is_escaped_in_every_column(tmp_path: Path) -> None:
    """Cells that begin like a formula, in a CSV and in a workbook, also as the names of columns."""
    from openpyxl import load_workbook

    from dashboard.exporting import write_table

    bad = ["=1+1", "+1", "-1+2", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1", "plain", "a=1", None]
    table = pa.table({"=cmd": pa.array(bad), "n": pa.array([-1.5] * len(bad))})
    lines = csv_bytes(table).decode("utf-8")
    assert lines.startswith('"\'=cmd"')
    back = pa_csv.read_csv(io.BytesIO(csv_bytes(table)), parse_options=pa_csv.ParseOptions(newlines_in_values=True))
    assert all(text is None or text[0] not in "=+-@\t\r\n＝" for text in back.column(0).to_pylist() if text)
    assert back.column(1).to_pylist() == [-1.5] * len(bad)  # a number stays one
    write_table(table, tmp_path / "x.xlsx")
    sheet = load_workbook(tmp_path / "x.xlsx").active
    assert sheet is not None
    for cell in (cell for line in sheet.iter_rows() for cell in line):
        assert cell.data_type != "f", cell.value
        if isinstance(cell.value, str):
            assert cell.value[0] not in "=+-@\t\r\n＝", cell.value
