"""One channel as the checks see it, and a figure with its interval.

A Signal keeps the logger's own rate. Nothing here resamples except where the name says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

Detector = Literal["instant", "average", "unknown"]


@dataclass(frozen=True, eq=False)
class Signal:
    """One channel on the match clock.

    t_s        (n,) float64, strictly increasing, seconds on the match clock
    x          (n,) float64 in the channel's unit; the value where not valid is meaningless (never NaN: 0.0)
    valid      (n,) bool, False where the source gave no value
    clipped    (n,) bool, True where the sensor stood at its full scale: the true value is at least this
    period_s   the logger's own interval (median of the steps); 0.0 where fewer than two samples
    detector   whether a sample is the value at an instant or the average over its period
    gain_rel   1-sigma relative error of the sensor's gain (0.0 where it is taken as exact)
    offset     estimated zero error in the channel's unit, already subtracted from x (0.0: none found)
    noise      1-sigma noise of one sample in the channel's unit
    recording  (n,) int16; a step of two samples across two recordings has an unknown length
    """

    channel: str
    t_s: Floats
    x: Floats
    valid: Bools
    clipped: Bools
    period_s: float
    detector: Detector = "unknown"
    gain_rel: float = 0.0
    offset: float = 0.0
    noise: float = 0.0
    recording: npt.NDArray[np.int16] | None = None

    def __post_init__(self) -> None:
        n = self.t_s.shape[0]
        for name in ("x", "valid", "clipped"):
            if getattr(self, name).shape != (n,):
                raise ValueError(f"{self.channel}: {name} has {getattr(self, name).shape}, time has ({n},)")

    def __len__(self) -> int:
        return int(self.t_s.shape[0])

    def good(self) -> Signal:
        """Only the samples that hold a value."""
        if bool(self.valid.all()):
            return self
        return self.where(self.valid)

    def between(self, start_s: float, end_s: float) -> Signal:
        """The samples with start_s <= t <= end_s."""
        low, high = np.searchsorted(self.t_s, [start_s, np.nextafter(end_s, np.inf)])
        return self.where(slice(int(low), int(high)))

    def where(self, keep: Bools | slice) -> Signal:
        recording = None if self.recording is None else self.recording[keep]
        return replace(
            self,
            t_s=self.t_s[keep],
            x=self.x[keep],
            valid=self.valid[keep],
            clipped=self.clipped[keep],
            recording=recording,
        )

    def with_values(self, x: Floats, channel: str | None = None) -> Signal:
        return replace(self, x=x, channel=channel or self.channel)


@dataclass(frozen=True)
class Measured:
    """A figure with its interval. low <= value <= high; an open end is -inf or inf ("at least", "at most").

    basis says in a few words what the interval holds: "sensor gain 1 %, sampling at 50 Hz".
    """

    value: float
    low: float
    high: float
    basis: str = ""

    @classmethod
    def exact(cls, value: float, basis: str = "") -> Measured:
        return cls(value, value, value, basis)

    def widened(self, low: float, high: float, why: str = "") -> Measured:
        basis = f"{self.basis}, {why}" if self.basis and why else self.basis or why
        return Measured(self.value, min(self.low, low), max(self.high, high), basis)


def signal(
    channel: str,
    t_s: npt.ArrayLike,
    x: npt.ArrayLike,
    *,
    valid: npt.ArrayLike | None = None,
    clipped: npt.ArrayLike | None = None,
    detector: Detector = "unknown",
    gain_rel: float = 0.0,
    offset: float = 0.0,
    noise: float = 0.0,
    recording: npt.NDArray[np.int16] | None = None,
) -> Signal:
    """A Signal from plain arrays; NaN becomes not valid, the period is taken from the stamps."""
    t = np.ascontiguousarray(t_s, dtype=np.float64)
    values = np.array(x, dtype=np.float64)
    ok = np.isfinite(values) if valid is None else np.asarray(valid, dtype=bool) & np.isfinite(values)
    values[~ok] = 0.0
    clip = np.zeros(t.shape, dtype=bool) if clipped is None else np.asarray(clipped, dtype=bool)
    period = float(np.median(np.diff(t))) if t.shape[0] > 1 else 0.0
    return Signal(channel, t, values, ok, clip, period, detector, gain_rel, offset, noise, recording)
