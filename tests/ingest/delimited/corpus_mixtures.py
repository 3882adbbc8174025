"""Mixtures as exports of whole kinds of instruments have them; every layout is invented."""

from __future__ import annotations

from datetime import datetime, timedelta

from tests.ingest.delimited.corpus import Case, case, table, text, truth

START = datetime(2026, 5, 9, 14, 20, 0)


@case
def cell_cycler_latin_tabs() -> Case:
    """A long preamble in Latin-1, tabs, decimal commas with exponents, quantity/unit names."""
    t, v, i = truth()
    im = [round(x * 1000, 1) for x in i]
    names = ("mode", "time/s", "U/V", "I/mA", "Q discharge/mA.h", "Temperature/°C")
    charge = [round(0.35 * k, 2) for k in range(60)]
    heat = [round(21.5 + 0.01 * k, 2) for k in range(60)]
    head = "Cell test bench\nNumber of lines above: 58\n\n" + "".join(
        f"Parameter {k}\t{k * 1.5:.1f}".replace(".", ",") + "\n" for k in range(55)
    )
    body = table(
        names,
        [
            ["2"] * 60,
            [f"{x:.6E}".replace(".", ",") for x in t],
            [f"{x:.6E}".replace(".", ",") for x in v],
            [f"{x:.6E}".replace(".", ",") for x in im],
            [f"{x:.4E}".replace(".", ",") for x in charge],
            text(heat, 2, True),
        ],
        "\t",
        "\r\n",
    )
    data = (head.replace("\n", "\r\n") + body).encode("latin-1")
    return Case(
        "cell_cycler_latin_tabs",
        data,
        list(zip(names, ([2.0] * 60, t, v, im, charge, heat), strict=True)),
        t,
        dialect={"encoding": "latin-1", "delimiter": "\t", "decimal": ",", "header_line": 59},
        units={"I/mA": "A", "Temperature/°C": "degC"},
        clock={"column": "time/s"},
    )


@case
def cell_cycler_steps() -> Case:
    """Step rows stand between the records, in columns of their own."""
    t, v, i = truth()
    lines = ["Cycle;Step;Record;Test time;Voltage (V);Current (A)"]
    kept = []
    for k in range(60):
        if k % 20 == 0:
            lines.append(f"1;{k // 20 + 1};;;;")
        stamp = f"00:00:{t[k]:04.1f}".replace(":0", ":0") if t[k] >= 10 else f"00:00:0{t[k]:.1f}"
        lines.append(f";;{k + 1};{stamp};{v[k]:.3f};{i[k]:.2f}")
        kept.append(k)
    names = ("Cycle", "Step", "Record", "Test time", "Voltage (V)", "Current (A)")
    record = [float(k + 1) for k in range(60)]
    return Case(
        "cell_cycler_steps",
        ("\n".join(lines) + "\n").encode(),
        list(zip(names, ([None] * 60, [None] * 60, record, None, v, i), strict=True)),
        t,
    )


@case
def supply_export_quoted() -> Case:
    """Everything quoted, the list separator stated on the first line."""
    t, v, i = truth()
    names = ("Date", "Time", "U[V]", "I[A]", "P[W]", "Mode")
    both = [START + timedelta(milliseconds=100 * k) for k in range(60)]
    power = [round(a * b, 1) for a, b in zip(v, i, strict=True)]
    columns = [
        [d.strftime("%d.%m.%Y") for d in both],
        [d.strftime("%H:%M:%S,%f")[:-3] for d in both],
        text(v, 3, True),
        text(i, 2, True),
        text(power, 1, True),
        ["CC" if k % 3 else "CV" for k in range(60)],
    ]
    body = table([f'"{n}"' for n in names], [[f'"{c}"' for c in cells] for cells in columns], ";", "\r\n")
    return Case(
        "supply_export_quoted",
        ("sep=;\r\n" + body).encode("utf-8-sig"),
        list(zip(names, (None, None, v, i, power, None), strict=True)),
        t,
        dialect={"header_line": 2, "delimiter": ";", "decimal": ","},
        clock={"wall_start": "2026-05-09T14:20:00"},
    )


@case
def load_export_units_in_cells() -> Case:
    t, v, i = truth()
    names = ("No.", "Elapsed", "Voltage", "Current")
    columns = [
        [str(k + 1) for k in range(60)],
        [f"00:00:{int(x):02d}.{round(x * 10) % 10}" for x in t],
        [f"{c} V" for c in text(v, 3)],
        [f"{c} A" for c in text(i, 2)],
    ]
    count = [float(k + 1) for k in range(60)]
    return Case(
        "load_export_units_in_cells",
        ("Electronic load\nMode: CC\n\n" + table(names, columns)).encode(),
        list(zip(names, (count, None, v, i), strict=True)),
        t,
        codes=frozenset(["unit_in_cell"]),
        clock={"duration_s": 5.9},
    )


@case
def scope_names_then_units() -> Case:
    t = [round(-1e-3 + k * 2e-6, 9) for k in range(60)]
    v = [round(0.02 * (k % 11), 3) for k in range(60)]
    data = "x-axis,1\nsecond,Volt\n" + table(None, [[f"{x:+.6E}" for x in t], [f"{x:+.5E}" for x in v]], ",", "\r\n")
    return Case(
        "scope_names_then_units",
        data.encode(),
        list(zip(("x-axis", "1"), (t, v), strict=True)),
        t,
        clock={"unit": "s", "rate_Hz": 500_000.0},
        dialect={"header_line": 1, "units_line": 2},
    )


@case
def scope_increment_in_header() -> Case:
    v = [round(0.02 * (k % 11), 3) for k in range(60)]
    names = ("X", "CH1", "CH2", "Start", "Increment")
    rows = "".join(f"{k},{x:.2e},{x * 2:.2e},,\n" for k, x in enumerate(v))
    data = ",".join(names) + ",\n" + "Sequence,Volt,Volt,-1.0e-03,2.0e-06\n" + rows
    count = [float(k) for k in range(60)]
    return Case(
        "scope_increment_in_header",
        data.encode(),
        list(zip(names, (count, v, [x * 2 for x in v], None, None), strict=True)),
        [k * 2e-6 for k in range(60)],
        clock={"rate_Hz": 500_000.0},
    )


@case
def scope_settings_beside() -> Case:
    """Settings fill the first columns of the first rows; a comma ends every line."""
    t = [round(-0.0005 + k * 1e-5, 7) for k in range(60)]
    v = [round(0.02 * (k % 11), 4) for k in range(60)]
    keys = [("Record Length", "6.0e+01"), ("Sample Interval", "1.0e-05"), ("Vertical Units", "V"), ("Note", "")] + [
        ("", "")
    ] * 56
    lines = [f"{a},{b},,{x:.7f},  {y:.5f}," for (a, b), x, y in zip(keys, t, v, strict=True)]
    return Case(
        "scope_settings_beside",
        ("\r\n".join(lines) + "\r\n").encode(),
        [("", None), ("", None), ("", None), ("", t), ("", v)],
        t,
        clock={"rate_Hz": 100_000.0},
    )


@case
def recorder_with_milliseconds() -> Case:
    """Numbered rows, stamp and milliseconds apart, signed and padded figures, units row, an over-range mark."""
    _, v, i = truth()
    names = ("NO.", "Time", "ms", "CH1", "CH2", "Alarm")
    both = [START + timedelta(milliseconds=100 * k) for k in range(60)]
    volts = [f"+  {x:.3f}" for x in v]
    volts[7] = "+++++++"
    rows = table(
        None,
        [
            [str(k + 1) for k in range(60)],
            [d.strftime("%Y/%m/%d %H:%M:%S") for d in both],
            [str(d.microsecond // 1000) for d in both],
            volts,
            [f"+{x:8.2f}" for x in i],
            ["LLLL"] * 60,
        ],
        ",",
        "\r\n",
    )
    head = (
        "Recorder,\r\nChannels,2\r\nInterval,100ms\r\nTrigger,None\r\n"
        'CH,Signal,Range\r\nCH1,"DC","50V"\r\nCH2,"DC","100A"\r\n\r\n'
    )
    data = head + ",".join(names) + "\r\nNO.,Time,ms,V,A,A12\r\n" + rows
    count = [float(k + 1) for k in range(60)]
    kept = [None if k == 7 else x for k, x in enumerate(v)]
    return Case(
        "recorder_with_milliseconds",
        data.encode(),
        list(zip(names, (count, None, None, kept, i, None), strict=True)),
        [0.1 * k for k in range(60)],
        codes=frozenset(["overrange"]),
        clock={"rate_Hz": 10.0, "wall_start": "2026-05-09T14:20:00"},
    )


@case
def temperature_logger_plot_title() -> Case:
    """A title, names with commas and serial numbers, events in columns of their own, the last row only an event."""
    heat = [round(20.5 + 0.03 * k, 3) for k in range(60)]
    both = [START + timedelta(seconds=10 * k) for k in range(60)]
    names = ("#", "Date Time, GMT+02:00", "Temp, °C (Logger no: 1234567)", "Host connected (Logger no: 1234567)")
    lines = ['"Title: weapon bay"', ",".join(f'"{n}"' if n != "#" else '"#"' for n in names)]
    lines += [
        f"{k + 1},{d.strftime('%m/%d/%y %I:%M:%S %p')},{x:.3f},"
        for k, (d, x) in enumerate(zip(both, heat, strict=True))
    ]
    last = both[-1] + timedelta(seconds=7)
    lines.append(f"61,{last.strftime('%m/%d/%y %I:%M:%S %p')},,Logged")
    count = [float(k + 1) for k in range(61)]
    return Case(
        "temperature_logger_plot_title",
        ("\r\n".join(lines) + "\r\n").encode("utf-8-sig"),
        list(zip(names, (count, None, [*heat, None], None), strict=True)),
        [*(10.0 * k for k in range(60)), 597.0],
    )


@case
def temperature_logger_fahrenheit() -> Case:
    heat = [round(68.0 + 0.1 * k, 1) for k in range(60)]
    both = [START + timedelta(minutes=k) for k in range(60)]
    names = ("Reading", "Time", "Motor temp (°F)")
    data = table(
        names, [[str(k + 1) for k in range(60)], [d.strftime("%Y-%m-%d %H:%M") for d in both], text(heat, 1)], ";"
    )
    return Case(
        "temperature_logger_fahrenheit",
        data.encode("cp1252"),
        list(zip(names, (None, None, heat), strict=True)),
        [60.0 * k for k in range(60)],
        units={"Motor temp (°F)": "degC"},
    )


@case
def hobby_serial_monitor() -> Case:
    """A terminal put its own stamp and an arrow before every line."""
    t, v, i = truth()
    both = [START + timedelta(milliseconds=100 * k) for k in range(60)]
    lines = [f"{d.strftime('%H:%M:%S.%f')[:-3]} -> {a:.3f},{b:.2f}" for d, a, b in zip(both, v, i, strict=True)]
    return Case(
        "hobby_serial_monitor",
        ("\r\n".join(lines) + "\r\n").encode(),
        [("", None), ("", v), ("", i)],
        t,
        codes=frozenset(["no_header"]),
    )


@case
def hobby_millis_restart() -> Case:
    """The board was reset twice while the file stayed open."""
    _, v, i = truth()
    ticks = [20 * (k % 25) + 103 for k in range(60)]
    names = ("millis", "vbat_mV", "ibat_mA")
    vm, im = [round(x * 1000) for x in v], [round(x * 1000) for x in i]
    lines = []
    for k in range(60):
        if k % 25 == 0:
            lines += ["Logger ready", ",".join(names)]
        lines.append(f"{ticks[k]},{vm[k]},{im[k]}")
    return Case(
        "hobby_millis_restart",
        ("\r\n".join(lines) + "\r\n").encode(),
        list(zip(names, (None, vm, im), strict=True)),
        [0.02 * (k % 25) for k in range(60)],
        [k // 25 for k in range(60)],
        frozenset(["clock_restart", "repeated_header"]),
        clock={"unit": "ms"},
    )


@case
def hobby_fixed_width_blanks() -> Case:
    """Columns by position; a cell that was not measured is blank."""
    t, v, i = truth()
    kept = [None if k % 6 == 4 else x for k, x in enumerate(v)]
    lines = ["    time_s   pack_voltage_V   pack_current_A"]
    lines += [
        f"{a:10.1f}   {'' if b is None else f'{b:.3f}':>14}   {c:14.2f}" for a, b, c in zip(t, kept, i, strict=True)
    ]
    return Case(
        "hobby_fixed_width_blanks",
        ("\n".join(lines) + "\n").encode(),
        list(zip(("time_s", "pack_voltage_V", "pack_current_A"), (t, kept, i), strict=True)),
        t,
    )


@case
def spaces_stamp_under_one_name() -> Case:
    t, v, i = truth()
    both = [START + timedelta(milliseconds=100 * k) for k in range(60)]
    lines = ["timestamp voltage_V current_A"] + [
        f"{d.strftime('%Y-%m-%d %H:%M:%S.%f')[:-3]} {a:.3f} {b:.2f}" for d, a, b in zip(both, v, i, strict=True)
    ]
    return Case(
        "spaces_stamp_under_one_name",
        ("\n".join(lines) + "\n").encode(),
        [("timestamp", None), ("", None), ("voltage_V", v), ("current_A", i)],
        t,
    )


@case
def spreadsheet_day_numbers() -> Case:
    _, v, _ = truth()
    days = [round(46151.5 + k / 86400, 8) for k in range(60)]
    data = table(("Time", "Battery [V]"), [text(days, 8), text(v, 3)], "\t")
    return Case(
        "spreadsheet_day_numbers",
        data.encode("utf-16"),
        list(zip(("Time", "Battery [V]"), (days, v), strict=True)),
        None,
        clock={"wall_start": "2026-05-09T12:00:00", "unit": "d"},
    )


@case
def controller_log_microseconds() -> Case:
    """Settings as quoted keys and values, then an unlabelled clock in microseconds."""
    rows = 20_000
    ticks = [5_000_000 + 500 * k for k in range(rows)]
    rpm = [float(1000 + k % 3000) for k in range(rows)]
    head = "".join(f'"setting_{k}","{k * 7 % 13}"\n' for k in range(120))
    data = head + table(
        ('"loop"', '"time"', '"rpm"'),
        [[str(k) for k in range(rows)], [str(x) for x in ticks], [f"{x:.0f}" for x in rpm]],
    )
    return Case(
        "controller_log_microseconds",
        data.encode(),
        list(zip(("loop", "time", "rpm"), (None, ticks, rpm), strict=True)),
        [k * 5e-4 for k in range(rows)],
        clock={"unit": "us", "sure": "guess", "column": "time"},
        codes=frozenset(["unit_unknown"]),
        dialect={"header_line": 121},
    )


@case
def radio_telemetry() -> Case:
    t, v, i = truth()
    both = [START + timedelta(milliseconds=100 * k) for k in range(60)]
    names = ("Date", "Time", "RSSI(dB)", "RxBt(V)", "Curr(A)", "Capa(mAh)", "SA", "LSW")
    columns = [
        [d.strftime("%Y-%m-%d") for d in both],
        [d.strftime("%H:%M:%S.%f")[:-3] + "0" for d in both],
        [str(-40 - k % 9) for k in range(60)],
        text(v, 3),
        text(i, 2),
        [str(k * 2) for k in range(60)],
        [str(k % 3 - 1) for k in range(60)],
        ["0x0000000000000001"] * 60,
    ]
    wanted = (
        None,
        None,
        [-40.0 - k % 9 for k in range(60)],
        v,
        i,
        [float(k * 2) for k in range(60)],
        [float(k % 3 - 1) for k in range(60)],
        [1.0] * 60,
    )
    return Case(
        "radio_telemetry",
        table(names, columns).encode(),
        list(zip(names, wanted, strict=True)),
        t,
        clock={"rate_Hz": 10.0},
    )


@case
def meter_with_unit_column() -> Case:
    """A meter changes its range: the unit stands beside each figure."""
    t, _, _ = truth()
    volts = [round(0.9 + 0.004 * k, 4) for k in range(60)]
    names = ("No", "Time", "Reading", "Unit", "Mode")
    figures = [f"{x * 1000:.1f}" if x < 1 else f"{x:.4f}" for x in volts]
    units = ["mV" if x < 1 else "V" for x in volts]
    stamps = [(START + timedelta(milliseconds=100 * k)).strftime("%H:%M:%S.%f")[:-3] for k in range(60)]
    data = table(names, [[str(k + 1) for k in range(60)], stamps, figures, units, ["DC"] * 60])
    return Case(
        "meter_with_unit_column",
        data.encode(),
        list(zip(names, ([k + 1.0 for k in range(60)], None, volts, None, None), strict=True)),
        t,
        codes=frozenset(["unit_in_cell"]),
        units={"Reading": "V"},
    )


@case
def stamps_in_long_form() -> Case:
    _, v, _ = truth()
    stamps = [(START + timedelta(seconds=k)).strftime("%a %b %d %H:%M:%S %Y") for k in range(60)]
    data = table(("Time", "pack_voltage_V"), [stamps, text(v, 3)])
    return Case(
        "stamps_in_long_form",
        data.encode(),
        [("Time", None), ("pack_voltage_V", v)],
        [float(k) for k in range(60)],
        clock={"wall_start": "2026-05-09T14:20:00", "rate_Hz": 1.0},
    )


@case
def segments_above_names() -> Case:
    t = [round(-1e-4 + k * 1e-5, 7) for k in range(60)]
    v = [round(0.02 * (k % 11), 4) for k in range(60)]
    head = "Instrument,model 4,Waveform\nSegments,1,Size,60\nSegment,Trigger,Since first\n#1,09-May-2026 14:20:00,0\n"
    data = head + table(("Time", "Ampl"), [[f"{x:.7f}" for x in t], [f"{x:.4f}" for x in v]])
    return Case(
        "segments_above_names",
        data.encode(),
        [("Time", t), ("Ampl", v)],
        t,
        dialect={"header_line": 5, "first_data_line": 6},
        clock={"rate_Hz": 100_000.0},
    )


@case
def axis_increment_in_preamble() -> Case:
    """The horizontal axis is given by its increment only; one name more than there are cells."""
    _, v, i = truth()
    head = "Measurement file\t\nSeparator\tTab\n***End***\t\n\nChannels\t2\nDelta_X\t0.002\t0.002\n***End***\t\t\n"
    rows = "".join(f"{a:.3f}\t{b:.2f}\n" for a, b in zip(v, i, strict=True))
    data = head + "Voltage\tCurrent\tComment\n" + rows
    return Case(
        "axis_increment_in_preamble",
        data.encode(),
        [("Voltage", v), ("Current", i)],
        [0.002 * k for k in range(60)],
        codes=frozenset(["header_guessed"]),
        clock={"rate_Hz": 500.0},
    )


@case
def nested_cycles_and_records() -> Case:
    """Three kinds of rows with three headers; the records are the table."""
    t, v, i = truth()
    lines = ["Cycle,Charge(mAh),Discharge(mAh)", ",Step,Name,Step time", ",,Record,Test time(s),Voltage(V),Current(A)"]
    lines += ["1,0.000,1234.500", ",1,Rest,0:00:30"]
    lines += [f",,{k + 1},{t[k]:.1f},{v[k]:.3f},{i[k]:.2f}" for k in range(30)]
    lines += [",2,Discharge,0:00:30"]
    lines += [f",,{k + 1},{t[k]:.1f},{v[k]:.3f},{i[k]:.2f}" for k in range(30, 60)]
    names = ("Record", "Test time(s)", "Voltage(V)", "Current(A)")
    return Case(
        "nested_cycles_and_records",
        ("\n".join(lines) + "\n").encode(),
        list(zip(names, ([k + 1.0 for k in range(60)], t, v, i), strict=True)),
        t,
        dialect={"header_line": 3},
    )


@case
def compact_date_and_time() -> Case:
    _, v, _ = truth()
    both = [datetime(2026, 5, 9, 9, 59, 30) + timedelta(seconds=k) for k in range(60)]
    dates, times = [d.strftime("%Y%m%d") for d in both], [d.strftime("%H%M%S").lstrip("0") for d in both]
    return Case(
        "compact_date_and_time",
        table(("Date", "Time", "pack_voltage_V"), [dates, times, text(v, 3)]).encode(),
        [("Date", None), ("Time", None), ("pack_voltage_V", v)],
        [float(k) for k in range(60)],
        clock={"wall_start": "2026-05-09T09:59:30", "rate_Hz": 1.0},
        exact_codes=True,
    )


@case
def empty_cells_left_out_at_the_end() -> Case:
    """Slow sensors fill the last columns every fifth row; the other rows end before them."""
    t, v, _ = truth()
    heat = [20.0 + k if k % 5 == 0 else None for k in range(60)]
    lines = ["time_s,pack_voltage_V,motor_temp,esc_temp"]
    lines += [f"{t[k]:.1f},{v[k]:.3f}" + (f",{heat[k]:.1f},21.0" if k % 5 == 0 else "") for k in range(60)]
    spare = [21.0 if k % 5 == 0 else None for k in range(60)]
    return Case(
        "empty_cells_left_out_at_the_end",
        ("\n".join(lines) + "\n").encode(),
        [("time_s", t), ("pack_voltage_V", v), ("motor_temp", heat), ("esc_temp", spare)],
        t,
        codes=frozenset(["short_row"]),
        dialect={"header_line": 1},
    )


@case
def types_row_below_units() -> Case:
    t, v, _ = truth()
    names = ("Time", "Pack voltage", "State")
    body = table(None, [text(t, 1), text(v, 3), ["RUN"] * 60])
    data = ",".join(names) + "\nsec,V,-\nfloat,float,string\n" + body
    return Case(
        "types_row_below_units",
        data.encode(),
        list(zip(names, (t, v, None), strict=True)),
        t,
        dialect={"header_line": 1, "units_line": 2, "first_data_line": 4},
    )


@case
def total_below_without_clock() -> Case:
    """Nothing but a row number in front: the words in its place show that the last rows are none."""
    _, v, i = truth()
    names = ("No", "pack_voltage_V", "pack_current_A")
    count = [float(k) for k in range(60)]
    data = (
        table(names, [[str(k) for k in range(60)], text(v, 3), text(i, 2)]) + "\nMean,24.8,20.1\nTotal,1488.0,1206.0\n"
    )
    return Case(
        "total_below_without_clock",
        data.encode(),
        list(zip(names, (count, v, i), strict=True)),
        clock=None,
        codes=frozenset(["footer"]),
    )


@case
def twelve_hours_without_half() -> Case:
    _, v, _ = truth()
    stamps = [(datetime(2026, 5, 9, 12, 59, 40) + timedelta(seconds=k)).strftime("%I:%M:%S") for k in range(60)]
    return Case(
        "twelve_hours_without_half",
        table(("Time", "pack_voltage_V"), [stamps, text(v, 3)]).encode(),
        [("Time", None), ("pack_voltage_V", v)],
        [float(k) for k in range(60)],
        codes=frozenset(["clock_wrap"]),
        clock={"restarts": ()},
    )


@case
def epoch_with_decimals_is_exact() -> Case:
    """The stamps are too large for their second decimal in 64 bits; the differences come out exact all the same."""
    _, v, _ = truth()
    stamps = [f"{1778336400 + k / 100:.2f}" for k in range(60)]
    return Case(
        "epoch_with_decimals_is_exact",
        table(("unix_time", "pack_voltage_V"), [stamps, text(v, 3)]).encode(),
        [("unix_time", None), ("pack_voltage_V", v)],
        [k / 100 for k in range(60)],
        clock={"rate_Hz": 100.0, "duration_s": 0.59},
    )
