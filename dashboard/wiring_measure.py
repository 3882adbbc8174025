"""The measures of the wiring picture: how wide each column and how high each row must be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dashboard.ink import TONES, Canvas, Theme
from dashboard.rows import PartStatus
from dashboard.wiring_ends import box_height, end_lines, pack_lines
from dashboard.wiring_parts import RunState, run_state
from dashboard.wiring_scale import Scale
from dashboard.wiring_tree import Node, Run
from ingest.builds import Build, Pack


@dataclass
class Extent:
    above: float
    below: float


class Measure:
    """Where everything goes: columns from the depth of the tree, rows from what each run has to say."""

    def __init__(
        self,
        build: Build,
        roots: tuple[Node, ...],
        status: Mapping[str, PartStatus],
        judged: bool,
        theme: Theme,
        width: float,
        scale: Scale,
        packs: Mapping[str, Pack],
    ) -> None:
        self.build, self.roots, self.status, self.judged, self.packs = build, roots, dict(status), judged, packs
        self.s, self.asked_w = scale, width
        self.c = Canvas(TONES[theme], f"wiring-{theme}")
        self.levels = max(1, max((self._load_depth(root, 0) for root in roots), default=1))
        self.lead_w = scale.min_run * 0.9 if any(self._has_leads(root) for root in roots) else 0.0
        self.motor_w = scale.stub + 2 * scale.motor_r + 2 if scale.motor_r else 0.0
        self.edge = 2.0
        tail = (
            scale.box_w
            + max(self.motor_w, self.lead_w + (2 * scale.motor_r or scale.box_w * 0.6) if self.lead_w else 0)
            + self.edge
        )
        room = width - self.edge - scale.pack_w - tail - (self.levels - 1) * scale.bar_w
        self.run_w = max(scale.min_run, room / self.levels)
        self.width = max(width, width - room + self.run_w * self.levels)
        self.load_x = self.width - tail
        self.states: dict[str, RunState] = {}

    def _load_depth(self, node: Node, depth: int) -> int:
        if node.kind == "controller" or not node.runs:
            return depth
        return max(self._load_depth(run.child, depth + 1) for run in node.runs)

    def _has_leads(self, node: Node) -> bool:
        return (node.kind == "controller" and bool(node.runs)) or any(self._has_leads(run.child) for run in node.runs)

    def _state(self, run: Run) -> RunState:
        if run.id not in self.states:
            self.states[run.id] = run_state(run, self.status)
        return self.states[run.id]

    def _extent(self, node: Node, run: Run | None) -> Extent:
        """The room a run and all that hangs on it needs above and below its centre line."""
        s = self.s
        own = Extent(0, 0)
        if run is not None:
            own.above = s.jacket + s.name * 1.55 + s.breath
            own.below = s.jacket + (s.value * 1.5 if self.judged and not s.one_line else s.text * 0.5)
            if run.contacts:
                own.above += s.text * 1.5 + s.bulge
            state = self._state(run)
            if state.title:
                own.below = s.jacket + s.bulge + s.big * 1.9 + s.line_h * 2.6
        if not node.runs or node.kind in ("controller", "pack"):
            half = self._box_h(node) / 2 + s.text * 0.3
            own = Extent(max(own.above, half), max(own.below, half))
        if node.runs:
            above, below = self._stack(node)
            if node.kind == "junction":  # the node's name stands above its bar
                label = s.jacket + s.text * 1.3 + s.name - self._offsets(node)[0]
                above = max(above, label)
            own = Extent(max(own.above, above), max(own.below, below))
        return own

    def _offsets(self, node: Node) -> list[float]:
        """Centre lines of a node's runs, the middle of the first and the last at 0."""
        ys: list[float] = []
        y = 0.0
        last = 0.0
        for i, run in enumerate(node.runs):
            extent = self._extent(run.child, run)
            y = 0.0 if i == 0 else y + last + extent.above
            ys.append(y)
            last = extent.below
        mid = (ys[0] + ys[-1]) / 2
        return [value - mid for value in ys]

    def _stack(self, node: Node) -> tuple[float, float]:
        offsets = self._offsets(node)
        first = self._extent(node.runs[0].child, node.runs[0])
        last = self._extent(node.runs[-1].child, node.runs[-1])
        return first.above - offsets[0], offsets[-1] + last.below

    def _lines(self, node: Node) -> list[tuple[str, str]]:
        if node.kind == "pack":
            return pack_lines(self.build, node.id, self.packs.get(node.id), self.status)
        return end_lines(self.build, node, self.status, 1 if self.s.one_line else 2)

    def _box_h(self, node: Node) -> float:
        if self.s.one_line and node.kind != "pack":
            return self.s.text * 1.9
        return box_height(max(1, len(self._lines(node))), self.s)
