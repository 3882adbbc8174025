"""Resistance of each cell, and which one is weak."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from analysis.pack_model.common import NotFitted, jackknife_half_width
from analysis.pack_model.fit import fit_pack
from analysis.pack_model.result import PackFit
from analysis.signal import Measured, Signal

# Our choice: cells of one pack that are closer than this are alike (makers sort to about 5 %; from memory).
WEAK_REL = 0.10


@dataclass(frozen=True)
class CellFits:
    """mohm: each cell's resistance at scale_s; not_fitted: why for the others; fits: each cell's own.

    highest is the cell that stands out most against the median of the other cells, excess_mohm by how much: the
    interval is paired (the same current, its gain and its hits are common to all cells), so it is much tighter than
    the difference of the single intervals. weak: the excess is beyond its interval and over WEAK_REL of the median.
    """

    scale_s: float
    mohm: dict[str, Measured]
    not_fitted: dict[str, NotFitted]
    highest: str | None
    excess_mohm: Measured | None
    excess_pct: float | None
    weak: bool
    fits: dict[str, PackFit] = field(default_factory=dict, repr=False)


def fit_cells(
    current: Signal,
    cell_voltages: Mapping[str, Signal],
    *,
    capacity_Ah: float,
    chemistry: str = "lithium-polymer",
    scale_s: float = 1.0,
) -> CellFits:
    """Fit every cell against the pack current. Two cells can be compared, three are needed to name one surely."""
    fits: dict[str, PackFit] = {}
    refused: dict[str, NotFitted] = {}
    for name, voltage in cell_voltages.items():
        fit = fit_pack(current, voltage, cells=1, capacity_Ah=capacity_Ah, chemistry=chemistry, scales_s=(scale_s,))
        if isinstance(fit, NotFitted):
            refused[name] = fit
        elif scale_s not in fit.resistance_mohm:
            refused[name] = NotFitted(fit.declined[scale_s], "log the cells faster")
        else:
            fits[name] = fit
    mohm = {name: fit.resistance_mohm[scale_s] for name, fit in fits.items()}
    if len(fits) < 2:
        return CellFits(scale_s, mohm, refused, None, None, None, False, fits)
    names = list(fits)
    value = np.array([mohm[name].value for name in names])
    left_out = np.stack([fits[name].replicates_mohm[scale_s] for name in names])
    k = int(np.argmax(value))
    others = [j for j in range(len(names)) if j != k]
    middle = float(np.median(value[others]))
    excess = float(value[k] - middle)
    half = jackknife_half_width(left_out[k] - np.median(left_out[others], axis=0))
    gain = current.gain_rel * excess
    mismatch = max(cell_voltages[name].gain_rel for name in names) * float(value[k])
    half = float(np.sqrt(half**2 + (1.96 * gain) ** 2 + (1.96 * mismatch) ** 2))
    measured = Measured(excess, excess - half, excess + half, "against the median of the other cells, paired jackknife")
    weak = measured.low > 0 and middle > 0 and excess > WEAK_REL * middle
    return CellFits(
        scale_s, mohm, refused, names[k], measured, 100 * excess / middle if middle > 0 else None, weak, fits
    )
