"""A match of the simulated robot as MatchData, and the same match with another build, for tests of the replay.

The simulation knows nothing of the analysis: it steps motors, cells and wires 1000 times a second.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.match_data import MatchData, Window
from analysis.settings import DEFAULTS
from analysis.signal import Signal, signal
from ingest.align import PlacedLog
from ingest.builds import Build, Pack, build_of
from ingest.description import parse_document
from ingest.log import Log, Provenance
from ingest.packs import pack_of
from sample_data import BUILDS, PACKS, Plants, Truth, fight, simulate
from sample_data.descriptions import build_toml, pack_toml
from sample_data.parts import BuildSpec, PackSpec
from sample_data.script import Script

EVERY = 10  # 1 kHz to 100 Hz
PLACED = PlacedLog(Log((), Provenance("simulated", "0" * 64, "simulated")), how="the match clock")


def script(seed: int, length_s: float = 45.0) -> Script:
    return fight(seed, length_s, intensity=1.3, countdown_end_s=14.0, tail_s=6.0)


def run(
    build: BuildSpec, pack: PackSpec, plan: Script, plants: Plants | None = None, held_V: float | None = None
) -> Truth:
    return simulate(build, pack, plan, plants or Plants(), air_degC=20.0, seed=1, held_V=held_V)


def described(build: BuildSpec, pack: PackSpec) -> tuple[Build, Pack]:
    made = build_of(parse_document(build_toml(build), file="b.toml"), "builds/b.toml")
    return made, pack_of(parse_document(pack_toml(pack), file="p.toml"), "packs/p.toml")


def logged(truth: Truth) -> MatchData:
    """What a logger of 100 Hz with fine steps would have left of it: nothing is clipped or skewed."""
    build, pack = described(truth.build, truth.pack)
    t = truth.t_s[::EVERY]
    signals: dict[str, Signal] = {}
    for name, values in truth.channels.items():
        if name in ("weapon_lead_drop_V", "receiver_supply_input_current_A", "distribution_voltage_V"):
            continue
        signals[name] = signal(name, t, values[: len(truth.t_s)][::EVERY], detector="instant")
    window = Window(truth.start_s, truth.end_s, "given")
    return MatchData(signals, dict.fromkeys(signals, 0), {}, (PLACED,), build, (pack,), None, DEFAULTS, window=window)


def lowest(truth: Truth, channel: str) -> float:
    inside = (truth.t_s >= truth.start_s) & (truth.t_s <= truth.end_s)
    return float(np.min(truth.channels[channel][inside]))


def gauge(build: BuildSpec, run_id: str, awg: int, length_mm: float | None = None) -> BuildSpec:
    runs = tuple(replace(r, awg=awg, length_mm=length_mm or r.length_mm) if r.id == run_id else r for r in build.runs)
    return replace(build, runs=runs)


__all__ = ["BUILDS", "PACKS", "described", "gauge", "logged", "lowest", "run", "script"]
