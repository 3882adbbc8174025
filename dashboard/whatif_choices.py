"""What can be tried on a match with the steppers: gauge and joints of each run, the pack, current limits.

A choice is a row of values in order; None stands for what was recorded. What is chosen travels in the address as
KEY=VALUE, the same words that `afterbout whatif --set` takes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import parse_qs, urlencode

from analysis.candidates.common import CONTACT, GEARS, JOINT, OPEN, PACK, PARALLEL_PACKS, SETTING, WIRE
from dashboard.page_words import figure, pack_words, part_name
from ingest.builds import Build, Controller, Pack, Wire
from ingest.tables.gauges import awg_area_mm2, parse_gauge

AWG = (26, 24, 22, 20, 18, 16, 14, 12, 10, 8, 6, 4)  # the sizes that silicone lead is sold in
MM2 = (0.25, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0)  # nominal areas of IEC 60228
FINE_A, FINE_BELOW_A, COARSE_A = 5.0, 60.0, 10.0  # steps of a limit (our choice)
LOWEST_SHARE = 0.3  # a limit under this share of the rating is no robot any more (our choice)
MOST_SETS = 40


@dataclass(frozen=True)
class Choice:
    """One stepper. values: (value or None as recorded, words), in the order of the steps; less and more name a step."""

    key: str
    part: str
    about: str
    values: tuple[tuple[str | None, str], ...]
    less: str
    more: str

    def at(self, sets: Mapping[str, str]) -> int:
        """Which value is chosen; a value that only the address knows counts as the recorded one."""
        chosen = sets.get(self.key)
        found = next((i for i, (value, _) in enumerate(self.values) if value == chosen), None)
        return found if found is not None else next(i for i, (value, _) in enumerate(self.values) if value is None)

    def words(self, sets: Mapping[str, str]) -> str:
        chosen = sets.get(self.key)
        known = {value for value, _ in self.values}
        return chosen if chosen is not None and chosen not in known else self.values[self.at(sets)][1]

    def stepped(self, sets: Mapping[str, str], way: int) -> dict[str, str]:
        """The sets after one step; unchanged at the end of the row."""
        at = self.at(sets) + (1 if way > 0 else -1)
        out = {key: value for key, value in sets.items() if key != self.key}
        value = self.values[min(max(at, 0), len(self.values) - 1)][0]
        return out if value is None else {**out, self.key: value}


def sets_of(search: str | None) -> dict[str, str]:
    """The changes that an address holds, in order; what is not KEY=VALUE is kept to be refused with its reason."""
    out: dict[str, str] = {}
    for text in parse_qs((search or "").lstrip("?")).get("set", [])[:MOST_SETS]:
        key, _, value = text.partition("=")
        out[key.strip()] = value.strip()
    return out


def search_of(sets: Mapping[str, str]) -> str:
    return "?" + urlencode([("set", f"{key}={value}") for key, value in sets.items()])


def choices(build: Build, pack: Pack | None, packs: Sequence[Pack]) -> list[Choice]:
    """Every stepper for a build and the pack fitted. packs: all of the season."""
    out = [choice for wire in build.wires if (choice := _gauge(wire)) is not None]
    joints = ((None, "as they were"), ("remade", "remade"))
    out += [
        Choice(f"wire.{wire.id}.joints", wire.id, "joints", joints, "as found", "remake")
        for wire in build.wires
        if wire.through or any(fuse.wire == wire.id for fuse in build.fuses)
    ]
    if pack is not None:
        row = tuple((None if p.id == pack.id else p.id, pack_words(p)) for p in packs)
        if len(row) > 1 and any(value is None for value, _ in row):
            out.append(Choice("pack", "pack", "which one", row, "previous", "next"))
        count, twice = pack.parallel, 2 * pack.parallel
        now = "one" if count == 1 else f"{count} in parallel"
        side = ((None, now), (str(twice), "two, side by side" if count == 1 else f"{twice} in parallel"))
        out.append(Choice("pack.parallel", "pack", "how many", side, "fewer", "more"))
    return out + [choice for c in build.controllers if (choice := _limit(c)) is not None]


def _gauge(wire: Wire) -> Choice | None:
    if wire.gauge is None and wire.area_mm2 is None:
        return None
    area = wire.area_mm2 if wire.area_mm2 is not None else parse_gauge(wire.gauge or "")
    key = f"wire.{wire.id}.gauge"
    if wire.gauge is None or "AWG" not in wire.gauge.upper():
        own = wire.gauge.replace("mm2", "mm²") if wire.gauge else f"{area:g} mm²"
        sizes = [(size, f"{size:g} mm2", f"{size:g} mm²") for size in MM2]
    else:
        own = wire.gauge
        sizes = [(awg_area_mm2(size), f"{size} AWG", f"{size} AWG") for size in AWG]
    rows = [(size, value, words) for size, value, words in sizes if words != own and value != own]
    near = sorted([*rows, (area, None, own)], key=lambda row: row[0])
    return Choice(key, wire.id, "gauge", tuple((value, words) for _, value, words in near), "thinner", "heavier")


def _limit(controller: Controller) -> Choice | None:
    own = controller.current_limit_A
    top = max((a for a in (own, controller.burst_A, controller.continuous_A) if a is not None), default=None)
    if top is None:
        return None
    step = FINE_A if top < FINE_BELOW_A else COARSE_A
    count = int(top / step)
    amps = [step * i for i in range(1, count + 1) if step * i >= LOWEST_SHARE * top and step * i != own]
    row: list[tuple[str | None, str]] = [(f"{a:g}", figure(a, "A")) for a in amps]
    if own is None:
        row.append((None, "none stated"))
    else:
        row.insert(sum(1 for a in amps if a < own), (None, figure(own, "A")))
    key = f"controller.{controller.id}.current_limit_A"
    return Choice(key, controller.id, "current limit", tuple(row), "lower", "higher")


def minutes_for(sets: Mapping[str, str], build: Build) -> float:
    """About how long these changes take in the pit, from the same figures as the advice."""
    wires = {key.split(".")[1] for key in sets if key.startswith("wire.") and not key.endswith(".joints")}
    remade = {key.split(".")[1] for key in sets if key.endswith(".joints")} - wires
    joints = sum(max(1, len(wire.through)) for wire in build.wires if wire.id in remade)
    contacts = sum(1 for key in sets if key.startswith("contact."))
    total = WIRE * len(wires) + JOINT * joints + CONTACT * contacts
    total += OPEN if total else 0.0
    if "pack.parallel" in sets:
        total += PARALLEL_PACKS
    elif any(key.partition(".")[0] == "pack" for key in sets):
        total += PACK
    total += SETTING if any(key.startswith("controller.") for key in sets) else 0.0
    return total + (GEARS if any(key.startswith("motor.") for key in sets) else 0.0)


def said(keys: Mapping[str, str]) -> str:
    """The changes in words: "Battery lead gauge 10 AWG, pack p3"."""
    out = []
    for key, value in keys.items():
        parts = key.split(".")
        what = " ".join(parts[2:]).removesuffix("_A").replace("_", " ")
        name = part_name(parts[1]) if len(parts) > 2 else part_name(parts[-1])
        unit = " A" if key.endswith("_A") else ""
        out.append(f"{name} {what} {value}{unit}".replace("  ", " "))
    return ", ".join(out)
