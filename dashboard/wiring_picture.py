"""The wiring picture: left to right from pack to loads, each run with its worst figure beside it.

Drawn from the build alone, so that it works for any tree; what a review says is laid over it.
"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.findings import Review
from dashboard.ink import TONES, Canvas, Theme, fit
from dashboard.page_words import part_name
from dashboard.rows import PartStatus, statuses
from dashboard.wiring_before import Was, draw_before, runs_before
from dashboard.wiring_ends import (
    draw_box,
    draw_key,
    draw_motor,
    end_title,
    pack_title,
)
from dashboard.wiring_measure import Measure
from dashboard.wiring_parts import (
    RunState,
    collar_places,
    contact_id,
    contact_labels,
    draw_collar,
    draw_fuse,
    draw_run,
    draw_screw,
    fault_lines,
    fault_width,
    not_checked_line,
    run_group,
    run_heading,
    value_line,
)
from dashboard.wiring_scale import SCREEN, SHEET, SHEET_DENSE
from dashboard.wiring_tree import Node, Run, keep_rows, wiring_tree
from dashboard.wiring_upright import upright_svg
from ingest.builds import Build, Pack

DENSE_FROM = 6  # rows from which the sheet draws one line a run (our choice: more do not fit above the tables)


def key_svg(*, theme: Theme = "page") -> str:
    """The key to a run on its own: each layer named at its own height."""
    canvas = Canvas(TONES[theme], f"key-{theme}")
    height = draw_key(canvas, 0, 0, SCREEN)
    return canvas.svg(330, height, "Key: outline is the rating, tone is what was used up, copper to scale")


def wiring_svg(
    build: Build,
    review: Review | None,
    *,
    theme: Theme = "light",
    width: float = 1288,
    vertical: bool = False,
    teaching: bool = False,
    packs: Mapping[str, Pack] | None = None,
    max_rows: int | None = None,
    before: tuple[Build, Review] | None = None,
) -> str:
    """The picture as one SVG element; the same arguments give the same bytes.

    theme "print" takes the sheet's sizes and black on white, "page" takes CSS variables. width is in px and grows
    where the tree is deep. packs: the packs fitted, by slot id. max_rows: only so many loads, the smallest margins
    first, the others counted. teaching adds the key that names each layer of a run. before: the build and review
    of a changed match, drawn as thin outlines.
    """
    roots = wiring_tree(build, fold_leads=theme == "print")
    status = statuses(review)
    was = runs_before(*before) if before is not None else {}
    if vertical:
        return upright_svg(build, roots, status, review is not None, theme, width, packs or {}, teaching, was)
    left_out = keep_rows(roots, status, max_rows) if max_rows is not None else 0
    leaves = sum(root.leaves for root in roots)
    scale = SCREEN if theme != "print" else SHEET if leaves < DENSE_FROM else SHEET_DENSE
    picture = _Picture(build, roots, status, review is not None, theme, width, scale, packs or {})
    picture.was = was
    return picture.draw(teaching, left_out)


def _left_out(count: int) -> str:
    return "and 1 more load, with a larger margin" if count == 1 else f"and {count} more loads, with larger margins"


class _Picture(Measure):
    was: Mapping[str, Was] = {}

    def draw(self, teaching: bool, left_out: int) -> str:
        y = 2.0
        if teaching:
            y += draw_key(self.c, self.width - 350, y, self.s) + 24
        for root in self.roots:
            extent = self._extent(root, None)
            self._node(root, None, self.edge, y + extent.above)
            y += extent.above + extent.below + self.s.text * 0.5
        if left_out:
            self.c.text(
                self.load_x,
                y + self.s.text * 0.6,
                _left_out(left_out),
                self.s.text,
                anchor="end",
            )
            y += self.s.text * 1.6
        label = f"Wiring of build {self.build.id}, from pack to loads"
        return self.c.svg(self.width, y, label, wide=self.width > self.asked_w + 0.5)

    def _node(self, node: Node, run: Run | None, x: float, y: float) -> None:
        """The node whose left edge is at x, and everything to its right."""
        s = self.s
        offsets = self._offsets(node) if node.runs else []
        if node.again:
            return
        if node.kind == "pack":
            right = x + s.pack_w
            half = max(self._box_h(node) / 2, (offsets[-1] + s.jacket) if offsets else 0)
            title = pack_title(node.id, self.packs.get(node.id))
            draw_box(self.c, x, y - half, s.pack_w, 2 * half, title, self._lines(node), s)
        elif node.kind == "junction" or (node.runs and node.kind != "controller"):
            right = x + s.bar_w
            reach = s.jacket + s.text * 0.7
            top, end = y + offsets[0] - reach, y + offsets[-1] + reach
            self.c.rect(x, top, s.bar_w, end - top, self.c.tones.ink)
            self.c.text(
                x + s.bar_w,
                top - s.text * 0.5,
                fit(part_name(node.id), s.name, self.run_w),
                s.name,
                weight=600,
                anchor="end",
            )
        else:
            right = x + s.box_w
            self._load(node, x, y, offsets)
        for i, (below, offset) in enumerate(zip(node.runs, offsets, strict=True)):
            if node.kind in ("pack", "controller"):
                start = right
            else:
                start = right
                draw_screw(self.c, x + s.bar_w / 2, y + offset, s.bar_w, 25 + 70 * i)
            self._run(below, node, start, y + offset)

    def _end_x(self, run: Run, parent: Node, start: float) -> float:
        child = run.child
        if parent.kind == "controller":
            return start + self.lead_w
        if child.kind == "junction" or (child.runs and child.kind != "controller"):
            return start + self.run_w
        return self.load_x

    def _run(self, run: Run, parent: Node, x1: float, y: float) -> None:
        s, c = self.s, self.c
        x2 = self._end_x(run, parent, x1)
        state = self._state(run)
        c.raw(run_group(run, c.tones))
        draw_run(c, run, x1, x2, y, s, state, self.judged)
        end = x2 - (66 * s.jacket / 24 * len(run.fuses) if run.fuses else 0)
        for i, fuse in enumerate(run.fuses):
            place = end + (i + 0.5) * 66 * s.jacket / 24 - 8
            draw_fuse(c, place, y, s, self.status.get(fuse.id, PartStatus()), part_name(fuse.id))
        places = collar_places(len(run.contacts), x1 + 8, end - 4)
        room = (end - x1) / max(1, len(run.contacts)) - 6
        labels = contact_labels(run, room, s.small)
        above = y - s.jacket - (s.bulge if state.marked else 0) - s.text * 0.5
        for contact, place, label in zip(run.contacts, places, labels, strict=True):
            draw_collar(c, contact, place, y, s, contact_id(contact) in state.marked)
            c.text(place, above, label, s.small, fill=c.tones.ink2, anchor="middle")
        draw_before(c, run, self.was.get(run.id), x1, x2, y, s, state)
        left, width = x1 + s.text * 0.6, x2 - x1 - s.text * 1.2
        heading_y = above - (s.text * 1.5 if run.contacts else 0)
        row = state.wire_row
        if s.one_line:
            self._one_line(run, state, left, width, heading_y)
        else:
            run_heading(c, run, left, heading_y, width, s)
        below = y + s.jacket + s.value * 1.25
        if state.title:
            hatched = [
                p for p, contact in zip(places, run.contacts, strict=True) if contact_id(contact) in state.marked
            ]
            self._bracket(hatched or [x1 + 30, x2 - 30], y, state, left, x2 - 6)
        elif s.one_line or not self.judged:
            pass
        elif row is not None:
            value_line(c, row, left, x2 - s.text * 0.6, below, s)
        elif run.wire is not None:
            not_checked_line(c, "heat not checked", left, below, s)
        c.raw("</g>")
        self._node(run.child, run, x2, y)

    def _one_line(self, run: Run, state: RunState, left: float, width: float, y: float) -> None:
        """The sheet with many runs: name at the left, the figure and its margin at the right, one line."""
        s, c = self.s, self.c
        row = state.wire_row
        shown = ""
        if row is not None and not state.title:
            shown = f"{round(row.measured)} °C, {round(row.margin_pct)} %".replace("-", "−")
        elif self.judged and not state.title:
            shown = "not checked"
        used = len(shown) * s.small * 0.56
        run_heading(c, run, left, y, width - used, s)
        if shown:
            c.text(left + width, y, shown, s.small, anchor="end", weight=600 if row else 400)

    def _bracket(self, hatched: list[float], y: float, state: RunState, run_left: float, right: float) -> None:
        s, c = self.s, self.c
        half = s.jacket * 1.05
        x1, x2 = hatched[0] - half, hatched[-1] + half
        at = y + s.jacket + s.bulge + s.text * 0.75
        tone = c.tones.orange
        if len(hatched) > 1:
            for x in (x1, x2):
                c.line(x, at - 5, x, at + 5, tone, 1.5)
            c.arrow(x1, at, x2, at, tone, head=s.text * 0.4)
        longest = fault_width(state, s)
        left = x1 if x1 + longest <= right else max(run_left, right - longest)
        fault_lines(c, state, left, at + s.big * 1.25, right - left, s)

    def _load(self, node: Node, x: float, y: float, offsets: list[float]) -> None:
        s, c = self.s, self.c
        half = max(self._box_h(node) / 2, (offsets[-1] + s.jacket) if offsets else 0)
        lines = self._lines(node)
        title = end_title(self.build, node)
        if node.kind == "motor":
            motor = next((m for m in self.build.motors if m.id == node.id), None)
            if s.motor_r and motor is not None:
                draw_motor(c, x + s.motor_r, y, s.motor_r, motor.count, title)
            else:
                draw_box(c, x, y - half, s.box_w * 0.6, 2 * half, title, lines, s)
            return
        if s.one_line:
            text = f"{title}, {lines[0][0]}" if lines and lines[0][1] else title
            draw_box(c, x, y - half, s.box_w, 2 * half, text, [], s)
        else:
            draw_box(c, x, y - half, s.box_w, 2 * half, title, lines, s)
        if not s.motor_r:
            return
        right = x + s.box_w
        if node.motors:
            c.line(right, y, right + s.stub, y, c.tones.ink, 2)
            draw_motor(c, right + s.stub + s.motor_r, y, s.motor_r, sum(m.count for m in node.motors), title)
        elif node.kind == "regulator":
            supplied = next((r.supplies for r in self.build.regulators if r.id == node.id), "receiver")
            c.line(right, y, right + s.stub / 2, y, c.tones.ink, 2)
            c.rect(right + s.stub / 2, y - 22, self.motor_w - s.stub / 2, 44, c.tones.paper, stroke=c.tones.ink, sw=2)
            words = fit(supplied.replace("_", " "), 16, self.motor_w - s.stub / 2 - 6, 400)
            c.text(right + s.stub / 2 + (self.motor_w - s.stub / 2) / 2, y + 5.5, words, 16, anchor="middle")
