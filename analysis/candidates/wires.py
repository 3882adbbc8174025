"""Thicker, doubled and remade: the wiring itself."""

from __future__ import annotations

from analysis.binned import Binned
from analysis.candidates.common import AIM, JOINT, LOW_VOLTS, OPEN, WIRE, Candidate
from analysis.findings import Finding
from analysis.match_data import MatchData
from analysis.ratings import OutsideValidity
from analysis.run_loads import loads
from analysis.taps import joints
from analysis.wire_heat import wire_heat
from analysis.wire_run import run_of_wire
from analysis.wiring import Tree
from ingest.builds import Wire
from ingest.tables.gauges import THICKEST_AWG, awg_area_mm2, awg_name


def joint_changes(data: MatchData, wiring: Tree, serious: list[Finding]) -> list[Candidate]:
    """Every joint of the runs where one stepped up: which it is cannot be told, so all of them."""
    found = []
    for step in joints(data).steps:
        runs = step.runs
        parts = tuple(dict.fromkeys(c.id for run in runs for c in wiring.runs[run].contacts)) or runs
        clears = tuple(
            f.id for f in serious
            if (f.check == "joint" and f.part in runs) or f.consequence_of or f.check in LOW_VOLTS
            or (f.check == "contact_temperature" and f.part in runs)
        )  # fmt: skip
        sets = tuple((f"wire.{run}.joints", "remade") for run in runs)
        found.append(
            Candidate(sets, "remake", parts, "", OPEN + JOINT * len(parts), clears, "crimps, solder, a spare plug")
        )
    return found


def of_a_joint(data: MatchData, f: Finding) -> bool:
    """Whether the voltage taps saw a bad joint in the run or contact of this finding."""
    return any(f.part in step.runs or f.part in step.candidates for step in joints(data).steps)


def opened(wiring: Tree, f: Finding) -> list[Candidate]:
    """Remaking what may have opened; not proved: the log ends where it did."""
    runs = tuple(run for run in wiring.runs if run in f.could_be or run == f.part)
    if not runs:
        return []
    parts = tuple(p for p in f.could_be if p not in runs) or runs
    why = (
        "what comes after the loss is not in the log"
        if f.check == "power"
        else "how it would have held is not in the log"
    )
    sets = tuple((f"wire.{run}.joints", "remade") for run in runs)
    return [
        Candidate(
            sets, "remake", parts, "", OPEN + JOINT * len(parts), (f.id,), "crimps, solder, a spare plug", why, 0.0
        )
    ]


def thicker(wire: Wire, steps: int = 4) -> list[str]:
    """The next AWG sizes above what the run has."""
    area = wire.copper_mm2
    if area is None:
        return []
    one = area / wire.parallel
    sizes = [n for n in range(THICKEST_AWG, 41) if awg_area_mm2(n) > one * 1.05 and (n % 2 == 0 or n < 0)]
    return [awg_name(n) for n in sorted(sizes, reverse=True)[:steps]]


def wire_changes(data: MatchData, wiring: Tree, hot: list[Finding]) -> list[Candidate]:
    """Thicker, doubled and shorter runs for every run that gets too warm, all heated in one call."""
    made = loads(data, wiring)
    tried: list[tuple[Finding, Candidate]] = []
    models, binned, limits = [], [], []
    for f in hot:
        load = made.get(f.part)
        wire = wiring.runs[f.part].wire if f.part in wiring.runs else None
        if wire is None or not isinstance(load, Binned) or f.limit is None:
            continue
        key, takes = f"wire.{wire.id}", OPEN + WIRE
        options: list[tuple[str, str, Wire]] = [
            ("gauge", name, wire.model_copy(update={"gauge": name, "area_mm2": None, "resistance_mohm_per_m": None}))
            for name in thicker(wire)
        ]
        options.append(("parallel", str(wire.parallel + 1), wire.model_copy(update={"parallel": wire.parallel + 1})))
        for field, value, new in options:
            try:
                models.append(run_of_wire(new))
            except OutsideValidity:
                continue
            binned.append(load)
            limits.append(f.limit)
            one = Candidate(((f"{key}.{field}", value),), field, (wire.id,), value, takes, (f.id,), f"{value} wire")
            tried.append((f, one))
    if not models:
        return []
    air = data.air_degC[0]
    try:
        heats = wire_heat(models, binned, air, air_uncertainty_K=data.air_degC[1])
    except OutsideValidity:
        return []
    room = 1.0 - AIM * data.settings.close_margin_pct / 100.0
    good: dict[tuple[str, str], Candidate] = {}
    for (f, one), heat, limit in zip(tried, heats, limits, strict=True):
        fits = heat.peak.value <= air + room * (limit - air) and heat.peak.high < limit
        if fits:  # the lightest of each kind that does it, and no more
            good.setdefault((f.id, one.action), one)
    return list(good.values()) or [one for _, one in tried[-2:]]
