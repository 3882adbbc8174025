"""How this robot is wired, for someone who has never seen inside it: one page to print, from the build file alone.

Self-contained HTML with the drawing inline, no script, black on white. No figure of any match is in it.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.glossary import GLOSSARY
from dashboard.ink import esc
from dashboard.page_words import CONTACT_WORDS, figure, part_name
from dashboard.sheet_style import STYLE, font_faces
from dashboard.wiring_picture import wiring_svg
from dashboard.wiring_tree import Node, wiring_tree
from ingest.builds import Build

MOST_WAYS, FEW_WAYS = 6, 3  # paths of the current that are written out; where there are more (our choice: one page)
MOST_PARTS = 12

_STYLE = """
h1{font-size:26px;line-height:30px;font-weight:800;padding:8px 0 2px}
h2{font-size:14px;line-height:18px;font-weight:800;padding:10px 0 3px}
.lead{font-size:14px;line-height:19px}
.picture{padding:8px 0;border-bottom:1px solid #000}
.ways{margin:0;padding-left:18px}
.ways li{padding:1px 0}
.parts{columns:2;column-gap:22px;margin:0}
.parts div{break-inside:avoid;padding:2px 0}
.parts dt{font-weight:600;display:inline}
.parts dd{display:inline}
.rules{border-top:1px solid #000;margin-top:8px;padding-top:4px}
.tall{display:none}
@media screen and (max-width:760px){
body{width:auto;padding:0 16px;font-size:15px;line-height:21px}
.parts{columns:1}
.wide{display:none}
.tall{display:block}
}
"""


def teaching_html(build: Build) -> str:
    """The page. Works for any build that can be read, also one without a run."""
    head = build.build
    title = head.robot or head.id
    picture = _drawn(build) or "<p>No run is described yet: add wires to the build file, and they are drawn here.</p>"
    paths = list(current_paths(build))
    shown = paths if len(paths) <= MOST_WAYS else paths[:FEW_WAYS]
    ways = "".join(f"<li>{esc(way)}</li>" for way in shown)
    rest = f"<p>And {len(paths) - len(shown)} more in the same way.</p>" if len(paths) > len(shown) else ""
    parts = "".join(
        f"<div><dt>{esc(name)}: </dt><dd>{esc(told)}</dd></div>" for name, told in list(explained(build))[:MOST_PARTS]
    )
    summary = f" {esc(head.summary)}." if head.summary else ""
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>How {esc(title)} is wired</title><style>{font_faces()}{STYLE}{_STYLE}</style></head><body><main>"
        f'<div class="top"><b>afterbout</b><span>build {esc(head.id)}</span></div>'
        f"<h1>How {esc(title)} is wired</h1>"
        f'<p class="lead">Current leaves the pack, goes out to each load and comes back. Thick lines are heavy copper; '
        f"they carry the most.{summary}</p>"
        f'<div class="picture">{picture}</div>'
        + (f'<h2>The way of the current</h2><ol class="ways">{ways}</ol>{rest}' if ways else "")
        + f'<h2>The parts</h2><dl class="parts">{parts}</dl>'
        '<p class="rules">Before you touch anything: main disconnect open, power light out, weapon restrained. '
        "Packs are charged under supervision in the event's charging place. The event's rules come first.</p>"
        "</main></body></html>"
    )


def _drawn(build: Build) -> str:
    """Left to right for paper and wide screens, top to bottom for a phone."""
    if not build.wires:
        return ""
    wide = wiring_svg(build, None, theme="print", width=711)
    tall = wiring_svg(build, None, theme="light", vertical=True, width=358)
    return f'<div class="wide">{wide}</div><div class="tall">{tall}</div>'


def current_paths(build: Build) -> Iterator[str]:
    """ "Pack, battery lead (12 AWG) through pack plug, distribution, weapon lead (14 AWG), weapon controller" for each
    load, in the order of the build file."""
    for root in wiring_tree(build):
        yield from _below(root, [_node(build, root)])


def _below(node: Node, so_far: list[str]) -> Iterator[str]:
    motors = [part_name(motor.id).lower() for motor in node.motors]
    if not node.runs:
        if len(so_far) > 1:
            yield " → ".join([*so_far, *motors])
        return
    for run in node.runs:
        step = part_name(run.id).lower() if run.wire is not None else "joined"
        if run.wire is not None and run.wire.gauge:
            step += f" ({run.wire.gauge})"
        inside = [part_name(c if isinstance(c, str) else c.id).lower() for c in run.contacts]
        inside += [f"fuse {figure(f.rated_A, 'A')}" if f.rated_A else "fuse" for f in run.fuses]
        step += f" through {', '.join(inside)}" if inside else ""
        yield from _below(run.child, [*so_far, step, part_name(run.child.id).lower()])


def _node(build: Build, node: Node) -> str:
    slot = next((p for p in build.packs if p.id == node.id), None)
    return f"{part_name(node.id)}, {slot.cells} cells" if slot is not None else part_name(node.id)


def explained(build: Build) -> Iterator[tuple[str, str]]:
    """Each kind of part that this build has, by the names it has here, with its meaning from the glossary."""
    yield _named("Pack", [p.id for p in build.packs]), GLOSSARY["pack"]
    yield "Cell", GLOSSARY["cell"]
    if build.wires:
        yield "Run", GLOSSARY["run"]
    if any(w.to == "distribution" or w.from_ == "distribution" for w in build.wires):
        yield "Distribution", GLOSSARY["distribution"]
    for kind in ("disconnect", "connector", "terminal", "joint"):
        ids = [c.id for c in build.contacts if c.kind == kind]
        if ids:
            term = {"disconnect": "disconnect", "joint": "joint"}.get(kind, "contact")
            yield _named(CONTACT_WORDS[kind].capitalize(), ids), GLOSSARY[term]
    if build.fuses:
        yield _named("Fuse", [f.id for f in build.fuses]), "Opens by melting when too much current goes on too long."
    if build.controllers:
        yield _named("Controller", [c.id for c in build.controllers]), GLOSSARY["controller"]
    if build.motors:
        yield _named("Motor", [m.id for m in build.motors]), "Turns current into force; held still it only gets hot."
    if build.regulators:
        yield _named("Regulator", [r.id for r in build.regulators]), GLOSSARY["regulator"]
        yield "Rail", GLOSSARY["rail"]
    yield "Rating", GLOSSARY["rating"]


def _named(word: str, ids: list[str]) -> str:
    names = [part_name(i).lower() for i in ids if part_name(i).lower() != word.lower()]
    return f"{word} ({', '.join(names[:6])}{', …' if len(names) > 6 else ''})" if names else word
