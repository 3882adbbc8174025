"""What several tests share: the demo season, made once."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parent.parent


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def run_command(*args: str | Path, env: Mapping[str, str] | None = None, cwd: Path | None = None) -> Ran:
    """`afterbout` as a process of its own, without a terminal."""
    done = subprocess.run(
        [sys.executable, "-m", "dashboard.cli", *map(str, args)],
        capture_output=True,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8", **(env or {})},
        cwd=cwd,
        timeout=300,
        check=False,
    )
    return Ran(done.returncode, done.stdout.decode("utf-8"), done.stderr.decode("utf-8"))


@pytest.fixture(scope="session")
def afterbout() -> Any:
    return run_command


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """(season folder, review document by match id), from the command itself."""
    folder = tmp_path_factory.mktemp("demo") / "season"
    ran = run_command("demo", folder, "--json")
    assert ran.code == 0, ran.err
    return folder, {document["match"]["id"]: document for document in ran.json["reviews"]}
