"""Pack resistance against PyBaMM's equivalent circuit, and beside PyBOP's fit of the same log.

    pip install -e '.[accuracy]'
    python benchmarks/accuracy_pybamm.py [--seeds 10] [--length 180]
    python benchmarks/accuracy_pybamm.py --seeds 1 --fits 1 --length 40
    python benchmarks/accuracy_pybamm.py --write tests/reference/pybamm_thevenin.csv

PyBaMM computes the voltage of a pack of stated resistances under a match's current; the resistance at 1 s is known
from those parameters (the response to a step of current). Nothing of analysis/ takes part in the simulation. PyBOP
is given what fit_pack is not: the open-circuit curve, the charge at the start and the number of branches.
--write stores the fixture that tests/analysis/test_pack_against_pybamm.py fits wherever PyBaMM is not installed.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from analysis.pack_model import PackFit, fit_pack
from analysis.signal import signal
from tests.synthetic.pack_truth import GRADES, OCV_TABLES, match_current

Floats = npt.NDArray[np.float64]

CELLS, CAPACITY_AH, START_CHARGE = 6, 3.3, 0.97
LOG_HZ = 50.0
KNOT_S = 0.005  # the simulated current goes straight between stamps this far apart: four times finer than the log
RTOL, ATOL = 1e-8, 1e-8


@dataclass(frozen=True)
class Circuit:
    """A pack: ohms and seconds of its branches, and how the ohms move (1/K from 25 °C; with (charge - 0.6)²)."""

    name: str
    r0_ohm: float
    branches: tuple[tuple[float, float], ...]
    per_K: float = 0.0
    charge_curve: float = 0.0

    def factor(self, charge: Any, degC: Any) -> Any:
        return 1.0 + self.charge_curve * (charge - 0.6) ** 2 + self.per_K * (degC - 25.0)

    def step_mohm(self, after_s: float, charge: float = 0.6, degC: float = 25.0) -> float:
        rise = sum(r * (1.0 - np.exp(-after_s / tau)) for r, tau in self.branches)
        return float(1e3 * self.factor(charge, degC) * (self.r0_ohm + rise))


CIRCUITS = (
    Circuit("two branches, steady", 0.0140, ((0.0045, 0.8), (0.0060, 18.0))),
    Circuit("three branches, steady", 0.0140, ((0.0030, 0.06), (0.0050, 1.1), (0.0080, 22.0))),
    Circuit("two branches, moving with charge and heat", 0.0140, ((0.0045, 0.8), (0.0060, 18.0)), -0.006, 0.35),
)


@dataclass(frozen=True)
class Simulated:
    """t_s, current_A, voltage_V, charge, degC (n,) at the logger's stamps, from the solver."""

    circuit: Circuit
    t_s: Floats
    current_A: Floats
    voltage_V: Floats
    charge: Floats
    degC: Floats

    def exact_mohm(self, after_s: float) -> float:
        """At the middle of the charge used, from the parameters."""
        k = int(np.argmin(np.abs(self.charge - 0.5 * (self.charge[0] + self.charge[-1]))))
        return self.circuit.step_mohm(after_s, float(self.charge[k]), float(self.degC[k]))


def parameters(circuit: Circuit) -> Any:
    """The circuit as PyBaMM's parameter values; the pack is one cell of CELLS times the voltage."""
    import pybamm  # type: ignore[import-not-found, import-untyped, unused-ignore]

    charge, volts = (np.asarray(column, dtype=float) for column in OCV_TABLES["Ai2020"])

    def moved(ohm: float) -> Any:
        if not circuit.per_K and not circuit.charge_curve:
            return ohm
        return lambda T_cell, current, soc: ohm * circuit.factor(soc, T_cell)

    def fixed_time(ohm: float, tau: float) -> Any:
        if not circuit.per_K and not circuit.charge_curve:
            return tau / ohm
        return lambda T_cell, current, soc: tau / (ohm * circuit.factor(soc, T_cell))

    values: dict[str, Any] = {
        "chemistry": "ecm",
        "Initial SoC": START_CHARGE,
        "Initial temperature [K]": 298.15,
        "Ambient temperature [K]": 298.15,
        "Cell capacity [A.h]": CAPACITY_AH,
        "Nominal cell capacity [A.h]": CAPACITY_AH,
        "Current function [A]": 0.0,
        "Upper voltage cut-off [V]": 30.0,
        "Lower voltage cut-off [V]": 5.0,
        "Cell thermal mass [J/K]": 520.0,
        "Cell-jig heat transfer coefficient [W/K]": 0.5,
        "Jig thermal mass [J/K]": 500.0,
        "Jig-air heat transfer coefficient [W/K]": 0.5,
        "Open-circuit voltage [V]": lambda soc: pybamm.Interpolant(charge, CELLS * volts, soc, interpolator="cubic"),
        "Entropic change [V/K]": 0.0,
        "R0 [Ohm]": moved(circuit.r0_ohm),
    }
    for k, (ohm, tau) in enumerate(circuit.branches, start=1):
        values[f"R{k} [Ohm]"] = moved(ohm)
        values[f"C{k} [F]"] = fixed_time(ohm, tau)
        values[f"Element-{k} initial overpotential [V]"] = 0.0
    return pybamm.ParameterValues(values)


def model(branches: int) -> Any:
    import pybamm  # type: ignore[import-not-found, import-untyped, unused-ignore]

    return pybamm.equivalent_circuit.Thevenin(options={"number of rc elements": branches})


def simulate(circuit: Circuit, seed: int, length_s: float = 180.0) -> Simulated:
    """The circuit under a match's current, solved by PyBaMM, at LOG_HZ and at full precision."""
    import pybamm  # type: ignore[import-not-found, import-untyped, unused-ignore]

    t, current = match_current(np.random.default_rng(seed), length_s)
    knots = slice(0, None, round(KNOT_S * 1000))
    t, current = t[knots], current[knots] - current[0] + 0.35
    values = parameters(circuit)
    values["Current function [A]"] = pybamm.Interpolant(t, current, pybamm.t)
    # no step longer than a knot, so that the solver never steps over a bend of the current
    solver = pybamm.IDAKLUSolver(rtol=RTOL, atol=ATOL, options={"dt_max": KNOT_S})
    stamps = t[:: round(1 / LOG_HZ / KNOT_S)]
    simulation = pybamm.Simulation(model(len(circuit.branches)), parameter_values=values, solver=solver)
    solved = simulation.solve([stamps[0], stamps[-1]], t_interp=stamps)

    def at(name: str) -> Floats:
        return np.asarray(solved[name](stamps), dtype=float)

    volts, charge, degC = at("Voltage [V]"), at("SoC"), at("Cell temperature [degC]")
    return Simulated(circuit, stamps, np.interp(stamps, t, current), volts, charge, degC)


def logged(one: Simulated, seed: int, grade: str | None) -> tuple[Floats, Floats, float]:
    """Current and voltage as a sensor of the grade writes them (None: exact), and the current's noise in A."""
    if grade is None:
        return one.current_A, one.voltage_V, 0.0
    rng = np.random.default_rng(seed)
    out = []
    for sensor, x in zip(GRADES[grade], (one.current_A, one.voltage_V), strict=True):
        step = (sensor.high - sensor.low) / (2 ** (sensor.bits or 16) - 1)
        out.append(np.round((x + rng.normal(0, sensor.noise, x.shape)) / step) * step)
    a = GRADES[grade][0]
    return out[0], out[1], float(np.hypot(a.noise, (a.high - a.low) / 2 ** (a.bits or 16) / np.sqrt(12)))


def fitted(one: Simulated, current: Floats, volts: Floats, noise_A: float) -> tuple[PackFit, float]:
    i, u = signal("pack_current_A", one.t_s, current, noise=noise_A), signal("pack_voltage_V", one.t_s, volts)
    start = time.perf_counter()
    fit = fit_pack(i, u, cells=CELLS, capacity_Ah=CAPACITY_AH)
    took = time.perf_counter() - start
    if not isinstance(fit, PackFit):
        raise SystemExit(f"not fitted: {fit.reason}")
    return fit, took


def pybop_fitted(one: Simulated, current: Floats, volts: Floats) -> tuple[float, float, int]:
    """mΩ at 1 s, seconds and evaluations of PyBOP's least-squares fit of R0 and two branches."""
    import pybop  # type: ignore[import-not-found, import-untyped, unused-ignore]

    values = parameters(CIRCUITS[0])  # the open-circuit curve and the starting charge are given, the ohms are not
    data = pybop.Dataset({"Time [s]": one.t_s, "Current [A]": current, "Voltage [V]": volts})
    guesses = {
        "R0 [Ohm]": (0.002, 0.05, 0.020),
        "R1 [Ohm]": (0.0005, 0.03, 0.008),
        "R2 [Ohm]": (0.0005, 0.03, 0.010),
        "C1 [F]": (10.0, 1000.0, 100.0),
        "C2 [F]": (500.0, 30000.0, 2000.0),
    }
    for name, (low, high, guess) in guesses.items():
        values[name] = pybop.Parameter(
            bounds=[low, high], initial_value=guess, transformation=pybop.LogTransformation()
        )
    start = time.perf_counter()
    simulator = pybop.pybamm.Simulator(model(2), parameter_values=values, protocol=data)
    problem = pybop.Problem(simulator, pybop.SumSquaredError(data))
    found = pybop.SciPyMinimize(problem, pybop.SciPyMinimizeOptions(method="L-BFGS-B", jac=True, maxiter=200)).run()
    took = time.perf_counter() - start
    best = found.best_inputs
    r0, r1, c1, r2, c2 = (float(best[k]) for k in ("R0 [Ohm]", "R1 [Ohm]", "C1 [F]", "R2 [Ohm]", "C2 [F]"))
    at_1_s = r0 + r1 * (1 - np.exp(-1 / (r1 * c1))) + r2 * (1 - np.exp(-1 / (r2 * c2)))
    return 1e3 * float(at_1_s), took, int(found.n_evaluations)


def write(path: Path) -> None:
    """A short match at full precision to the tenth of a millivolt and the milliampere."""
    import pybamm  # type: ignore[import-not-found, import-untyped, unused-ignore]

    circuit = CIRCUITS[1]
    one = simulate(circuit, 11, 110.0)
    comment = [
        f"Computed with PyBaMM {pybamm.__version__}: pybamm.equivalent_circuit.Thevenin, three RC elements.",
        f"R0 {circuit.r0_ohm} ohm; R, tau: " + "; ".join(f"{r} ohm, {tau} s" for r, tau in circuit.branches),
        f"Cells {CELLS}; capacity {CAPACITY_AH} Ah; starting charge {START_CHARGE}; open circuit: Ai2020, cubic, times "
        f"{CELLS}; IDAKLU, rtol {RTOL}, atol {ATOL}",
        "provenance: computed-with-pybamm " + pybamm.__version__,
    ]
    lines = [f"# {line}" for line in comment] + ["time_s,current_A,voltage_V"]
    rows = zip(one.t_s, one.current_A, one.voltage_V, strict=True)
    lines += [f"{t:.2f},{i:.3f},{u:.4f}" for t, i, u in rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{path}: {path.stat().st_size} bytes, {len(one.t_s)} samples")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--fits", type=int, default=0, help="seeds that PyBOP fits too (a minute or more each)")
    parser.add_argument("--length", type=float, default=180.0, help="seconds of the match")
    parser.add_argument("--write", type=Path, help="store the fixture here and stop")
    asked = parser.parse_args()
    if asked.write is not None:
        write(asked.write)
        return
    usual = "usual 10-bit, 0.4 A noise"
    print("Resistance at 1 s against PyBaMM's Thevenin circuit, 50 Hz: error % (median, worst), cover %, ms")
    for circuit in CIRCUITS:
        matches = [simulate(circuit, seed, asked.length) for seed in range(asked.seeds)]
        for grade in (None, usual):
            errors, inside, took, theirs = [], [], [], []
            for seed, one in enumerate(matches):
                current, volts, noise = logged(one, seed, grade)
                fit, seconds = fitted(one, current, volts, noise)
                exact, figure = one.exact_mohm(1.0), fit.resistance_mohm[1.0]
                errors.append(100 * abs(figure.value / exact - 1))
                inside.append(figure.low <= exact <= figure.high)
                took.append(seconds)
                if seed < asked.fits:
                    value, fit_s, count = pybop_fitted(one, current, volts)
                    theirs.append((100 * abs(value / exact - 1), fit_s, count, errors[-1], seconds))
            print(
                f"{circuit.name}, {grade or 'exact samples'}: {np.median(errors):.2f} {max(errors):.2f} "
                f"{100 * np.mean(inside):.0f} {1e3 * np.median(took):.0f}",
                flush=True,
            )
            for error, fit_s, count, ours, our_s in theirs:
                print(
                    f"    PyBOP {error:.2f} % in {fit_s:.1f} s, {count} evaluations of {1e3 * fit_s / count:.0f} ms; "
                    f"ours {ours:.2f} % in {1e3 * our_s:.0f} ms: {fit_s / our_s:.0f} times",
                    flush=True,
                )


if __name__ == "__main__":
    main()
