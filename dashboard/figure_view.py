"""How the page is looked at, and the measures that the traces and their labels share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dashboard.ink import DARK, LIGHT, Tones

GAP_PX, BOTTOM_PX = 34, 44
LABEL_PX = 264
SIZE = 15


@dataclass(frozen=True)
class View:
    """How the page is looked at: tones, and whether there is room for labels at the right."""

    dark: bool = False
    narrow: bool = False

    @property
    def top_px(self) -> int:
        return 60 if self.narrow else 34

    @property
    def tones(self) -> Tones:
        return DARK if self.dark else LIGHT


def view_of(data: Any) -> View:
    """What the page's own script told of itself; anything else is a wide light page."""
    return View(bool(data.get("dark")), bool(data.get("narrow"))) if isinstance(data, dict) else View()


def tone_colour(tone: str, tones: Tones) -> str:
    return {"blue": tones.blue, "orange": tones.orange, "ink": tones.ink, "grey": tones.grey}[tone]


def safe(text: str) -> str:
    """Names are plain letters by their pattern; what plotly would read as markup is left out all the same."""
    return text.replace("<", "").replace(">", "").replace("%{", "")
