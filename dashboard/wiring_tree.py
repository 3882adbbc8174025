"""The wiring of a build as a tree from each pack to the loads, in the order of the build file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from dashboard.rows import PartStatus
from ingest.builds import Build, Contact, Fuse, Match, Motor, Pack, Wire

NodeKind = Literal["pack", "junction", "controller", "motor", "regulator", "other"]


@dataclass
class Run:
    """From one node to the next. wire is None where the build only says that they are joined."""

    id: str
    wire: Wire | None
    child: Node
    contacts: tuple[Contact | str, ...] = ()
    fuses: tuple[Fuse, ...] = ()


@dataclass
class Node:
    id: str
    kind: NodeKind
    runs: list[Run] = field(default_factory=list)
    motors: tuple[Motor, ...] = ()  # those joined to a controller with no run of their own
    lead_runs: tuple[Run, ...] = ()  # runs to its motors that are not drawn, only told in its box
    again: bool = False  # a node that another pack already feeds: its run ends here

    @property
    def leaves(self) -> int:
        return sum(run.child.leaves for run in self.runs) or 1

    @property
    def depth(self) -> int:
        return 1 + max((run.child.depth for run in self.runs), default=-1)


def wiring_tree(build: Build, *, fold_leads: bool = False) -> tuple[Node, ...]:
    """One root per pack slot. A node reached twice (packs joined, or a ring) is marked `again` the second time.

    fold_leads: a controller's motors and the runs to them are kept with it instead of as a further column.
    """
    kinds = build.part_kinds()
    contacts = {contact.id: contact for contact in build.contacts}
    fuses: dict[str, list[Fuse]] = {}
    for fuse in build.fuses:
        fuses.setdefault(fuse.wire, []).append(fuse)
    wired_to = {wire.to for wire in build.wires}
    seen: set[str] = set()

    def kind_of(node: str) -> NodeKind:
        kind = kinds.get(node)
        if kind in ("pack", "controller", "motor", "regulator"):
            return kind  # type: ignore[return-value]
        return "junction" if any(wire.from_ == node for wire in build.wires) or node in fed else "other"

    fed = {regulator.from_ for regulator in build.regulators}

    def grow(node_id: str) -> Node:
        node = Node(node_id, kind_of(node_id))
        if node_id in seen:
            node.again = True
            return node
        seen.add(node_id)
        for wire in build.wires:
            if wire.from_ == node_id:
                through = tuple(contacts.get(name, name) for name in wire.through)
                node.runs.append(Run(wire.id, wire, grow(wire.to), through, tuple(fuses.get(wire.id, ()))))
        for regulator in build.regulators:
            if regulator.from_ == node_id and regulator.id not in wired_to:
                node.runs.append(Run(f"{regulator.id}_joined", None, grow(regulator.id)))
        if node.kind == "controller":
            node.motors = tuple(m for m in build.motors if m.controller == node_id and m.id not in wired_to)
            if fold_leads and node.runs and all(run.child.kind == "motor" for run in node.runs):
                reached = {run.child.id for run in node.runs}
                node.motors += tuple(m for m in build.motors if m.id in reached)
                node.lead_runs, node.runs = tuple(node.runs), []
        return node

    return tuple(grow(slot.id) for slot in build.packs)


def fitted(build: Build | None, packs: Sequence[Pack], match: Match | None) -> dict[str, Pack]:
    """The pack in each slot of a build: as the match names them, else in order."""
    if build is None:
        return {}
    by_id = {pack.id: pack for pack in packs}
    named = {} if match is None else match.packs
    out = {}
    for i, slot in enumerate(build.packs):
        asked = named.get(slot.id)
        first = asked if isinstance(asked, str) or asked is None else next(iter(asked), None)
        pack = by_id.get(first) if first is not None else (packs[i] if i < len(packs) and not named else None)
        if pack is not None:
            out[slot.id] = pack
    return out


def keep_rows(roots: tuple[Node, ...], status: Mapping[str, PartStatus], most: int) -> int:
    """Cut the tree to its `most` loads with the smallest margins; how many were cut."""

    def concern(run: Run, above: float) -> float:
        own = [status[p] for p in (run.id, run.child.id) if p in status]
        margins = [s.worst.margin_pct for s in own if s.worst is not None]
        lowest = min([above, *margins])
        return -1e9 if any(s.faults for s in own) else lowest

    leaves: list[tuple[float, int, Run]] = []

    def visit(node: Node) -> None:
        for run in node.runs:
            if run.child.runs:
                visit(run.child)
            else:
                leaves.append((concern(run, 1e9), len(leaves), run))

    for root in roots:
        visit(root)
    kept = {id(run) for _, _, run in sorted(leaves, key=lambda item: item[:2])[:most]}

    def cut(node: Node) -> None:
        node.runs = [run for run in node.runs if run.child.runs or id(run) in kept]
        for run in node.runs:
            cut(run.child)
        node.runs = [run for run in node.runs if run.child.runs or id(run) in kept]

    for root in roots:
        cut(root)
    return max(0, len(leaves) - most)
