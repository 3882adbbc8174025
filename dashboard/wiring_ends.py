"""The boxes of the wiring picture: packs, controllers with their motors, regulators, and the key to the run."""

from __future__ import annotations

from collections.abc import Mapping

from dashboard.ink import Canvas, fit, text_width
from dashboard.marks import place_mark
from dashboard.page_words import figure, number, part_name
from dashboard.rows import PartStatus, Row
from dashboard.wiring_parts import against
from dashboard.wiring_scale import Scale
from dashboard.wiring_tree import Node
from ingest.builds import Build, Pack

Line = tuple[str, str]  # (text, mark or "")


def pack_title(slot: str, pack: Pack | None) -> str:
    if pack is None:
        return part_name(slot)
    name = pack.id.upper() if len(pack.id) <= 3 else part_name(pack.id)
    return f"Pack {name}" if slot == "pack" else f"{part_name(slot)} {name}"


def pack_lines(build: Build, slot: str, pack: Pack | None, status: Mapping[str, PartStatus]) -> list[Line]:
    cells = pack.cells if pack else next((s.cells for s in build.packs if s.id == slot), build.cells)
    about = f"{cells} cells"
    if pack is not None and pack.capacity_Ah is not None:
        about += f", {number(pack.capacity_Ah, 'Ah').rstrip('0').rstrip('.')} Ah"
    lines: list[Line] = [(about, "")]
    own = status.get(slot) or (status.get(pack.id) if pack else None) or PartStatus()
    row = own.row("cell_minimum") or own.worst
    if row is not None:
        lines.append((figure(row.measured, row.unit), _mark(row)))
        held = f", min {number(row.limit, row.unit)}" if row.is_floor else f" of {number(row.limit, row.unit)}"
        lines.append((f"{_what(row)}{held}".strip(" ,"), ""))
    elif own.not_checked:
        lines.append(("not checked", "unknown"))
    return lines


def _what(row: Row) -> str:
    return {"cell_minimum": "lowest cell", "pack_sag": "lowest", "pack_current": "worst"}.get(row.check, "")


def _mark(row: Row) -> str:
    return "" if row.verdict in ("within", "note") else row.verdict


def end_title(build: Build, node: Node) -> str:
    if node.kind == "regulator":
        regulator = next((r for r in build.regulators if r.id == node.id), None)
        if regulator is not None and regulator.output_V is not None:
            return f"{regulator.output_V:g} V regulator"
    if node.kind == "controller" and any(m.controller == node.id for m in build.motors):
        short = len(node.id) <= 8 and "controller" not in node.id
        return f"{part_name(node.id)} controller" if short else part_name(node.id)
    return part_name(node.id)


def end_lines(build: Build, node: Node, status: Mapping[str, PartStatus], most: int) -> list[Line]:
    """The smallest margins of a load, and what of it could not be checked."""
    own = status.get(node.id, PartStatus())
    rows = list(own.rows)
    faults = list(own.faults)
    unable = list(own.not_checked)
    for motor in node.motors:
        more = status.get(motor.id, PartStatus())
        rows += more.rows
        faults += more.faults
    if node.kind == "regulator":
        supplied = next((r.supplies for r in build.regulators if r.id == node.id), "receiver")
        more = status.get(supplied, PartStatus())
        rows += more.rows
        faults += more.faults
    lines: list[Line] = [(f"fault: {f.cause.replace('_', ' ')}", "fault") for f in faults[:1]]
    heat = next((n for n in unable if n.check.endswith("temperature")), None)
    room = most - len(lines) - (1 if heat else 0)
    for run in node.lead_runs:
        rows += status.get(run.id, PartStatus()).rows
        faults += status.get(run.id, PartStatus()).faults
    rows.sort(key=lambda r: r.margin_pct)
    leads = {run.id for run in node.lead_runs}
    for row in rows[: max(room, 1)]:
        told = f"motor leads {against(row)}" if row.part in leads else against(row)
        lines.append((told, _mark(row)))
    if heat is not None:
        lines.append(("heat not checked", "unknown"))
    elif not lines and unable:
        lines.append(("not checked", "unknown"))
    return lines[:most]


def draw_box(c: Canvas, x: float, y: float, w: float, h: float, title: str, lines: list[Line], scale: Scale) -> None:
    """A box with a title and short lines, each with its mark at the right."""
    t = c.tones
    c.rect(x, y, w, h, t.paper, stroke=t.ink, sw=2 if scale.jacket > 20 else 1.5)
    pad = scale.text * 0.9
    step = scale.line_h
    total = len(lines) + 1
    base = y + h / 2 - (total - 1) * step / 2 + scale.text * 0.35
    c.text(x + pad, base, fit(title, scale.name, w - 2 * pad), scale.name, weight=600)
    size = scale.text * 1.25
    for i, (text, mark) in enumerate(lines, start=1):
        room = w - 2 * pad - (size * 1.1 if mark else 0)
        shown = fit(text, scale.text, room, 400)
        strong = 600 if mark and mark != "unknown" else 400
        c.text(x + pad, base + i * step, shown, scale.text, weight=strong, fill=t.ink if strong == 600 else t.ink2)
        if mark:
            place_mark(c, mark, x + w - pad - size, base + i * step - size * 0.78, size)


def box_height(lines: int, scale: Scale) -> float:
    return (lines + 1) * scale.line_h + scale.text * 0.9


def draw_motor(c: Canvas, x: float, y: float, r: float, count: int, name: str) -> None:
    c.circle(x, y, r, c.tones.paper, stroke=c.tones.ink, sw=2)
    label = "M" if count == 1 else f"{count} × M"
    size = 18.0 if text_width(label, 18) < 1.7 * r else 15.0
    c.text(x, y + size * 0.36, label, size, weight=600, anchor="middle")
    del name


def draw_key(c: Canvas, x: float, y: float, scale: Scale) -> float:
    """Half a run cut through, each layer named at its own height; returns its height."""
    t = c.tones
    size = scale.small
    step = size * 1.5
    rows = (
        ("outline: the rating", "line", t.ink),
        ("empty: margin left", "", ""),
        ("tone: used up", "fill", t.bluefill),
        ("copper, six times its size" if scale.mm == 6 else "copper to scale", "fill", t.ink),
    )
    for i, (words, how, tone) in enumerate(rows):
        top = y + i * step
        if how == "fill":
            c.rect(x, top, 130, step, tone)
        elif how == "line":
            c.line(x, top + step * 0.5, x + 130, top + step * 0.5, tone, 1.25)
        c.text(x + 142, top + step * 0.72, words, size, fill=t.ink2)
    return len(rows) * step
