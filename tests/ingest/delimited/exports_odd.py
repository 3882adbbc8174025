"""More exports of invented make: the habits that mislead a reader, one or two in each."""

from __future__ import annotations

from datetime import datetime, timedelta

from tests.ingest.delimited.exports import (
    H_,
    I_,
    ROWS,
    START,
    V_,
    A,
    Export,
    H,
    Meant,
    Q,
    T,
    V,
    de,
    elapsed,
    export,
    rows,
)

WHOLE = [float(k) for k in range(ROWS)]
PACK = [Meant("Pack voltage (V)", V_, V), Meant("Pack current (A)", I_, A)]
HEAD = "Time (s),Pack voltage (V),Pack current (A)\n"


@export
def quoted_decimal_commas_between_commas() -> Export:
    body = rows(lambda k: f'"{de(T[k], 1)}","{de(V[k], 3)}","{de(A[k], 2)}"')
    return Export("quoted_decimal_commas_between_commas", (HEAD + body).encode(), T, PACK, (V_, I_))


@export
def elapsed_beyond_a_day() -> Export:
    head = HEAD.replace("Time (s)", "Elapsed")
    body = rows(lambda k: f"{elapsed(86_380.0 + k)},{V[k]},{A[k]}")
    return Export("elapsed_beyond_a_day", (head + body).encode(), WHOLE, PACK, (V_, I_))


@export
def chinese_in_its_old_encoding() -> Export:
    head = "时间(s),电压(V),电流(A)\r\n"
    body = rows(lambda k: f"{T[k]},{V[k]},{A[k]}", "\r\n")
    return Export(
        "chinese_in_its_old_encoding",
        (head + body).encode("gbk"),
        T,
        [Meant("电压(V)", V_, V), Meant("电流(A)", I_, A)],
        (V_, I_),
        must_say=("encoding",),
    )


@export
def newest_row_first() -> Export:
    """Written backwards in time, with dates: put in order or refused, never a row of restarts."""
    stamps = [START + timedelta(seconds=k) for k in range(ROWS)]
    body = "".join(f"{stamps[k]:%Y-%m-%d %H:%M:%S},{V[k]},{A[k]}\n" for k in reversed(range(ROWS)))
    head = HEAD.replace("Time (s)", "Time")
    return Export("newest_row_first", (head + body).encode(), refuse="backward")


@export
def zones_that_change_in_the_middle() -> Export:
    """The clocks are put forward: the zone says so, and no hour is missing."""
    first = datetime(2026, 3, 29, 1, 59, 20)

    def stamp(k: int) -> str:
        moment = first + timedelta(seconds=k)
        return (
            f"{moment:%Y-%m-%dT%H:%M:%S}+01:00" if k < 40 else f"{moment + timedelta(hours=1):%Y-%m-%dT%H:%M:%S}+02:00"
        )

    head = HEAD.replace("Time (s)", "Time")
    body = rows(lambda k: f"{stamp(k)},{V[k]},{A[k]}")
    return Export("zones_that_change_in_the_middle", (head + body).encode(), WHOLE, PACK, (V_, I_))


@export
def spreadsheet_that_shows_minutes_only() -> Export:
    """A spreadsheet shows times as mm:ss.0 and saves what it shows."""
    head = HEAD.replace("Time (s)", "Time")
    body = rows(lambda k: f"{int(T[k] + 1190) // 60 % 60:02d}:{(T[k] + 1190) % 60:04.1f},{V[k]},{A[k]}")
    return Export("spreadsheet_that_shows_minutes_only", (head + body).encode(), T, PACK, (V_, I_))


@export
def scope_with_a_time_for_each_channel() -> Export:
    t = [round(1e-3 * k, 6) for k in range(ROWS)]
    head = "CH1 time (s),CH1 (V),CH2 time (s),CH2 (A)\n"
    body = rows(lambda k: f"{t[k]:.6f},{V[k]},{t[k]:.6f},{A[k]}")
    return Export("scope_with_a_time_for_each_channel", (head + body).encode(), t, [Meant("CH1 (V)"), Meant("CH2 (A)")])


@export
def units_behind_decimal_commas() -> Export:
    head = "Zeit;Akkuspannung;Akkustrom;Akkutemperatur\n"
    body = rows(lambda k: f"{de(T[k], 1)} s;{de(V[k], 3)} V;{de(A[k], 2)} A;{de(H[k], 1)} °C")
    columns = [Meant("Akkuspannung", V_, V), Meant("Akkustrom", I_, A), Meant("Akkutemperatur", H_, H)]
    return Export("units_behind_decimal_commas", (head + body).encode(), T, columns, (V_, I_, H_))


@export
def three_records_in_one_indent() -> Export:
    """A cycler's report: rows of cycles, steps and records, each indented further."""
    text = "Cycle,Capacity(Ah),,,,,\n,Step,Mode,Capacity(Ah),,,\n,,Record,Time(s),Voltage(V),Current(A),Capacity(mAh)\n"
    for step in range(2):
        if step == 0:
            text += "1,1.234,,,,,\n"
        text += f",{step + 1},CC,0.617,,,\n"
        text += "".join(f",,{k + 1},{T[k]},{V[k]},{A[k]},{Q[k]}\n" for k in range(40 * step, 40 * step + 40))
    columns = [
        Meant("Voltage(V)", V_, V), Meant("Current(A)", I_, A), Meant("Capacity(mAh)", "pack_charge_used_mAh", Q),
    ]  # fmt: skip
    return Export("three_records_in_one_indent", text.encode(), T, columns, file="pack.csv")


@export
def blank_line_behind_each_row() -> Export:
    body = rows(lambda k: f"{T[k]},{V[k]},{A[k]},", "\r\n\r\n")
    return Export("blank_line_behind_each_row", (HEAD + body).encode(), T, PACK, (V_, I_))


@export
def signs_in_brackets() -> Export:
    """An accountant's spreadsheet: what flows out stands in brackets."""
    body = rows(lambda k: f"{T[k]},{V[k]},({A[k]:.2f})")
    return Export("signs_in_brackets", (HEAD + body).encode(), T, PACK)


@export
def minus_behind_the_figure() -> Export:
    body = rows(lambda k: f"{T[k]};{V[k]};{A[k]:.2f}-")
    return Export("minus_behind_the_figure", (HEAD.replace(",", ";") + body).encode(), T, PACK)


@export
def typographic_minus() -> Export:
    body = rows(lambda k: f"{T[k]};{V[k]};\u2212{A[k]:.2f}")
    return Export("typographic_minus", (HEAD.replace(",", ";") + body).encode(), T, PACK, (V_, I_))


@export
def milliseconds_named_seconds() -> Export:
    """The name says seconds and the stamps beside it say that they are milliseconds."""
    stamps = [START + timedelta(milliseconds=500 * k) for k in range(ROWS)]
    head = "Clock,Time (s),Pack voltage (V),Pack current (A)\n"
    body = rows(
        lambda k: (
            f"{stamps[k]:%Y-%m-%d %H:%M:%S}.{stamps[k].microsecond // 1000:03d},{round(1000 * T[k])},{V[k]},{A[k]}"
        )
    )
    return Export("milliseconds_named_seconds", (head + body).encode(), T, PACK, (V_, I_))


@export
def least_mean_and_most() -> Export:
    """Three columns of one quantity: only the mean may be taken as it."""
    head = "Time (s),Pack voltage min (V),Pack voltage avg (V),Pack voltage max (V),Pack current avg (A)\n"
    body = rows(lambda k: f"{T[k]},{V[k] - 0.2:.3f},{V[k]},{V[k] + 0.1:.3f},{A[k]}")
    columns = [
        Meant("Pack voltage min (V)"), Meant("Pack voltage avg (V)", V_, V), Meant("Pack voltage max (V)"),
        Meant("Pack current avg (A)", I_, A),
    ]  # fmt: skip
    return Export("least_mean_and_most", (head + body).encode(), T, columns)


@export
def kilovolts() -> Export:
    head = "Time (s),Pack voltage (kV),Pack current (kA)\n"
    body = rows(lambda k: f"{T[k]},{V[k] / 1000:.6f},{A[k] / 1000:.5f}")
    columns = [Meant("Pack voltage (kV)", V_, V), Meant("Pack current (kA)", I_, A)]
    return Export("kilovolts", (head + body).encode(), T, columns)


@export
def thousands_marked_by_blanks() -> Export:
    head = "Temps (ms);Tension batterie (mV);Courant batterie (mA)\n"
    body = rows(
        lambda k: ";".join(
            f"{x:,.1f}".replace(",", "\u202f").replace(".", ",") for x in (1e3 * T[k], 1e3 * V[k], 1e3 * A[k])
        )
    )
    columns = [Meant("Tension batterie (mV)", V_, V), Meant("Courant batterie (mA)", I_, A)]
    return Export("thousands_marked_by_blanks", (head + body).encode(), T, columns, (V_, I_))


@export
def tenths_said_in_the_name() -> Export:
    head = "time_ms,pack_voltage (0.1V),pack_current (0.01A)\n"
    body = rows(lambda k: f"{round(1e3 * T[k])},{round(10 * V[k])},{round(100 * A[k])}")
    columns = [
        Meant("pack_voltage (0.1V)", V_, [round(10 * v) / 10 for v in V]),
        Meant("pack_current (0.01A)", I_, A),
    ]
    return Export("tenths_said_in_the_name", (head + body).encode(), T, columns, (V_, I_))


@export
def section_for_each_channel() -> Export:
    """One table below the other: the second is named and not read as more rows of the first."""
    text = "Channel,Pack voltage\nTime (s),Value (V)\n" + rows(lambda k: f"{T[k]},{V[k]}")
    text += "\nChannel,Pack current\nTime (s),Value (A)\n" + rows(lambda k: f"{T[k]},{A[k]}")
    return Export("section_for_each_channel", text.encode(), T, [Meant("Value (V)")], must_say=("several_tables",))


@export
def names_without_rows() -> Export:
    return Export("names_without_rows", HEAD.encode(), refuse="no rows")


@export
def half_of_the_day_with_points() -> Export:
    def stamp(k: int) -> str:
        moment = START + timedelta(seconds=2 * k)
        return f"{moment.hour % 12 or 12:02d}:{moment:%M:%S} {'a.m.' if moment.hour < 12 else 'p.m.'}"

    head = HEAD.replace("Time (s)", "Time")
    body = rows(lambda k: f"{stamp(k)},{V[k]},{A[k]}")
    return Export("half_of_the_day_with_points", (head + body).encode(), [2.0 * x for x in WHOLE], PACK, (V_, I_))


@export
def stamps_without_the_year() -> Export:
    stamps = [START + timedelta(seconds=k) for k in range(ROWS)]
    head = HEAD.replace("Time (s)", "Time")
    body = rows(lambda k: f"{stamps[k]:%d-%b %H:%M:%S},{V[k]},{A[k]}")
    return Export("stamps_without_the_year", (head + body).encode(), None, PACK, must_say=("clock_missing",))


@export
def answers_of_an_instrument() -> Export:
    """One reading a line with its header behind a comma and the time of a terminal before it."""
    stamps = [START + timedelta(seconds=k) for k in range(ROWS)]
    body = rows(lambda k: f"[{stamps[k]:%H:%M:%S}] {V[k]:+.5E},VDC")
    return Export("answers_of_an_instrument", body.encode(), WHOLE, [])  # a column without a name is only a guess


@export
def seconds_and_their_hundredths_apart() -> Export:
    head = "min,sec,1/100,Pack voltage (V),Pack current (A)\n"
    body = rows(lambda k: f"{int(T[k]) // 60},{int(T[k]) % 60},{round(T[k] % 1 * 100)},{V[k]},{A[k]}")
    return Export("seconds_and_their_hundredths_apart", (head + body).encode(), T, PACK)


@export
def state_of_charge_and_energy() -> Export:
    energy = [round(0.0004 * k * k + 0.01 * k, 3) for k in range(ROWS)]
    head = "t;U Akku;I Akku;SOC;E\ns;V;A;%;Wh\n"
    body = rows(lambda k: f"{de(T[k], 1)};{de(V[k], 3)};{de(A[k], 2)};{de(98 - 0.1 * k, 1)};{de(energy[k], 3)}")
    columns = [Meant("U Akku", V_, V), Meant("I Akku", I_, A), Meant("SOC"), Meant("E", "pack_energy_used_Wh", energy)]
    return Export("state_of_charge_and_energy", (head + body).encode(), T, columns, (V_, I_))
