"""The commands that benchmarks/crashes.py kills: a small season, what each command does to it, what it may change."""

from __future__ import annotations

import contextlib
import hashlib
import io
import math
import os
import re
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

BUILD = """[build]
id = "b"
[pack]
cells = 6
[[wire]]
id = "lead"
from = "pack"
to = "weapon"
gauge = "12 AWG"
length_mm = 220
insulation = "silicone"
[[controller]]
id = "weapon"
continuous_A = 80
"""
PACK = '[pack]\nid = "p1"\ncells = 6\ncapacity_Ah = 3.3\n'
SAID: list[str] = []
TRIES = 20
_INCOMING = "results/incoming/"  # swept when the next server starts
# The lock, unfinished files, and what holds times of writing beside hashes.
_PASSING = re.compile(r"(^|/)\.lock(_owner)?$|(^|/)\.[^/]*\.part$|^results/(checksums|season_keys)\.json$")


def log_text(rows: int, phase: float = 0.0, part: str = "Pack") -> str:
    """A made log at 50 Hz: a discharge with a load that swings."""
    lines = [f"Time [s],{part} voltage [V],{part} current [A]"]
    for i in range(rows):
        amps = 20 + 18 * math.sin(i / 7 + phase)
        lines.append(f"{i / 50:.2f},{25.0 - i / 2000 - amps * 0.022:.3f},{amps:.1f}")
    return "\n".join(lines) + "\n"


def make_logs(folder: Path) -> None:
    folder.mkdir()
    for name, rows, phase, part in (
        ("pack1.csv", 300, 0.0, "Pack"), ("weapon1.csv", 260, 0.0, "Weapon input"),
        ("pack2.csv", 280, 1.0, "Pack"), ("weapon2.csv", 290, 1.0, "Weapon input"), ("pack3.csv", 310, 2.0, "Pack"),
    ):  # fmt: skip
        (folder / name).write_text(log_text(rows, phase, part), "utf-8")
    body = "\n".join(line.split(",", 1)[1] for line in log_text(240, 3.0).splitlines())
    (folder / "clockless.csv").write_text(body + "\n", "utf-8")


def run(*words: str | Path) -> int:
    """One command of afterbout in this process; its exit code. What it said on standard error is in SAID."""
    from dashboard.cli import main

    said = io.StringIO()
    with Path(os.devnull).open("w") as null, contextlib.redirect_stdout(null), contextlib.redirect_stderr(said):
        code = main([str(word) for word in words])
    SAID[:] = [said.getvalue()]
    return code


def make_season(root: Path, logs: Path) -> None:
    """Two matches with their logs, one reviewed season."""
    from ingest.season import Season

    Season.create(root, "Trial", "Gristmote", files={"builds/b.toml": BUILD, "packs/p1.toml": PACK})
    add = ("--season", root, "--build", "b", "--pack", "p1")
    assert run("add", logs / "pack1.csv", logs / "weapon1.csv", "--match", "m01", *add) == 0
    assert run("add", logs / "clockless.csv", "--rate", "50", "--match", "m02", *add) == 0
    assert run("season", "--season", root) == 0


@dataclass(frozen=True)
class Work:
    """A command on a season, and the files that it may change or take away (all others must stay as they were)."""

    name: str
    command: Callable[[Path, Path], int]
    may_change: str
    before: Callable[[Path], None] = lambda root: None


def _add(*names: str, match: str, more: tuple[str, ...] = ()) -> Callable[[Path, Path], int]:
    return lambda root, logs: run("add", *(logs / n for n in names), "--season", root, "--match", match, *more)


def _upload(root: Path, logs: Path) -> int:
    """A file in pieces through the pages' server, and stored as a match of its own; 0 where it was."""
    from dashboard.app import make_app
    from dashboard.serving import LOOPBACK, guard

    app = make_app(root)
    guard(app, LOOPBACK)
    client = app.server.test_client()
    own = {"Origin": "http://localhost"}
    data = (logs / "pack3.csv").read_bytes()
    made = client.post("/upload/begin", json={"name": "pack3.csv", "size": len(data)}, headers=own).get_json()
    place = f"/upload/{made['draft']}"
    for at in range(0, len(data), 3000):
        client.post(f"{place}/{made['file']}?at={at}", data=data[at : at + 3000], headers=own)
    form = {"new_id": "m03", "build": "b", "pack": "p1", "start": "2026-05-09T14:20", "do": "store"}
    said = ""
    until = time.monotonic() + 30
    asked = False
    while time.monotonic() < until:
        seen = client.get(place).get_json()
        if "go" in seen:
            return 0
        if seen.get("again", 0) > 1000:  # nothing is under way
            if asked:
                said = str(seen.get("html", ""))
                break
            asked = True
            client.post(place, data=form, headers=own)
        time.sleep(0.005)
    SAID[:] = [said]
    return 1


def _without_results(root: Path) -> None:
    shutil.rmtree(root / "results")


WORKS = (
    Work("add a match", _add("pack2.csv", "weapon2.csv", match="m03", more=("--build", "b", "--pack", "p1")), r"^$"),
    Work("add to a match", _add("pack3.csv", match="m02"), r"^matches/m02\.toml$"),
    Work(
        "read again",
        _add("clockless.csv", match="m02", more=("--rate", "100")),
        r"^matches/m02\.toml$|^telemetry/match=m02/",
    ),
    Work(
        "note",
        lambda root, _: run(
            "note", "m01", "--season", root, "--part", "pack", "--quantity", "temp", "--value", "61", "--unit", "degC"
        ),
        r"^matches/m01\.toml$",
    ),
    Work("upload", _upload, r"^$"),
    Work("season run", lambda root, _: run("season", "--season", root), r"^results/", _without_results),
    Work("season again", lambda root, _: run("season", "--season", root, "--rebuild"), r"^results/"),
)


def hashes(root: Path) -> dict[str, str]:
    """Every file that counts; looks anew where an upload's own thread tidied one away meanwhile."""
    for _ in range(TRIES - 1):
        with contextlib.suppress(FileNotFoundError):
            return _hashes(root)
        time.sleep(0.05)
    return _hashes(root)


def _hashes(root: Path) -> dict[str, str]:
    found = {}
    for path in sorted(root.rglob("*")):
        name = path.relative_to(root).as_posix()
        if path.is_file() and not _PASSING.search(name):
            found[name] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def faults_after_kill(work: Work, root: Path, before: dict[str, str], done: dict[str, str]) -> list[str]:
    """What is wrong with a season whose command was killed. done: the season after an undisturbed one."""
    from ingest.season import Season

    faults = []
    now = hashes(root)
    for name, digest in before.items():
        if now.get(name) != digest and not re.search(work.may_change, name):
            faults.append(f"{name} was changed or lost")
        elif name not in now and name in done and not name.startswith("results/"):
            faults.append(f"{name} was lost")
        elif name.startswith("matches/") and now.get(name) not in (digest, done[name]):
            faults.append(f"{name} is neither as before nor as after")
    new = {name for name in set(now) - set(before) - set(done) if not name.startswith(_INCOMING)}
    faults += [f"{name} is new and not finished" for name in sorted(new)]
    season = Season(root)
    survey = season.survey()
    faults += [f"cannot be read: {error}" for error in survey.problems]
    faults += [f"verify: {p.file}: {p.what}" for p in season.verify() if not p.harmless]
    for match in survey.matches:
        if not all(log.samples for log in season.log(match)):
            faults.append(f"{match.id} lost its samples")
    return faults


def faults_after_repeat(work: Work, root: Path, logs: Path, done: dict[str, str]) -> list[str]:
    """What is wrong after the same command was run again, undisturbed."""
    from ingest.season import Season

    faults = []
    code = work.command(root, logs)
    if work.name == "upload" and code != 0 and "is there already" in SAID[0]:  # it had been stored
        with Season(root).locked("the next command that writes"):
            pass
    elif code != 0:
        faults.append(f"the command, repeated, ended with {code}")
    faults += [f"verify: {p.file}: {p.what}" for p in Season(root).verify()]
    now = hashes(root)
    parts = [str(p) for p in root.rglob("*.part")]
    if parts:
        faults.append(f"left over: {parts}")
    different = {name for name in set(now) | set(done) if now.get(name) != done.get(name)}
    if different := {name for name in different if not _may_differ(work, name)}:
        faults.append(f"is not what an undisturbed command leaves: {sorted(different)}")
    return faults


def _may_differ(work: Work, name: str) -> bool:
    """A note may stand twice where the first was kept; the last upload's own files go when the next server starts."""
    return name.startswith(_INCOMING) or (work.name == "note" and name == "matches/m01.toml")
