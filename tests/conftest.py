"""What several tests share: the demo season, made once."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from filelock import FileLock
from hypothesis import HealthCheck, settings

# No example has a deadline and none is "too slow": how long one takes says how busy the machine is, not whether the
# code is right (what must end in bounded time is measured in tests/robust). On CI the examples are the same every time,
# so that a run there fails for what was changed and for nothing else; everywhere else they are drawn anew with each
# run, and what is found is printed as a line that repeats it.
settings.register_profile("any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True)
settings.register_profile("ci", settings.get_profile("any machine"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") == "true" else "any machine")

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
        timeout=900,
        check=False,
    )
    return Ran(done.returncode, done.stdout.decode("utf-8"), done.stderr.decode("utf-8"))


@pytest.fixture(scope="session")
def afterbout() -> Any:
    return run_command


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """(season folder, review document by match id), from the command itself: made once for all processes of a run of
    the tests, each of which has a copy of its own.
    """
    base = tmp_path_factory.getbasetemp()
    made = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "demo-made"
    with FileLock(made.with_suffix(".lock")):
        if not (made / "said.json").exists():
            shutil.rmtree(made, ignore_errors=True)
            ran = run_command("demo", made / "season", "--json")
            assert ran.code == 0, ran.err
            (made / "said.json").write_text(ran.out, "utf-8")
    folder = shutil.copytree(made / "season", tmp_path_factory.mktemp("demo") / "season")
    documents = json.loads((made / "said.json").read_text("utf-8"))["reviews"]
    return folder, {document["match"]["id"]: document for document in documents}
