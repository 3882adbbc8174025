"""Writing the demo season, and the truth behind it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from .descriptions import SEASON, build_toml, match_toml, pack_toml
from .loggers import clock_truth, sample, write
from .parts import BUILDS, PACKS
from .plan import EVENTS, SEED, DemoMatch, Plan, Planted, simulated
from .script import PRE_ROLL_s
from .season import plans
from .truth import Truth

RULED_LENGTH_s = 180  # the events' match length; a match may end before


def _seed(seed: int, plan: Plan, index: int) -> tuple[int, ...]:
    return (seed, int(plan.id[1:]), index)


def write_demo(folder: Path, seed: int = SEED) -> list[DemoMatch]:
    """Writes the demo season into folder (which must exist and be empty) and says what was planted.

    Raises FileNotFoundError where folder is missing, FileExistsError where it is not empty.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise FileNotFoundError(f"{folder}: no such folder; make it first")
    if any(folder.iterdir()):
        raise FileExistsError(f"{folder} is not empty; give an empty folder")
    for name in ("raw", "builds", "packs", "matches"):
        (folder / name).mkdir()
    _put(folder / "season.toml", SEASON)
    for build in BUILDS.values():
        _put(folder / "builds" / f"{build.id}.toml", build_toml(build))
    for pack in PACKS.values():
        _put(folder / "packs" / f"{pack.id}.toml", pack_toml(pack))
    return [write_match(folder, plan, seed) for plan in plans(seed)]


def _put(path: Path, content: str) -> None:
    path.write_bytes(content.encode("utf-8"))


def write_match(folder: Path, plan: Plan, seed: int) -> DemoMatch:
    """Writes one match's raw logs and its description into a folder that has raw/ and matches/."""
    truth = simulated(plan, seed)
    raw = folder / "raw" / plan.id
    raw.mkdir()
    files = []
    for index, device in enumerate(plan.devices):
        # the wall clock of the one logger that has one is a few seconds off, and starts before the match
        day = plan.start + timedelta(seconds=device.start_s - 18.0 + 1.7)
        path, _ = write(device, truth, PRE_ROLL_s, raw, _seed(seed, plan, index), day)
        files.append(path)
    _put(
        folder / "matches" / f"{plan.id}.toml",
        match_toml(
            plan.id,
            EVENTS[plan.event],
            plan.opponent,
            plan.start.isoformat(),
            RULED_LENGTH_s,
            plan.result,
            plan.build,
            plan.pack.id,
            plan.minutes_to_next,
            plan.air_degC,
            plan.notes,
            None,
        ),
    )
    rate = 1.0 + plan.devices[0].drift_ppm * 1e-6  # planned in true seconds, told on the first file's clock
    planted = [replace(p, start_s=p.start_s * rate, end_s=p.end_s * rate) for p in plan.planted]
    return DemoMatch(plan.id, files, plan.build, plan.pack.id, planted)


def demo_logs(match_number: int, seed: int = SEED) -> Truth:
    """The simulated truth of demo match 1 to 12, with the true clock of each of its files.

    Its arrays are on the simulation clock; Truth.match_time_s() brings them onto the match clock.
    """
    every = plans(seed)
    if not 1 <= match_number <= len(every):
        raise ValueError(f"match_number {match_number}: the demo has matches 1 to {len(every)}")
    plan = every[match_number - 1]
    truth = simulated(plan, seed)
    taken = [sample(device, truth, PRE_ROLL_s, _seed(seed, plan, index)) for index, device in enumerate(plan.devices)]
    return replace(truth, clocks=clock_truth(plan.devices, taken))


__all__ = ["DemoMatch", "Planted", "demo_logs", "write_demo"]
