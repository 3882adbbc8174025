"""Why a pack sags: one cell, cold, age, not charged, used up.

Cold and age both raise the resistance of every cell; one match cannot tell them apart, and both are then named.
"""

from __future__ import annotations

import numpy as np

from analysis.causes import charge
from analysis.findings import Finding, Occurrence
from analysis.match_data import MatchData
from analysis.pack_check import capacity_Ah, pack_fit
from analysis.pack_model import NotFitted, PackFit, fit_cells, resample_common
from analysis.pack_model.common import jackknife_half_width
from analysis.run_drops import robust
from analysis.signal import Bools

# Resistance of a lithium-polymer cell at 8 degC against 25 degC: 1.3 to 1.8 times (memory), so a rise of this
# much is worth a word at all.
NOTABLE_RATIO = 1.15
BLOCKS = 10


def detect(data: MatchData) -> list[Finding]:
    """Everything that speaks against the pack itself: charge, a weak cell, a resistance above the one when new."""
    found: list[Finding] = charge.detect(data)
    weak = weak_cell(data) or weak_by_lowest(data)
    if weak is not None:
        found.append(weak)
    raised = raised_resistance(data)
    if raised is not None:
        found.append(raised)
    return found


def _span(data: MatchData) -> tuple[float, float]:
    return (data.window.start_s, data.window.end_s) if data.window is not None else (0.0, 0.0)


def _between(low: float, high: float) -> str:
    """Both ends of an interval, or the one figure that both are when rounded."""
    ends = f"{low:.1f}", f"{high:.1f}"
    return ends[0] if ends[0] == ends[1] else " to ".join(ends)


def weak_cell(data: MatchData) -> Finding | None:
    """One cell with clearly more resistance than the others, where cells are logged."""
    current = data.get("pack_current_A")
    cells = {
        name.removesuffix("_voltage_V"): signal.good()
        for name, signal in data.signals.items()
        if name.startswith("cell") and name.endswith("_voltage_V")
    }
    if current is None or data.pack is None or len(cells) < 3:
        return None
    if not data.same_clock("pack_current_A", *(f"{name}_voltage_V" for name in cells)):
        return None
    fits = fit_cells(current.good(), cells, capacity_Ah=capacity_Ah(data), chemistry=data.pack.chemistry)
    data.memo["cell_fits"] = fits
    if fits.highest is None or fits.excess_mohm is None or fits.highest not in fits.mohm:
        return None
    figure = fits.mohm[fits.highest]
    others = sorted(m.value for name, m in fits.mohm.items() if name != fits.highest)
    usual = others[len(others) // 2]
    if not fits.weak or figure.value < data.settings.weak_cell_share * usual:
        return None
    start, end = _span(data)
    return Finding(
        kind="voltage_sag",
        cause="weak_cell",
        part=fits.highest,
        channel=f"{fits.highest}_voltage_V",
        start_s=start,
        end_s=end,
        measured=figure.value,
        low=figure.low,
        high=figure.high,
        unit="mohm",
        verdict="fault",
        confidence="likely",
        limit=usual,
        evidence=(
            f"{figure.value:.1f} mΩ at 1 s against {usual:.1f} mΩ of the median cell",
            f"{_between(fits.excess_mohm.low, fits.excess_mohm.high)} mΩ more than the others",
        ),
        rating_source="the other cells of the same pack",
        check="cell_resistance",
        occurrences=(Occurrence(start, end, figure.value),),
    )


def weak_by_lowest(data: MatchData) -> Finding | None:
    """A log of the lowest cell beside the whole pack: it sags by more than its share, and which it is stays open."""
    current, volts, lowest = (data.get(n) for n in ("pack_current_A", "pack_voltage_V", "cell_min_V"))
    if current is None or volts is None or lowest is None or data.pack is None or data.pack.cells < 3:
        return None
    if not data.same_clock("pack_current_A", "pack_voltage_V", "cell_min_V") or data.window is None:
        return None
    common = resample_common([s.between(data.window.start_s, data.window.end_s) for s in (current, volts, lowest)])
    if isinstance(common, NotFitted) or len(common.t_s) < 10 * BLOCKS:
        return None
    i, v, low = common.values
    on = np.logical_and.reduce([*common.ok, *(~c for c in common.clipped)])
    n = data.pack.cells
    used = np.cumsum(np.where(on, i, 0.0))
    used = used / max(abs(float(used[-1])), 1e-9)
    x = np.column_stack([i, np.ones(len(i)), used, used**2])
    if float(i[on].std()) < 3.0:
        return None

    def shares(keep: Bools) -> tuple[float, float]:
        """(mΩ of the lowest cell, mΩ of the mean of the others)."""
        mean, more = (-1e3 * float(robust(x, y, keep)[0][0]) for y in (v / n, low))
        return more, (n * mean - more) / (n - 1)

    mine, others = shares(on)
    blocks = np.arange(len(i)) * BLOCKS // len(i)
    left_out = np.array([np.divide(*shares(on & (blocks != k))) for k in range(BLOCKS)])
    half = jackknife_half_width(left_out)
    if others <= 0 or mine / others - half < 1.0 or mine < data.settings.weak_cell_share * others:
        return None
    data.memo["weak_by_lowest"] = True
    start, end = _span(data)
    return Finding(
        kind="voltage_sag",
        cause="weak_cell",
        part="pack",
        channel="cell_min_V",
        start_s=start,
        end_s=end,
        measured=mine,
        low=max(mine - half * others, 0.0),
        high=mine + half * others,
        unit="mohm",
        verdict="fault",
        confidence="likely",
        limit=others,
        could_be=tuple(f"cell{k}" for k in range(1, n + 1)),
        evidence=(
            f"the lowest cell loses {mine:.1f} mV an ampere, the mean of the others {others:.1f}",
            "which cell it is was not logged: measure each, or log the balance lead",
        ),
        rating_source="the other cells of the same pack",
        check="cell_resistance",
        occurrences=(Occurrence(start, end, mine),),
    )


def raised_resistance(data: MatchData) -> Finding | None:
    """The whole pack above its first figure: cold, old, or either."""
    fit = pack_fit(data)
    pack = data.pack
    if not isinstance(fit, PackFit) or pack is None or pack.resistance_mohm is None:
        return None
    one = fit.at(1.0)
    if one is None or one.low < NOTABLE_RATIO * pack.resistance_mohm:
        return None
    fits = data.memo.get("cell_fits")
    if (fits is not None and fits.weak) or data.memo.get("weak_by_lowest"):
        return None  # one cell explains it
    temp = data.get("pack_temp_degC")
    cold: bool | None = None
    evidence = [f"{one.value:.1f} mΩ at 1 s; {pack.resistance_mohm:.1f} mΩ when new, at 25 °C"]
    if temp is not None and len(temp.good()):
        before = temp.good()
        start = float(before.x[before.t_s <= max(_span(data)[0], before.t_s[0])].mean())
        cold = start < data.settings.cold_pack_degC
        evidence.append(f"the pack started at {start:.0f} °C")
    elif data.match is not None and data.match.air_degC is not None:
        cold = data.match.air_degC < data.settings.cold_pack_degC
        evidence.append(f"the air was {data.match.air_degC:.0f} °C; the pack's own temperature was not logged")
    else:
        evidence.append("the pack's temperature was not logged")
    both = cold is not False
    start, end = _span(data)
    return Finding(
        kind="voltage_sag",
        cause="cold_pack" if cold else "ageing",
        part="pack",
        channel="pack_voltage_V",
        start_s=start,
        end_s=end,
        measured=one.value,
        low=one.low,
        high=one.high,
        unit="mohm",
        verdict="note",
        confidence="possible" if both else "likely",
        limit=pack.resistance_mohm,
        could_be=("cold_pack", "ageing") if both else (),
        evidence=tuple(evidence),
        rating_source=f"{pack.source_name or 'pack'} resistance_mohm",
        check="pack_resistance",
        occurrences=(Occurrence(start, end, one.value),),
        facts={"per_cell_mohm": one.value / pack.cells},
    )
