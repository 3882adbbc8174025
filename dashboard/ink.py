"""Tones, measures and SVG text shared by every picture: wiring, envelope, bars, marks.

The contrast of each tone was computed by the WCAG 2 formula against its paper; tests/dashboard/test_ink.py
recomputes it. Pictures on a page use CSS variables (theme "page"), so that light and dark need no new drawing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from html import escape
from typing import Literal

Theme = Literal["light", "dark", "print", "page"]

FONT_STACK = "'Atkinson Hyperlegible Next', system-ui, sans-serif"


@dataclass(frozen=True)
class Tones:
    """Colours by use. *_fill and *_tint never carry text; hatch is what shows "past the line" without colour."""

    paper: str
    inset: str
    ink: str
    ink2: str
    rule: str
    blue: str
    orange: str
    grey: str
    bluefill: str
    orangefill: str
    greyfill: str
    bluetint: str
    orangetint: str
    inv: str
    invtext: str


LIGHT = Tones(
    paper="#FCFCFA", inset="#F0F1EE", ink="#14181D", ink2="#474F57", rule="#C8CCCE",
    blue="#17558F", orange="#9C3D00", grey="#59616A",
    bluefill="#4A86BE", orangefill="#D4620A", greyfill="#59616A", bluetint="#DCE8F4", orangetint="#FBE6D3",
    inv="#14181D", invtext="#FCFCFA",
)  # fmt: skip
DARK = Tones(
    paper="#15181B", inset="#1F2428", ink="#F2F0EB", ink2="#B4BBC1", rule="#3B4248",
    blue="#93C1EE", orange="#FFAB66", grey="#A2AAB2",
    bluefill="#5C97CF", orangefill="#E8802A", greyfill="#A2AAB2", bluetint="#223C55", orangetint="#47301B",
    inv="#F2F0EB", invtext="#15181B",
)  # fmt: skip
PRINT = Tones(
    paper="#FFFFFF", inset="#FFFFFF", ink="#000000", ink2="#333333", rule="#B8B8B8",
    blue="#000000", orange="#000000", grey="#333333",
    bluefill="#8C8C8C", orangefill="#000000", greyfill="#4D4D4D", bluetint="#E4E4E4", orangetint="#E4E4E4",
    inv="#000000", invtext="#FFFFFF",
)  # fmt: skip
PAGE = Tones(**{f.name: f"var(--{f.name})" for f in fields(Tones)})

TONES: Mapping[Theme, Tones] = {"light": LIGHT, "dark": DARK, "print": PRINT, "page": PAGE}


def css_variables(tones: Tones) -> str:
    return "".join(f"--{f.name}:{getattr(tones, f.name)};" for f in fields(Tones))


def contrast(first: str, second: str) -> float:
    """WCAG 2.2 contrast ratio of two #RRGGBB colours, 1 to 21."""

    def luminance(colour: str) -> float:
        channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


# Advance widths of the bundled face for the characters 32 to 126, in thousandths of the size, weight 600.
# Text set at 400 is narrower and at 800 about 2 % wider, so that a fit found here holds for all three.
_ADVANCE = (
    303, 298, 362, 730, 604, 953, 727, 195, 324, 324, 485, 598, 252, 369, 253, 424, 656, 430, 569, 592, 621,
    602, 617, 529, 621, 578, 253, 253, 564, 617, 564, 526, 780, 662, 634, 654, 683, 589, 562, 711, 699, 415,
    546, 654, 548, 848, 710, 737, 617, 747, 639, 604, 592, 687, 628, 877, 666, 627, 615, 333, 424, 344, 573,
    391, 274, 544, 587, 502, 586, 555, 349, 582, 565, 285, 255, 536, 301, 870, 565, 567, 587, 591, 368, 497,
    360, 559, 509, 723, 522, 499, 492, 370, 249, 370, 543,
)  # fmt: skip
_OTHER_ADVANCE = 620  # wider than the face's mean outside ASCII: our choice, to err on the safe side


_OTHER = {"\u00a0": 303, "°": 360, "…": 760, "’": 210}


def text_width(text: str, size: float, weight: int = 600) -> float:
    """About how wide a line is set, in px; never narrower than the bundled face by more than 2 %."""
    total = sum(_ADVANCE[ord(c) - 32] if " " <= c <= "~" else _OTHER.get(c, _OTHER_ADVANCE) for c in text)
    return total * size / 1000 * (1.03 if weight >= 800 else 1.0)


def fit(text: str, size: float, width: float, weight: int = 600) -> str:
    """The text, or its beginning with an ellipsis where it would be wider than width."""
    if text_width(text, size, weight) <= width:
        return text
    kept = text
    while kept and text_width(kept + "…", size, weight) > width:
        kept = kept[:-1]
    return kept.rstrip(" ,;:") + "…"


_FIGURE = re.compile(r"(?<=\d) (?=(?:°C|K|V|A|Ah|W|g|kg|s|mΩ|Ω|%|min|minutes|AWG|mm|Hz|rpm)\b|°C|%)")


def glue(text: str) -> str:
    """A figure and its unit stay on one line."""
    return _FIGURE.sub("\u00a0", text)


def wrap(text: str, size: float, width: float, *, lines: int = 99, weight: int = 400) -> list[str]:
    """Words set in lines of at most width px; the last of too many lines ends in an ellipsis."""
    out: list[str] = []
    line = ""
    for word in glue(" ".join(text.split())).split(" "):
        longer = f"{line} {word}".strip()
        if line and text_width(longer, size, weight) > width:
            out.append(line)
            line = word
        else:
            line = longer
    out.append(line)
    if len(out) > lines:
        out = [*out[: lines - 1], " ".join(out[lines - 1 :])]
    return [fit(part, size, width, weight) for part in out]


def esc(text: str) -> str:
    """Safe inside SVG and HTML text and attributes; control characters that XML forbids are left out."""
    legal = "".join(c for c in text if c in "\t\n" or (ord(c) >= 32 and not 0x7F <= ord(c) <= 0x9F))
    legal = "".join(c for c in legal if not 0xD800 <= ord(c) <= 0xDFFF and ord(c) not in (0xFFFE, 0xFFFF))
    return escape(legal, quote=True)


def num(value: float) -> str:
    """A coordinate: two decimals at most, no trailing zeros, so that the same picture is the same bytes."""
    if not math.isfinite(value):
        raise ValueError("a coordinate must be finite")
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


class Canvas:
    """Collects SVG elements; every text is escaped, every number is written the same way each time."""

    def __init__(self, tones: Tones, uid: str) -> None:
        self.tones = tones
        self.uid = uid
        self.parts: list[str] = []

    def raw(self, markup: str) -> None:
        self.parts.append(markup)

    def rect(
        self, x: float, y: float, w: float, h: float, fill: str, *, stroke: str = "", sw: float = 0, dash: str = ""
    ) -> None:
        extra = f' stroke="{stroke}" stroke-width="{num(sw)}"' if stroke else ""
        extra += f' stroke-dasharray="{dash}"' if dash else ""
        self.raw(
            f'<rect x="{num(x)}" y="{num(y)}" width="{num(max(w, 0))}" height="{num(max(h, 0))}" fill="{fill}"{extra}/>'
        )

    def line(self, x1: float, y1: float, x2: float, y2: float, stroke: str, sw: float = 1, *, dash: str = "") -> None:
        extra = f' stroke-dasharray="{dash}"' if dash else ""
        self.raw(
            f'<line x1="{num(x1)}" y1="{num(y1)}" x2="{num(x2)}" y2="{num(y2)}" stroke="{stroke}" '
            f'stroke-width="{num(sw)}"{extra}/>'
        )

    def path(self, d: str, *, fill: str = "none", stroke: str = "", sw: float = 0, dash: str = "") -> None:
        extra = f' stroke="{stroke}" stroke-width="{num(sw)}" stroke-linejoin="round"' if stroke else ""
        extra += f' stroke-dasharray="{dash}"' if dash else ""
        self.raw(f'<path d="{d}" fill="{fill}"{extra}/>')

    def circle(self, x: float, y: float, r: float, fill: str, *, stroke: str = "", sw: float = 0) -> None:
        extra = f' stroke="{stroke}" stroke-width="{num(sw)}"' if stroke else ""
        self.raw(f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(r)}" fill="{fill}"{extra}/>')

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        weight: int = 400,
        fill: str = "",
        anchor: str = "start",
        halo: bool = False,
    ) -> None:
        side = "" if anchor == "start" else f' text-anchor="{anchor}"'
        around = f' stroke="{self.tones.paper}" stroke-width="4" paint-order="stroke"' if halo else ""
        self.raw(
            f'<text x="{num(x)}" y="{num(y)}" font-size="{num(size)}" font-weight="{weight}" '
            f'fill="{fill or self.tones.ink}"{side}{around}>{esc(text)}</text>'
        )

    def spans(self, x: float, y: float, runs: list[tuple[str, float, int, str]], *, anchor: str = "start") -> None:
        """One line of text in several settings: (text, size, weight, fill)."""
        side = "" if anchor == "start" else f' text-anchor="{anchor}"'
        inner = "".join(
            f'<tspan font-size="{num(size)}" font-weight="{weight}" fill="{fill}">{esc(text)}</tspan>'
            for text, size, weight, fill in runs
        )
        self.raw(f'<text x="{num(x)}" y="{num(y)}" xml:space="preserve"{side}>{inner}</text>')

    def arrow(
        self, x1: float, y1: float, x2: float, y2: float, stroke: str, *, head: float = 6, sw: float = 1.5
    ) -> None:
        """A dimension arrow with a head at both ends; upright or level."""
        self.line(x1, y1, x2, y2, stroke, sw)
        for x, y, ox, oy in ((x1, y1, x2, y2), (x2, y2, x1, y1)):
            dx, dy = math.copysign(head, ox - x) if ox != x else 0.0, math.copysign(head, oy - y) if oy != y else 0.0
            wx, wy = (0.0, head * 0.6) if dx else (head * 0.6, 0.0)
            self.path(
                f"M{num(x + dx + wx)} {num(y + dy + wy)}L{num(x)} {num(y)}L{num(x + dx - wx)} {num(y + dy - wy)}",
                stroke=stroke, sw=sw,
            )  # fmt: skip

    @property
    def hatch(self) -> str:
        return f"url(#{self.uid}-hatch)"

    def svg(self, width: float, height: float, label: str, *, wide: bool = False) -> str:
        """The element. wide marks one that is meant to be scrolled inside its frame instead of shrunk."""
        role = "group" if any('role="button"' in part for part in self.parts) else "img"
        size = f' width="{num(width)}" height="{num(height)}"' + (' class="wide"' if wide else "")
        t = self.tones
        hatch = (
            f'<pattern id="{self.uid}-hatch" width="7" height="7" patternUnits="userSpaceOnUse" '
            f'patternTransform="rotate(45)"><rect width="7" height="7" fill="{t.paper}"/>'
            f'<rect width="4" height="7" fill="{t.orangefill}"/></pattern>'
        )
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {num(width)} {num(height)}"{size} role="{role}" '
            f'aria-label="{esc(label)}" font-family="{esc(FONT_STACK)}"><defs>{hatch}</defs>'
            f"{''.join(self.parts)}</svg>"
        )
