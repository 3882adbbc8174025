"""What the search chooses between: one combination with its grams and its smallest margin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.masses import wire_g
from analysis.search_sizes import Sized
from analysis.wiring import Tree
from ingest.builds import Pack


@dataclass(frozen=True)
class RunChoice:
    """One run of the answer: its size, what it weighs, how warm it gets and what it may."""

    run: str
    gauge: str
    grams: float
    was: str
    was_grams: float | None
    peak_degC: float
    limit_degC: float


@dataclass(frozen=True)
class Option:
    """One combination. adds_g against the build as it is, pack included; margin_pct the smallest of all."""

    sets: tuple[tuple[str, str], ...]
    runs: tuple[RunChoice, ...]
    pack: str | None
    limit_A: float | None
    adds_g: float
    margin_pct: float


def option_of(
    fitted: Sequence[Pack | None],
    wiring: Tree,
    chosen: Sequence[Sized],
    margin: float,
    pack: Pack | None,
    cap: tuple[str, float] | None,
) -> Option:
    """The option that these sizes are. fitted: the pack of every match; pack None: each keeps its own."""
    sets: list[tuple[str, str]] = []
    rows = []
    adds = 0.0
    for one in chosen:
        old = wiring.runs[one.run].wire
        was = wire_g(old)
        rows.append(RunChoice(one.run, one.gauge, one.grams, old.gauge or "", was, one.peak_degC, one.limit_degC))
        if abs((one.wire.copper_mm2 or 0.0) - (old.copper_mm2 or 0.0)) > 0.01 * (old.copper_mm2 or 1.0):
            adds += one.grams - (was or 0.0)
            sets.append((f"wire.{one.run}.gauge", one.gauge))
            if old.parallel != 1:
                sets.append((f"wire.{one.run}.parallel", "1"))
    others = [p for p in fitted if pack is not None and p is not None and p.id != pack.id]
    if pack is not None and others:
        sets.append(("pack", pack.id))
        masses = [pack.mass_g - p.mass_g for p in others if pack.mass_g is not None and p.mass_g is not None]
        adds += max(masses, default=0.0)
    if cap is not None:
        sets.append((f"controller.{cap[0]}.current_limit_A", f"{cap[1]:g}"))
    return Option(
        tuple(sets), tuple(rows), None if pack is None else pack.id, None if cap is None else cap[1], adds, margin
    )


def pareto_of(options: Sequence[Option]) -> tuple[Option, ...]:
    """What no other option beats in both grams and margin, lightest first."""
    kept: list[Option] = []
    for option in sorted(options, key=lambda o: (o.adds_g, -o.margin_pct)):
        if not kept or option.margin_pct > kept[-1].margin_pct + 1e-9:
            kept.append(option)
    return tuple(kept)
