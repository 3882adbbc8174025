"""Kill -9 at any moment: the season opens, nothing older is lost or changed, and the same command again ends right.

    python -m benchmarks.crashes [--kills 140] [--seed 1] [--json]

A warm process forks for each command, so that a kill costs a tenth of a second. Half of the kills come before or behind
each call that changes files, one after the other; the others at random moments. Linux and macOS.
"""

from __future__ import annotations

import argparse
import importlib
import itertools
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchmarks.crash_works import WORKS, Work, faults_after_kill, faults_after_repeat, hashes, make_logs, make_season

CALLS = ("create", "write", "sync", "sync_folder", "replace", "remove", "make_folder")


def forked(task: Callable[[], Any], kill_after_s: float | None = None) -> tuple[int, Any]:
    """(wait status, what the task gave) of a task in a fork of this process, killed after that time."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        code = 70
        try:
            os.close(read_end)
            text = json.dumps(task())
            with os.fdopen(write_end, "w", encoding="utf-8") as pipe:
                pipe.write(text)
            code = 0
        except BaseException:  # noqa: BLE001 - the fork must end here, whatever it was
            traceback.print_exc()
        finally:
            sys.stderr.flush()
            os._exit(code)
    os.close(write_end)
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        os.kill(child, signal.SIGKILL)
    with os.fdopen(read_end, encoding="utf-8") as pipe:
        text = pipe.read()
    status = os.waitpid(child, 0)[1]
    return status, json.loads(text) if text else None


def counting(task: Callable[[], Any], kill_at: int | None = None, behind: bool = False) -> Any:
    """Run a task; how often it changed files. kill_at: SIGKILL itself at that call, before it or behind it."""
    from ingest.store import FileLayer

    numbers = itertools.count()

    def wrap(name: str) -> Callable[..., Any]:
        plain = getattr(FileLayer, name)

        def call(*given: Any) -> Any:
            number = next(numbers)
            if number == kill_at and not behind:
                os.kill(os.getpid(), signal.SIGKILL)
            if number == kill_at and name == "write":  # torn: half of it
                plain(*given[:2], given[2][: len(given[2]) // 2])
                os.kill(os.getpid(), signal.SIGKILL)
            made = plain(*given)
            if number == kill_at:
                os.kill(os.getpid(), signal.SIGKILL)
            return made

        return call

    for name in CALLS:
        setattr(FileLayer, name, wrap(name))
    code = task()
    return {"code": code, "calls": next(numbers)}


@dataclass
class Bench:
    """One command, ready to be killed many times: the season before it, and what an undisturbed one leaves."""

    work: Work
    folder: Path
    logs: Path
    seconds: float = 0.0
    calls: int = 0
    before: dict[str, str] = field(default_factory=dict)
    done: dict[str, str] = field(default_factory=dict)
    kills: int = 0
    ended: int = 0
    faults: list[str] = field(default_factory=list)

    def prepare(self, base: Path) -> None:
        self.base = self.folder / f"base-{self.work.name.replace(' ', '-')}"
        shutil.copytree(base, self.base)
        self.work.before(self.base)
        self.before = hashes(self.base)
        root = self._fresh()
        took = []
        for _ in range(2):  # the first also warms the disk's cache
            root = self._fresh()
            start = time.monotonic()
            status, made = forked(lambda root=root: counting(lambda: self.work.command(root, self.logs)))  # type: ignore[misc]
            took.append(time.monotonic() - start)
            if status != 0 or made["code"] != 0:
                raise RuntimeError(f"{self.work.name}: the command itself failed: {status}, {made}")
        self.seconds, self.calls, self.done = min(took), made["calls"], hashes(root)

    def _fresh(self) -> Path:
        root = self.folder / "season"
        shutil.rmtree(root, ignore_errors=True)
        shutil.copytree(self.base, root)
        return root

    def kill_at_call(self, number: int, behind: bool) -> None:
        root = self._fresh()
        status, _ = forked(lambda: counting(lambda: self.work.command(root, self.logs), number, behind))
        self._look(root, status, f"killed {'behind' if behind else 'before'} call {number}")

    def kill_at_moment(self, after_s: float) -> None:
        root = self._fresh()
        status, _ = forked(lambda: self.work.command(root, self.logs), after_s)
        self._look(root, status, f"killed after {after_s * 1e3:.1f} ms")

    def _look(self, root: Path, status: int, how: str) -> None:
        if not (os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL):
            self.ended += 1
        else:
            self.kills += 1

        def look() -> list[str]:
            found = faults_after_kill(self.work, root, self.before, self.done)
            return found + faults_after_repeat(self.work, root, self.logs, self.done)

        looked, found = forked(look)
        if looked != 0 or found is None:
            found = [f"looking at it ended with {looked}"]
        self.faults += [f"{self.work.name}, {how}: {fault}" for fault in found]


def warm(logs: Path, folder: Path) -> None:
    """Import all that the commands import, in a process that has started no thread yet."""

    def once() -> list[str]:
        make_season(folder / "warm", logs)
        for work in WORKS:
            work.command(folder / "warm", logs)
        return sorted(sys.modules)

    _, names = forked(once)
    for name in names or ():
        if not name.startswith("__"):
            try:
                importlib.import_module(name)
            except (ImportError, ValueError, AttributeError):  # made at run time by a library
                continue


def moments(bench: Bench, count: int, rng: random.Random) -> Iterator[Callable[[], None]]:
    """Half at calls, spread evenly over all of them; half at random moments."""
    places = [(number, behind) for number in range(bench.calls) for behind in (False, True)]
    at_calls = min(count // 2, len(places))
    for k in range(at_calls):
        number, behind = places[k * len(places) // at_calls]
        yield lambda number=number, behind=behind: bench.kill_at_call(number, behind)  # type: ignore[misc]
    while bench.kills < count:
        yield lambda: bench.kill_at_moment(rng.uniform(0.0, bench.seconds))


def crash(kills: int, number: int, works: tuple[Work, ...] = WORKS) -> dict[str, Any]:
    """Kill the commands that often in all, by turns; a document with the counts and every fault."""
    start = time.monotonic()
    rng = random.Random(number)
    rows, faults = [], []
    # in memory where there is such a folder: SIGKILL never tries what has reached the disk, and syncing costs most
    memory = "/dev/shm" if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(prefix="crashes-", dir=memory) as name:
        folder = Path(name)
        logs = folder / "logs"
        make_logs(logs)
        warm(logs, folder)
        base = folder / "base"
        status, _ = forked(lambda: make_season(base, logs))
        assert status == 0
        for place, work in enumerate(works):
            bench = Bench(work, folder, logs)
            bench.prepare(base)
            for kill in moments(bench, (kills + len(works) - 1 - place) // len(works), rng):
                kill()
            rows.append(
                {"command": work.name, "kills": bench.kills, "ended_before": bench.ended, "calls": bench.calls,
                 "seconds": round(bench.seconds, 3), "faults": len(bench.faults)}
            )  # fmt: skip
            faults += bench.faults
    took = round(time.monotonic() - start, 1)
    return {"kills": sum(row["kills"] for row in rows), "seconds": took, "commands": rows, "faults": faults}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=140)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args()
    document = crash(chosen.kills, chosen.seed)
    if chosen.json:
        print(json.dumps(document, indent=1))
    else:
        for row in document["commands"]:
            print(f"{row['command']:<16} {row['kills']:5} kills, {row['calls']:3} calls, {row['seconds']:.3f} s alone")
        print(f"{document['kills']} kills in {document['seconds']} s, {len(document['faults'])} faults")
        for fault in document["faults"][:40]:
            print(fault)
    return 1 if document["faults"] else 0


if __name__ == "__main__":
    sys.exit(main())
