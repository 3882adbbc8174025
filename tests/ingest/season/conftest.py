"""A season with the plain test format, for every test of this folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from ingest import formats
from ingest.season import Season
from tests.ingest.season.plain_format import FILES, PLAIN


@pytest.fixture(autouse=True)
def _plain(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(formats, "formats", lambda: (PLAIN,))


@pytest.fixture
def season(tmp_path: Path) -> Season:
    return Season.create(tmp_path / "s", "Spring", "Gristmote", files=FILES)
