"""A new recording written over an older, longer one, byte for byte; and pauses that only look like it.

The older rows behind the end carry a later clock. Every file is made by laying the new bytes over the old ones, as a
card or a file of fixed size does, and the truth is kept beside it. Pauses are made by leaving rows out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from tests.ingest.delimited.corpus import Case, case

HEADER = "time_s,pack_voltage_V,pack_current_A"


class Run:
    """Rows of one recording, made from a battery that is used up at its own pace."""

    def __init__(
        self, count: int, step: float = 0.25, *, start_V: float = 25.1, wander: float = 1.0, phase: float = 0.0
    ) -> None:
        self.time = [round(phase + k * step, 3) for k in range(count)]
        self.amps = [
            round(wander * (12.0 + 9.0 * math.sin(k / 3.1) + 4.0 * math.sin(k / 1.3)), 2) for k in range(count)
        ]
        self.used = []
        total = 0.0
        for amps in self.amps:
            total += amps * step / 3.6
            self.used.append(round(total, 1))
        self.volts = [round(start_V - 0.004 * u - 0.021 * i, 3) for u, i in zip(self.used, self.amps, strict=True)]
        self.heat = [round(22.0 + 0.02 * u, 1) for u in self.used]
        self.number = [float(k + 1) for k in range(count)]

    def rows(self, *columns: str) -> list[tuple[float, ...]]:
        return list(zip(self.time, *(getattr(self, c) for c in columns), strict=True))


PLACES = {"volts": 3, "amps": 2, "used": 1, "heat": 1, "number": 0}


def lines(run: Run, columns: Sequence[str], places: int = 2) -> list[str]:
    return [
        ",".join([f"{row[0]:.{places}f}"] + [f"{x:.{PLACES[c]}f}" for c, x in zip(columns, row[1:], strict=True)])
        for row in run.rows(*columns)
    ]


def overlaid(
    name: str, header: str, columns: Sequence[str], new: Run, old: Run, *, places: int = 2, nudge: int = 0,
    codes: Sequence[str] = ("leftovers",),
) -> Case:  # fmt: skip
    """The new file's bytes over the old file's; whole old rows behind it are the second recording.

    nudge: bytes by which the old file's header was longer, which moves the place of the cut within a row.
    """
    fresh = "\n".join([header, *lines(new, columns, places)]) + "\n"
    below = "#" * nudge + "\n".join([header, *lines(old, columns, places)]) + "\n"
    assert len(below) > len(fresh)
    left = below[len(fresh) :]
    _, _, whole = left.partition("\n") if below[len(fresh) - 1] != "\n" else ("", "", left)
    kept = whole.count("\n")
    first = len(old.time) - kept
    names = header.split(",")
    values = [list(x) for x in zip(*(new.rows(*columns) + old.rows(*columns)[first:]), strict=True)]
    times = [t - new.time[0] for t in new.time] + [t - old.time[first] for t in old.time[first:]]
    assert old.time[first] > new.time[-1] + 2.0, "the case must leap ahead"
    return Case(
        name,
        (fresh + left).encode(),
        list(zip(names, [None, *values[1:]], strict=True)),
        times,
        [0] * len(new.time) + [1] * kept,
        frozenset(codes),
    )


@case
def later_leftovers_cut_in_a_row() -> Case:
    """60 s anew over 180 s of another robot whose rows were shorter: the old rows go on at a later clock."""
    new, old = Run(240), Run(720, wander=0.4, start_V=16.3)
    return overlaid("later_leftovers_cut_in_a_row", HEADER, ("volts", "amps"), new, old)


@case
def later_leftovers_cut_in_the_stamp() -> Case:
    """The cut lies within the stamp, so that the rest of the line looks like a whole row of an earlier time."""
    new, old = Run(240), Run(720, 0.5, wander=0.4, start_V=16.3)
    columns = ("volts", "amps")
    fresh = "\n".join([HEADER, *lines(new, columns)]) + "\n"
    for nudge in range(60):
        below = "#" * nudge + "\n".join([HEADER, *lines(old, columns)]) + "\n"
        left = below[len(fresh) :]
        if left.partition("\n")[0].count(",") == 2 and below[len(fresh) - 1] != "\n":
            return overlaid(
                "later_leftovers_cut_in_the_stamp", HEADER, columns, new, old, nudge=nudge,
                codes=("leftovers", "clock_backward"),
            )  # fmt: skip
    raise AssertionError("no such cut")


@case
def later_leftovers_row_count_runs_on_elsewhere() -> Case:
    """Rows of one length, so nothing is torn; the count of rows tells."""
    new = Run(240)
    old = Run(760, 0.25, phase=20.0)
    columns = ("volts", "amps", "number")
    fixed = [(f"{t:7.2f},{v:6.3f},{i:6.2f},{n:5.0f}") for run in (new, old) for t, v, i, n in run.rows(*columns)]
    header = "time_s,pack_voltage_V,pack_current_A,sample"
    rows = fixed[:240] + fixed[240 + 240 :]
    both = [*new.rows(*columns), *old.rows(*columns)[240:]]
    values = [list(x) for x in zip(*both, strict=True)]
    shift = [t - old.time[240] for t in old.time[240:]]
    values[3][240:] = [x + 1000 for x in values[3][240:]]
    rows[240:] = [r[:-5] + f"{int(r[-5:]) + 1000:5d}" for r in rows[240:]]
    return Case(
        "later_leftovers_row_count_runs_on_elsewhere",
        ("\n".join([header, *rows]) + "\n").encode(),
        list(zip(header.split(","), [None, *values[1:]], strict=True)),
        new.time + shift,
        [0] * 240 + [1] * 520,
        frozenset(["leftovers"]),
    )


@case
def later_leftovers_charge_runs_back() -> Case:
    """Rows of one length; the charge used falls back to what an older, gentler match had used."""
    new, old = Run(240, wander=1.6), Run(720, wander=0.3)
    columns = ("volts", "amps", "used")
    header = "time_s,pack_voltage_V,pack_current_A,charge_used_mAh"
    rows = [f"{t:7.2f},{v:6.3f},{i:6.2f},{u:6.1f}" for t, v, i, u in [*new.rows(*columns), *old.rows(*columns)[300:]]]
    values = [list(x) for x in zip(*[*new.rows(*columns), *old.rows(*columns)[300:]], strict=True)]
    return Case(
        "later_leftovers_charge_runs_back",
        ("\n".join([header, *rows]) + "\n").encode(),
        list(zip(header.split(","), [None, *values[1:]], strict=True)),
        new.time + [t - old.time[300] for t in old.time[300:]],
        [0] * 240 + [1] * 420,
        frozenset(["leftovers"]),
    )


@case
def later_leftovers_every_level_elsewhere() -> Case:
    """Nothing torn and no counter: volts and heat stand where this recording never was."""
    new, old = Run(240, wander=0.3), Run(720, wander=0.3, start_V=19.8)
    old.heat = [round(x + 31.0, 1) for x in old.heat]
    columns = ("volts", "heat")
    header = "time_s,pack_voltage_V,pack_temp_degC"
    rows = [f"{t:7.2f},{v:6.3f},{h:6.1f}" for t, v, h in [*new.rows(*columns), *old.rows(*columns)[300:]]]
    values = [list(x) for x in zip(*[*new.rows(*columns), *old.rows(*columns)[300:]], strict=True)]
    return Case(
        "later_leftovers_every_level_elsewhere",
        ("\n".join([header, *rows]) + "\n").encode(),
        list(zip(header.split(","), [None, *values[1:]], strict=True)),
        new.time + [t - old.time[300] for t in old.time[300:]],
        [0] * 240 + [1] * 420,
        frozenset(["leftovers"]),
    )


def paused(
    name: str, header: str, columns: Sequence[str], run: Run, gone: tuple[int, int], *, torn: str = "",
    shift: dict[str, float] | None = None, codes: Sequence[str] = ("clock_gap",),
) -> Case:  # fmt: skip
    """One recording without the rows gone[0] to gone[1]. torn: a damaged line there; shift: of columns behind it."""
    places = [k for k in range(len(run.time)) if not gone[0] <= k < gone[1]]
    made = []
    for k in places:
        row = list(run.rows(*columns)[k])
        for place, column in enumerate(columns, 1):
            row[place] += (shift or {}).get(column, 0.0) if k >= gone[1] else 0.0
        made.append(row)
    text = [
        ",".join([f"{r[0]:.2f}"] + [f"{x:.{PLACES[c]}f}" for c, x in zip(columns, r[1:], strict=True)]) for r in made
    ]
    if torn:
        text.insert(gone[0], torn)
    values = [list(x) for x in zip(*made, strict=True)]
    return Case(
        name,
        ("\n".join([header, *text]) + "\n").encode(),
        list(zip(header.split(","), [None, *values[1:]], strict=True)),
        [r[0] for r in made],
        [0] * len(made),
        frozenset(codes),
        clock={"restarts": ()},
    )


@case
def pause_of_eight_seconds() -> Case:
    return paused("pause_of_eight_seconds", HEADER, ("volts", "amps"), Run(400), (200, 232))


@case
def pause_with_a_line_cut_by_power_loss() -> Case:
    """Power went in the middle of a row: the line begins as a row does and ends early."""
    run = Run(400)
    return paused(
        "pause_with_a_line_cut_by_power_loss", HEADER, ("volts", "amps"), run, (200, 232),
        torn=f"{run.time[200]:.2f},2", codes=("clock_gap", "short_row"),
    )  # fmt: skip


@case
def pause_that_the_row_count_passes_over() -> Case:
    header = "time_s,pack_voltage_V,pack_current_A,sample"
    return paused(
        "pause_that_the_row_count_passes_over", header, ("volts", "amps", "number"), Run(400), (200, 260),
        shift={"number": -60.0},
    )  # fmt: skip


@case
def pause_with_rows_lost_from_the_count() -> Case:
    header = "time_s,pack_voltage_V,pack_current_A,sample"
    return paused("pause_with_rows_lost_from_the_count", header, ("volts", "amps", "number"), Run(400), (200, 260))


@case
def pause_in_which_the_pack_rests() -> Case:
    """The charge goes on where it was; volts recover and the robot cools."""
    run = Run(400)
    for k in range(200, 400):
        run.used[k] = round(run.used[k] - (run.used[259] - run.used[199]), 1)
        run.volts[k] = round(run.volts[k] + 0.3, 3)
        run.heat[k] = round(run.heat[k] - 2.5, 1)
    header = "time_s,pack_voltage_V,charge_used_mAh,pack_temp_degC"
    return paused("pause_in_which_the_pack_rests", header, ("volts", "used", "heat"), run, (200, 260))


@case
def pause_after_which_the_controller_counts_anew() -> Case:
    """The controller was switched off and on; its charge begins again while the logger's clock runs on."""
    run = Run(400)
    low = run.used[260]
    run.used[260:] = [round(u - low, 1) for u in run.used[260:]]
    header = "time_s,pack_voltage_V,pack_current_A,charge_used_mAh"
    return paused("pause_after_which_the_controller_counts_anew", header, ("volts", "amps", "used"), run, (200, 260))


@case
def pause_of_dated_rows() -> Case:
    """Stamps with their date: an older recording would lie before, so later rows are this one's."""
    run = Run(300, 1.0)
    times = [t for k, t in enumerate(run.time) if not 100 <= k < 180]
    rows = [f"2026-05-09T14:{int(t) // 60:02d}:{int(t) % 60:02d},{12.0 + 0.001 * t:.3f}" for t in times]
    return Case(
        "pause_of_dated_rows",
        ("Time,pack_voltage_V\n" + "\n".join(rows) + "\n").encode(),
        [("Time", None), ("pack_voltage_V", [round(12.0 + 0.001 * t, 3) for t in times])],
        times,
        [0] * len(times),
        frozenset(["clock_gap"]),
    )


@case
def hole_of_a_lost_block() -> Case:
    """A block of the card was lost: half a row, then the end of another one, and the figures go on."""
    run = Run(400, wander=0.3)
    return paused(
        "hole_of_a_lost_block", HEADER, ("volts", "amps"), run, (200, 212), torn=f"{run.time[200]:.2f},22.9871.02",
        codes=("clock_gap", "short_row"),
    )  # fmt: skip
