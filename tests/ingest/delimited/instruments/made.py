"""Made exports of instruments: what each holds, and what must come of it. The physics here shares nothing with ours."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime


@dataclass
class Fact:
    """quantity as inspect names it; values in V A degC rpm mAh Wh W s %; raw as written; channels it may be called."""

    quantity: str
    values: list
    raw: list | None = None
    channels: tuple = ()  # () = none may be taken unasked except of the same quantity


@dataclass
class Made:
    """time_s None: it has no clock. facts: by the name as written. splits: several recordings, each from zero."""

    data: bytes
    time_s: list | None = None
    facts: dict = field(default_factory=dict)
    refuse: bool = False  # must be refused, or said to have no time
    either: bool = False  # may be refused too
    file: str = "log.csv"
    must_say: tuple = ()  # one of these fault codes
    splits: bool = False  # several recordings: time within each
    tol: float = 1e-3


CASES: list[Callable[[], Made]] = []


def case(make: Callable[[], Made]) -> Callable[[], Made]:
    CASES.append(make)
    return make


PV, PC, PT = ("pack_voltage_V",), ("pack_current_A",), ("pack_temp_degC",)
START = datetime(2026, 3, 14, 9, 26, 53)


def soc_volts(soc: float, cells: int = 1) -> float:
    return cells * (3.0 + 0.75 * soc + 0.45 * soc**6 - 0.35 * math.exp(-18 * soc) + 0.35)


def drive(
    n: int, dt: float, seed: int, cells: int = 6, R: float = 0.03, peak: float = 90, cap: float = 3.0
) -> tuple[list[float], list[float], list[float]]:
    """A drive cycle: amps (discharge positive) and volts, temp."""
    r = random.Random(seed)
    A = []
    V = []
    H = []
    q = 0
    i = 0
    t = 24.0
    target = 5
    for _k in range(n):
        if r.random() < 0.05:
            target = r.choice([0.4, 3, 12, 30, peak * 0.6, peak]) * r.uniform(0.8, 1.2)
        i += (target - i) * 0.35
        q += i * dt / 3600
        a = round(i + r.gauss(0, 0.15), 2)
        v = soc_volts(max(0.05, 1 - q / cap), cells) - R * i + r.gauss(0, 0.01)
        t += (i * i * R * 0.002 - (t - 24) * 0.01) * dt
        A.append(a)
        V.append(round(v, 3))
        H.append(round(t, 1))
    return A, V, H


def cycler(seed, dt=10.0, Ic=1.0, Id=2.0, cap=2.0, cycles=2, noise=True, R=0.04):
    """Rows of (t, step_t, cycle, step, kind, I charge positive, V, cap_step Ah, energy_step Wh, temp)."""
    r = random.Random(seed)
    rows = []
    t = 0.0
    soc = 0.5
    temp = 25.0

    def run(kind, cyc, step, cur, stop):
        nonlocal t, soc, temp
        st = 0.0
        q = 0.0
        e = 0.0
        amps = cur
        n = 0
        while True:
            ocv = soc_volts(min(1, max(0.0, soc)))
            v = ocv + R * amps
            if kind == "CV":
                v = 4.2
                amps = max(0.0, (4.2 - ocv) / R)
                amps = min(amps, Ic)
            iv = 0.0 if kind == "Rest" else (amps + (r.gauss(0, 0.0004) if noise else 0))
            rows.append(
                (
                    round(t, 3),
                    round(st, 3),
                    cyc,
                    step,
                    kind,
                    round(iv, 5),
                    round(v + (r.gauss(0, 0.0002) if noise else 0), 4),
                    round(q, 6),
                    round(e, 6),
                    round(temp, 2),
                )
            )
            if stop(v, amps, st, n):
                break
            soc += amps * dt / 3600 / cap
            q += abs(amps) * dt / 3600
            e += abs(amps) * v * dt / 3600
            temp += (amps * amps * R * 0.02 - (temp - 25) * 0.004) * dt / 10
            t += dt
            st += dt
            n += 1
        t += dt

    for c in range(1, cycles + 1):
        run("CC", c, 1, Ic, lambda v, amps, st, n: v >= 4.2 or n > 2000)
        run("CV", c, 2, Ic, lambda v, amps, st, n: amps < 0.1 * Ic or n > 2000)
        run("Rest", c, 3, 0.0, lambda v, amps, st, n: n >= 30)
        run("DCh", c, 4, -Id, lambda v, amps, st, n: v <= 3.0 or n > 2000)
        run("Rest", c, 5, 0.0, lambda v, amps, st, n: n >= 30)
    return rows


def hms(s, frac=0, hours=2):
    h = int(s // 3600)
    m = int(s % 3600 // 60)
    x = s - 3600 * h - 60 * m
    w = 3 + frac if frac else 2
    return f"{h:0{hours}d}:{m:02d}:{x:0{w}.{frac}f}"


def de(x, p):
    return f"{x:.{p}f}".replace(".", ",")


def enc(lines, end="\n", e="utf-8"):
    return (end.join(lines) + end).encode(e)


def VI(V, A, v="Voltage (V)", i="Current (A)", sign=1):
    return {v: Fact("voltage", V, None, PV), i: Fact("current", A, [sign * a for a in A], PC)}
