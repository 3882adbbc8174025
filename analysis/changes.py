"""KEY=VALUE into a changed build and pack: `wire.battery_lead.gauge=10 AWG`, `pack=p3`, `pack.parallel=2`.

A key is a path in the build or pack file. Five forms are no line of a file but what a builder does:
`wire.<id>.joints = remade` (every joint of the run as good as new), `contact.<id> = removed`, `pack = <id>` (another
pack of the season), `pack.condition = sound` (one of the same kind that is as its file states) and
`pack.start_pct = 100` (charged to that before the match). What is not there, or cannot be, is a DescriptionError
that names the key, what was found and the mend.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError

from analysis.change_notes import beyond_sense
from analysis.masses import contact_g, wire_g
from ingest.build_checks import build_complaints
from ingest.builds import Build, Pack, Part, fits
from ingest.description_words import complaint_text, key_mend
from ingest.errors import DescriptionError, nearest
from ingest.toml_lines import refuse_deep_keys

FILE = "--set"
_LISTS = {
    "wire": "wires", "contact": "contacts", "fuse": "fuses", "controller": "controllers", "motor": "motors",
    "regulator": "regulators",
}  # fmt: skip
# What hangs on what is another wiring: a file of its own, not one changed figure.
_WIRING_KEYS = {"id", "from", "to", "through", "wire", "controller", "supplies", "conductors", "motor_type", "count"}
_TEXT_KEYS = {
    "gauge",
    "insulation",
    "laid",
    "kind",
    "rating_basis",
    "motor_current_is",
    "insulation_class",
    "chemistry",
}
_OTHER_MACHINE = {"kv_rpm_per_V", "winding_mohm", "pole_pairs"}


@dataclass(frozen=True)
class Changes:
    """A changed build and pack, and what no file says.

    texts     each change as KEY = VALUE, in the order given
    keys      the first two parts of each key: ("wire", "battery_lead"), ("pack", "parallel")
    remade    runs whose joints are remade; removed: contacts taken out
    start_pct the charge to which the pack is filled before the match, None: as it was
    other     True where another physical pack is fitted: its cells are then taken as alike
    adds_g    grams added; None where a mass is not known, and unweighed says whose
    """

    build: Build
    pack: Pack | None
    texts: tuple[str, ...]
    keys: tuple[tuple[str, str], ...]
    remade: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    start_pct: float | None = None
    other: bool = False
    adds_g: float | None = 0.0
    unweighed: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        return "; ".join(self.texts)

    def as_dict(self) -> dict[str, str]:
        return dict(text.split(" = ", 1) for text in self.texts)


@dataclass
class _Draft:
    build: Build
    pack: Pack | None
    packs: Mapping[str, Pack]
    remade: list[str]
    removed: list[str]
    start_pct: float | None = None
    other: bool = False


def parse_pair(text: str) -> tuple[str, str]:
    """("wire.x.gauge", "10 AWG") from `wire.x.gauge=10 AWG`."""
    key, equals, value = text.partition("=")
    if not equals or not key.strip() or not value.strip():
        raise _wrong(text, "is not KEY=VALUE", mend='Write for example --set "wire.battery_lead.gauge=10 AWG".')
    return key.strip(), value.strip()


def changed(
    build: Build, pack: Pack | None, sets: Sequence[str | tuple[str, Any]], packs: Mapping[str, Pack] | None = None
) -> Changes:
    """The build and pack with every change made, in order. packs: the others of the season, by id.

    Raises DescriptionError for a key or value that cannot be.
    """
    draft = _Draft(build, pack, packs or {}, [], [])
    texts: list[str] = []
    keys: list[tuple[str, str]] = []
    seen: set[str] = set()
    for item in sets:
        key, value = parse_pair(item) if isinstance(item, str) else item
        if key in seen:
            raise _wrong(key, "is set twice", value, mend="Keep one.")
        seen.add(key)
        _set(draft, key, value)
        texts.append(f"{key} = {value if isinstance(value, str) else f'{value:g}'}")
        parts = key.split(".")
        keys.append((parts[0], parts[1] if len(parts) > 1 else ""))
    if draft.pack is not None and pack is not None and draft.pack.parallel != pack.parallel:
        draft.pack = _in_parallel(pack, draft.pack, seen)
    for complaint in build_complaints(draft.build, lambda path: path):
        raise _wrong(texts[-1], complaint.what, complaint.found, complaint.expected, complaint.mend)
    adds, unweighed = _added_g(build, pack, draft)
    return Changes(
        draft.build, draft.pack, tuple(texts), tuple(keys), tuple(draft.remade), tuple(draft.removed),
        draft.start_pct, draft.other, adds, unweighed,
    )  # fmt: skip


def _set(draft: _Draft, key: str, value: Any) -> None:
    head, _, rest = key.partition(".")
    if head == "pack":
        _set_pack(draft, key, rest, value)
    elif head in ("build", "receiver"):
        if not rest or "." in rest or (head == "build" and rest in ("id", "robot", "summary")):
            raise _wrong(key, "is not a figure of the build", mend="For example receiver.minimum_V.")
        part = draft.build.build if head == "build" else draft.build.receiver
        draft.build = draft.build.model_copy(update={head: _with(part, key, rest, value)})
    elif head in _LISTS:
        _set_part(draft, key, head, rest, value)
    else:
        raise _wrong(key, f'there is no "{head}"', mend=nearest(head, [*_LISTS, "pack", "receiver", "build"]))


def _set_part(draft: _Draft, key: str, kind: str, rest: str, value: Any) -> None:
    part_id, _, field = rest.partition(".")
    parts = {part.id: part for part in getattr(draft.build, _LISTS[kind])}
    if part_id not in parts:
        other = draft.build.part_kinds().get(part_id)
        mend = f"It is a {other}: write {other}.{part_id}." if other in _LISTS else nearest(part_id, parts)
        raise _wrong(key, f'build {draft.build.id} has no {kind} "{part_id}"', mend=mend)
    if kind == "contact" and not field:
        _remove(draft, key, part_id, value)
        return
    if kind == "wire" and field == "joints":
        if value != "remade":
            raise _wrong(key, "can only be remade", value, '"remade"')
        draft.remade.append(part_id)
        return
    if field in _WIRING_KEYS:
        mend = "Copy the build file, change the wiring there, and check it with: afterbout check BUILD.toml"
        raise _wrong(key, "is another wiring, not another figure", value, mend=mend)
    if kind == "motor" and field in _OTHER_MACHINE:
        mend = "Log a match with the other motor. The gear ratio can be changed here."
        raise _wrong(key, "is another motor: what it would have drawn the log cannot tell", value, mend=mend)
    old = parts[part_id]
    new = _with(old, key, field, value)
    if kind == "wire" and field in ("gauge", "area_mm2"):
        # One of the two states the copper, and a measured resistance was that of the old one.
        new = new.model_copy(update={"area_mm2" if field == "gauge" else "gauge": None, "resistance_mohm_per_m": None})
    made = tuple(new if part.id == part_id else part for part in getattr(draft.build, _LISTS[kind]))
    draft.build = draft.build.model_copy(update={_LISTS[kind]: made})


def _remove(draft: _Draft, key: str, contact_id: str, value: Any) -> None:
    contact = next(c for c in draft.build.contacts if c.id == contact_id)
    if value != "removed":
        raise _wrong(key, "can only be removed; otherwise name a key of it", value, mend=f"{key}.resistance_mohm=…")
    if contact.kind == "disconnect":
        mend = "Fit a better one: " + key + ".resistance_mohm=…"
        raise _wrong(key, "the main disconnect is not taken out or bypassed", value, mend=mend)
    wires = tuple(
        w.model_copy(update={"through": tuple(c for c in w.through if c != contact_id)}) for w in draft.build.wires
    )
    left = tuple(c for c in draft.build.contacts if c.id != contact_id)
    draft.build = draft.build.model_copy(update={"wires": wires, "contacts": left})
    draft.removed.append(contact_id)


def _set_pack(draft: _Draft, key: str, field: str, value: Any) -> None:
    if not field:
        if value not in draft.packs:
            mend = nearest(str(value), draft.packs) if draft.packs else "Name the season, or give --pack another file."
            raise _wrong(key, f'there is no pack "{value}"', mend=mend)
        if draft.pack is None or draft.pack.id != value:  # the very pack that was fitted is no change
            draft.other, draft.pack = True, draft.packs[value]
        return
    if draft.pack is None:
        raise _wrong(key, "no pack is named for this match", mend="Name the pack of the match, or give --pack.")
    if field == "start_pct":
        number = _value(value)
        if isinstance(number, bool) or not isinstance(number, int | float) or not 0 < number <= 100:
            raise _wrong(key, "is not a charge", value, "a number above 0 and at most 100")
        draft.start_pct = float(number)
        return
    if field == "condition":
        if value != "sound":
            raise _wrong(key, "can only be sound: a pack as its file states it", value, '"sound"')
        draft.other = True
        return
    if field in ("id", "measured", "source_name", "in_service"):
        raise _wrong(key, "cannot be changed here", value, mend="Write another pack file and name it: pack=<id>.")
    draft.pack = _with(draft.pack, key, field, value)


def _in_parallel(old: Pack, new: Pack, seen: set[str]) -> Pack:
    """Alike packs at equal volts side by side: the figures of the whole pack follow, unless they are set too."""
    times = new.parallel / old.parallel
    scaled: dict[str, Any] = {}
    for name, power in (("capacity_Ah", 1), ("mass_g", 1), ("resistance_mohm", -1)):
        value = getattr(new, name)
        if value is not None and f"pack.{name}" not in seen:
            scaled[name] = value * times**power
    return new.model_copy(update=scaled)


def _with(part: Part, key: str, field: str, value: Any) -> Any:
    """The part with one key changed, checked as its file is."""
    model = type(part)
    known = [f.alias or n for n, f in model.model_fields.items() if n not in ("source_name",)]
    if field not in known:
        what = f'"{field}" is not a key of it' if field else "names a part, not a figure of it"
        mend = key_mend(field, known) if field else f"Write {key}.{known[1]}=…"
        raise _wrong(key, what, mend=mend)
    plain = json.loads(part.model_dump_json(by_alias=True))
    plain[field] = str(value) if field in _TEXT_KEYS else _value(value)
    found = plain[field]
    sense = beyond_sense(field, found)
    if sense:
        raise _wrong(key, "is no figure of a robot", found, sense, "Look at the unit that the key ends in.")
    plain = {name: entry for name, entry in plain.items() if entry is not None and entry != "unknown"}
    return _checked(model, plain, key, found)


def _checked(model: type[BaseModel], plain: dict[str, Any], key: str, found: Any) -> Any:
    try:
        return model.model_validate_json(json.dumps(plain), strict=True)
    except ValidationError as error:
        what, expected, mend = complaint_text(error.errors()[0], key.rpartition(".")[2], found)
        raise _wrong(key, what, found, expected, mend) from None


def _value(text: Any) -> Any:
    """A TOML value where it is one, else the text itself: 12 AWG needs no quotes here."""
    if not isinstance(text, str):
        return text
    try:
        refuse_deep_keys(text)
        return tomllib.loads(f"v = {text}\n")["v"]
    except (ValueError, RecursionError):  # no TOML, nested too deeply, or a number of thousands of digits
        return text


def misfit(build: Build, pack: Pack | None) -> str:
    """What else would have to change for this pack in this build; empty where it fits."""
    if pack is None or pack.cells == build.cells:
        return ""
    against = fits(build, pack)
    full = (pack.full_cell_V or 4.2) * pack.cells
    also = [f"{c.id}.cutoff_V ({c.cutoff_V:g} V)" for c in build.controllers if c.cutoff_V is not None]
    also += [f"{m.id}: its speed goes with the volts" for m in build.motors]
    also += [
        f"{r.id} (needs {r.minimum_input_V:g} V)"
        for r in build.regulators
        if r.minimum_input_V is not None and r.minimum_input_V > 3.0 * pack.cells
    ]
    return (
        f"{against[0]}: full it has {full:.1f} V, so the match cannot be replayed with it. "
        f"Would have to change too: cells of the build, {', '.join(also) or 'its controllers'}"
        + (f"; {'; '.join(against[1:])}" if against[1:] else "")
    )


def _added_g(build: Build, pack: Pack | None, draft: _Draft) -> tuple[float | None, tuple[str, ...]]:
    total, unweighed = 0.0, []
    old_wires = {w.id: w for w in build.wires}
    for wire in draft.build.wires:
        old = old_wires[wire.id]
        if wire == old:
            continue
        before, after = wire_g(old), wire_g(wire)
        if before is None or after is None:
            unweighed.append(wire.id)
        else:
            total += after - before
    old_contacts = {c.id: c for c in build.contacts}
    new_contacts = {c.id: c for c in draft.build.contacts}
    for contact_id, contact in old_contacts.items():
        replaced = new_contacts.get(contact_id)
        if replaced == contact:
            continue
        before, after = contact_g(contact), 0.0 if replaced is None else contact_g(replaced)
        if before is None or after is None:
            unweighed.append(contact_id)
        else:
            total += after - before
    if draft.pack is not None and pack is not None and draft.pack != pack:
        if draft.pack.mass_g is None or pack.mass_g is None:
            unweighed.append("pack")
        else:
            total += draft.pack.mass_g - pack.mass_g
    return (None if unweighed else total), tuple(unweighed)


def _wrong(key: str, what: str, found: object = None, expected: str | None = None, mend: str = "") -> DescriptionError:
    return DescriptionError(what, file=FILE, column=key, found=found, expected=expected, mend=mend)
