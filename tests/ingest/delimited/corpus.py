"""Made text logs, one quirk or one realistic mixture each, with the truth they were written from.

All layouts are invented; the truth table is kept beside the bytes, so that a test can compare every value.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

Value = float | str | None


@dataclass
class Case:
    """values: per source column (in file order) what every kept row holds, as numbers or None; None: not compared.

    time_s: per kept row; recording likewise. codes: faults that must be reported; only_codes: no others may be.
    clock: fields of the clock that must be equal (approximately for floats). dialect: likewise.
    """

    name: str
    data: bytes
    values: list[tuple[str, Sequence[Value] | None]]
    time_s: Sequence[float] | None = None
    recording: Sequence[int] | None = None
    codes: frozenset[str] = frozenset()
    clock: dict[str, object] | None = field(default_factory=dict)
    dialect: dict[str, object] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    rate_Hz: float | None = None
    kinds: dict[str, str] = field(default_factory=dict)
    exact_codes: bool = False


def truth(rows: int = 60, step: float = 0.1) -> tuple[list[float], list[float], list[float]]:
    """(time, voltage, current) of a discharge with a few hits; three and two decimals."""
    time = [round(k * step, 6) for k in range(rows)]
    volts = [round(25.2 - 0.013 * k - (0.9 if k % 17 == 5 else 0.0), 3) for k in range(rows)]
    amps = [round(3.5 + (k * 7 % 23) * 1.25 + (60.0 if k % 17 == 5 else 0.0), 2) for k in range(rows)]
    return time, volts, amps


def table(
    names: Sequence[str] | None,
    columns: Sequence[Sequence[str]],
    delimiter: str = ",",
    end: str = "\n",
    last: bool = True,
) -> str:
    """Rows of ready-made cells under the names."""
    lines = [] if names is None else [delimiter.join(names)]
    lines += [delimiter.join(cells) for cells in zip(*columns, strict=True)]
    return end.join(lines) + (end if last else "")


def text(values: Sequence[float], places: int, comma: bool = False) -> list[str]:
    cells = [f"{v:.{places}f}" for v in values]
    return [c.replace(".", ",") for c in cells] if comma else cells


CASES: list[Callable[[], Case]] = []


def case(make: Callable[[], Case]) -> Callable[[], Case]:
    CASES.append(make)
    return make


def simple(
    name: str,
    data: str | bytes,
    names: Sequence[str],
    *,
    rows: int = 60,
    codes: Sequence[str] = (),
    encoding: str = "utf-8",
    **more: object,
) -> Case:
    """A case over truth(): time, voltage, current under three names."""
    t, v, i = truth(rows)
    raw = data if isinstance(data, bytes) else data.encode(encoding)
    more.setdefault("time_s", t)
    return Case(name, raw, list(zip(names, (t, v, i), strict=True)), codes=frozenset(codes), **more)  # type: ignore[arg-type]


NAMES = ("time_s", "pack_voltage_V", "pack_current_A")


def plain(
    delimiter: str = ",", comma: bool = False, end: str = "\n", names: Sequence[str] = NAMES, last: bool = True
) -> str:
    t, v, i = truth()
    return table(names, [text(t, 1, comma), text(v, 3, comma), text(i, 2, comma)], delimiter, end, last)
