"""The labelled scenario, and the bench that turns a plan and loggers into one."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ingest.builds import Build, LogEntry, Match, Pack
from ingest.log import Log
from tests.synthetic.scenarios.loggers import Device, record
from tests.synthetic.scenarios.plan import Plan
from tests.synthetic.scenarios.robot import Paper, Robot, build_of, match_of, pack_of
from tests.synthetic.scenarios.simulate import Truth, simulate
from tests.synthetic.scenarios.world import World

QUALITY = (
    "sensor_clipped", "sensor_offset", "frozen_values", "undersampled", "clock_reset", "clock_skew", "logger_gap",
    "truncated",
)  # fmt: skip
FEWEST_SAMPLES = 3  # visible: at least this many samples inside the signature (the design's definition)


@dataclass(frozen=True, eq=False)
class Scenario:
    """One labelled match.

    cause "" is a healthy match. parts: any of them is right. start_s/end_s: the signature on the match clock (seconds
    since the first sample of the first log). timing: "onset" (the start must be met), "overlap" (the event lasts
    long; the found span must overlap it). forbidden: causes that must not be named as certain there. accept: other
    causes that are physically as right. also: consequences and company that physics brings. window: the true match.
    """

    name: str
    cause: str
    kind: str
    parts: tuple[str, ...]
    start_s: float
    end_s: float
    rate_Hz: float
    grade: str
    logs: list[Log]
    build: Build
    pack: Pack
    match: Match
    visible: bool
    forbidden: tuple[str, ...] = ()
    accept: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    window: tuple[float, float] = (0.0, 0.0)
    timing: str = "onset"
    why_hidden: str = ""
    occurrences: tuple[tuple[float, float], ...] = ()
    truth: Truth | None = field(default=None, repr=False)  # for tests; no review sees it

    @property
    def spans(self) -> tuple[tuple[float, float], ...]:
        return self.occurrences or ((self.start_s, self.end_s),)


@dataclass(frozen=True)
class Label:
    """What a recipe says about its event; see Scenario."""

    kind: str
    parts: tuple[str, ...]
    start_s: float
    end_s: float
    needs: tuple[str, ...] = ()  # the event is visible only where every one of these channels is logged
    needs_any: tuple[tuple[str, ...], ...] = ()  # ... and one of each of these
    forbidden: tuple[str, ...] = ()
    accept: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    timing: str = "onset"
    occurrences: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Recipe:
    """A scenario not yet made: made only when it is wanted, because a log at 1 kHz is large."""

    name: str
    cause: str
    make: Callable[[], Scenario]
    pair: str = ""  # which confusable set it belongs to


def seed_of(name: str) -> int:
    return zlib.crc32(name.encode())


def new_plan(
    name: str, robot: Robot | None = None, length_s: float = 45.0, before_s: float | None = None, after_s: float = 9.0
) -> Plan:
    """A match of length_s with 8 to 12 s of idling before it, log and all; the seed is the name."""
    rng = np.random.default_rng(seed_of(name))
    start = rng.uniform(8.5, 11.5) if before_s is None else before_s
    length = length_s + rng.uniform(-2.0, 2.0)
    return Plan(robot or Robot(), rng, start, start + length, start + length + after_s)


def finish(
    name: str,
    cause: str,
    plan: Plan,
    devices: Sequence[Device],
    label: Label | Callable[[Truth], Label] | None,
    paper: Paper | None = None,
    dress: Callable[[World], None] | None = None,
    truth: Truth | None = None,
    window_end_s: float | None = None,
) -> Scenario:
    """Simulate, log and label. label None: healthy. dress: bends channels before they are logged."""
    paper = paper or Paper()
    if paper.match_length_s is None and seed_of(name) % 2:
        paper = replace(paper, match_length_s=float(round(plan.end_s - plan.start_s)))
    truth = truth or simulate(plan)
    world = World(truth)
    if dress is not None:
        dress(world)
    logs = [record(world, device) for device in devices]
    told = label(truth) if callable(label) else label
    match = match_of(plan.robot, paper, name)
    entries = tuple(
        LogEntry(
            sha256=log.provenance.sha256,
            name=log.name,
            clock_offset_s=d.start_s if d.wall_clock is None else None,
        )
        for log, d in zip(logs, devices, strict=True)
    )
    match = match.model_copy(update={"logs": entries})
    rate = max(device.rate_Hz for device in devices)
    grade = devices[0].grade
    window = (plan.start_s, plan.end_s if window_end_s is None else window_end_s)
    common = {
        "logs": logs, "build": build_of(plan.robot, paper), "pack": pack_of(plan.robot, paper), "match": match,
        "window": window, "rate_Hz": rate, "grade": grade, "truth": truth,
    }  # fmt: skip
    if told is None:
        return Scenario(name, "", "", (), 0.0, 0.0, visible=True, **common)  # type: ignore[arg-type]
    visible, why = _visible(told, devices, logs)
    last = max(float(s.table["time_s"][-1].as_py()) for log in logs for s in log.streams if s.table.num_rows)
    end = max(told.start_s, min(told.end_s, last))
    twins = tuple(twin for twin in told.forbidden if twin not in told.accept)
    return Scenario(
        name, cause, told.kind, told.parts, told.start_s, end, visible=visible, why_hidden=why,
        forbidden=twins, accept=told.accept, also=told.also, timing=told.timing,
        occurrences=told.occurrences, **common,  # type: ignore[arg-type]
    )  # fmt: skip


def _visible(label: Label, devices: Sequence[Device], logs: Sequence[Log]) -> tuple[bool, str]:
    logged = {channel for device in devices for channel in device.channels}
    missing = [c for c in label.needs if c not in logged]
    missing += [" or ".join(group) for group in label.needs_any if not logged.intersection(group)]
    if missing:
        return False, f"not logged: {', '.join(missing)}"
    wanted = set(label.needs) | {c for group in label.needs_any for c in group}
    if not wanted:
        return True, ""
    longest = max(label.occurrences or ((label.start_s, label.end_s),), key=lambda span: span[1] - span[0])
    for log, device in zip(logs, devices, strict=True):
        if not wanted.intersection(device.channels):
            continue
        inside = (longest[1] - longest[0]) * device.rate_Hz
        if inside < FEWEST_SAMPLES:
            return False, f"{log.name} has {inside:.1f} samples inside the signature"
    return True, ""
