"""The marks: shape first, word always, tone last. One upright line is the rating, a block is what was measured.

Drawn on a grid of 24 with the line at x = 16, from plain shapes.
"""

from __future__ import annotations

from dashboard.ink import TONES, Canvas, Theme, Tones, num

MARKS = ("within", "close", "over", "fault", "unknown", "note", "go", "go_change", "no_power")


def mark_shapes(mark: str, tones: Tones) -> str:
    """The shapes of a mark on the 24 grid. Raises KeyError for a mark that does not exist."""
    t = tones
    line = f'<rect x="15" y="3" width="2" height="18" fill="{t.ink}"/>'
    shapes = {
        "within": f'<rect x="2" y="7.5" width="8.5" height="9" fill="{t.bluefill}"/>{line}',
        "close": f'<rect x="2" y="7.5" width="13" height="9" fill="{t.greyfill}"/>{line}',
        "over": (
            f'<rect x="1" y="6.5" width="12.5" height="11" fill="{t.orangefill}"/>'
            f'<path d="M18.5 6.5L24 12L18.5 17.5Z" fill="{t.orangefill}"/>{line}'
        ),
        "fault": (
            f'<rect x="0" y="8" width="7" height="8" fill="{t.orangefill}"/>'
            f'<rect x="17" y="8" width="7" height="8" fill="{t.orangefill}"/>'
            f'<path d="M7.5 21L11.5 3M12.5 21L16.5 3" stroke="{t.ink}" stroke-width="2" fill="none"/>'
        ),
        "unknown": (
            f'<rect x="2" y="6.5" width="20" height="11" fill="none" stroke="{t.ink}" stroke-width="1.75" '
            'stroke-dasharray="3.4 2.2"/>'
        ),
        "note": f'<circle cx="12" cy="12" r="4" fill="{t.ink}"/>',
        "go": f'<path d="M5 3L20 12L5 21Z" fill="{t.ink}"/>',
        "go_change": (
            f'<path d="M2 3L11 12L2 21Z" fill="{t.ink}"/><rect x="12" y="3" width="3" height="18" '
            f'fill="{t.orangefill}"/><path d="M16.5 7.5L22 12L16.5 16.5Z" fill="{t.ink}"/>'
        ),
        "no_power": (
            f'<rect x="2" y="2" width="20" height="20" fill="{t.orangefill}"/>'
            f'<rect x="5.5" y="9.5" width="13" height="5" fill="{t.paper}"/>'
        ),
    }
    return shapes[mark]


def mark_svg(mark: str, size: float = 24, *, theme: Theme = "page") -> str:
    """A mark on its own. The word always stands beside it, so it is hidden from readers of the page's text."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="mark" viewBox="0 0 24 24" width="{num(size)}" '
        f'height="{num(size)}" aria-hidden="true">{mark_shapes(mark, TONES[theme])}</svg>'
    )


def place_mark(canvas: Canvas, mark: str, x: float, y: float, size: float) -> None:
    """A mark inside a picture, its upper left corner at (x, y)."""
    canvas.raw(
        f'<g transform="translate({num(x)} {num(y)}) scale({num(size / 24)})">{mark_shapes(mark, canvas.tones)}</g>'
    )
