"""Reuse, watch or retire: one pack after one match, with the figures that decide it and what would change it.

"Reuse" means only that the log holds nothing against it: no log sees a crushed cell.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analysis.findings import Estimate, Finding, Review
from analysis.match_data import MatchData
from analysis.pack_check import RETIRE_RATIO
from ingest.builds import Match

Word = Literal["reuse", "watch", "retire", "not checked"]

WATCH_RATIO = 1.4  # our choice: half way to the figure at which robots' packs are retired (twice, common practice)
SUSPECT_CELL_V = 3.0  # general practice: a cell taken below this is suspect
DEEP_SHARE = 0.8  # general practice: beyond four fifths of its capacity a pack wears quickly
# What a person may have noted about the pack, in the quantity of [[noted]] or in the match's notes.
SEEN_BAD = (
    "puffed",
    "puffy",
    "swollen",
    "bloated",
    "punctured",
    "pierced",
    "crushed",
    "dented",
    "pack hit",
    "pack was hit",
    "hit the pack",
    "hit on the pack",
    "leaking",
    "smoke",
    "smoking",
    "squashed",
    "torn",
    "burnt",
)
NOTED_BAD = (*SEEN_BAD, "hit", "damaged", "hole", "dent", "puff")
# Wider than this share of its own figure an interval cannot vouch for a resistance (our choice).
TELLING_SHARE = 0.5
# No pack gets better: under this share of what it had when new it is another one (our choice; warmth takes a fifth).
LOW_RATIO = 0.7


@dataclass(frozen=True)
class PackVerdict:
    """word, the reasons with their figures, what would change it; no_charge: why no charge time may be given."""

    pack: str
    word: Word
    reasons: tuple[str, ...]
    would_change: str
    no_charge: tuple[str, ...] = ()


def pack_verdict(data: MatchData, review: Review) -> PackVerdict:
    """The verdict on the pack of one match."""
    pack = data.pack
    name = pack.id if pack is not None else "pack"
    rows = {e.name: e for e in review.estimates if e.part == "pack" or e.name == "cell_minimum_V"}
    retire = [*seen_bad(data.match), *_retire(data, review, rows)]
    no_charge = [*seen_bad(data.match), *_deep(data, rows), *_too_hot(review)]
    if retire:
        return PackVerdict(name, "retire", tuple(retire), "Nothing in the pit: measure it at home.", tuple(no_charge))
    watch = [*_deep(data, rows), *_watch(data, review, rows)]
    if watch:
        mend = "One more match at room temperature from full, with its cells logged, would tell."
        return PackVerdict(name, "watch", tuple(watch), mend, tuple(no_charge))
    if "pack_resistance_1s_mohm" not in rows:
        why = next(
            (n.reason for n in review.not_checked if n.check == "pack_resistance"), "its resistance is not known"
        )
        return PackVerdict(
            name, "not checked", (why,), "Log pack current and voltage at 10 Hz or more.", tuple(no_charge)
        )
    one = rows["pack_resistance_1s_mohm"]
    stated = pack.resistance_mohm if pack is not None else None
    spread = f"({one.low:.1f} to {one.high:.1f})"
    if one.high - one.low > 2.0 * TELLING_SHARE * (stated or one.value):
        why = f"its resistance at 1 s is known only as {one.low:.1f} to {one.high:.1f} mΩ: too wide to tell"
        return PackVerdict(
            name, "not checked", (why,), "Log pack current and voltage at 10 Hz or more.", tuple(no_charge)
        )
    if stated is not None and one.high < LOW_RATIO * stated:
        why = f"{one.value:.1f} mΩ at 1 s, new it had {stated:g} mΩ: another pack, or a sensor that reads wrong"
        return PackVerdict(name, "not checked", (why,), "Look at which pack was fitted.", tuple(no_charge))
    good = [f"{one.value:.1f} mΩ at 1 s {spread}"]
    if stated is None:
        cells = any(p.check == "cell_resistance" for p in review.passed)
        good.append("what it had when new is not stated" + (": only its cells were compared" if cells else ""))
        mend = "State resistance_mohm of the pack as it was when new: then it is held against that."
        return PackVerdict(name, "watch", tuple(good), mend, tuple(no_charge))
    good.append(f"new it had {stated:g} mΩ")
    return PackVerdict(name, "reuse", tuple(good), "A hit, a puff or a cell that rests apart from the others.", ())


def seen_bad(match: Match | None) -> list[str]:
    """What a person saw: the log cannot."""
    if match is None:
        return []
    found = [
        f"noted by hand: {n.quantity}" for n in match.noted if n.part == "pack" and n.quantity in NOTED_BAD and n.value
    ]
    text = match.notes.lower()
    return found + [f'the notes say "{word}"' for word in SEEN_BAD if word in text]


def _retire(data: MatchData, review: Review, rows: dict[str, Estimate]) -> list[str]:
    found = [
        f"cell {f.part[4:]} has {f.measured:.1f} mΩ, the others about {f.limit:.1f}"
        for f in review.findings
        if f.check == "cell_resistance" and f.cause == "weak_cell" and f.measured is not None and f.limit is not None
    ]
    ratio = _ratio(data, rows)
    if ratio is not None and ratio >= RETIRE_RATIO:
        found.append(f"{ratio:.1f} times the resistance it had when new")
    return found


def _ratio(data: MatchData, rows: dict[str, Estimate]) -> float | None:
    one = rows.get("pack_resistance_1s_mohm")
    stated = data.pack.resistance_mohm if data.pack is not None else None
    return None if one is None or stated is None else one.value / stated


def _deep(data: MatchData, rows: dict[str, Estimate]) -> list[str]:
    cell, whole = rows.get("cell_minimum_V"), rows.get("pack_minimum_V")
    suspect = f"under {SUSPECT_CELL_V:.1f} V a cell is suspect"
    if cell is not None and cell.value < SUSPECT_CELL_V:
        return [f"{cell.part.replace('cell', 'cell ')} was down to {cell.value:.2f} V; {suspect}"]
    if whole is not None and data.cells and whole.value / data.cells < SUSPECT_CELL_V:
        return [f"down to {whole.value / data.cells:.2f} V a cell; {suspect}"]
    return []


def _too_hot(review: Review) -> list[str]:
    """A pack past its own temperature is watched outside the building, not charged."""
    return [
        f"it reached {f.measured:.0f} °C; its limit is {f.limit:.0f} °C"
        for f in review.findings
        if f.check == "pack_temperature" and f.verdict == "over" and f.measured is not None and f.limit is not None
    ]


def _watch(data: MatchData, review: Review, rows: dict[str, Estimate]) -> list[str]:
    found = []
    for f in review.findings:
        if f.check == "pack_resistance" and f.measured is not None and f.limit is not None:
            both = {"cold_pack", "ageing"} <= set(f.could_be)
            found.append(f"{f.measured:.1f} mΩ against {f.limit:.1f} new" + (": cold or ageing" if both else ""))
        elif f.check in ("pack_temperature", "pack_sag", "cell_minimum", "pack_current") and _counts(f):
            found.append(f.sentence.rstrip(".") or f.check)
    ratio = _ratio(data, rows)
    if ratio is not None and ratio >= WATCH_RATIO and not any("new" in text for text in found):
        found.append(f"{ratio:.1f} times the resistance it had when new")
    used = rows.get("charge_used_Ah")
    capacity = data.pack.capacity_Ah if data.pack is not None else None
    if used is not None and capacity and used.value > DEEP_SHARE * capacity:
        found.append(f"{100 * used.value / capacity:.0f} % of its capacity was used")
    return found


def _counts(f: Finding) -> bool:
    return f.verdict in ("over", "close", "fault")
