"""Currents under each other's name: a channel that follows another part's commands and not those of its own.

What a motor draws is a function of what it was told and how fast it turned. So each current is foretold from the duty,
command and speed of every part in turn, block by block of the match from the rest of it. A channel that its own part
does not foretell and another does, while that other's own channel is not foretold either, stands under a wrong name:
two plugs, two columns or two lines of a reading file were exchanged. Which of the two nobody can prove: both are left
out. Two drives that were told the same all match long look alike, and so does their exchange: it is not seen, and the
figures then differ little.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from analysis.binned import bin_mean
from analysis.match_data import MatchData
from analysis.signal import Floats

TAILS: Final = ("input_current_A", "motor_current_A")
TOLD: Final = ("duty_pct", "command_pct", "speed_rpm")
BIN_S: Final = 0.2  # our choice: some times a motor's electrical time constant, and clocks off by 50 ms do not matter
# Our choices: some four times as many bins as columns; blocks that are longer than a push or a spin-up.
FEWEST_BINS: Final = 60
BLOCKS: Final = 5
RIDGE: Final = 1e-6  # our choice: only so that a command that stood still can be solved for
LEAST_A: Final = 0.5  # our choice: a current that varies less says nothing
# Shares of the variance that are foretold, our choices, made on the matches that docs/accuracy.md counts
# (benchmarks/exchanged_currents.py): none of their currents meets all three at once, most exchanges do.
FOLLOWS: Final = 0.6
BETTER: Final = 0.3
OWN: Final = 0.5


def mixed_up(data: MatchData) -> dict[str, str]:
    """Why, by channel, for every current that stands under another part's name. Needs duty, command or speed of both
    parts and FEWEST_BINS bins of a match in which both currents vary.
    """
    if data.build is None or data.window is None:
        return {}
    edges = np.arange(data.window.start_s, data.window.end_s, BIN_S)
    parts = [c.id for c in data.build.controllers]
    if len(edges) <= FEWEST_BINS or len(parts) < 2:
        return {}
    by_tail = {tail: [p for p in parts if f"{p}_{tail}" in data.signals] for tail in TAILS}
    if all(len(named) < 2 for named in by_tail.values()):
        return {}
    witnesses = {p: w for p in parts if (w := _witness(data, p, edges)) is not None}
    found: dict[str, str] = {}
    for tail, named in by_tail.items():
        shares: dict[tuple[str, str], float] = {}
        for part in [p for p in named if p in witnesses]:
            mean, count, _ = bin_mean(data.signals[f"{part}_{tail}"], edges)
            for other, (x, on) in witnesses.items():
                both = on & (count > 0)
                if int(both.sum()) > FEWEST_BINS and float(np.std(mean[both])) > LEAST_A:
                    shares[part, other] = _foretold(x[both], mean[both])
        for (part, other), share in shares.items():
            own, others = shares.get((part, part)), shares.get((other, other))
            if part == other or own is None or others is None:
                continue
            if share > FOLLOWS and own < share - BETTER and others < OWN:
                told = f"follows what {other} was told, not what {part} was"
                found[f"{part}_{tail}"] = f"{told}; perhaps that of {other} under a wrong name"
                told = f"does not follow what {other} was told; perhaps that of {part} under a wrong name"
                found.setdefault(f"{other}_{tail}", told)
    return found


def _witness(data: MatchData, part: str, edges: Floats) -> tuple[Floats, np.ndarray] | None:
    """(columns that a motor's current is a function of, which bins hold them); None where nothing was logged."""
    on = np.ones(len(edges) - 1, dtype=bool)
    scaled: dict[str, Floats] = {}
    for tail in TOLD:
        signal = data.signals.get(f"{part}_{tail}")
        if signal is not None:
            mean, count, _ = bin_mean(signal, edges)
            scaled[tail] = mean / (float(np.max(np.abs(mean))) or 1.0)
            on &= count > 0
    if not scaled:
        return None
    columns = [np.ones(len(on))]
    for z in scaled.values():
        slope = np.gradient(z)
        columns += [z, np.abs(z), z * z, slope, np.abs(slope), slope * z]
    if "speed_rpm" in scaled:
        columns += [scaled[tail] * scaled["speed_rpm"] for tail in TOLD[:2] if tail in scaled]
    return np.column_stack(columns), on


def _foretold(x: Floats, y: Floats) -> float:
    """Share of y's variance that x foretells, each block by a fit to the others (below 0: worse than y's mean)."""
    squares, products = [], []
    blocks = [slice(k * len(y) // BLOCKS, (k + 1) * len(y) // BLOCKS) for k in range(BLOCKS)]
    for block in blocks:
        squares.append(x[block].T @ x[block])
        products.append(x[block].T @ y[block])
    square, product = sum(squares), sum(products)
    rest = 0.0
    for k, block in enumerate(blocks):
        left = square - squares[k] + RIDGE * len(y) * np.eye(x.shape[1])
        rest += float(np.sum((y[block] - x[block] @ np.linalg.solve(left, product - products[k])) ** 2))
    return 1.0 - rest / float(np.sum((y - y.mean()) ** 2))
