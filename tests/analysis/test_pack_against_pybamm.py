"""Pack resistance against PyBaMM's equivalent-circuit simulation: a stored log always, a fresh one where PyBaMM is.

Source of the truth: the stated resistances and time constants of the simulated circuit; volts per ampere one second
after a step are R0 + Σ R·(1 - exp(-1 s/τ)). PyBaMM (Sulzer et al., J. Open Research Software 9 (2021) 14; reference
from memory) computes the voltage; nothing of analysis/ takes part in it.
"""

from __future__ import annotations

import importlib.util
import math
import re
from pathlib import Path

import numpy as np
import pytest

from analysis.pack_model import PackFit, fit_pack
from analysis.signal import signal
from tests.synthetic.pack_truth import GRADES

STORED = Path(__file__).parents[1] / "reference" / "pybamm_thevenin.csv"
WITHIN = 0.01  # our choice: the accuracy asked of the 1 s figure
USUAL = "usual 10-bit, 0.4 A noise"


def stored_step_mohm(after_s: float) -> float:
    """From the parameters in the file's own header, not from its samples."""
    (line,) = [x for x in STORED.read_text(encoding="utf-8").splitlines() if x.startswith("# R0 ")]
    ohm, tau = (list(map(float, re.findall(rf"([\d.]+) {unit}\b", line))) for unit in ("ohm", "s"))
    assert len(ohm) == 4 and len(tau) == 3
    return 1e3 * (ohm[0] + sum(r * (1 - math.exp(-after_s / x)) for r, x in zip(ohm[1:], tau, strict=True)))


def test_the_stored_file_says_where_it_is_from() -> None:
    text = STORED.read_text(encoding="utf-8")
    assert re.search(r"# provenance: computed-with-pybamm \d+\.\d+", text)
    assert STORED.stat().st_size < 200_000
    assert stored_step_mohm(0.0) == pytest.approx(14.0) and stored_step_mohm(1e6) == pytest.approx(30.0)


@pytest.mark.parametrize("sensors", ["exact", "usual"])
@pytest.mark.parametrize("every", [1, 2])
def test_resistance_of_the_stored_simulation(every: int, sensors: str) -> None:
    """At 50 and 25 Hz; as computed, and through a 10-bit sensor with noise: 1 s within 1 %, the interval holds it."""
    t, current, volts = np.loadtxt(STORED, delimiter=",", skiprows=5, unpack=True)
    noise = 0.0
    if sensors == "usual":
        rng = np.random.default_rng(5)
        a, v = GRADES[USUAL]
        (current, volts), noise = (
            [
                np.round((x + rng.normal(0, s.noise, x.shape)) / (s.high / 1023)) * (s.high / 1023)
                for x, s in ((current, a), (volts, v))
            ],
            math.hypot(a.noise, a.high / 1023 / math.sqrt(12)),
        )
    fit = fit_pack(
        signal("pack_current_A", t[::every], current[::every], noise=noise),
        signal("pack_voltage_V", t[::every], volts[::every]),
        cells=6,
        capacity_Ah=3.3,
    )
    assert isinstance(fit, PackFit), fit
    figure, exact = fit.at(1.0), stored_step_mohm(1.0)
    assert figure is not None and figure.value == pytest.approx(exact, rel=WITHIN)
    assert figure.low <= exact <= figure.high
    for scale, rel in ((0.1, 0.02), (10.0, 0.05)):  # our choice: what the pack of three branches reaches at 95 %
        other = fit.at(scale)
        assert other is not None and other.value == pytest.approx(stored_step_mohm(scale), rel=rel)


@pytest.mark.skipif(
    importlib.util.find_spec("pybamm") is None, reason="PyBaMM is not installed: pip install 'afterbout[accuracy]'"
)
@pytest.mark.parametrize("which", [0, 1, 2])
def test_resistance_of_a_fresh_simulation(which: int) -> None:
    """Forty seconds of a match, solved now: two and three branches, and one that moves with charge and heat."""
    from benchmarks.accuracy_pybamm import CIRCUITS, fitted, simulate

    one = simulate(CIRCUITS[which], 3, 40.0)
    fit, _ = fitted(one, one.current_A, one.voltage_V, 0.0)
    figure = fit.at(1.0)
    assert figure is not None and figure.value == pytest.approx(one.exact_mohm(1.0), rel=WITHIN)
