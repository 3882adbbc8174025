"""Why a pack sags: one cell, cold, age, not charged, used up.

Cold and age both raise the resistance of every cell; one match cannot tell them apart, and both are then named.
"""

from __future__ import annotations

from analysis.findings import Finding, Occurrence
from analysis.match_data import MatchData
from analysis.outcome import Outcome
from analysis.pack_check import capacity_Ah, pack_fit
from analysis.pack_model import NotFitted, PackFit, fit_cells
from analysis.signal import Measured

# Resistance of a lithium-polymer cell at 8 degC against 25 degC: 1.3 to 1.8 times (memory), so a rise of this
# much is worth a word at all.
NOTABLE_RATIO = 1.15


def detect(data: MatchData, checked: Outcome) -> list[Finding]:
    found: list[Finding] = []
    weak = weak_cell(data)
    if weak is not None:
        found.append(weak)
    raised = raised_resistance(data)
    if raised is not None:
        found.append(raised)
    start = not_full(data, checked)
    if start is not None:
        found.append(start)
    return found


def _span(data: MatchData) -> tuple[float, float]:
    return (data.window.start_s, data.window.end_s) if data.window is not None else (0.0, 0.0)


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
            f"{fits.excess_mohm.low:.1f} to {fits.excess_mohm.high:.1f} mΩ more than the others",
        ),
        rating_source="the other cells of the same pack",
        check="cell_resistance",
        occurrences=(Occurrence(start, end, figure.value),),
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
    if fits is not None and fits.weak:
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


def not_full(data: MatchData, checked: Outcome) -> Finding | None:
    """The pack rested clearly under its full voltage before the match."""
    state = data.memo.get("charge_state")
    pack = data.pack
    if state is None or isinstance(state.start_pct, NotFitted) or state.start_cell_V is None or pack is None:
        return None
    rest: Measured = state.start_cell_V
    full = pack.full_cell_V
    if full is None or rest.high >= data.settings.not_full_cell_V:
        return None
    start, _ = _span(data)
    return Finding(
        kind="voltage_sag",
        cause="not_full",
        part="pack",
        channel="pack_voltage_V",
        start_s=start,
        end_s=start,
        measured=rest.value * pack.cells,
        low=rest.low * pack.cells,
        high=rest.high * pack.cells,
        unit="V",
        verdict="note",
        confidence="likely",
        limit=full * pack.cells,
        evidence=(f"{rest.value:.2f} V a cell at rest before the match: about {state.start_pct.value:.0f} % charged",),
        rating_source=f"full voltage of {pack.chemistry}",
        check="charge_at_start",
    )
