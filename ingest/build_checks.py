"""What must hold between the tables of a build file: ids, references, and a wiring tree without holes or loops."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from ingest.channels import RESERVED_PARTS, cell_number, parse_channel
from ingest.description import Complaint
from ingest.description_words import ID_RULE
from ingest.errors import nearest
from ingest.fields import ID_PATTERN
from ingest.toml_lines import KeyPath

if TYPE_CHECKING:
    from ingest.builds import Build

ToFile = Callable[[KeyPath], KeyPath]
_PARTS = ("wires", "contacts", "fuses", "controllers", "motors", "regulators")


def build_complaints(build: Build, to_file: ToFile) -> list[Complaint]:
    """Everything that is wrong between the tables. Paths are made with the file's own table names."""
    complaints = [*_id_complaints(build, to_file)]
    if complaints:  # what a reference means is not known while two parts share an id
        return complaints
    complaints += _node_names(build, to_file)
    complaints += _references(build, to_file)
    complaints += _sensors(build, to_file)
    complaints += _contradictions(build, to_file)
    return complaints or list(_tree(build, to_file))


def _id_complaints(build: Build, to_file: ToFile) -> Iterator[Complaint]:
    kinds: dict[str, str] = {}
    for i, slot in enumerate(build.packs):
        path = to_file(("packs", i, "id"))
        if slot.id in kinds:
            yield Complaint(path, "is used twice", slot.id, mend="Give each [[pack]] an id of its own.")
        elif slot.id != "pack" and _is_reserved(slot.id):
            yield Complaint(path, "is a reserved name", slot.id, mend='For example "weapon_pack".')
        kinds[slot.id] = "pack"
    for field in _PARTS:
        for i, part in enumerate(getattr(build, field)):
            path = to_file((field, i, "id"))
            if _is_reserved(part.id):
                yield Complaint(path, "is a reserved name", part.id, mend=f'For example "{part.id}_{field[:-1]}".')
            elif part.id in kinds:
                what = f"is used twice: it is also the id of a {kinds[part.id]}"
                yield Complaint(path, what, part.id, mend=f'For example "{part.id}_{field[:-1]}".')
            kinds[part.id] = field[:-1]


def _is_reserved(name: str) -> bool:
    return name in RESERVED_PARTS or cell_number(name) is not None


def _sources(build: Build) -> set[str]:
    """The nodes where a tree may start; packs that are joined may be named together as "pack"."""
    joined = {"pack"} if len(build.packs) > 1 and all(slot.join for slot in build.packs) else set()
    return {slot.id for slot in build.packs} | joined


def _node_names(build: Build, to_file: ToFile) -> Iterator[Complaint]:
    """A node may be named freely, but not as a part that is no node."""
    kinds = build.part_kinds()
    sources = _sources(build)
    for i, wire in enumerate(build.wires):
        for key, name in (("from", wire.from_), ("to", wire.to)):
            path = to_file(("wires", i, key))
            kind = kinds.get(name)
            if kind in ("wire", "contact", "fuse"):
                mend = {
                    "wire": "Name the node at which that run begins or ends.",
                    "contact": f'Name a node, and list the contact in the run: through = ["{name}"].',
                    "fuse": f'Name a node; the fuse says itself in which run it sits: wire = "{wire.id}".',
                }[kind]
                yield Complaint(path, f"is a {kind}, not a node of the wiring", name, mend=mend)
            elif not re.fullmatch(ID_PATTERN, name):
                yield Complaint(path, "is not in the form of an id", name, ID_RULE)
            elif name not in sources and _is_reserved(name):
                mend = 'The receiver is fed by a [[regulator]]: supplies = "receiver".' if name == "receiver" else ""
                slots = f"The packs are: {', '.join(sorted(sources))}." if name == "pack" else mend
                yield Complaint(path, "is a reserved name", name, mend=slots)


def _references(build: Build, to_file: ToFile) -> Iterator[Complaint]:
    contacts = {contact.id for contact in build.contacts}
    used: dict[str, str] = {}
    for i, wire in enumerate(build.wires):
        for n, contact in enumerate(wire.through):
            path = to_file(("wires", i, "through", n))
            if contact not in contacts:
                yield Complaint(path, "names a contact that is not there", contact, mend=nearest(contact, contacts))
            elif contact in used:
                mend = "A contact sits in one run; give the second one an id and a [[contact]] of its own."
                yield Complaint(path, f"names a contact that is already in run {used[contact]}", contact, mend=mend)
            used.setdefault(contact, wire.id)
    wires = {wire.id for wire in build.wires}
    for i, fuse in enumerate(build.fuses):
        if fuse.wire not in wires:
            path = to_file(("fuses", i, "wire"))
            yield Complaint(path, "names a wire that is not there", fuse.wire, mend=nearest(fuse.wire, wires))
    controllers = {controller.id for controller in build.controllers}
    for i, motor in enumerate(build.motors):
        if motor.controller not in controllers:
            path = to_file(("motors", i, "controller"))
            mend = nearest(motor.controller, controllers)
            yield Complaint(path, "names a controller that is not there", motor.controller, mend=mend)
    supplied = {"receiver"} | controllers | {r.id for r in build.regulators} | {w.to for w in build.wires}
    for i, regulator in enumerate(build.regulators):
        if regulator.supplies not in supplied:
            path = to_file(("regulators", i, "supplies"))
            mend = nearest(regulator.supplies, supplied)
            yield Complaint(path, "names nothing that is there", regulator.supplies, mend=mend)


def _sensors(build: Build, to_file: ToFile) -> Iterator[Complaint]:
    wires = {wire.id for wire in build.wires}
    nodes = set(build.part_kinds()) | {n for w in build.wires for n in (w.from_, w.to)} | _sources(build)
    parts = nodes | set(RESERVED_PARTS)
    for i, sensor in enumerate(build.sensors):
        channel = parse_channel(sensor.channel)
        path = to_file(("sensors", i, "channel"))
        if channel is None:
            mend = 'A channel is <part>_<quantity>_<unit>, as "pack_current_A" or "weapon_temp_degC".'
            yield Complaint(path, "is not a channel", sensor.channel, mend=mend)
        # With several packs a channel may begin with the id of the pack fitted, which only the match names.
        elif len(build.packs) == 1 and channel.part not in parts and cell_number(channel.part) is None:
            mend = nearest(channel.part, parts)
            yield Complaint(path, f'names a part "{channel.part}" that is not there', sensor.channel, mend=mend)
        if sensor.wire is not None and sensor.wire not in wires:
            path, mend = to_file(("sensors", i, "wire")), nearest(sensor.wire, wires)
            yield Complaint(path, "names a wire that is not there", sensor.wire, mend=mend)
        if sensor.at is not None and sensor.at not in nodes:
            path, mend = to_file(("sensors", i, "at")), nearest(sensor.at, nodes)
            yield Complaint(path, "names a node that is not there", sensor.at, mend=mend)


def _contradictions(build: Build, to_file: ToFile) -> Iterator[Complaint]:
    pairs = (
        ("burst_A", "continuous_A"), ("maximum_V", "minimum_V"), ("maximum_V", "cutoff_V"),
    )  # fmt: skip
    for i, controller in enumerate(build.controllers):
        for high, low in pairs:
            above, below = getattr(controller, high), getattr(controller, low)
            if above is not None and below is not None and above < below:
                path = to_file(("controllers", i, high))
                yield Complaint(path, f"is below {low}", above, f"at least {below:g}")
    for i, wire in enumerate(build.wires):
        if wire.gauge is not None and wire.area_mm2 is not None:
            path = to_file(("wires", i, "area_mm2"))
            yield Complaint(path, "stands beside gauge", wire.area_mm2, mend="Keep one of the two.")


def _tree(build: Build, to_file: ToFile) -> Iterator[Complaint]:
    sources = _sources(build)
    joined = {slot.id for slot in build.packs if slot.join} | (sources & {"pack"})
    feeds: dict[str, int] = {}
    fed_twice = False
    for i, wire in enumerate(build.wires):
        path = to_file(("wires", i, "to"))
        if wire.to == wire.from_:
            yield Complaint(path, "is where the run begins: a loop", wire.to, mend="Name the node it leads to.")
            return
        if wire.to in sources and not {wire.to, wire.from_} <= joined:
            mend = "A run leads away from the pack: swap from and to."
            yield Complaint(path, "is a pack: runs lead from the pack to the loads", wire.to, mend=mend)
            return
        other = feeds.get(wire.to)
        if other is not None and not {build.wires[other].from_, wire.from_} <= joined:
            fed_twice = True
            mend = "Leads laid side by side are one [[wire]] with parallel = 2; otherwise name a node of its own."
            what = f"is fed by two runs, {build.wires[other].id} and {wire.id}"
            yield Complaint(path, what, wire.to, mend=mend)
        feeds.setdefault(wire.to, i)
    if fed_twice:
        return
    loop = _loop(build, feeds, sources)
    if loop:
        path = to_file(("wires", loop[0], "from"))
        runs = " → ".join(build.wires[i].id for i in loop)
        mend = 'Runs form a tree from "pack" to the loads; look which from or to is mistaken.'
        yield Complaint(path, f"is part of a loop ({runs})", build.wires[loop[0]].from_, mend=mend)
        return
    ends = list(_ends(build, to_file, sources, feeds))
    yield from ends or [
        *_unfed_controllers(build, to_file, feeds),
        *_regulator_nodes(build, to_file, sources, feeds),
    ]


def _loop(build: Build, feeds: dict[str, int], sources: set[str]) -> list[int]:
    """Indices of the wires of a loop, in the direction of the current; empty where there is none."""
    for start in range(len(build.wires)):
        path: list[int] = []
        here: int | None = start
        while here is not None and here not in path:
            path.append(here)
            name = build.wires[here].from_
            here = None if name in sources else feeds.get(name)
        if here is not None:
            return list(reversed(path[path.index(here) :]))
    return []


def _ends(build: Build, to_file: ToFile, sources: set[str], feeds: dict[str, int]) -> Iterator[Complaint]:
    """Every run hangs on a pack, and ends in something that takes the current."""
    kinds = build.part_kinds()
    loads = {name for name, kind in kinds.items() if kind in ("controller", "motor", "regulator")}
    begun = {wire.from_ for wire in build.wires}
    tapped = {regulator.from_ for regulator in build.regulators}
    reached = sources | set(feeds)
    for i, wire in enumerate(build.wires):
        if wire.from_ not in reached:
            path, mend = to_file(("wires", i, "from")), nearest(wire.from_, reached - {wire.to})
            yield Complaint(path, "is a missing node: no run from the pack leads there", wire.from_, mend=mend)
        if wire.to not in begun | loads | tapped | sources:
            path, mend = to_file(("wires", i, "to")), nearest(wire.to, loads | begun)
            what = "is a missing node: the run ends there, and it is no controller, motor or regulator"
            yield Complaint(path, what, wire.to, mend=mend)
        if kinds.get(wire.to) == "motor" and _upstream(build, feeds, sources, i).isdisjoint(
            _controllers_of(build, wire.to)
        ):
            path = to_file(("wires", i, "from"))
            mend = f'A motor lead starts at its controller: from = "{next(iter(_controllers_of(build, wire.to)))}".'
            yield Complaint(path, "is not behind the controller of this motor", wire.from_, mend=mend)
        if kinds.get(wire.from_) == "controller" and kinds.get(wire.to) in ("controller", "regulator"):
            path, mend = to_file(("wires", i, "from")), "Start the run at the node that feeds this controller."
            yield Complaint(path, "is a controller: only motor leads start there", wire.from_, mend=mend)
        if kinds.get(wire.from_) in ("motor", "regulator"):
            path = to_file(("wires", i, "from"))
            mend = "What a regulator feeds is said by its key supplies." if kinds[wire.from_] == "regulator" else ""
            yield Complaint(path, f"is a {kinds[wire.from_]}: no run starts there", wire.from_, mend=mend)


def _unfed_controllers(build: Build, to_file: ToFile, feeds: dict[str, int]) -> Iterator[Complaint]:
    """Where a wiring is given at all, every controller hangs in it: else the runs above carry more than they show."""
    for i, controller in enumerate(build.controllers if build.wires else ()):
        if controller.id not in feeds:
            mend = f'Add a [[wire]] with to = "{controller.id}", or take the other [[wire]] out as well.'
            what = "is a missing node: no run leads to this controller"
            yield Complaint(to_file(("controllers", i, "id")), what, controller.id, mend=mend)


def _regulator_nodes(build: Build, to_file: ToFile, sources: set[str], feeds: dict[str, int]) -> Iterator[Complaint]:
    """A regulator hangs on a node, or on a run of its own that starts at that node."""
    nodes = sources | set(feeds) | (set() if build.wires else {c.id for c in build.controllers})
    for i, regulator in enumerate(build.regulators):
        path = to_file(("regulators", i, "from"))
        own = feeds.get(regulator.id)
        if own is not None and regulator.from_ not in (regulator.id, build.wires[own].from_):
            what = f"is fed twice: run {build.wires[own].id} leads to it from {build.wires[own].from_}"
            mend = f'Write from = "{build.wires[own].from_}".'
            yield Complaint(path, what, regulator.from_, mend=mend)
        elif regulator.from_ not in nodes - ({regulator.id} if own is None else set()):
            known = nodes - {regulator.id}
            mend = nearest(regulator.from_, known)
            yield Complaint(path, "is a missing node: no run from the pack leads there", regulator.from_, mend=mend)


def _controllers_of(build: Build, motor_id: str) -> set[str]:
    return {motor.controller for motor in build.motors if motor.id == motor_id}


def _upstream(build: Build, feeds: dict[str, int], sources: set[str], start: int) -> set[str]:
    """The nodes above a run, from its own start to the pack."""
    nodes: set[str] = set()
    here: int | None = start
    while here is not None:
        name = build.wires[here].from_
        nodes.add(name)
        here = None if name in sources else feeds.get(name)
    return nodes
