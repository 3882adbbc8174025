"""A robot with a pack for the drive and one for the weapon: trees of their own, each checked as a robot of one pack.

Every tree becomes a match of its own with that pack's channels (`p5_voltage_V`) as the pack's; the rows are then
named after the pack again. Packs joined in series or parallel into one supply are no separate trees.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from analysis.findings import Estimate, Finding, NotChecked, Passed
from analysis.match_data import MatchData
from analysis.outcome import Outcome, Row
from analysis.signal import Signal
from analysis.wiring import tree
from ingest.builds import Build, Pack, PackSlot


def separate(data: MatchData) -> list[tuple[str, MatchData]]:
    """(name of its pack, that tree as a match) for each tree; empty where one supply feeds the robot."""
    build = data.build
    return [] if build is None else [_tree(data, build, slot, alone) for slot, alone in trees_of(build)]


def trees_of(build: Build) -> list[tuple[PackSlot, Build]]:
    """Each pack with the build as it sees it; empty where one supply feeds the robot."""
    if len(build.packs) < 2 or any(slot.join is not None for slot in build.packs):
        return []
    if not all(any(wire.from_ == slot.id for wire in build.wires) for slot in build.packs):
        return []
    return [(slot, _part(build, slot)) for slot in build.packs]


def _tree(data: MatchData, build: Build, slot: PackSlot, part: Build) -> tuple[str, MatchData]:
    packs = _fitted(data, slot)
    name = packs[0].id if len(packs) == 1 else slot.id
    others = {f"{p.id}_" for p in data.packs if p.id != name} | {f"{s.id}_" for s in build.packs if s.id != slot.id}
    signals: dict[str, Signal] = {}
    for channel, signal in data.signals.items():
        own = next((p for p in (f"{slot.id}_", f"{name}_") if channel.startswith(p)), None)
        if own is not None:
            rest = channel.removeprefix(own)
            plain = rest if rest.startswith("cell") else f"pack_{rest}"
            signals[plain] = replace(signal, channel=plain)
        elif not any(channel.startswith(other) for other in others):
            signals[channel] = signal
    alone = replace(data, signals=signals, build=part, packs=packs, _inside={}, memo={})
    return name, alone


def _fitted(data: MatchData, slot: PackSlot) -> tuple[Pack, ...]:
    named = data.match.packs.get(slot.id or "", ()) if data.match is not None else ()
    ids = (named,) if isinstance(named, str) else tuple(named)
    return tuple(pack for pack in data.packs if pack.id in ids)


def _part(build: Build, slot: PackSlot) -> Build:
    """The build as this pack sees it: its runs from "pack", and only what hangs on them."""
    wiring = tree(build)
    mine = {run for root in wiring.roots if wiring.runs[root].wire.from_ == slot.id for run in wiring.below(root)}
    wires = tuple(
        w.model_copy(update={"from_": "pack"}) if w.from_ == slot.id else w for w in build.wires if w.id in mine
    )
    nodes = {w.from_ for w in wires} | {w.to for w in wires}
    inside = {c for w in wires for c in w.through}
    controllers = tuple(c for c in build.controllers if c.id in nodes)
    ends = {c.id for c in controllers}
    return build.model_copy(
        update={
            "packs": (slot.model_copy(update={"id": "pack"}),),
            "wires": wires,
            "contacts": tuple(c for c in build.contacts if c.id in inside),
            "fuses": tuple(f for f in build.fuses if f.wire in mine),
            "controllers": controllers,
            "motors": tuple(m for m in build.motors if m.controller in ends),
            "regulators": tuple(r for r in build.regulators if r.from_ in nodes or r.id in nodes),
        }
    )


def checked_apart(trees: Iterable[tuple[str, MatchData]], check: Callable[[MatchData], Outcome]) -> Outcome:
    """One outcome of all trees: the rows of each named after its pack; what two trees answer stands once."""
    rows: dict[tuple[str, str, str], Row] = {}
    curves: dict[str, object] = {}
    for name, data in trees:
        found = check(data)
        for row in found.rows:
            named = _named(row, name)
            key = (*_key(named), named.unit if isinstance(named, Finding) else "")
            known = rows.get(key)
            if known is None or (isinstance(known, NotChecked) and not isinstance(named, NotChecked)):
                rows[key] = named
        curves |= {_words(key, name): value for key, value in found.curves.items()}
    answered = {_key(row) for row in rows.values() if not isinstance(row, NotChecked)}
    return Outcome(
        tuple(r for r in rows.values() if not isinstance(r, NotChecked) or _key(r) not in answered), dict(curves)
    )


def _key(row: Row) -> tuple[str, str]:
    if isinstance(row, Estimate):
        return row.name, row.part
    return (row.check or row.kind, row.part) if isinstance(row, Finding) else (row.check, row.part)


def _words(text: str, name: str) -> str:
    return text.replace("pack_", f"{name}_")


def _named(row: Row, name: str) -> Row:
    part = name if row.part == "pack" else row.part
    if isinstance(row, NotChecked):
        return replace(row, part=part, reason=_words(row.reason, name), mend=_words(row.mend, name))
    if isinstance(row, Finding):
        return replace(row, part=part, channel=None if row.channel is None else _words(row.channel, name))
    if isinstance(row, Passed):
        return replace(row, part=part)
    return replace(row, part=part)


def put_back(whole: MatchData, name: str, alone: MatchData, slot_id: str) -> dict[str, Signal]:
    """The signals of the whole match with those of one tree in their places, under their own names again."""
    signals = dict(whole.signals)
    for channel in whole.signals:
        own = next((p for p in (f"{slot_id}_", f"{name}_") if channel.startswith(p)), None)
        rest = channel if own is None else channel.removeprefix(own)
        plain = rest if own is None or rest.startswith("cell") else f"pack_{rest}"
        changed = alone.signals.get(plain)
        if changed is not None:
            signals[channel] = replace(changed, channel=channel)
    return signals
