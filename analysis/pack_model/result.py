"""PackFit: what a fitted pack says, and what follows from it without fitting again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.pack_model.common import NotFitted, jackknife_half_width
from analysis.pack_model.ladder import applied, low_pass
from analysis.signal import Bools, Floats, Measured


@dataclass(frozen=True, eq=False)
class PackFit:
    """A fitted pack. Resistance in mΩ for the whole pack at the middle of the charge used in the log.

    resistance_mohm  by time scale in seconds (0.1, 1, 10); a missing scale stands in `declined`
    replicates_mohm  leave-one-block-out figures of the same, for paired comparisons
    used_Ah          (n,) charge used at t_s; q = (used - middle)/scale runs from -1 to 1
    open_circuit     volts, polynomial in q; moves: the losses' factor is 1 + moves[0]·q + moves[1]·q² …
    steps_ohm        (1 + k,) immediate resistance, then one per time constant in taus_s (k,); not to be reported
    residual_V       (n,) measured minus fitted voltage; on: the samples that took part
    skew_s           by how much the voltage's stamps run behind the current's
    thirds           losses of the first and last third against the whole, then with each block left out
    """

    cells: int
    capacity_Ah: float
    chemistry: str
    temp_degC: float | None
    resistance_mohm: dict[float, Measured]
    declined: dict[float, str]
    replicates_mohm: dict[float, Floats]
    t_s: Floats
    current_A: Floats
    used_Ah: Floats
    middle_Ah: float
    scale_Ah: float
    open_circuit: Floats
    moves: Floats
    steps_ohm: Floats
    taus_s: Floats
    residual_V: Floats
    on: Bools
    skew_s: float
    period_s: float
    gain_rel: float
    thirds: Floats

    def at(self, scale_s: float) -> Measured | None:
        return self.resistance_mohm.get(scale_s)

    def cell_mohm(self, scale_s: float) -> Measured | None:
        """The pack's figure shared evenly over its cells."""
        r = self.at(scale_s)
        return None if r is None else Measured(r.value / self.cells, r.low / self.cells, r.high / self.cells, r.basis)

    @property
    def rms_V(self) -> float:
        return float(np.sqrt(np.mean(self.residual_V[self.on] ** 2)))

    def _q(self, used_Ah: Floats | float) -> Floats:
        return np.asarray((np.asarray(used_Ah, dtype=np.float64) - self.middle_Ah) / self.scale_Ah)

    def open_circuit_V(self, used_Ah: Floats | float) -> Floats:
        """Fitted open-circuit voltage. It goes on straight outside the charge the log used."""
        q = self._q(used_Ah)
        inside = np.clip(q, -1.0, 1.0)
        powers = np.arange(self.open_circuit.shape[0])
        value = (inside[..., None] ** powers) @ self.open_circuit
        slope = (inside[..., None] ** np.maximum(powers - 1, 0)) @ (powers * self.open_circuit)
        return np.asarray(value + slope * (q - inside))

    def loss_factor(self, used_Ah: Floats | float) -> Floats:
        """Resistance at this charge against that at the middle; held at the ends outside the log's charge."""
        q = np.clip(self._q(used_Ah), -1.0, 1.0)
        return np.asarray(1.0 + (q[..., None] ** np.arange(1, self.moves.shape[0] + 1)) @ self.moves)

    def step_ohm(self, after_s: float) -> float:
        """Ohm of the whole pack this long after a step of current, at the middle of the charge used."""
        return float(self.steps_ohm[0] + self.steps_ohm[1:] @ (1 - np.exp(-after_s / self.taus_s)))

    def predict_V(self, t_s: Floats, current_A: Floats) -> Floats:
        """Terminal voltage for a current (A) on evenly spaced stamps (s) from the same starting charge.

        Errors: the fit's residual, and the interval of the resistance times the current.
        """
        if t_s.shape[0] < 2:
            lost = self.step_ohm(np.inf) * current_A
            return np.asarray(self.open_circuit_V(np.zeros(t_s.shape)) - self.loss_factor(0.0) * lost)
        dt = np.diff(t_s)
        used = np.concatenate([[0.0], np.cumsum(0.5 * (current_A[1:] + current_A[:-1]) * dt)]) / 3600.0
        active = self.steps_ohm[1:] > 0
        z = low_pass(current_A, float(np.median(dt)), self.taus_s[active])
        lost = self.steps_ohm[0] * current_A + applied(z, self.steps_ohm[1:][active])
        return np.asarray(self.open_circuit_V(used) - self.loss_factor(used) * lost)


def voltage_at_standard_load(fit: PackFit, load_A: float, scale_s: float = 1.0) -> Measured | None:
    """Pack voltage after `scale_s` seconds of a standard load, at the middle of the charge used.

    Compares packs that saw different matches. None: the scale was declined, or the load is not positive.
    """
    r = fit.at(scale_s)
    if r is None or not np.isfinite(load_A) or load_A <= 0:
        return None
    rest = float(fit.open_circuit_V(fit.middle_Ah))
    return Measured(
        rest - load_A * r.value / 1e3,
        rest - load_A * r.high / 1e3,
        rest - load_A * r.low / 1e3,
        f"{load_A:g} A for {scale_s:g} s, {r.basis}",
    )


def resistance_change(fit: PackFit, scale_s: float = 1.0) -> Measured | NotFitted:
    """Last third minus first third of the log, mΩ, the shape of the losses held. Gain error is common to both.

    Warming lowers it, a joint that heats or a charge near empty raises it.
    NotFitted where the scale was declined, or a third of the log holds too little load.
    """
    if scale_s not in fit.resistance_mohm:
        return NotFitted(fit.declined.get(scale_s, f"no figure at {scale_s:g} s"), "log faster and longer")
    whole = fit.resistance_mohm[scale_s].value
    change = float(fit.thirds[1, 0] - fit.thirds[0, 0]) * whole
    half = whole * float(np.hypot(jackknife_half_width(fit.thirds[0, 1:]), jackknife_half_width(fit.thirds[1, 1:])))
    if not np.isfinite(change) or not np.isfinite(half):
        return NotFitted("the first or the last third of the log holds too little load", "log the whole match")
    half = float(np.hypot(half, 1.96 * fit.gain_rel * abs(change)))
    return Measured(
        change, change - half, change + half, "last third minus first third, jackknife over six blocks each"
    )
