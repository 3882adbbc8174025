"""The sizes of the wiring picture: on a wide screen, on a phone, on the sheet with few and with many runs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Scale:
    """Sizes in px. jacket: the outline's distance from the centre line; mm: px per mm of copper."""

    jacket: float
    mm: float
    big: float
    value: float
    name: float
    text: float
    small: float
    pack_w: float
    bar_w: float
    box_w: float
    motor_r: float
    stub: float
    min_run: float
    bulge: float
    one_line: bool = False
    breath: float = 0  # empty room above each run

    @property
    def line_h(self) -> float:
        return self.text * (1.4 if self.jacket > 15 else 1.33)


SCREEN = Scale(24, 6, 22, 22, 18, 16, 16, 176, 28, 206, 30, 44, 250, 8, breath=24)
PHONE = Scale(22, 6, 22, 18, 17, 16, 15, 0, 28, 0, 0, 0, 0, 8)
SHEET = Scale(11, 2.75, 14, 12.5, 12.5, 12, 11.5, 126, 15, 140, 0, 0, 150, 4)
SHEET_DENSE = Scale(7, 1.75, 13, 11.5, 11.5, 11.5, 11.5, 126, 13, 140, 0, 0, 150, 3, one_line=True)
