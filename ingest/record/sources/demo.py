"""An invented stream for trying the recorder out: the text lines of a logger in a robot that never was.

A six-cell pack of 24 mΩ feeds a weapon and one drive. The weapon is spun up, runs, takes a hit now and then; the
drive pushes in bursts. Every figure is our choice; nothing here is measured.
"""

from __future__ import annotations

import math
import random
import time
from dataclasses import dataclass, field
from typing import Final

from ingest.errors import UsageError
from ingest.record.sources.base import Kind, RecordClock, SourceGone, Stamped

RATE_HZ: Final = 100
HEADER: Final = (
    "time_ms,pack_voltage_V,pack_current_A,weapon_current_A,weapon_speed_rpm,weapon_temp_degC,"
    "drive_current_A,receiver_rail_voltage_V"
)
_REST_V: Final = 24.9
_PACK_OHM: Final = 0.024
_TOP_RPM: Final = 9000.0
_SPIN_UP_S: Final = 1.2
_AIR_DEGC: Final = 21.0
_LINES_AT_ONCE: Final = 4


@dataclass
class DemoSignal:
    """line(n): the n-th line, 100 a second. The same seed gives the same lines."""

    seed: int = 7
    speed_rpm: float = 0.0
    weapon_degC: float = _AIR_DEGC
    charge_Ah: float = 0.0
    _hit_left: int = 0
    _random: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self._random = random.Random(self.seed)

    def line(self, number: int) -> str:
        t_s, step_s, draw = number / RATE_HZ, 1.0 / RATE_HZ, self._random
        asked_rpm = _TOP_RPM if 2.0 <= t_s % 20.0 < 16.0 else 0.0
        if asked_rpm and self._hit_left == 0 and self.speed_rpm > 0.8 * _TOP_RPM and draw.random() < 0.004:
            self._hit_left = 6
            self.speed_rpm *= draw.uniform(0.35, 0.7)
        self._hit_left = max(0, self._hit_left - 1)
        lag = max(0.0, asked_rpm - self.speed_rpm) / _TOP_RPM
        weapon_A = (4.0 if asked_rpm else 0.2) + 95.0 * lag + (30.0 if self._hit_left else 0.0) + draw.gauss(0.0, 0.4)
        self.speed_rpm += (asked_rpm - self.speed_rpm) * step_s / _SPIN_UP_S
        drive_A = 2.0 + 14.0 * max(0.0, math.sin(t_s * 1.7)) ** 3 + draw.gauss(0.0, 0.3)
        pack_A = weapon_A + drive_A + 0.6
        self.charge_Ah += pack_A * step_s / 3600.0
        pack_V = _REST_V - 0.9 * self.charge_Ah - _PACK_OHM * pack_A + draw.gauss(0.0, 0.01)
        self.weapon_degC += (0.0008 * weapon_A**2 - 0.03 * (self.weapon_degC - _AIR_DEGC)) * step_s
        rail_V = 5.02 - 0.002 * drive_A + draw.gauss(0.0, 0.004)
        return (
            f"{number * 1000 // RATE_HZ},{pack_V:.2f},{pack_A:.1f},{weapon_A:.1f},{self.speed_rpm:.0f},"
            f"{self.weapon_degC:.1f},{drive_A:.1f},{rail_V:.3f}"
        )


class DemoSource:
    """demo: - lines at 100 a second, in time."""

    kind: Kind = "demo"
    physical = False

    def __init__(self, address: str, name: str) -> None:
        if address != "demo:":
            raise UsageError("is no source", file=address, mend="The invented source is written: demo:")
        self.address, self.name = address, name
        self.settings = {"rate": f"{RATE_HZ} lines a second"}
        self._signal = DemoSignal()
        self._clock: RecordClock | None = None
        self._begin_ns = 0
        self._next = 0

    def open(self, clock: RecordClock) -> None:
        self._clock, self._begin_ns, self._next = clock, clock.now_ns(), 0

    def read(self, timeout_s: float) -> list[Stamped]:
        if self._clock is None:
            raise SourceGone("it was closed")
        due_ns = self._begin_ns + (self._next + _LINES_AT_ONCE) * 1_000_000_000 // RATE_HZ
        wait_s = (due_ns - self._clock.now_ns()) / 1e9
        if wait_s > timeout_s:
            time.sleep(timeout_s)
            return []
        time.sleep(max(0.0, wait_s))
        ready = (self._clock.now_ns() - self._begin_ns) * RATE_HZ // 1_000_000_000
        text = "" if self._next else HEADER + "\n"
        stamp = self._begin_ns + self._next * 1_000_000_000 // RATE_HZ
        while self._next < ready:
            text += self._signal.line(self._next) + "\n"
            self._next += 1
        return [(stamp, text.encode("ascii"))]

    def find_again(self) -> str | None:
        return None

    def close(self) -> None:
        self._clock = None

    def lost(self) -> dict[str, int]:
        return {}

    def remarks(self) -> list[str]:
        return ["every figure of this source is invented"]
