"""The pieces of the wiring picture: a run in its outline, contacts as collars, fuses, boxes, motors.

Copper is drawn to scale (diameter × px per mm), the outline around it is the rating and the same for every run, the
tone between them is what was used up. Past its rating a part is hatched and breaks out of its outline.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from dashboard.ink import TONES, Canvas, Tones, esc, fit, num, text_width
from dashboard.marks import place_mark
from dashboard.page_words import CONTACT_WORDS, figure, interval, margin, number, part_name, unit_word
from dashboard.rows import PartStatus, Row
from dashboard.wiring_scale import Scale
from dashboard.wiring_tree import Run
from ingest.builds import Contact, Wire


def copper_px(wire: Wire | None, scale: Scale) -> float | None:
    """Drawn copper width; None where the gauge is not stated. Held inside the outline: very heavy cable fills it."""
    area = None if wire is None else wire.copper_mm2
    if area is None:
        return None
    return min(math.sqrt(4 * area / math.pi) * scale.mm, 2 * scale.jacket - 6)


def run_group(run: Run, tones: Tones) -> str:
    """The opening of a run's group. On a page a click or Enter on it opens the run's temperature over time; its texts
    are its name there. Elsewhere nothing can be opened."""
    name = "" if run.wire else ' aria-label="joined"'
    opens = f' tabindex="0" role="button"{name}' if tones is TONES["page"] else ""
    return f'<g class="run" data-run="{esc(run.id)}"{opens}>'


def gauge_text(run: Run, *, words: int = 9) -> str:
    """ "12 AWG, 160 mm, fuse 80 A", or its first words."""
    wire = run.wire
    if wire is None:
        return "no run stated"
    parts = [wire.gauge or (f"{wire.area_mm2:g} mm²" if wire.area_mm2 else "gauge not stated")]
    if wire.parallel > 1:
        parts[0] = f"{wire.parallel} × {parts[0]}"
    if wire.length_mm is not None:
        parts.append(f"{wire.length_mm:g} mm")
    parts += [f"fuse {figure(fuse.rated_A, 'A')}" if fuse.rated_A else "fuse" for fuse in run.fuses]
    return ", ".join(parts[:words])


def against(row: Row) -> str:
    """ "48 of 183 °C", one unit for both; "18.1 V, min 18.0" where the rating is a least value."""
    if row.is_floor:
        return f"{figure(row.measured, row.unit)}, min {number(row.limit, row.unit)}"
    return f"{number(row.measured, row.unit)} of {number(row.limit, row.unit)} {unit_word(row.unit)}".rstrip()


def contact_id(contact: Contact | str) -> str:
    return contact if isinstance(contact, str) else contact.id


@dataclass(frozen=True)
class RunState:
    """What the review says of a run: its temperature row, the parts past their rating or at fault, the words."""

    wire_row: Row | None
    contact_row: Row | None
    marked: tuple[str, ...]
    added_mohm: float | None
    title: str
    fault: bool

    @property
    def whole_run(self) -> bool:
        return self.fault and not self.marked


def run_state(run: Run, status: dict[str, PartStatus]) -> RunState:
    own = status.get(run.id, PartStatus())
    inside = [contact_id(c) for c in run.contacts]
    wire_rows = [r for r in own.rows if not r.could_be and r.check == "wire_temperature"]
    faults = [f for f in own.faults if f.part == run.id]
    marked: list[str] = []
    contact_rows = [r for r in own.rows if r.could_be and r.verdict == "over"]
    for part in inside:
        state = status.get(part, PartStatus())
        hot = [r for r in state.rows if r.verdict == "over"]
        if state.faults or hot:
            marked.append(part)
        contact_rows += [r for r in hot if r not in contact_rows]
        faults += [f for f in state.faults if f not in faults]
    added = next((float(f.facts["added_mohm"]) for f in faults if "added_mohm" in f.facts), None)
    wire_fault = bool(faults) or any(r.verdict == "over" for r in wire_rows)
    title = ""
    if marked or faults:
        where = "in one of these" if len(marked) > 1 else "here"
        if added is not None:
            title = f"+{number(added, 'mohm').removesuffix('.0')} mΩ {where}"
        elif faults:
            title = f"Fault {where}"
        else:
            title = f"Over its rating {where}"
    return RunState(
        wire_rows[0] if wire_rows else None,
        contact_rows[0] if contact_rows else None,
        tuple(marked),
        added,
        title,
        wire_fault,
    )


def draw_run(c: Canvas, run: Run, x1: float, x2: float, y: float, scale: Scale, state: RunState, judged: bool) -> None:
    """The run itself from x1 to x2 at y: outline, tone, copper."""
    t = c.tones
    copper = copper_px(run.wire, scale)
    radius = (copper or 2.0) / 2
    row = state.wire_row
    unknown = copper is None or (judged and row is None)
    if row is not None:
        used = min(max(row.used, 0.0), 1.0)
        reach = radius + used * (scale.jacket - radius)
        if row.verdict == "over":
            reach = scale.jacket + scale.bulge
            c.rect(x1, y - reach, x2 - x1, 2 * reach, c.hatch, stroke=t.orangefill, sw=1.5)
        else:
            c.rect(x1, y - reach, x2 - x1, 2 * reach, t.greyfill if row.verdict == "close" else t.bluefill)
    if state.whole_run and (row is None or row.verdict != "over"):
        reach = scale.jacket + scale.bulge
        mid = (x1 + x2) / 2
        c.rect(mid - 1.4 * scale.jacket, y - reach, 2.8 * scale.jacket, 2 * reach, c.hatch, stroke=t.orangefill, sw=1.5)
    c.rect(x1, y - radius, x2 - x1, 2 * radius, t.ink)
    dash = "5 4" if unknown else ""
    for side in (-1, 1):
        c.line(x1, y + side * scale.jacket, x2, y + side * scale.jacket, t.ink, 1.25, dash=dash)


def collar_places(count: int, x1: float, x2: float) -> list[float]:
    step = (x2 - x1) / count if count else 0.0
    return [x1 + step * (i + 0.5) for i in range(count)]


def contact_labels(run: Run, room: float, size: float) -> list[str]:
    """The contact's own name where it fits, else its kind, else its beginning."""
    out = []
    for contact in run.contacts:
        name = contact_id(contact).replace("_", " ")
        kind = name if isinstance(contact, str) else CONTACT_WORDS[contact.kind]
        out.append(name if text_width(name, size, 400) <= room else fit(kind, size, room, 400))
    return out


def draw_collar(
    c: Canvas, contact: Contact | str, x: float, y: float, scale: Scale, marked: bool, *, upright: bool = False
) -> None:
    """A contact on a run: hatched and out of its outline where it went past its rating or may be at fault."""
    t = c.tones
    j, b = scale.jacket, scale.bulge
    h, w = j * 0.72, j * 0.95
    turn = f' transform="rotate(90 {num(x)} {num(y)})"' if upright else ""
    c.raw(f"<g{turn}><title>{esc(contact_id(contact).replace('_', ' '))}</title>")
    if marked:
        h, w = j + b, j * 1.05
        d = (
            f"M{num(x - w)} {num(y - h + b)}Q{num(x - w)} {num(y - h)} {num(x - w + b)} {num(y - h)}"
            f"H{num(x + w - b)}Q{num(x + w)} {num(y - h)} {num(x + w)} {num(y - h + b)}V{num(y + h - b)}"
            f"Q{num(x + w)} {num(y + h)} {num(x + w - b)} {num(y + h)}H{num(x - w + b)}"
            f"Q{num(x - w)} {num(y + h)} {num(x - w)} {num(y + h - b)}Z"
        )
        c.path(d, fill=c.hatch, stroke=t.orangefill, sw=1.5)
        for side in (-1, 1):
            c.line(x - w, y + side * j, x + w, y + side * j, t.ink, 1.25)
    else:
        c.rect(x - w, y - h, 2 * w, 2 * h, t.paper, stroke=t.ink, sw=1.5)
    u = j / 24
    kind = "joint" if isinstance(contact, str) else contact.kind
    if kind == "connector":
        for dx in (-11.5, 1.5):
            c.rect(x + dx * u, y - 5 * u, 10 * u, 10 * u, t.paper, stroke=t.ink, sw=1.5)
    elif kind == "disconnect":
        c.line(x - 9 * u, y, x + 9 * u, y, t.ink, 4.5 * u + 2)
        c.line(x - 9 * u, y, x + 9 * u, y, t.paper, 2.5 * u)
        for dx in (-10, 10):
            c.circle(x + dx * u, y, 4 * u, t.paper, stroke=t.ink, sw=1.5)
    elif kind == "terminal":
        c.circle(x, y, 8 * u, t.paper, stroke=t.ink, sw=1.5)
        c.line(x - 5 * u, y - 5 * u, x + 5 * u, y + 5 * u, t.ink, 2)
    else:
        c.circle(x, y, 6.5 * u, t.ink, stroke=t.paper, sw=1.5)
    c.raw("</g>")


def draw_fuse(c: Canvas, x: float, y: float, scale: Scale, status: PartStatus, name: str) -> None:
    """The drawing symbol of a fuse: a box with the conductor through it."""
    u = scale.jacket / 24
    over = status.verdict in ("over", "fault")
    c.raw(f"<g><title>{esc(name)}</title>")
    grow = scale.bulge if over else 0
    fill = c.hatch if over else c.tones.paper
    c.rect(
        x - 26 * u - grow, y - 13 * u - grow, 52 * u + 2 * grow, 26 * u + 2 * grow, fill, stroke=c.tones.ink, sw=1.75
    )
    c.line(x - 26 * u - grow, y, x + 26 * u + grow, y, c.tones.ink, 1.75)
    c.raw("</g>")


def draw_screw(c: Canvas, x: float, y: float, bar_w: float, turn_deg: float) -> None:
    r = bar_w * 0.3
    c.circle(x, y, r, c.tones.paper)
    dx, dy = math.cos(math.radians(turn_deg)) * r, math.sin(math.radians(turn_deg)) * r
    c.line(x - dx, y - dy, x + dx, y + dy, c.tones.ink, max(1.5, bar_w * 0.09))


def run_heading(c: Canvas, run: Run, x: float, y: float, width: float, scale: Scale) -> None:
    """Name, gauge, length and fuse on one line of at most width; what does not fit is left out from the end."""
    name = fit(part_name(run.id) if run.wire else "Joined", scale.name, width)
    spans = [(name, scale.name, 600, c.tones.ink)]
    room = width - text_width(name, scale.name) - scale.name * 0.6
    for words in (9, 2, 1):
        about = gauge_text(run, words=words)
        if text_width(about, scale.small, 400) <= room:
            spans.append((f"  {about}", scale.small, 400, c.tones.ink2))
            break
    c.spans(x, y, spans)


def value_line(c: Canvas, row: Row, x1: float, x2: float, y: float, scale: Scale) -> None:
    """ "48 °C of 183 °C" at the left, "74 % margin" at the right."""
    t = c.tones
    x = x1
    if row.verdict not in ("within", "note"):
        size = scale.value * 1.05
        place_mark(c, row.verdict, x, y - size * 0.86, size)
        x += size * 1.3
    tone = t.orange if row.verdict == "over" else t.ink
    value, of = figure(row.measured, row.unit), f"  of {figure(row.limit, row.unit)}"
    told = f"{margin(row.margin_pct)} margin"
    room = x2 - x - text_width(value, scale.value) - scale.small
    if text_width(of, scale.small) + text_width(told, scale.small) > room:
        told = margin(row.margin_pct)
    if text_width(of, scale.small) + text_width(told, scale.small) > room:
        of = ""
    c.spans(x, y, [(value, scale.value, 600, tone), (of, scale.small, 400, t.ink2)])
    c.text(x2, y, told, scale.small, weight=600, anchor="end")


def not_checked_line(c: Canvas, what: str, x: float, y: float, scale: Scale) -> None:
    size = scale.text * 1.25
    place_mark(c, "unknown", x, y - size * 0.8, size)
    c.text(x + size * 1.3, y, what, scale.text, fill=c.tones.ink2)


def _hottest(state: RunState) -> str:
    row = state.contact_row
    if row is None:
        return ""
    between = interval(row.low, row.high, row.unit)
    told = f" ({between})" if between else ""
    return f"{figure(row.measured, row.unit)}{told} of {figure(row.limit, row.unit)}"


def fault_width(state: RunState, scale: Scale) -> float:
    """How wide the words under a bracket are."""
    return max(text_width(state.title, scale.big, 800), text_width(_hottest(state), scale.text))


def fault_lines(c: Canvas, state: RunState, x: float, y: float, width: float, scale: Scale) -> None:
    """Under the bracket: what was added, the hottest of the candidates, the wire itself."""
    t = c.tones
    size = scale.big * min(1.0, width / max(1.0, text_width(state.title, scale.big, 800)))
    c.text(x, y, state.title, max(size, scale.small), weight=800, fill=t.orange)
    y += scale.line_h * 1.15
    hottest = _hottest(state)
    if hottest:
        c.text(x, y, fit(hottest, scale.text, width), scale.text, weight=600)
        y += scale.line_h
    if state.wire_row is not None:
        wire_text = f"the wire itself: {against(state.wire_row)}"
        c.text(x, y, fit(wire_text, scale.small, width, 400), scale.small, fill=t.ink2)
