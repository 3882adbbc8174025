"""What happens in a match, written down before it is simulated: who commands what, what breaks, when.

A Plan holds changes to named series over spans of time. The time grid of the simulation is 4 ms, with 1 ms where a
fast span was announced (bounces, shorts, hits): fast enough for a bus of a few mF and for motors of some 30 ms.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tests.synthetic.scenarios.robot import Robot

Floats = npt.NDArray[np.float64]
Value = float | Callable[[Floats], Floats]

SLOW_STEP_s = 0.004
FAST_STEP_s = 0.001

# name -> value where nothing is said. cw, cl, cr: command -1..1 of weapon, left, right drive.
SERIES: dict[str, float] = {
    "cw": 0.0, "cl": 0.0, "cr": 0.0, "servo_A": 0.25,
    "path_mohm": 0.0, "open_path": 0.0, "weapon_mohm": 0.0, "open_weapon": 0.0, "left_mohm": 0.0,
    "right_mohm": 0.0, "free_w": 1.0, "free_l": 1.0, "free_r": 1.0, "push_l_A": 0.0, "push_r_A": 0.0,
    "drag_w": 1.0, "brake_w": 0.0, "hit_w": 1.0, "short_w_S": 0.0, "short_l_S": 0.0, "on_w": 1.0, "ke_w": 1.0,
    "rm_w": 1.0, "limit_w": 1.0, "rail_short_A": 0.0,
}  # fmt: skip


@dataclass(frozen=True)
class Change:
    name: str
    start_s: float
    end_s: float
    value: Value
    how: str  # set, add, times


@dataclass
class Plan:
    """start_s..end_s is the match; total_s the log. knots: (time, command) of the drives and weapon."""

    robot: Robot
    rng: np.random.Generator
    start_s: float
    end_s: float
    total_s: float
    changes: list[Change] = field(default_factory=list)
    fast: list[tuple[float, float]] = field(default_factory=list)
    hits: list[tuple[float, float]] = field(default_factory=list)  # time, g
    pushes: list[tuple[float, float]] = field(default_factory=list)
    spin_ups: list[float] = field(default_factory=list)
    link_losses: list[tuple[float, float]] = field(default_factory=list)
    plug_in_s: float = 0.0
    short_upstream: bool = False  # the short lies before the controller: only the pack's sensor sees it

    def change(self, name: str, start_s: float, end_s: float, value: Value, how: str = "set") -> None:
        if name not in SERIES:
            raise KeyError(name)
        self.changes.append(Change(name, start_s, end_s, value, how))

    def quick(self, start_s: float, end_s: float) -> None:
        self.fast.append((max(0.0, start_s), min(self.total_s, end_s)))

    def hit(self, time_s: float, shock_g: float, keeps: float = 0.7) -> None:
        """The weapon strikes: it keeps `keeps` of its speed (momentum given away within some ms), the hull rings."""
        self.hits.append((time_s, shock_g))
        self.quick(time_s - 0.01, time_s + 0.06)
        self.changes.append(Change("hit_w", time_s, time_s, keeps, "once"))

    def grid(self) -> tuple[Floats, Floats]:
        """(time at the end of each step, length of each step)."""
        edges = [(0.0, self.total_s, SLOW_STEP_s)]
        for low, high in sorted(self.fast):
            out = []
            for a, b, step in edges:
                if b <= low or a >= high:
                    out.append((a, b, step))
                    continue
                if a < low:
                    out.append((a, low, step))
                out.append((max(a, low), min(b, high), FAST_STEP_s))
                if b > high:
                    out.append((high, b, step))
            edges = out
        steps = []
        for a, b, step in sorted(edges):
            count = max(1, round((b - a) / step))
            steps.append(np.full(count, (b - a) / count))
        dt = np.concatenate(steps)
        return np.cumsum(dt), dt

    def series(self, t: Floats) -> dict[str, Floats]:
        """Every series on the grid, the changes applied in the order in which they were made."""
        out = {name: np.full(t.shape, value) for name, value in SERIES.items()}
        for change in self.changes:
            x = out[change.name]
            if change.how == "once":
                at = min(int(np.searchsorted(t, change.start_s)), t.size - 1)
                x[at] = float(change.value)  # type: ignore[arg-type]
                continue
            low, high = np.searchsorted(t, [change.start_s, change.end_s])
            span = slice(int(low), int(high))
            value = change.value(t[span]) if callable(change.value) else change.value
            if change.how == "set":
                x[span] = value
            elif change.how == "add":
                x[span] += value
            else:
                x[span] *= value
        return out


def drive_about(plan: Plan, start_s: float, end_s: float, vigour: float = 1.0) -> None:
    """Ordinary driving: pieces of 0.3 to 1.4 s, forwards more than backwards, turns in between."""
    rng = plan.rng
    t, knots = start_s, [(start_s, 0.0, 0.0)]
    while t < end_s - 0.3:
        length = rng.uniform(0.3, 1.4)
        ahead = rng.choice([1.0, 0.8, 0.55, 0.3, 0.0, -0.5, -0.9], p=[0.12, 0.2, 0.2, 0.13, 0.15, 0.12, 0.08])
        turn = rng.normal(0.0, 0.22)
        left = float(np.clip(vigour * (ahead + turn), -1, 1))
        right = float(np.clip(vigour * (ahead - turn), -1, 1))
        knots.append((t, left, right))
        t += length
        knots.append((min(t, end_s), left, right))
        t += 0.06
    knots.append((end_s, 0.0, 0.0))
    table = np.array(knots)
    plan.change("cl", start_s, end_s, lambda x: np.interp(x, table[:, 0], table[:, 1]))
    plan.change("cr", start_s, end_s, lambda x: np.interp(x, table[:, 0], table[:, 2]))


def push(plan: Plan, start_s: float, end_s: float, current_A: float, command: float = 0.85) -> None:
    """Against the other robot: both drives at `command`, held back by a load worth `current_A` in each."""
    for side in ("l", "r"):
        plan.change(f"c{side}", start_s, end_s, command)
        wobble = plan.rng.uniform(3.0, 9.0)
        plan.change(
            f"push_{side}_A",
            start_s + 0.05,
            end_s,
            lambda t, w=wobble: current_A * (1.0 + 0.08 * np.sin(w * t)),  # type: ignore[misc]
        )
    plan.pushes.append((start_s, end_s))


def weapon_on(plan: Plan, start_s: float, end_s: float, command: float = 0.95) -> None:
    plan.change("cw", start_s, end_s, command)
    plan.spin_ups.append(start_s)


def before_and_after(plan: Plan) -> None:
    """A short system test well before the start, a short demonstration after the end."""
    rng = plan.rng
    test = rng.uniform(1.6, 2.2)
    for name, level in (("cl", 0.35), ("cr", 0.35), ("cl", -0.35), ("cr", -0.35)):
        offset = 0.0 if level > 0 else 0.45
        plan.change(name, test + offset, test + offset + 0.35, level)
    plan.change("servo_A", test + 0.9, test + 1.1, 2.0)
    show = plan.end_s + rng.uniform(4.0, 5.0)
    if show + 2.2 < plan.total_s:
        plan.change("cl", show, show + 0.8, 0.4)
        plan.change("cr", show, show + 0.8, -0.4)
        plan.change("cw", show + 0.9, show + 1.8, 0.3)


def clear_of(times: list[float], quiet: list[tuple[float, float]], margin_s: float) -> list[float]:
    return [t for t in times if all(t < a - margin_s or t > b + margin_s for a, b in quiet)]


def ordinary_match(
    plan: Plan,
    quiet: list[tuple[float, float]] | None = None,
    hits: int = 5,
    pushes: int = 3,
    vigour: float = 1.0,
    push_A: tuple[float, float] = (22.0, 40.0),
    shock_g: tuple[float, float] = (60.0, 260.0),
) -> None:
    """Fill the match with driving, one spin-up, hits, pushes and lifts, none of them within the quiet spans."""
    quiet = quiet or []
    rng = plan.rng
    before_and_after(plan)
    drive_about(plan, plan.start_s + 0.15, plan.end_s, vigour)
    weapon_on(plan, plan.start_s + 0.4, plan.end_s)
    span = (plan.start_s + 4.0, plan.end_s - 2.5)
    taken = list(quiet)
    for _ in range(pushes):
        for _ in range(20):
            at, length = rng.uniform(*span), rng.uniform(0.9, 2.4)
            if all(at + length < a - 0.8 or at > b + 0.8 for a, b in taken):
                push(plan, at, at + length, rng.uniform(*push_A), rng.uniform(0.7, 0.95))
                taken.append((at, at + length))
                break
    placed: list[float] = []
    for _ in range(hits):
        for _ in range(20):
            at = rng.uniform(*span)
            if all(at < a - 1.6 or at > b + 0.8 for a, b in taken) and all(abs(at - p) > 1.2 for p in placed):
                plan.hit(at, rng.uniform(*shock_g), rng.uniform(0.6, 0.88))
                placed.append(at)
                break
    lifts = clear_of(list(rng.uniform(*span, size=4)), quiet, 1.0)
    for at in lifts:
        plan.change("servo_A", at, at + rng.uniform(0.3, 0.8), rng.uniform(1.5, 3.2))
