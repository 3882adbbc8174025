"""Whole exports as cyclers, meters, loads, scopes and loggers of invented make write them, each from a known truth.

For every export the truth stands beside its bytes: the seconds of each row and, in the units of the channels, what its
columns mean. `refuse` marks what is no table of samples over time and has to be refused, with the reason.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

START = datetime(2026, 5, 9, 12, 58, 30)
ROWS = 80


@dataclass
class Meant:
    """channel: what it may be called (None: nothing may be); values in the channel's unit, None where it has none.

    asked: no channel may be taken without asking, since the file does not say enough.
    """

    source: str
    channel: str | None = None
    values: Sequence[float | None] | None = None


@dataclass
class Export:
    """columns: in any order, those that matter. wants: channels that must be found. time_s None: there is no clock."""

    name: str
    data: bytes
    time_s: Sequence[float] | None = None
    columns: list[Meant] = field(default_factory=list)
    wants: tuple[str, ...] = ()
    refuse: str = ""
    file: str = "log.csv"
    must_say: tuple[str, ...] = ()


EXPORTS: list[Callable[[], Export]] = []


def export(make: Callable[[], Export]) -> Callable[[], Export]:
    EXPORTS.append(make)
    return make


def amps(k: int) -> float:
    return round(6.0 + 5.0 * math.sin(k / 3.0) + (40.0 if k % 19 in (7, 8) else 0.0), 2)


def volts(k: int) -> float:
    return round(25.0 - 0.01 * k - 0.022 * amps(k), 3)


def heat(k: int) -> float:
    return round(21.0 + 0.12 * k, 1)


T = [round(0.5 * k, 1) for k in range(ROWS)]
V = [volts(k) for k in range(ROWS)]
A = [amps(k) for k in range(ROWS)]
H = [heat(k) for k in range(ROWS)]
Q = [round(sum(A[: k + 1]) * 0.5 / 3.6, 1) for k in range(ROWS)]  # mAh used
V_, I_, H_ = "pack_voltage_V", "pack_current_A", "pack_temp_degC"


def de(x: float, places: int) -> str:
    return f"{x:.{places}f}".replace(".", ",")


def rows(make: Callable[[int], str], end: str = "\n", count: int = ROWS) -> str:
    return "".join(make(k) + end for k in range(count))


def elapsed(t: float, places: int = 1) -> str:
    whole, part = divmod(round(t * 10**places), 10**places)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}.{part:0{places}d}"


@export
def german_cycler_with_step_table() -> Export:
    """A table of the test's steps stands above the samples; discharge is negative."""
    head = (
        "Prüfprogramm;Kapazitätstest\r\nPrüfling;Akku 6S\r\n\r\nSchritt;Art;Dauer [s];Grenze\r\n"
        "1;Entladen;40;3,3 V\r\n2;Pause;60;\r\n3;Laden;3600;4,2 V\r\n\r\n"
        "Zeit [s];Schritt;Akkuspannung [V];Akkustrom [A];Akkutemperatur [°C];Status\r\n"
    )
    body = rows(lambda k: f"{de(T[k], 1)};1;{de(V[k], 3)};{de(-A[k], 2)};{de(H[k], 1)};ENTL", "\r\n")
    columns = [Meant("Akkuspannung [V]", V_, V), Meant("Akkustrom [A]", I_, A), Meant("Akkutemperatur [°C]", H_, H)]
    return Export(
        "german_cycler_with_step_table", (head + body).encode("cp1252"), T, columns, (V_, I_, H_), file="akku.csv"
    )


@export
def french_discharger() -> Export:
    head = "Banc de décharge;version 3\nÉchantillon;batterie 3\n\nTemps (s);Tension batterie (V);Courant batterie (mA);"
    head += "Température batterie (°C)\n"
    body = rows(lambda k: f"{de(T[k], 1)};{de(V[k], 3)};{de(A[k] * 1000, 0)};{de(H[k], 1)}")
    columns = [
        Meant("Tension batterie (V)", V_, V), Meant("Courant batterie (mA)", I_, A),
        Meant("Température batterie (°C)", H_, H),
    ]  # fmt: skip
    return Export("french_discharger", (head + body).encode("latin-1"), T, columns, (V_, I_))


@export
def japanese_battery_tester() -> Export:
    head = "測定器,放電試験機\n試料,電池\n\n経過時間[s],電池電圧[V],電池電流[A],電池温度[℃]\n"
    body = rows(lambda k: f"{T[k]},{V[k]},{A[k]},{H[k]}")
    columns = [Meant("電池電圧[V]", V_, V), Meant("電池電流[A]", I_, A), Meant("電池温度[℃]", H_, H)]
    return Export("japanese_battery_tester", (head + body).encode(), T, columns)


@export
def japanese_in_its_old_encoding() -> Export:
    head = "測定器,放電試験機\r\n\r\n時間(s),電圧(V),電流(A)\r\n"
    body = rows(lambda k: f"{T[k]},{V[k]},{A[k]}", "\r\n")
    return Export(
        "japanese_in_its_old_encoding",
        (head + body).encode("cp932"),
        T,
        [Meant("電圧(V)", V_, V), Meant("電流(A)", I_, A)],
        (V_, I_),
        must_say=("encoding",),
    )


@export
def scope_with_vertical_rows() -> Export:
    t = [round(-2e-4 + 1e-5 * k, 9) for k in range(ROWS)]
    head = (
        "Model,Bench scope 4\nRecord Length,80,Points\nSample Interval,1.0E-05,s\nVertical Units,V,A\n"
        "Vertical Scale,5.0E+00,2.0E+01\nVertical Offset,0.0E+00,0.0E+00\nHorizontal Units,s\nLabel,Pack,Weapon lead\n"
        "TIME,CH1,CH2\n"
    )
    body = rows(lambda k: f"{t[k]:.6E},{V[k]:.5E},{A[k]:.4E}")
    return Export(
        "scope_with_vertical_rows", (head + body).encode(), [x - t[0] for x in t], [Meant("CH1"), Meant("CH2")]
    )


@export
def scope_source_and_unit_rows() -> Export:
    t = [round(2e-3 * k, 6) for k in range(ROWS)]
    head = "Source,CH1,CH2\nSecond,Volt,Ampere\n"
    body = rows(lambda k: f"{t[k]:+.5e},{V[k]:+.4e},{A[k]:+.4e}", "\r\n")
    return Export("scope_source_and_unit_rows", (head + body).encode(), t, [Meant("CH1"), Meant("CH2")])


@export
def meter_with_function_column() -> Export:
    stamps = [START + timedelta(milliseconds=500 * k) for k in range(ROWS)]
    head = "Index,Date,Time,Function,Reading,Unit\n"
    body = rows(
        lambda k: f"{k + 1},{stamps[k]:%Y-%m-%d},{stamps[k]:%H:%M:%S}.{stamps[k].microsecond // 1000:03d},DC V,{V[k]},V"
    )
    return Export("meter_with_function_column", (head + body).encode(), T, [Meant("Reading")])


@export
def meter_whose_function_changes() -> Export:
    """Volts, then somebody turned the knob: the figures of one column are of two quantities."""
    head = "Time (s),Function,Reading,Unit\n"
    body = rows(lambda k: f"{T[k]},{'DC V' if k < 40 else 'DC A'},{V[k] if k < 40 else A[k]},{'V' if k < 40 else 'A'}")
    return Export("meter_whose_function_changes", (head + body).encode(), T, [Meant("Reading")], file="pack.csv")


@export
def thermometer_with_two_lines_of_names() -> Export:
    stamps = [START + timedelta(seconds=2 * k) for k in range(ROWS)]
    head = "Logger;TH-8;Seriennummer;00417\n;;Kanal 1;Kanal 2\nDatum;Uhrzeit;Akku;Chassis\n;;°C;°C\n"
    body = rows(lambda k: f"{stamps[k]:%d.%m.%Y};{stamps[k]:%H:%M:%S};{de(H[k], 1)};{de(19 + k / 20, 1)}")
    columns = [
        Meant("Akku", H_, H),
        Meant("Chassis", "chassis_temp_degC", [round(19 + k / 20, 1) for k in range(ROWS)]),
    ]
    return Export(
        "thermometer_with_two_lines_of_names", (head + body).encode(), [2.0 * k for k in range(ROWS)], columns
    )


@export
def electronic_load() -> Export:
    head = "E-Load record\nMode,CC\nSet,12.000A\n\nNo.,Elapsed,Voltage(V),Current(A),Power(W),Capacity(mAh)\n"
    body = rows(lambda k: f"{k + 1},{elapsed(T[k])},{V[k]},{A[k]},{V[k] * A[k]:.1f},{Q[k]}")
    columns = [
        Meant("Voltage(V)", V_, V), Meant("Current(A)", I_, A), Meant("Capacity(mAh)", "pack_charge_used_mAh", Q),
        Meant("Power(W)", "pack_power_W", [round(v * a, 1) for v, a in zip(V, A, strict=True)]),
    ]  # fmt: skip
    return Export("electronic_load", (head + body).encode(), T, columns, (V_, I_), file="pack_discharge.csv")


@export
def supply_with_am_and_pm() -> Export:
    """The clock runs over one in the afternoon."""
    stamps = [START + timedelta(seconds=2 * k) for k in range(ROWS)]

    def row(k: int) -> str:
        hour = stamps[k].hour % 12 or 12
        return f"5/9/2026,{hour}:{stamps[k]:%M:%S %p},{V[k]:.2f},{A[k]:.2f},CV"

    head = "Date,Time,Output Voltage (V),Output Current (A),State\n"
    return Export(
        "supply_with_am_and_pm", (head + rows(row)).encode(), [2.0 * k for k in range(ROWS)],
        [Meant("Output Voltage (V)"), Meant("Output Current (A)")], file="supply.csv",
    )  # fmt: skip


@export
def thousands_marked_by_points() -> Export:
    def mark(x: float) -> str:
        return f"{x:,.1f}".translate(str.maketrans(",.", ".,"))

    head = "Zeit (ms);Akkuspannung (mV);Akkustrom (mA)\n"
    body = rows(lambda k: f"{mark(T[k] * 1000)};{mark(V[k] * 1000)};{mark(A[k] * 1000)}")
    columns = [Meant("Akkuspannung (mV)", V_, V), Meant("Akkustrom (mA)", I_, A)]
    return Export("thousands_marked_by_points", (head + body).encode(), T, columns, (V_, I_))


@export
def thousands_marked_by_apostrophes() -> Export:
    head = "t [ms]\tU Batt [mV]\tI Batt [mA]\n"
    body = rows(lambda k: "\t".join(f"{x:,.0f}".replace(",", "'") for x in (T[k] * 1000, V[k] * 1000, A[k] * 1000)))
    columns = [Meant("U Batt [mV]", V_, V), Meant("I Batt [mA]", I_, A)]
    return Export("thousands_marked_by_apostrophes", (head + body).encode(), T, columns, (V_, I_))


@export
def one_row_for_each_channel() -> Export:
    """A long table: a figure's meaning stands in another column. Its rows are no samples of one quantity."""
    head = "time_s,channel,value,unit\n"
    body = rows(
        lambda k: f"{T[k]},pack voltage,{V[k]},V\n{T[k]},pack current,{A[k]},A\n{T[k]},pack temperature,{H[k]},degC"
    )
    return Export("one_row_for_each_channel", (head + body).encode(), refuse="long table", file="pack.csv")


@export
def cells_of_a_monitor() -> Export:
    cells = [[round(1000 * V[k] / 6 + 3 * c - 7 + (k * c) % 3) for c in range(6)] for k in range(ROWS)]
    head = "ms," + ",".join(f"Cell{c + 1}_mV" for c in range(6)) + ",Pack_mV,Pack_mA\n"
    body = rows(
        lambda k: f"{round(T[k] * 1000)}," + ",".join(map(str, cells[k])) + f",{sum(cells[k])},{round(-A[k] * 1000)}"
    )
    columns = [Meant(f"Cell{c + 1}_mV", f"cell{c + 1}_voltage_V", [x[c] / 1000 for x in cells]) for c in range(6)]
    columns += [Meant("Pack_mV", V_, [sum(x) / 1000 for x in cells]), Meant("Pack_mA", I_, A)]
    wants = (V_, I_, "cell1_voltage_V", "cell6_voltage_V")
    return Export("cells_of_a_monitor", (head + body).encode(), T, columns, wants)


@export
def averages_behind_the_rows() -> Export:
    head = "Time (s),Pack Voltage (V),Pack Current (A)\n"
    tail = f"\nMinimum,{min(V)},{min(A)}\nMaximum,{max(V)},{max(A)}\nAverage,{sum(V) / ROWS:.3f},{sum(A) / ROWS:.2f}\n"
    body = rows(lambda k: f"{T[k]},{V[k]},{A[k]}")
    columns = [Meant("Pack Voltage (V)", V_, V), Meant("Pack Current (A)", I_, A)]
    return Export("averages_behind_the_rows", (head + body + tail).encode(), T, columns, (V_, I_))


@export
def averages_without_words() -> Export:
    """A last row under a line of dashes: figures in every column, the mean of each."""
    head = "Time (s),Pack Voltage (V),Pack Current (A)\n"
    tail = f"-------,-------,-------\n,{sum(V) / ROWS:.3f},{sum(A) / ROWS:.2f}\n"
    body = rows(lambda k: f"{T[k]},{V[k]},{A[k]}")
    columns = [Meant("Pack Voltage (V)", V_, V), Meant("Pack Current (A)", I_, A)]
    return Export("averages_without_words", (head + body + tail).encode(), T, columns, (V_, I_))


@export
def separator_line_and_quotes() -> Export:
    head = 'sep=;\r\n"Zeit [s]";"Akkuspannung [V]";"Akkustrom [A]";"Bemerkung"\r\n'
    body = rows(lambda k: f'"{de(T[k], 1)}";"{de(V[k], 3)}";"{de(A[k], 2)}";"{"ok; weiter" if k % 9 else ""}"', "\r\n")
    columns = [Meant("Akkuspannung [V]", V_, V), Meant("Akkustrom [A]", I_, A)]
    return Export("separator_line_and_quotes", (head + body).encode("utf-8-sig"), T, columns, (V_, I_))


@export
def tabs_with_spaces() -> Export:
    head = "  Time \t  Pack V \t  Pack I \n  [s]  \t  [V]   \t  [A]  \n"
    body = rows(lambda k: f" {T[k]:6.1f} \t {V[k]:7.3f} \t {A[k]:6.2f} ")
    columns = [Meant("Pack V", V_, V), Meant("Pack I", I_, A)]
    return Export("tabs_with_spaces", (head + body).encode(), T, columns, (V_, I_))


@export
def spreadsheet_with_empty_columns() -> Export:
    """Saved from a spreadsheet: empty columns at the left and between, days since 1899 as time."""
    day = 46151.0 + 14.0 / 24.0
    stamps = [f"{day + t / 86400.0:.9f}" for t in T]
    head = ";;;;;\n;Time;;Pack voltage [V];;Pack current [A]\n"
    body = rows(lambda k: f";{stamps[k].replace('.', ',')};;{de(V[k], 3)};;{de(A[k], 2)}")
    columns = [Meant("Pack voltage [V]", V_, V), Meant("Pack current [A]", I_, A)]
    return Export("spreadsheet_with_empty_columns", (head + body).encode(), T, columns, (V_, I_))


@export
def flags_in_hexadecimal() -> Export:
    head = "t_s,pack_U_V,pack_I_A,flags\n"
    body = rows(lambda k: f"{T[k]},{V[k]},{A[k]},0x{(k * 37) % 4096:04X}")
    columns = [Meant("pack_U_V", V_, V), Meant("pack_I_A", I_, A), Meant("flags")]
    return Export("flags_in_hexadecimal", (head + body).encode(), T, columns, (V_, I_))


@export
def overloads() -> Export:
    head = "Elapsed (s);Pack current (A);Pack voltage (V)\n"
    words = {7: "OL", 8: "OVLD", 26: "+9.9E37", 27: "OL"}
    body = rows(lambda k: f"{T[k]};{words.get(k, A[k])};{V[k]}")
    kept: list[float | None] = [None if k in words else A[k] for k in range(ROWS)]
    columns = [Meant("Pack voltage (V)", V_, V), Meant("Pack current (A)", I_, kept)]
    return Export("overloads", (head + body).encode(), T, columns, (V_, I_), must_say=("bad_number", "overrange"))


@export
def pages_with_names_on_each() -> Export:
    names = "Time[s]   Upack[V]  Ipack[A]\n"
    text = ""
    for page in range(4):
        text += f"Test 17                 Page {page + 1}\n\n{names}"
        text += "".join(f"{T[k]:7.1f} {V[k]:10.3f} {A[k]:9.2f}\n" for k in range(20 * page, 20 * page + 20)) + "\f"
    columns = [Meant("Upack[V]", V_, V), Meant("Ipack[A]", I_, A)]
    return Export("pages_with_names_on_each", text.encode(), T, columns, (V_, I_))


@export
def remarks_at_the_end() -> Export:
    head = "time,pack_voltage,pack_current\n"
    tail = "# stopped by hand\n# 80 rows, 1 error: 24.1 V limit\n"
    body = rows(lambda k: f"{T[k]},{V[k]},{A[k]}")
    columns = [Meant("pack_voltage", V_, V), Meant("pack_current", I_, A)]
    return Export("remarks_at_the_end", (head + body + tail).encode(), T, columns)


@export
def json_on_each_line() -> Export:
    body = rows(lambda k: json.dumps({"t": T[k], "pack": {"u": V[k], "i": A[k]}, "state": "run"}))
    return Export("json_on_each_line", body.encode(), refuse="JSON", file="log.json")


@export
def json_as_a_whole() -> Export:
    made = {"device": "load", "samples": [{"t": T[k], "u": V[k], "i": A[k]} for k in range(ROWS)]}
    return Export("json_as_a_whole", json.dumps(made, indent=1).encode(), refuse="JSON", file="log.txt")


@export
def mark_up_of_a_page() -> Export:
    body = rows(lambda k: f"<tr><td>{T[k]}</td><td>{V[k]}</td><td>{A[k]}</td></tr>")
    return Export("mark_up_of_a_page", f"<html><table>\n{body}</table></html>\n".encode(), refuse="markup")


@export
def motor_test_stand() -> Export:
    rpm = [round(9000 + 40 * k + 300 * math.sin(k / 4)) for k in range(ROWS)]
    head = "Motor test stand\nProp;10x5\n\nTime;Throttle;Motor speed;Torque;Motor temp.;U in;I in\ns;%;rpm;Nm;°C;V;A\n"
    body = rows(lambda k: f"{T[k]};{20 + k / 2};{rpm[k]};{0.1 + 0.002 * k:.3f};{H[k]};{V[k]};{A[k]}")
    return Export(
        "motor_test_stand", (head + body).encode(), T,
        [Meant("Motor speed"), Meant("Torque"), Meant("Motor temp.")],
    )  # fmt: skip


@export
def controller_in_hundredths() -> Export:
    head = "time [ms],Voltage [cV],Current [cA],ESC temp [°C],eRPM,PWM [us]\n"
    body = rows(
        lambda k: (
            f"{round(T[k] * 1000)},{round(V[k] * 100)},{round(A[k] * 100)},{round(H[k])},{70_000 + 100 * k},"
            f"{1500 + 3 * k}"
        )
    )
    columns = [
        Meant("Voltage [cV]", "weapon_voltage_V", [round(v * 100) / 100 for v in V]),
        Meant("Current [cA]", "weapon_input_current_A", [round(a * 100) / 100 for a in A]),
        Meant("ESC temp [°C]", "weapon_temp_degC", [round(h) for h in H]),
        Meant("eRPM"),
        Meant("PWM [us]", "weapon_command_pct", [0.6 * k for k in range(ROWS)]),
    ]
    return Export("controller_in_hundredths", (head + body).encode(), T, columns, file="weapon_esc.csv")


@export
def meter_of_cell_resistances() -> Export:
    """A list of cells, not of samples."""
    body = "".join(f"{c + 1};{de(3.95 + c / 100, 3)};{de(2.1 + c / 10, 2)}\n" for c in range(12))
    text = "Zelle;Spannung (V);Ri (mOhm)\n" + body
    return Export("meter_of_cell_resistances", text.encode(), None, [], must_say=("clock_missing",))


@export
def analyser_with_milliseconds_apart() -> Export:
    stamps = [START + timedelta(milliseconds=500 * k) for k in range(ROWS)]
    head = "Store No.,Date,Time,Millisecond,U-dc-1,I-dc-1,P-1\n"
    body = rows(
        lambda k: (
            f"{k + 1},{stamps[k]:%Y/%m/%d},{stamps[k]:%H:%M:%S},{stamps[k].microsecond // 1000:03d},"
            f"{V[k]:.4E},{A[k]:.4E},{V[k] * A[k]:.4E}"
        )
    )
    return Export("analyser_with_milliseconds_apart", (head + body).encode(), T, [Meant("U-dc-1"), Meant("I-dc-1")])


@export
def charger() -> Export:
    """Charging, and the charger's own sign: into the pack is positive."""
    up = [round(21.0 + 0.05 * k, 3) for k in range(ROWS)]
    into = [round(5.0 - 0.02 * k, 2) for k in range(ROWS)]
    head = "Mode: charge\nChemistry: LiPo 6S\n\nTime(s),Pack voltage(V),Charge current(A),Charged(mAh)\n"
    body = rows(lambda k: f"{2 * k},{up[k]},{into[k]},{2.7 * k:.0f}")
    columns = [
        Meant("Pack voltage(V)", V_, up), Meant("Charge current(A)", I_, [-x for x in into]), Meant("Charged(mAh)"),
    ]  # fmt: skip
    return Export("charger", (head + body).encode(), [2.0 * k for k in range(ROWS)], columns, file="charge.csv")


@export
def table_between_pipes() -> Export:
    head = "| time [s] | pack voltage [V] | pack current [A] |\n|---------:|:----------------:|-----------------|\n"
    body = rows(lambda k: f"| {T[k]} | {V[k]} | {A[k]} |")
    columns = [Meant("pack voltage [V]", V_, V), Meant("pack current [A]", I_, A)]
    return Export("table_between_pipes", (head + body).encode(), T, columns)


@export
def minutes_and_fahrenheit() -> Export:
    t = [round(0.05 * k, 2) for k in range(ROWS)]
    head = '"Elapsed Time (min)","Pack Temp (°F)","Pack Volts (V)"\n'
    body = rows(lambda k: f"{t[k]},{H[k] * 1.8 + 32:.2f},{V[k]}")
    columns = [Meant("Pack Temp (°F)", H_, H), Meant("Pack Volts (V)", V_, V)]
    return Export("minutes_and_fahrenheit", (head + body).encode(), [60 * x for x in t], columns, (H_, V_))


@export
def wide_characters_and_units_row() -> Export:
    head = "Time\tPack voltage\tPack current\tNote\r\ns\tV\tmA\t\r\n"
    body = rows(lambda k: f"{T[k]}\t{V[k]}\t{round(A[k] * 1000)}\t", "\r\n")
    columns = [Meant("Pack voltage", V_, V), Meant("Pack current", I_, A)]
    return Export("wide_characters_and_units_row", (head + body).encode("utf-16"), T, columns, (V_, I_))


@export
def status_with_commas() -> Export:
    head = "time_s,status,pack_voltage_V,pack_current_A\n"
    body = rows(lambda k: f'{T[k]},"RUN, step {k // 20}, ok",{V[k]},{A[k]}')
    columns = [Meant("pack_voltage_V", V_, V), Meant("pack_current_A", I_, A)]
    return Export("status_with_commas", (head + body).encode(), T, columns, (V_, I_))


@export
def figures_that_stand_for_none() -> Export:
    head = "t_ms,pack_mV,pack_degC,link_quality_pct\n"
    body = rows(
        lambda k: (
            f"{round(T[k] * 1000)},{65535 if k % 11 == 3 else round(V[k] * 1000)},"
            f"{-999 if k % 13 == 4 else H[k]},{90 + k % 10}"
        )
    )
    columns = [
        Meant("pack_mV", V_, [None if k % 11 == 3 else V[k] for k in range(ROWS)]),
        Meant("link_quality_pct", "link_quality_pct", [90.0 + k % 10 for k in range(ROWS)]),
        Meant("pack_degC", H_, [None if k % 13 == 4 else H[k] for k in range(ROWS)]),
    ]
    return Export("figures_that_stand_for_none", (head + body).encode(), T, columns, must_say=("sentinel",))


@export
def compact_stamps() -> Export:
    stamps = [START + timedelta(seconds=k) for k in range(ROWS)]
    head = "Stamp;Pack U [V];Pack I [A]\n"
    body = rows(lambda k: f"{stamps[k]:%Y%m%d%H%M%S};{V[k]};{A[k]}")
    columns = [Meant("Pack U [V]", V_, V), Meant("Pack I [A]", I_, A)]
    return Export("compact_stamps", (head + body).encode(), [float(k) for k in range(ROWS)], columns)


@export
def two_rates_in_one_table() -> Export:
    """Temperatures come at every tenth row; the cells between are empty."""
    head = "Time (s),Pack voltage (V),Pack current (A),Pack temp (C)\n"
    body = rows(lambda k: f"{T[k]},{V[k]},{A[k]},{H[k] if k % 10 == 0 else ''}")
    sparse: list[float | None] = [H[k] if k % 10 == 0 else None for k in range(ROWS)]
    columns = [Meant("Pack voltage (V)", V_, V), Meant("Pack current (A)", I_, A), Meant("Pack temp (C)", H_, sparse)]
    return Export("two_rates_in_one_table", (head + body).encode(), T, columns, (V_, I_, H_))


@export
def charge_and_discharge_in_two_columns() -> Export:
    head = "Time/s,Pack voltage/V,Pack charge current/A,Pack discharge current/A\n"
    body = rows(lambda k: f"{T[k]},{V[k]},0.00,{A[k]}")
    columns = [Meant("Pack voltage/V", V_, V), Meant("Pack discharge current/A", I_, A),
               Meant("Pack charge current/A")]  # fmt: skip
    return Export("charge_and_discharge_in_two_columns", (head + body).encode(), T, columns)


@export
def lines_in_quotes() -> Export:
    head = '"Time [s],""Pack voltage [V]"",Pack current [A]"\n'
    body = rows(lambda k: f'"{T[k]},""{V[k]}"",{A[k]}"')
    columns = [Meant("Pack voltage [V]", V_, V), Meant("Pack current [A]", I_, A)]
    return Export("lines_in_quotes", (head + body).encode(), T, columns)


@export
def set_points_beside_figures() -> Export:
    head = "Time (s),Set voltage (V),Set current (A),Pack voltage (V),Pack current (A)\n"
    body = rows(lambda k: f"{T[k]},30.00,50.00,{V[k]},{A[k]}")
    columns = [Meant("Set voltage (V)"), Meant("Set current (A)"), Meant("Pack voltage (V)", V_, V),
               Meant("Pack current (A)", I_, A)]  # fmt: skip
    return Export("set_points_beside_figures", (head + body).encode(), T, columns, (V_, I_), file="pack.csv")


@export
def units_that_change_with_the_range() -> Export:
    """An auto-ranging meter: each figure with its own prefix."""
    small = [a * (0.01 if k % 3 else 1.0) for k, a in enumerate(A)]
    head = "Time,Current\n"
    body = rows(lambda k: f"{T[k]} s,{f'{small[k] * 1000:.1f} mA' if small[k] < 1 else f'{small[k]:.4f} A'}")
    kept = [round(x * 1000, 1) / 1000 if x < 1 else round(x, 4) for x in small]
    return Export("units_that_change_with_the_range", (head + body).encode(), T, [Meant("Current", I_, kept)])
