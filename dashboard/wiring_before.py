"""How a run was before a change, as thin dashed outlines over how it is now."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.findings import Review
from dashboard.ink import Canvas
from dashboard.rows import statuses
from dashboard.wiring_parts import RunState, collar_places, contact_id, copper_px, run_state
from dashboard.wiring_scale import Scale
from dashboard.wiring_tree import Node, Run, wiring_tree
from ingest.builds import Build

SAME_PX = 0.75  # what moved by less cannot be told apart on a screen
DASH = "2 3"


@dataclass(frozen=True)
class Was:
    """One run before the change."""

    run: Run
    state: RunState


def runs_before(build: Build, review: Review | None) -> dict[str, Was]:
    """Every run of a build by its id, with what the review said of it."""
    status = statuses(review)
    out: dict[str, Was] = {}

    def visit(node: Node) -> None:
        for run in node.runs:
            out[run.id] = Was(run, run_state(run, status))
            visit(run.child)

    for root in wiring_tree(build):
        visit(root)
    return out


def draw_before(c: Canvas, run: Run, was: Was | None, x1: float, x2: float, y: float, s: Scale, now: RunState) -> None:
    """The outline of the copper, the tone or a contact past its rating, where it was another."""
    if was is None:
        return
    for reach, before in zip(_reach(run, s, now), _reach(was.run, s, was.state), strict=True):
        if abs(before - reach) >= SAME_PX:
            c.rect(x1 + 1, y - before, x2 - x1 - 2, 2 * before, "none", stroke=c.tones.ink, sw=1.25, dash=DASH)
    ids = [contact_id(contact) for contact in run.contacts]
    for part, place in zip(ids, collar_places(len(ids), x1 + 8, x2 - 4), strict=True):
        if part in was.state.marked and part not in now.marked:
            w, h = s.jacket * 1.05, s.jacket + s.bulge
            c.rect(place - w, y - h, 2 * w, 2 * h, "none", stroke=c.tones.ink, sw=1.25, dash=DASH)


def _reach(run: Run, s: Scale, state: RunState) -> tuple[float, float]:
    """Half the height of the copper, and of the tone around it."""
    radius = (copper_px(run.wire, s) or 2.0) / 2
    row = state.wire_row
    if row is None:
        return radius, radius
    if row.verdict == "over":
        return radius, s.jacket + s.bulge
    return radius, radius + min(max(row.used, 0.0), 1.0) * (s.jacket - radius)
