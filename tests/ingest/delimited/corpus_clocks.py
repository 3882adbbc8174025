"""Clocks: units, stamps, wraps, restarts, gaps, repeats, none at all."""

from __future__ import annotations

from datetime import datetime, timedelta

from tests.ingest.delimited.corpus import Case, case, table, text, truth


def clocked(
    name: str,
    stamps: list[str],
    header: str = "time",
    *,
    values: list[float | str | None] | None = None,
    codes: tuple[str, ...] = (),
    delimiter: str = ",",
    time_s: list[float] | None = None,
    step: float = 0.1,
    keep: list[int] | None = None,
    **more: object,
) -> Case:
    """A case with one clock column beside voltage and current."""
    _, v, i = truth(len(stamps))
    kept = list(range(len(stamps))) if keep is None else keep
    data = table((header, "pack_voltage_V", "pack_current_A"), [stamps, text(v, 3), text(i, 2)], delimiter)
    columns = [(header, values), ("pack_voltage_V", [v[k] for k in kept]), ("pack_current_A", [i[k] for k in kept])]
    times = [round(k * step, 9) for k in kept] if time_s is None else time_s
    return Case(name, data.encode(), columns, times, codes=frozenset(codes), **more)  # type: ignore[arg-type]


def _units() -> None:
    # name, header, ticks per 0.1 s step, decimals, expected unit
    for name, header, factor, places, unit, sure in (
        ("seconds", "t [s]", 0.1, 1, "s", "certain"),
        ("milliseconds", "t_ms", 100, 0, "ms", "certain"),
        ("microseconds", "time (µs)", 100_000, 0, "us", "certain"),
        ("microseconds_us", "time_us", 100_000, 0, "us", "certain"),
        ("nanoseconds", "t [ns]", 100_000_000, 0, "ns", "certain"),
        ("minutes", "Time (min)", 0.1 / 60, 8, "min", "certain"),
        ("hours", "Time [h]", 0.1 / 3600, 10, "h", "certain"),
        ("millis_name", "millis", 100, 0, "ms", "certain"),
        ("unlabelled_ms", "time", 100, 0, "ms", "likely"),
        ("unlabelled_s", "time", 0.1, 1, "s", "likely"),
    ):

        @case
        def make(
            name: str = name,
            header: str = header,
            factor: float = factor,
            places: int = places,
            unit: str = unit,
            sure: str = sure,
        ) -> Case:
            return clocked(
                f"clock_{name}",
                [f"{k * factor:.{places}f}" for k in range(60)],
                header,
                clock={"unit": unit, "rate_Hz": 10.0, "duration_s": 5.9, "sure": sure},
            )


_units()
START = datetime(2026, 5, 9, 14, 20, 0)


def _stamps(form: str, step_ms: int = 100, start: datetime = START, cut: int = 0) -> list[str]:
    made = [(start + timedelta(milliseconds=step_ms * k)).strftime(form) for k in range(60)]
    return [s[:-cut] if cut else s for s in made]


def _formats() -> None:
    for name, form, cut, start in (
        ("iso", "%Y-%m-%d %H:%M:%S.%f", 3, "2026-05-09T14:20:00"),
        ("iso_t_z", "%Y-%m-%dT%H:%M:%S.%fZ", 0, "2026-05-09T14:20:00Z"),
        ("iso_offset", "%Y-%m-%dT%H:%M:%S.%f+02:00", 0, "2026-05-09T12:20:00Z"),
        ("iso_comma", "%Y-%m-%d %H:%M:%S,%f", 3, "2026-05-09T14:20:00"),
        ("dotted", "%d.%m.%Y %H:%M:%S.%f", 3, "2026-05-09T14:20:00"),
        ("slashes_year_first", "%Y/%m/%d %H:%M:%S.%f", 3, "2026-05-09T14:20:00"),
        ("month_name", "%d-%b-%Y %H:%M:%S.%f", 3, "2026-05-09T14:20:00"),
        ("twelve_hours", "%Y-%m-%d %I:%M:%S.%f %p", 0, "2026-05-09T14:20:00"),
        ("basic", "%Y%m%dT%H%M%S.%f", 3, "2026-05-09T14:20:00"),
        ("slashes_unclear", "%m/%d/%Y %H:%M:%S.%f", 3, None),
    ):

        @case
        def make(name: str = name, form: str = form, cut: int = cut, start: str | None = start) -> Case:
            return clocked(
                f"stamp_{name}",
                _stamps(form, cut=cut),
                "timestamp",
                delimiter=";",
                clock={"wall_start": start, "rate_Hz": 10.0},
            )

    for name, form, cut in (("time_of_day", "%H:%M:%S.%f", 3), ("colon_ms", "%H:%M:%S:%f", 3)):

        @case
        def make_time(name: str = name, form: str = form, cut: int = cut) -> Case:
            return clocked(f"stamp_{name}", _stamps(form, cut=cut), "Time", clock={"duration_s": 5.9, "rate_Hz": 10.0})


_formats()


@case
def over_midnight() -> Case:
    stamps = _stamps("%H:%M:%S.%f", start=datetime(2026, 5, 9, 23, 59, 57), cut=3)
    return clocked("over_midnight", stamps, "Time", codes=("clock_wrap",), clock={"duration_s": 5.9, "restarts": ()})


@case
def dates_over_midnight() -> Case:
    stamps = _stamps("%Y-%m-%d %H:%M:%S.%f", start=datetime(2026, 12, 31, 23, 59, 57), cut=3)
    return clocked("dates_over_midnight", stamps, "Time", clock={"duration_s": 5.9}, exact_codes=True)


@case
def elapsed_text() -> Case:
    return clocked(
        "elapsed_text",
        [f"{k // 600:02d}:{k // 10 % 60:02d}.{k % 10}" for k in range(60)],
        "Elapsed",
        clock={"duration_s": 5.9},
    )


@case
def days_and_time() -> Case:
    return clocked(
        "days_and_time", [f"2d 03:04:{k // 10:02d}.{k % 10}" for k in range(60)], "Elapsed", clock={"duration_s": 5.9}
    )


def _epochs() -> None:
    for name, factor, places in (("s", 1.0, 1), ("ms", 1e3, 0), ("us", 1e6, 0), ("ns", 1e9, 0)):

        @case
        def make(name: str = name, factor: float = factor, places: int = places) -> Case:
            base = 1_778_336_400
            stamps = [
                f"{base + k * 0.1:.1f}" if places else str(base * int(factor) + k * int(factor) // 10)
                for k in range(60)
            ]
            return clocked(
                f"epoch_{name}",
                stamps,
                "timestamp",
                clock={"unit": name, "wall_start": "2026-05-09T14:20:00Z", "rate_Hz": 10.0},
            )


_epochs()


@case
def date_and_time_columns() -> Case:
    t, v, i = truth()
    start = datetime(2026, 5, 9, 23, 59, 57)
    both = [start + timedelta(milliseconds=100 * k) for k in range(60)]
    names = ("Date", "Time", "pack_voltage_V", "pack_current_A")
    data = table(
        names,
        [
            [d.strftime("%d.%m.%Y") for d in both],
            [d.strftime("%H:%M:%S.%f")[:-3] for d in both],
            text(v, 3),
            text(i, 2),
        ],
        ";",
    )
    return Case(
        "date_and_time_columns",
        data.encode(),
        list(zip(names, (None, None, v, i), strict=True)),
        t,
        clock={"wall_start": "2026-05-09T23:59:57", "duration_s": 5.9, "restarts": ()},
        exact_codes=True,
    )


@case
def time_and_milliseconds_columns() -> Case:
    t, v, _ = truth()
    names = ("Time", "ms", "pack_voltage_V")
    both = [START + timedelta(milliseconds=100 * k) for k in range(60)]
    data = table(
        names, [[d.strftime("%H:%M:%S") for d in both], [str(d.microsecond // 1000) for d in both], text(v, 3)], ";"
    )
    return Case(
        "time_and_milliseconds_columns",
        data.encode(),
        list(zip(names, (None, None, v), strict=True)),
        t,
        clock={"rate_Hz": 10.0},
    )


@case
def day_number_and_time() -> Case:
    t, v, _ = truth()
    start = datetime(2026, 5, 9, 23, 59, 57)
    both = [start + timedelta(milliseconds=100 * k) for k in range(60)]
    names = ("Day", "Time", "pack_voltage_V")
    data = table(
        names, [[str(d.day - 9) for d in both], [d.strftime("%H:%M:%S.%f")[:-3] for d in both], text(v, 3)], ";"
    )
    return Case(
        "day_number_and_time",
        data.encode(),
        list(zip(names, (None, None, v), strict=True)),
        t,
        clock={"duration_s": 5.9, "restarts": ()},
    )


@case
def wrap_16_bit() -> Case:
    ticks = [(62_000 + 100 * k) % 65536 for k in range(60)]
    return clocked(
        "wrap_16_bit", [str(x) for x in ticks], "t_ms", codes=("clock_wrap",), clock={"duration_s": 5.9, "restarts": ()}
    )


@case
def wrap_32_bit() -> Case:
    ticks = [(2**32 - 2_500_000 + 100_000 * k) % 2**32 for k in range(60)]
    return clocked(
        "wrap_32_bit", [str(x) for x in ticks], "t_us", codes=("clock_wrap",), clock={"duration_s": 5.9, "restarts": ()}
    )


@case
def wrap_32_bit_in_seconds() -> Case:
    ticks = [(2**32 - 2_500_000 + 100_000 * k) % 2**32 for k in range(60)]
    return clocked(
        "wrap_32_bit_in_seconds",
        [f"{x / 1e6:.6f}" for x in ticks],
        "t [s]",
        codes=("clock_wrap",),
        clock={"duration_s": 5.9},
    )


@case
def restart() -> Case:
    stamps = [f"{k * 0.1:.1f}" for k in range(35)] + [f"{k * 0.1:.1f}" for k in range(25)]
    times = [k * 0.1 for k in range(35)] + [k * 0.1 for k in range(25)]
    return clocked(
        "restart",
        stamps,
        "time_s",
        codes=("clock_restart",),
        time_s=times,
        recording=[0] * 35 + [1] * 25,
        clock={"duration_s": 3.4 + 2.4, "rate_Hz": 10.0, "restarts": (3.4,)},
    )


@case
def restart_with_header() -> Case:
    _, v, i = truth()
    stamps = [f"{k * 0.1:.1f}" for k in range(35)] + [f"{k * 0.1:.1f}" for k in range(25)]
    names = ("time_s", "pack_voltage_V", "pack_current_A")
    lines = table(names, [stamps, text(v, 3), text(i, 2)]).splitlines()
    data = ["Start 1", *lines[:36], "", "Start 2", lines[0], *lines[36:]]
    return Case(
        "restart_with_header",
        ("\n".join(data) + "\n").encode(),
        list(zip(names, (None, v, i), strict=True)),
        [k * 0.1 for k in range(35)] + [k * 0.1 for k in range(25)],
        [0] * 35 + [1] * 25,
        frozenset(["clock_restart"]),
    )


@case
def restarts_many() -> Case:
    stamps = [f"{(k % 12) * 100}" for k in range(60)]
    return clocked(
        "restarts_many",
        stamps,
        "t_ms",
        codes=("clock_restart",),
        time_s=[(k % 12) * 0.1 for k in range(60)],
        recording=[k // 12 for k in range(60)],
        clock={"duration_s": 5.5},
    )


@case
def leftovers_behind_the_end() -> Case:
    """The card held an older recording: behind the end its rows follow, with an earlier clock."""
    stamps = [f"{100 + k * 0.1:.1f}" for k in range(45)] + [f"{40 + k * 0.1:.1f}" for k in range(15)]
    return clocked(
        "leftovers_behind_the_end",
        stamps,
        "time_s",
        codes=("clock_restart",),
        time_s=[k * 0.1 for k in range(45)] + [k * 0.1 for k in range(15)],
        recording=[0] * 45 + [1] * 15,
    )


@case
def duplicates() -> Case:
    stamps = [f"{k * 0.1:.1f}" for k in range(60)]
    stamps[20] = stamps[19]
    times = [k * 0.1 for k in range(60)]
    times[20] = times[19]
    return clocked("duplicates", stamps, "time_s", codes=("clock_duplicate",), time_s=times)


@case
def coarse_stamps() -> Case:
    """Whole seconds at ten rows a second: kept as they are, the rate from the whole."""
    stamps = _stamps("%H:%M:%S")
    return clocked(
        "coarse_stamps", stamps, "Time", codes=("clock_duplicate",), time_s=[float(k // 10) for k in range(60)]
    )


@case
def one_late_row() -> Case:
    stamps = [f"{k * 0.1:.1f}" for k in range(60)]
    stamps[20], stamps[21] = stamps[21], stamps[20]
    order = [*range(20), 21, 20, *range(22, 60)]
    return clocked(
        "one_late_row",
        stamps,
        "time_s",
        codes=("clock_backward",),
        keep=order,
        time_s=[k * 0.1 for k in range(60)],
        recording=[0] * 60,
    )


@case
def one_glitch_back() -> Case:
    stamps = [f"{100 + k * 0.1:.1f}" for k in range(60)]
    stamps[30] = "0.0"
    keep = [k for k in range(60) if k != 30]
    return clocked("one_glitch_back", stamps, "time_s", codes=("clock_backward",), keep=keep, recording=[0] * 59)


@case
def one_glitch_forward() -> Case:
    stamps = [f"{k * 0.1:.1f}" for k in range(60)]
    stamps[30] = "9999.9"
    keep = [k for k in range(60) if k != 30]
    return clocked("one_glitch_forward", stamps, "time_s", codes=("clock_backward",), keep=keep, recording=[0] * 59)


@case
def gap() -> Case:
    times = [k * 0.1 + (3.0 if k >= 30 else 0.0) for k in range(60)]
    return clocked(
        "gap",
        [f"{x:.1f}" for x in times],
        "time_s",
        codes=("clock_gap",),
        time_s=times,
        clock={"rate_Hz": 10.0, "duration_s": 8.9},
    )


@case
def jitter() -> Case:
    times = [k * 0.1 + (0.03 if k % 3 == 1 else 0.0) for k in range(60)]
    return clocked("jitter", [f"{x:.2f}" for x in times], "time_s", time_s=times, exact_codes=True)


@case
def wall_and_elapsed_disagree() -> Case:
    """The elapsed counter stood still for a minute, the clock on the wall did not."""
    t, v, _ = truth()
    names = ("Time", "Elapsed [s]", "pack_voltage_V")
    wall = [START + timedelta(seconds=0.1 * k + (60 if k >= 30 else 0)) for k in range(60)]
    data = table(names, [[w.strftime("%Y-%m-%d %H:%M:%S") for w in wall], text(t, 1), text(v, 3)])
    return Case(
        "wall_and_elapsed_disagree",
        data.encode(),
        list(zip(names, (None, t, v), strict=True)),
        t,
        codes=frozenset(["clock_disagrees"]),
        clock={"column": "Elapsed [s]", "wall_start": "2026-05-09T14:20:00"},
    )


@case
def wall_and_elapsed_agree() -> Case:
    t, v, _ = truth()
    names = ("Time", "Elapsed [s]", "pack_voltage_V")
    data = table(names, [_stamps("%Y-%m-%d %H:%M:%S"), text(t, 1), text(v, 3)])
    return Case(
        "wall_and_elapsed_agree",
        data.encode(),
        list(zip(names, (None, t, v), strict=True)),
        t,
        exact_codes=True,
        clock={"column": "Elapsed [s]"},
    )


@case
def step_time_beside_test_time() -> Case:
    t, v, _ = truth()
    names = ("Step time (s)", "Test time (s)", "pack_voltage_V")
    step = [round(0.1 * (k % 20), 1) for k in range(60)]
    data = table(names, [text(step, 1), text(t, 1), text(v, 3)])
    return Case(
        "step_time_beside_test_time",
        data.encode(),
        list(zip(names, (step, t, v), strict=True)),
        t,
        clock={"column": "Test time (s)"},
    )


@case
def no_clock() -> Case:
    _, v, i = truth()
    names = ("pack_voltage_V", "pack_current_A")
    return Case(
        "no_clock", table(names, [text(v, 3), text(i, 2)]).encode(), list(zip(names, (v, i), strict=True)), clock=None
    )


@case
def no_clock_with_rate() -> Case:
    _, v, i = truth()
    names = ("pack_voltage_V", "pack_current_A")
    return Case(
        "no_clock_with_rate",
        table(names, [text(v, 3), text(i, 2)]).encode(),
        list(zip(names, (v, i), strict=True)),
        [k / 50 for k in range(60)],
        rate_Hz=50.0,
        clock={"rate_Hz": 50.0, "duration_s": 59 / 50},
    )


@case
def sample_numbers_only() -> Case:
    _, v, _ = truth()
    names = ("Sample", "pack_voltage_V")
    count = [float(k) for k in range(60)]
    return Case(
        "sample_numbers_only",
        table(names, [[str(k) for k in range(60)], text(v, 3)]).encode(),
        list(zip(names, (count, v), strict=True)),
        clock=None,
    )


@case
def sample_numbers_with_stated_rate() -> Case:
    _, v, _ = truth()
    names = ("Sample", "pack_voltage_V")
    count = [float(k) for k in range(60)]
    data = "Sample rate: 250 Hz\n" + table(names, [[str(k) for k in range(60)], text(v, 3)])
    return Case(
        "sample_numbers_with_stated_rate",
        data.encode(),
        list(zip(names, (count, v), strict=True)),
        [k / 250 for k in range(60)],
        clock={"rate_Hz": 250.0, "duration_s": 59 / 250},
    )


@case
def stated_interval() -> Case:
    _, v, _ = truth()
    data = "Sample interval,2.0E-03,s\n\nCH1\n" + "\n".join(text(v, 3)) + "\n"
    return Case(
        "stated_interval", data.encode(), [("CH1", v)], [k * 0.002 for k in range(60)], clock={"rate_Hz": 500.0}
    )


@case
def restart_after_a_few_rows() -> Case:
    """Too short for a counter to have gone round."""
    stamps = [str(10 * k) for k in range(5)] + [str(10 * k) for k in range(55)]
    return clocked(
        "restart_after_a_few_rows",
        stamps,
        "t_ms",
        codes=("clock_restart",),
        time_s=[0.01 * k for k in range(5)] + [0.01 * k for k in range(55)],
        recording=[0] * 5 + [1] * 55,
    )


@case
def stamps_with_zone_behind_a_space() -> Case:
    stamps = [s + " +0200" for s in _stamps("%Y-%m-%d %H:%M:%S.%f", cut=3)]
    return clocked("stamps_with_zone_behind_a_space", stamps, "Time", clock={"wall_start": "2026-05-09T12:20:00Z"})
