"""A pack, a match and imperfect loggers with a known truth. Shares no code with analysis/ or ingest/.

The pack has three relaxation branches (the fit under test has two), a resistance that moves with charge and
temperature, and an open-circuit curve from a published cell; the current has spin-ups, pushes, hits and ripple.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator
from scipy.signal import lfilter

Floats = npt.NDArray[np.float64]

# Published cells, charge state against volts: Ai et al. 2020 (pouch cell) and Ecker et al. 2015 (pouch cell),
# values as computed with PyBaMM 26.10.1.1 from its parameter sets of those names.
OCV_TABLES = {
    "Ai2020": (
        [0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0],
        [3.0, 3.5421, 3.6396, 3.6954, 3.7331, 3.7622, 3.7925, 3.8365, 3.9089, 3.9945, 4.0879, 4.1384, 4.2],
    ),
    "Ecker2015": (
        [0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0],
        [2.5, 3.2938, 3.4586, 3.587, 3.7094, 3.77, 3.7873, 3.8155, 3.8823, 3.9868, 4.0789, 4.1353, 4.2],
    ),
}


@dataclass(frozen=True)
class TruePack:
    cells: int = 6
    capacity_Ah: float = 3.3
    r0_ohm: float = 0.014
    branches: tuple[tuple[float, float], ...] = ((0.0030, 0.06), (0.0050, 1.1), (0.0080, 22.0))  # ohm, s
    start_charge: float = 1.0
    ocv: str = "Ai2020"
    mass_kg: float = 0.52
    cp_J_kgK: float = 1000.0
    start_degC: float = 24.0
    per_K: float = -0.009  # resistance against temperature
    charge_curve: float = 0.35  # resistance against (charge - 0.6)²


@dataclass(frozen=True)
class TrueMatch:
    pack: TruePack
    t_s: Floats
    current_A: Floats
    voltage_V: Floats
    charge: Floats
    degC: Floats
    charge_used_Ah: float

    def resistance_mohm(self, after_s: float, at_used_Ah: float | None = None) -> float:
        """Volts per ampere this long after a step of current, at the point where so much charge was used."""
        used = (self.charge[0] - self.charge) * self.pack.capacity_Ah
        at = used[-1] / 2 if at_used_Ah is None else at_used_Ah
        k = int(np.argmin(np.abs(used - at)))
        scale = _factor(self.pack, self.charge[k], self.degC[k])
        rise = sum(r * (1 - np.exp(-after_s / tau)) for r, tau in self.pack.branches)
        return float(1e3 * scale * (self.pack.r0_ohm + rise))


def _factor(pack: TruePack, charge: Floats | float, degC: Floats | float) -> Floats | float:
    return (1 + pack.charge_curve * (charge - 0.6) ** 2) * np.exp(pack.per_K * (degC - 25.0))


def match_current(
    rng: np.random.Generator, length_s: float = 180.0, rate_Hz: float = 1000.0, peak_A: float = 150.0, idle_s=6.0
) -> tuple[Floats, Floats]:
    """Spin-ups, pushes, hits, driving and ripple, with idle stretches before and after."""
    n = round((length_s + 2 * idle_s) * rate_Hz)
    t = np.arange(n) / rate_Hz
    drive = lfilter([1 / (0.25 * rate_Hz)], [1, -np.exp(-1 / (0.25 * rate_Hz))], rng.normal(size=n))
    drive = np.clip(0.10 * peak_A + 0.25 * peak_A * drive / max(drive.std(), 1e-9), 0, None)
    load = drive.copy()
    for start in np.cumsum(rng.uniform(4, 14, size=int(length_s / 9) + 4)):
        kind = rng.uniform()
        since = t - idle_s - start
        on = since >= 0
        if kind < 0.45:  # spin-up
            load += on * peak_A * rng.uniform(0.5, 1.0) * np.exp(-np.clip(since, 0, 60) / rng.uniform(0.3, 1.5))
        elif kind < 0.75:  # push or stall
            load += (on & (since < rng.uniform(0.3, 2.0))) * peak_A * rng.uniform(0.3, 0.8)
        else:  # hits
            for _ in range(rng.integers(1, 5)):
                late = since - rng.uniform(0, 1.5)
                load += (
                    (late >= 0) * peak_A * rng.uniform(0.4, 1.2) * np.exp(-np.clip(late, 0, 5) / rng.uniform(0.02, 0.1))
                )
    load *= 1 + 0.04 * rng.normal(size=n)
    load[(t < idle_s) | (t > idle_s + length_s)] = 0.0
    a = np.exp(-1 / (0.004 * rate_Hz))  # motor and capacitor smoothing, 4 ms
    return t, np.asarray(lfilter([1 - a], [1, -a], load)) + 0.35


def play(pack: TruePack, t_s: Floats, current_A: Floats) -> TrueMatch:
    """Exact zero-order-hold update of the branches at the given fine steps."""
    dt = float(t_s[1] - t_s[0])
    used = np.concatenate([[0.0], np.cumsum(current_A[:-1]) * dt / 3600.0])
    charge = pack.start_charge - used / pack.capacity_Ah
    drop = pack.r0_ohm * current_A
    for r, tau in pack.branches:
        a = np.exp(-dt / tau)
        drop = drop + r * np.asarray(lfilter([0.0, 1 - a], [1, -a], current_A))
    degC = np.full(t_s.shape, pack.start_degC)
    for _ in range(4):  # the warmer the pack, the smaller the losses that warm it
        factor = np.asarray(_factor(pack, charge, degC))
        heat_J = np.concatenate([[0.0], np.cumsum((factor * drop * current_A)[:-1]) * dt])
        degC = pack.start_degC + heat_J / (pack.mass_kg * pack.cp_J_kgK)
    factor = np.asarray(_factor(pack, charge, degC))
    curve = PchipInterpolator(*OCV_TABLES[pack.ocv])
    volts = pack.cells * curve(np.clip(charge, 0, 1)) - factor * drop
    return TrueMatch(pack, t_s, current_A, np.asarray(volts), charge, degC, float(used[-1]))


@dataclass(frozen=True)
class Logger:
    """How a quantity ends up in a log."""

    rate_Hz: float = 50.0
    averages: bool = False
    bits: int | None = 10
    low: float = 0.0
    high: float = 250.0
    noise: float = 0.0
    gain: float = 1.0
    offset: float = 0.0
    late_s: float = 0.0  # the sample shows the quantity this much earlier than its stamp says
    jitter_s: float = 0.0
    phase_s: float = 0.0
    clip_at: float | None = None

    def but(self, **changes: object) -> Logger:
        return replace(self, **changes)  # type: ignore[arg-type]

    def log(self, rng: np.random.Generator, t_s: Floats, x: Floats) -> tuple[Floats, Floats]:
        stamps = np.arange(t_s[0] + self.phase_s + 1.0 / self.rate_Hz, t_s[-1], 1.0 / self.rate_Hz)
        when = stamps - self.late_s + (rng.uniform(-1, 1, stamps.shape) * self.jitter_s if self.jitter_s else 0.0)
        if self.averages:
            dt = t_s[1] - t_s[0]
            area = np.concatenate([[0.0], np.cumsum(x) * dt])
            edges = np.concatenate([t_s, [t_s[-1] + dt]])
            width = 1.0 / self.rate_Hz
            seen = (np.interp(when, edges, area) - np.interp(when - width, edges, area)) / width
        else:
            seen = np.interp(when, t_s, x)
        seen = seen * self.gain + self.offset + (rng.normal(0, self.noise, seen.shape) if self.noise else 0.0)
        if self.clip_at is not None:
            seen = np.minimum(seen, self.clip_at)
        if self.bits is not None:
            step = (self.high - self.low) / (2**self.bits - 1)
            seen = np.clip(np.round((seen - self.low) / step), 0, 2**self.bits - 1) * step + self.low
        return stamps, seen


GRADES: dict[str, tuple[Logger, Logger]] = {
    # name: current logger, voltage logger (250 A and 33 V full scale)
    "coarse 8-bit, 1.5 A noise": (Logger(bits=8, noise=1.5), Logger(bits=10, high=33.0, noise=0.02)),
    "usual 10-bit, 0.4 A noise": (Logger(bits=10, noise=0.4), Logger(bits=10, high=33.0, noise=0.01)),
    "good 12-bit, 0.2 A noise": (Logger(bits=12, noise=0.2), Logger(bits=12, high=33.0, noise=0.005)),
}


def random_pack(rng: np.random.Generator, cells: int = 6) -> TruePack:
    scale = rng.uniform(0.6, 1.8) * cells / 6
    spread: Callable[[float], float] = lambda x: float(x * rng.uniform(0.7, 1.4))  # noqa: E731
    return TruePack(
        cells=cells,
        r0_ohm=0.014 * scale,
        branches=tuple((spread(r) * scale, spread(tau)) for r, tau in TruePack.branches),
        start_charge=rng.uniform(0.85, 1.0),
        ocv=str(rng.choice(list(OCV_TABLES))),
        start_degC=rng.uniform(15, 35),
    )
