"""Inputs by the thousand into everything that reads: only errors of the project's own may come out.

    python -m benchmarks.fuzz --list
    python -m benchmarks.fuzz toml_build delimited --inputs 50000        guided by coverage (atheris: the fuzz extra)
    python -m benchmarks.fuzz toml_build --engine hypothesis --inputs 20000

Each target runs in a process of its own. What went wrong is kept as a file (one for each place in the code) in --keep,
default tests/robust/found; the counts are appended to --log as JSON lines. Too slow, or too much memory, is wrong too.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from pathlib import Path
from typing import Any

from benchmarks.fuzz_targets import Target, targets

ROOT = Path(__file__).resolve().parent.parent
MOST_GROWTH_BYTES = 400 << 20  # our choice: a small input has no business with more
# A warning of a library about what our code asked of it stands on the user's terminal: a finding too.
OURS = r"(ingest|analysis|dashboard)\."


class Run:
    """One target's inputs, one after the other, counted; what goes wrong is kept and the run goes on."""

    def __init__(self, target: Target, folder: Path, keep: Path) -> None:
        from ingest.errors import AfterboutError

        self.target, self.keep = target, keep / target.name
        warnings.filterwarnings("error", module=OURS)
        self.own = AfterboutError
        self.one = target.prepare(folder)
        self.inputs = self.refused = 0
        self.slowest_s = 0.0
        self.found: dict[str, str] = {}
        self.began = time.monotonic()

    def feed(self, data: bytes) -> None:
        data = data[: self.target.largest]
        before, start = _peak_bytes(), time.monotonic()
        try:
            self.one(data)
        except self.own:
            self.refused += 1
        except Exception as error:  # noqa: BLE001 - whatever else comes out is the finding
            self._found(_place(error), data, str(error)[:100])
        self.inputs += 1
        took = time.monotonic() - start
        self.slowest_s = max(self.slowest_s, took)
        if took > self.target.seconds:
            self._found("slow", data)
        if _peak_bytes() - before > MOST_GROWTH_BYTES:
            self._found("memory", data)

    def _found(self, place: str, data: bytes, said: str = "") -> None:
        if place in self.found:
            return
        name = hashlib.sha256(data).hexdigest()[:12]
        self.found[place] = name
        self.keep.mkdir(parents=True, exist_ok=True)
        (self.keep / name).write_bytes(data)
        print(f"{self.target.name}: {place} {said!r} -> {self.keep / name}", flush=True)

    def document(self, engine: str) -> dict[str, Any]:
        took = time.monotonic() - self.began
        return {
            "target": self.target.name, "engine": engine, "inputs": self.inputs, "refused": self.refused,
            "found": self.found, "slowest_s": round(self.slowest_s, 3), "seconds": round(took, 1),
            "peak_MB": _peak_bytes() >> 20,
        }  # fmt: skip


def _place(error: BaseException) -> str:
    """The kind of error and the innermost line of our own: one finding for each."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [f for f in frames if Path(f.filename).is_relative_to(ROOT) and "benchmarks" not in f.filename]
    at = ours[-1] if ours else frames[-1]
    return f"{type(error).__name__} at {Path(at.filename).name}:{at.lineno}"


def _peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss << 10


def by_coverage(target: Target, folder: Path, run_arguments: argparse.Namespace) -> None:
    """atheris drives; it never returns, so the count is written from inside."""
    import atheris

    with atheris.instrument_imports(include=list(target.watch)):
        for name in target.watch:
            __import__(name)
        run = Run(target, folder, run_arguments.keep)
        seeds = list(target.seeds())
        for seed in seeds:
            run.feed(seed)
    corpus = folder / "corpus"
    corpus.mkdir()
    for seed in seeds:
        (corpus / hashlib.sha256(seed).hexdigest()[:16]).write_bytes(seed[: target.largest])
    until = time.monotonic() + run_arguments.seconds

    def one(data: bytes) -> None:
        run.feed(data)
        if run.inputs >= run_arguments.inputs or time.monotonic() > until:
            _write(run.document("coverage"), run_arguments.log)
            sys.stdout.flush()
            os._exit(0)

    def changed(data: bytes, most: int, number: int) -> bytes:
        rng = random.Random(number)
        if target.mutate is None or rng.random() < 0.3:
            return bytes(atheris.Mutate(data, most))
        sound = rng.choice(seeds) if rng.random() < 0.5 else bytes(data)  # what was kept is mostly broken already
        return target.mutate(sound, rng)[:most]

    flags = [f"-max_len={target.largest}", f"-seed={run_arguments.seed}", "-rss_limit_mb=0", "-timeout=600"]
    flags.append(f"-artifact_prefix={folder}/")
    atheris.Setup(["fuzz", *flags, "-verbosity=0", "-print_final_stats=0", str(corpus)], one, custom_mutator=changed)
    atheris.Fuzz()


def by_mutation(target: Target, folder: Path, run_arguments: argparse.Namespace) -> None:
    """hypothesis drives: the seeds cut, joined and changed."""
    from hypothesis import HealthCheck, Phase, given, seed, settings

    from benchmarks.fuzz_targets.strategies import mutated

    run = Run(target, folder, run_arguments.keep)
    quiet = settings(
        max_examples=run_arguments.inputs, deadline=None, database=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip

    @quiet
    @seed(run_arguments.seed)
    @given(mutated(target.seeds(), target.largest, target.mutate))
    def every(data: bytes) -> None:
        run.feed(data)

    every()
    _write(run.document("hypothesis"), run_arguments.log)


def _write(document: dict[str, Any], log: Path) -> None:
    print(json.dumps(document), flush=True)
    with log.open("a", encoding="utf-8") as file:
        file.write(json.dumps(document) + "\n")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", metavar="TARGET", help="none: every target")
    parser.add_argument("--engine", choices=("coverage", "hypothesis"), default="coverage")
    parser.add_argument("--inputs", type=int, default=10_000, help="for each target")
    parser.add_argument("--seconds", type=float, default=1e9, help="at most, for each target")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=ROOT / "tests" / "robust" / "found")
    parser.add_argument("--log", type=Path, default=Path("fuzz.jsonl"))
    parser.add_argument("--list", action="store_true", help="name the targets")
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    known = targets()
    if chosen.list:
        for target in known.values():
            print(f"{target.name:<14} {target.what}")
        return 0
    unknown = [name for name in chosen.names if name not in known]
    if unknown:
        parser.error(f"no such target: {', '.join(unknown)}")
    if chosen.here:
        with tempfile.TemporaryDirectory(dir=_memory_folder()) as folder:
            drive = by_coverage if chosen.engine == "coverage" else by_mutation
            drive(known[chosen.names[0]], Path(folder), chosen)
        return 0
    worst = 0
    for name in chosen.names or known:
        again = [sys.executable, "-m", "benchmarks.fuzz", name, "--here", "--engine", chosen.engine]
        again += ["--inputs", str(chosen.inputs), "--seconds", str(chosen.seconds), "--seed", str(chosen.seed)]
        again += ["--keep", str(chosen.keep), "--log", str(chosen.log)]
        done = subprocess.run(again, check=False)
        if done.returncode:
            print(f"{name}: the process ended with {done.returncode}", flush=True)
        worst = max(worst, abs(done.returncode))
    return min(worst, 1)


def _memory_folder() -> str | None:
    """Where files cost least; None: the usual place."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


if __name__ == "__main__":
    sys.exit(main())
