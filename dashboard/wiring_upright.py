"""The wiring picture for a narrow screen: the pack on top, the distribution bar upright at the left, runs as rows."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard.ink import TONES, Canvas, Theme, fit
from dashboard.marks import place_mark
from dashboard.page_words import figure, interval, margin, part_name
from dashboard.rows import PartStatus
from dashboard.wiring_before import Was, draw_before
from dashboard.wiring_ends import draw_box, draw_key, end_lines, end_title, pack_lines, pack_title
from dashboard.wiring_parts import (
    RunState,
    against,
    collar_places,
    contact_id,
    draw_collar,
    draw_fuse,
    draw_run,
    draw_screw,
    gauge_text,
    not_checked_line,
    run_group,
    run_heading,
    run_state,
    value_line,
)
from dashboard.wiring_scale import PHONE
from dashboard.wiring_tree import Node, Run
from ingest.builds import Build, Pack


def upright_svg(
    build: Build,
    roots: tuple[Node, ...],
    status: Mapping[str, PartStatus],
    judged: bool,
    theme: Theme,
    width: float,
    packs: Mapping[str, Pack],
    teaching: bool,
    was: Mapping[str, Was] | None = None,
) -> str:
    picture = _Upright(build, dict(status), judged, Canvas(TONES[theme], f"upright-{theme}"), width)
    picture.was = was or {}
    y = 4.0
    if teaching:
        y += draw_key(picture.c, 2, y, PHONE) + 20
    for root in roots:
        y = picture.pack(root, packs.get(root.id), y) + 28
    return picture.c.svg(width, y, f"Wiring of build {build.id}, from pack to loads")


class _Upright:
    was: Mapping[str, Was] = {}

    def __init__(self, build: Build, status: dict[str, PartStatus], judged: bool, c: Canvas, width: float) -> None:
        self.build, self.status, self.judged, self.c, self.width = build, status, judged, c, width

    def pack(self, root: Node, fitted: Pack | None, y: float) -> float:
        """A pack and all below it; the y where it ends."""
        lines = pack_lines(self.build, root.id, fitted, self.status)
        h = 30 + 24 * len(lines) + 16
        draw_box(self.c, 2, y, self.width - 4, h, pack_title(root.id, fitted), lines, PHONE)
        y += h
        if len(root.runs) == 1 and not root.runs[0].child.again:
            return self._down(root.runs[0], 44, y)
        return self._rows(root, 30, y)

    def _down(self, run: Run, x: float, y: float) -> float:
        """A run that leads on downwards, its contacts on it and its words at its right."""
        s, c = PHONE, self.c
        state = run_state(run, self.status)
        words = self._run_words(run, state)
        length = max(36 + 84 * len(run.contacts), 26 * len(words) + 40)
        c.raw(run_group(run, c.tones))
        c.raw(f'<g transform="translate({x} {y}) rotate(90)">')
        draw_run(c, run, 0, length, 0, s, state, self.judged)
        places = collar_places(len(run.contacts), 8, length - 8)
        for contact, place in zip(run.contacts, places, strict=True):
            draw_collar(c, contact, place, 0, s, contact_id(contact) in state.marked)
        draw_before(c, run, self.was.get(run.id), 0, length, 0, s, state)
        c.raw("</g>")
        marked = [p for p, k in zip(places, run.contacts, strict=True) if contact_id(k) in state.marked]
        left = x + s.jacket + s.bulge + 12
        if len(marked) > 1:
            c.arrow(left, y + marked[0] - 24, left, y + marked[-1] + 24, c.tones.orange)
        for i, (text, size, weight, tone) in enumerate(words):
            shown = fit(text, size, self.width - left - 18, weight)
            c.text(left + 16, y + 34 + 26 * i, shown, size, weight=weight, fill=tone)
        c.raw("</g>")
        y += length
        child = run.child
        if child.runs:
            return self._rows(child, x - s.bar_w / 2, y)
        return self._end(child, x - 30, y)

    def _run_words(self, run: Run, state: RunState) -> list[tuple[str, float, int, str]]:
        t, s = self.c.tones, PHONE
        out = [(part_name(run.id), s.name, 600, t.ink), (gauge_text(run), s.small, 400, t.ink2)]
        row = state.wire_row
        if state.title:
            out.append((state.title, s.big, 800, t.orange))
            names = ", ".join(contact_id(k).replace("_", " ") for k in run.contacts)
            out.append((names, s.text, 400, t.ink2))
            hot = state.contact_row
            if hot is not None:
                between = interval(hot.low, hot.high, hot.unit)
                told = f" ({between})" if between else ""
                out.append(
                    (f"{figure(hot.measured, hot.unit)}{told} of {figure(hot.limit, hot.unit)}", s.text, 600, t.ink)
                )
            if row is not None:
                out.append((f"wire itself: {against(row)}", s.text, 400, t.ink2))
        elif row is not None:
            out.append((f"{figure(row.measured, row.unit)} of {figure(row.limit, row.unit)}", s.text, 600, t.ink))
            out.append((f"{margin(row.margin_pct)} margin", s.text, 400, t.ink))
        elif self.judged:
            out.append(("heat not checked", s.text, 400, t.ink2))
        return out

    def _rows(self, node: Node, x: float, y: float) -> float:
        """A bar with one row a run; a run that leads on has its own bar, further in."""
        s, c = PHONE, self.c
        top = y
        places: list[float] = []
        name_x = x + s.bar_w + 10
        if node.kind != "pack":
            title = end_title(self.build, node)
            c.text(name_x, y + 24, fit(title, s.name, self.width - name_x), s.name, weight=600)
            y += 30
        if node.kind == "controller":
            y = self._told(node, name_x, y - 6) + 8
        at = len(c.parts)
        for run in node.runs:
            y, place = self._row(run, x + s.bar_w, y)
            places.append(place)
            if run.child.runs and not run.child.again:
                y = self._rows(run.child, x + s.bar_w + 14, y + 4)
        end = (places[-1] if places else y) + s.jacket + 14
        drawn, self.c.parts = self.c.parts[at:], self.c.parts[:at]
        c.rect(x, top, s.bar_w, end - top, c.tones.ink)
        self.c.parts += drawn
        for i, place in enumerate(places):
            draw_screw(c, x + s.bar_w / 2, place, s.bar_w, 25 + 70 * i)
        return max(y, end) + 6

    def _row(self, run: Run, x: float, y: float) -> tuple[float, float]:
        s, c = PHONE, self.c
        state = run_state(run, self.status)
        right = self.width - 2
        left = x + 10
        c.raw(run_group(run, c.tones))
        run_heading(c, run, left, y + 24, right - left, s)
        centre = y + 24 + 12 + s.jacket + s.bulge
        draw_run(c, run, x, right, centre, s, state, self.judged)
        for i, fuse in enumerate(run.fuses):
            draw_fuse(c, right - 50 - 64 * i, centre, s, self.status.get(fuse.id, PartStatus()), part_name(fuse.id))
        places = collar_places(len(run.contacts), x + 4, right - 70 * len(run.fuses) - 4)
        for contact, place in zip(run.contacts, places, strict=True):
            draw_collar(c, contact, place, centre, s, contact_id(contact) in state.marked)
        draw_before(c, run, self.was.get(run.id), x, right, centre, s, state)
        y = centre + s.jacket + s.bulge + 20
        row = state.wire_row
        if state.title:
            c.text(left, y, fit(state.title, s.name, right - left, 800), s.name, weight=800, fill=c.tones.orange)
            y += 24
        if row is not None:
            value_line(c, row, left, right, y, s)
        elif self.judged and run.wire is not None:
            not_checked_line(c, "heat not checked", left, y, s)
        c.raw("</g>")
        if not run.child.runs:
            y = self._end(run.child, left, y + 4)
        return y + 10, centre

    def _end(self, node: Node, x: float, y: float) -> float:
        """The load in words: its name, then its figures."""
        s, c = PHONE, self.c
        title = end_title(self.build, node)
        count = sum(m.count for m in node.motors)
        if count:
            title += ", motor" if count == 1 else f", {count} motors"
        words = "to " + title[:1].lower() + title[1:]
        c.text(x, y + 22, fit(words, s.text, self.width - x), s.text, fill=c.tones.ink)
        return self._told(node, x, y + 22) + 4

    def _told(self, node: Node, x: float, y: float) -> float:
        s, c, size = PHONE, self.c, 20.0
        for text, mark in end_lines(self.build, node, self.status, 2):
            y += 24
            if mark:
                place_mark(c, mark, x, y - 16, size)
            c.text(x + (size + 8 if mark else 0), y, text, s.text, fill=c.tones.ink2)
        return y
