"""docs/season.ipynb: its cells run on a fresh demo season, and give the very words that are stored with it."""

from __future__ import annotations

import base64
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.notebook import SEASON, run_cells

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOK = ROOT / "docs" / "season.ipynb"
PNG = b"\x89PNG\r\n\x1a\n"


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
    return found


def words(outputs: list[dict[str, Any]]) -> list[str]:
    return ["".join(one["text"] if one["output_type"] == "stream" else one["data"]["text/plain"]) for one in outputs]


def pictures(outputs: list[dict[str, Any]]) -> list[bytes]:
    return [base64.b64decode(one["data"]["image/png"]) for one in outputs if "image/png" in one.get("data", {})]


def test_every_cell_gives_what_is_stored(
    document: dict[str, Any], demo: tuple[Path, Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("duckdb", reason="comes with the season extra")
    shutil.copytree(demo[0], tmp_path / SEASON, ignore=shutil.ignore_patterns("raw", "sheets", "results"))
    monkeypatch.chdir(tmp_path)
    made = run_cells(document)
    stored = [cell["outputs"] for cell in document["cells"] if cell["cell_type"] == "code"]
    assert [words(one) for one in made] == [words(one) for one in stored]
    drawn, kept = ([png for one in side for png in pictures(one)] for side in (made, stored))
    assert len(drawn) == len(kept) == 1
    assert all(png.startswith(PNG) and len(png) > 3000 for png in drawn + kept)


def test_a_cell_that_fails_is_not_passed_over() -> None:
    with pytest.raises(ZeroDivisionError):
        run_cells({"cells": [{"cell_type": "code", "source": ["1 / 0"]}]})


def test_what_is_stored_is_whole_small_and_of_no_machine(document: dict[str, Any]) -> None:
    assert (document["nbformat"], document["nbformat_minor"]) == (4, 5)
    ids = [cell["id"] for cell in document["cells"]]
    assert len(set(ids)) == len(ids)
    code = [cell for cell in document["cells"] if cell["cell_type"] == "code"]
    assert [cell["execution_count"] for cell in code] == list(range(1, len(code) + 1))
    assert all(cell["outputs"] for cell in code)
    assert not any(one["output_type"] == "error" for cell in code for one in cell["outputs"])
    text = NOTEBOOK.read_text(encoding="utf-8")
    assert len(text) < 60_000
    shown = "\n".join(word for cell in code for word in words(cell["outputs"]))
    assert not re.search(r"(^|[\s'\"=(])(/\w+/|[A-Z]:\\)|0x[0-9a-f]{6,}|localhost", shown)


def test_it_is_linked(document: dict[str, Any]) -> None:
    assert "docs/season.ipynb" in (ROOT / "README.md").read_text(encoding="utf-8")
    assert "(season.ipynb)" in (ROOT / "docs" / "comparing.md").read_text(encoding="utf-8")
    for cell in document["cells"]:
        for name in re.findall(r"\]\(([^)]+\.md)\)", "".join(cell["source"])):
            assert (NOTEBOOK.parent / name).is_file(), name
