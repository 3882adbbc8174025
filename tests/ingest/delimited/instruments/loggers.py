"""Loggers of all kinds: long and sparse tables, thousands marks, encodings, names.

All values are invented."""

from __future__ import annotations

import math
import random
from datetime import datetime, timedelta

from tests.ingest.delimited.instruments.made import PC, PV, START, VI, Fact, Made, case, de, drive, enc, hms


@case
def long_events() -> Made:
    A, V, H = drive(1500, 0.1, 40)
    random.Random(40)
    L = ["timestamp,signal,value"]
    for k in range(1500):
        L += [f"{0.1 * k:.2f},pack_voltage,{V[k]:.3f}", f"{0.1 * k + 0.01:.2f},pack_current,{A[k]:.2f}"] + (
            [f"{0.1 * k + 0.02:.2f},pack_temp,{H[k]:.1f}"] if k % 10 == 0 else []
        )
    return Made(enc(L), None, {}, either=True)


@case
def long_with_units() -> Made:
    A, V, H = drive(1500, 0.1, 41)
    L = ["Zeit;Kanal;Wert;Einheit"]
    for k in range(1500):
        d = START + timedelta(seconds=0.1 * k)
        z = f"{d:%d.%m.%Y %H:%M:%S},{d.microsecond // 1000:03d}"
        L += [f"{z};U_Batt;{de(V[k], 3)};V", f"{z};I_Batt;{de(A[k], 2)};A", f"{z};T_Motor;{de(H[k], 1)};°C"]
    return Made(enc(L), None, {}, either=True)


@case
def sparse_wide() -> Made:
    A, V, H = drive(1200, 0.05, 42)
    L = ["Time (s),Voltage (V),Current (A),Temp (°C)"]
    T = []
    v = []
    a = []
    h = []
    for k in range(1200):
        t = round(0.05 * k, 2)
        s = k % 3
        T.append(t)
        v.append(V[k] if s == 0 else None)
        a.append(A[k] if s == 1 else None)
        h.append(H[k] if s == 2 else None)
        L.append(f"{t:.2f}," + ",".join("" if x is None else f"{x}" for x in (v[-1], a[-1], h[-1])))
    return Made(
        enc(L),
        T,
        {
            "Voltage (V)": Fact("voltage", v, None, PV),
            "Current (A)": Fact("current", a, None, PC),
            "Temp (°C)": Fact("temperature", h),
        },
    )


@case
def merged_date() -> Made:
    A, V, _H = drive(900, 1, 43)
    L = ["Date;Time;Voltage (V);Current (A)"]
    t0 = datetime(2026, 3, 14, 23, 55, 0)
    for k in range(900):
        d = t0 + timedelta(seconds=k)
        L.append(
            f"{format(d, '%d.%m.%Y') if k == 0 or d.hour == d.minute == d.second == 0 else ''};"
            f"{d:%H:%M:%S};{de(V[k], 3)};{de(A[k], 2)}"
        )
    return Made(enc(L), [float(k) for k in range(900)], VI(V, A))


@case
def vehicle_fahrenheit() -> Made:
    n = 3000
    L = ["Time,Engine RPM,Throttle,Coolant Temp,Battery Voltage,Vehicle Speed", "s,rpm,%,°F,V,mph"]
    R = []
    F = []
    B = []
    T = []
    for k in range(n):
        T.append(round(0.05 * k, 2))
        R.append(float(round(900 + 3000 * abs(math.sin(k / 200)))))
        F.append(round(90 + 0.03 * k, 1))
        B.append(round(13.8 + 0.2 * math.sin(k / 50), 2))
        L.append(
            f"{T[-1]:.2f},{R[-1]:.0f},{100 * abs(math.sin(k / 200)):.1f},"
            f"{F[-1]:.1f},{B[-1]:.2f},{40 * abs(math.sin(k / 300)):.1f}"
        )
    return Made(
        enc(L),
        T,
        {
            "Engine RPM": Fact("speed", R),
            "Coolant Temp": Fact("temperature", [(f - 32) / 1.8 for f in F], F),
            "Battery Voltage": Fact("voltage", B, None, PV),
            "Throttle": Fact("command", [float(f"{100 * abs(math.sin(k / 200)):.1f}") for k in range(n)]),
            "Vehicle Speed": Fact("any", [float(f"{40 * abs(math.sin(k / 300)):.1f}") for k in range(n)]),
        },
    )


@case
def newline_in_header() -> Made:
    A, V, H = drive(800, 0.1, 44)
    d = '"Elapsed\ntime (s)","Battery\nVoltage (V)","Battery\nCurrent (A)","Motor\nTemp (°C)"'
    L = [d] + [f"{0.1 * k:.1f},{V[k]:.3f},{A[k]:.2f},{H[k]:.1f}" for k in range(800)]
    return Made(
        enc(L),
        [round(0.1 * k, 1) for k in range(800)],
        {
            "Battery\nVoltage (V)": Fact("voltage", V, None, PV),
            "Battery\nCurrent (A)": Fact("current", A, None, PC),
            "Motor\nTemp (°C)": Fact("temperature", H),
        },
    )


@case
def phone_epoch_ns() -> Made:
    n = 4000
    r = random.Random(45)
    L = ["time,seconds_elapsed,z,y,x"]
    Z = []
    T = []
    t = 0
    for _k in range(n):
        t += 0.01 + r.gauss(0, 0.0003)
        T.append(round(t, 7))
        Z.append(round(9.81 + r.gauss(0, 0.2), 6))
        L.append(
            f"{1773480413000000000 + round(T[-1] * 1e9)},{T[-1]:.7f},"
            f"{Z[-1]},{r.gauss(0, 0.2):.6f},{r.gauss(0, 0.2):.6f}"
        )
    return Made(enc(L), T, {"z": Fact("any", Z)}, tol=1e-4)


@case
def epoch_ms_float() -> Made:
    A, V, _H = drive(1000, 0.02, 46)
    L = ["timestamp,voltage,current"] + [f"{1773480413123.25 + 20 * k:.3f},{V[k]},{A[k]}" for k in range(1000)]
    return Made(enc(L), [0.02 * k for k in range(1000)], VI(V, A, "voltage", "current"), tol=1e-4)


@case
def serial_dates() -> Made:
    A, V, _H = drive(1000, 1, 47)
    L = ["Date/Time,Voltage (V),Current (A)"] + [
        f"{46095.3936689815 + k / 86400:.10f},{V[k]},{A[k]}" for k in range(1000)
    ]
    return Made(enc(L), [float(k) for k in range(1000)], VI(V, A), tol=1e-3)


@case
def serial_dates_comma() -> Made:
    A, V, _H = drive(1000, 10, 48)
    L = ["Datum;Spannung (V);Strom (A)"] + [
        f"{de(46095.39 + k * 10 / 86400, 8)};{de(V[k], 3)};{de(A[k], 2)}" for k in range(1000)
    ]
    return Made(enc(L), [10.0 * k for k in range(1000)], VI(V, A, "Spannung (V)", "Strom (A)"), tol=2e-3)


@case
def thousands_nbsp() -> Made:
    L = ["Temps (ms);Régime (tr/min);Tension (mV);Courant (mA)"]
    R = []
    U = []
    amps = []
    A, V, _H = drive(1500, 0.02, 49)

    def g(x):
        return f"{x:,}".replace(",", "\u202f")

    for k in range(1500):
        R.append(float(9000 + k))
        U.append(round(V[k] * 1000))
        amps.append(round(A[k] * 1000))
        L.append(f"{g(20 * k)};{g(9000 + k)};{g(U[-1])};{g(amps[-1])}")
    return Made(
        enc(L),
        [0.02 * k for k in range(1500)],
        {
            "Régime (tr/min)": Fact("speed", R),
            "Tension (mV)": Fact("voltage", [u / 1000 for u in U], None, PV),
            "Courant (mA)": Fact("current", [i / 1000 for i in amps], None, PC),
        },
    )


@case
def thousands_space_latin() -> Made:
    A, V, _H = drive(1500, 1, 50)

    def g(x):
        return f"{x:,.1f}".replace(",", " ").replace(".", ",")

    L = ["Temps (s)\tTension (mV)\tCourant (mA)"] + [f"{g(k)}\t{g(V[k] * 1000)}\t{g(A[k] * 1000)}" for k in range(1500)]
    return Made(
        enc(L, "\r\n", "latin-1"), [float(k) for k in range(1500)], VI(V, A, "Tension (mV)", "Courant (mA)", 1000)
    )


@case
def thousands_apostrophe() -> Made:
    A, V, _H = drive(1500, 1, 51)

    def g(x):
        return f"{x:,.1f}".replace(",", "'")

    L = ["Zeit (s);Spannung (mV);Strom (mA)"] + [f"{g(k)};{g(V[k] * 1000)};{g(A[k] * 1000)}" for k in range(1500)]
    return Made(enc(L), [float(k) for k in range(1500)], VI(V, A, "Spannung (mV)", "Strom (mA)", 1000))


@case
def thousands_dot() -> Made:
    A, V, _H = drive(1500, 1, 52)

    def g(x):
        return f"{x:,.1f}".replace(",", "_").replace(".", ",").replace("_", ".")

    L = ["Zeit (s);Spannung (mV);Strom (mA)"] + [f"{g(k)};{g(V[k] * 1000)};{g(A[k] * 1000)}" for k in range(1500)]
    return Made(enc(L), [float(k) for k in range(1500)], VI(V, A, "Spannung (mV)", "Strom (mA)", 1000))


@case
def dot_thousands_integers() -> Made:
    # integers with points for thousands only: 25.113 mV is 25113 mV, not 25 mV
    _A, V, _H = drive(1500, 1, 53)

    def g(x):
        return f"{round(x):,}".replace(",", ".")

    L = ["Zeit (s);Spannung (mV);Drehzahl (U/min)"] + [
        f"{g(k)};{g(V[k] * 1000)};{g(8000 + 7 * k)}" for k in range(1500)
    ]
    return Made(
        enc(L),
        [float(k) for k in range(1500)],
        {
            "Spannung (mV)": Fact("voltage", V, None, PV),
            "Drehzahl (U/min)": Fact("speed", [8000.0 + 7 * k for k in range(1500)]),
        },
    )


@case
def comma_thousands_quoted() -> Made:
    A, V, _H = drive(1500, 1, 54)
    L = ["Time (s),Voltage (mV),Current (mA)"] + [
        f'"{k:,}","{round(V[k] * 1000):,}","{round(A[k] * 1000):,}"' for k in range(1500)
    ]
    return Made(
        enc(L),
        [float(k) for k in range(1500)],
        {
            "Voltage (mV)": Fact("voltage", V, None, PV),
            "Current (mA)": Fact("current", [round(a * 1000) / 1000 for a in A], None, PC),
        },
    )


@case
def german_plain() -> Made:
    A, V, H = drive(1500, 0.1, 55)
    L = ["Zeit;Spannung;Strom;Temperatur", "s;V;A;°C"] + [
        f"{de(0.1 * k, 1)};{de(V[k], 3)};{de(A[k], 2)};{de(H[k], 1)}" for k in range(1500)
    ]
    return Made(
        enc(L, "\r\n", "cp1252"),
        [round(0.1 * k, 1) for k in range(1500)],
        VI(V, A, "Spannung", "Strom") | {"Temperatur": Fact("temperature", H)},
    )


@case
def utf16_trailing_tab() -> Made:
    A, V, H = drive(1500, 0.1, 56)
    L = ["Time (s)\tVoltage (V)\tCurrent (A)\tTemp (°C)\t"] + [
        f"{0.1 * k:.1f}\t{V[k]}\t{A[k]}\t{H[k]}\t" for k in range(1500)
    ]
    return Made(
        b"\xff\xfe" + enc(L, "\r\n", "utf-16-le"),
        [round(0.1 * k, 1) for k in range(1500)],
        VI(V, A) | {"Temp (°C)": Fact("temperature", H)},
        file="log.txt",
    )


@case
def utf16be_no_mark() -> Made:
    A, V, _H = drive(700, 0.1, 57)
    L = ["Time (s);Voltage (V);Current (A)"] + [f"{de(0.1 * k, 1)};{de(V[k], 3)};{de(A[k], 2)}" for k in range(700)]
    return Made(enc(L, "\r\n", "utf-16-be"), [round(0.1 * k, 1) for k in range(700)], VI(V, A))


@case
def trailing_tabs_data_only() -> Made:
    A, V, _H = drive(1500, 0.1, 58)
    L = ["Time (s)\tVoltage (V)\tCurrent (A)"] + [f"{0.1 * k:.1f}\t{V[k]}\t{A[k]}\t\t" for k in range(1500)]
    return Made(enc(L), [round(0.1 * k, 1) for k in range(1500)], VI(V, A))


@case
def comments_between() -> Made:
    A, V, _H = drive(1500, 0.1, 59)
    L = ["# logger 1.2", "# fs = 10 Hz", "time_s,voltage_V,current_A"]
    for k in range(1500):
        if k % 400 == 200:
            L.append(f"# marker {k}: hit, hard")
        L.append(f"{0.1 * k:.1f},{V[k]},{A[k]}")
    return Made(enc(L), [round(0.1 * k, 1) for k in range(1500)], VI(V, A, "voltage_V", "current_A"))


@case
def bracket_units_row() -> Made:
    A, V, H = drive(1500, 0.1, 60)
    L = ["t, u_batt, i_batt, t_fet", "[s], [V], [A], [°C]"] + [
        f"{0.1 * k:.1f}, {V[k]}, {-A[k]}, {H[k]}" for k in range(1500)
    ]
    return Made(
        enc(L),
        [round(0.1 * k, 1) for k in range(1500)],
        VI(V, A, "u_batt", "i_batt", -1) | {"t_fet": Fact("temperature", H)},
    )


@case
def dotted_duplicates() -> Made:
    A, V, H = drive(1500, 0.1, 61)
    L = [",Time,Voltage,Current,Temp,Temp.1,Temp.2"] + [
        f"{k},{0.1 * k:.1f},{V[k]},{A[k]},{H[k]},{H[k] + 2:.1f},{H[k] + 5:.1f}" for k in range(1500)
    ]
    return Made(
        enc(L),
        [round(0.1 * k, 1) for k in range(1500)],
        VI(V, A, "Voltage", "Current")
        | {
            "Temp": Fact("temperature", H),
            "Temp.1": Fact("temperature", [round(h + 2, 1) for h in H]),
            "Temp.2": Fact("temperature", [round(h + 5, 1) for h in H]),
        },
    )


@case
def time_last() -> Made:
    A, V, H = drive(1500, 0.1, 62)
    L = ["Current (A),Voltage (V),Temp (°C),Elapsed (ms)"] + [f"{A[k]},{V[k]},{H[k]},{100 * k}" for k in range(1500)]
    return Made(enc(L), [round(0.1 * k, 1) for k in range(1500)], VI(V, A) | {"Temp (°C)": Fact("temperature", H)})


@case
def numbered_gmt_header() -> Made:
    _A, V, H = drive(900, 5, 63)
    L = ['"Plot Title: bench"', '"#","Date Time, GMT+02:00","Volt, V","Temp, °C","Host Connected","End Of File"']
    for k in range(900):
        d = START + timedelta(seconds=5 * k)
        L.append(
            f"{k + 1},{d:%m/%d/%y} {d:%I:%M:%S %p},{V[k]:.3f},{H[k]:.1f},"
            f"{'Logged' if k == 899 else ''},{'Logged' if k == 899 else ''}"
        )
    return Made(
        b"\xef\xbb\xbf" + enc(L),
        [5.0 * k for k in range(900)],
        {"Volt, V": Fact("voltage", V), "Temp, °C": Fact("temperature", H)},
    )


@case
def aux_temps_open() -> Made:
    n = 800
    L = ["Scan;Time;" + ";".join(f"T{j}" for j in range(1, 9))]
    S = [[] for _ in range(8)]
    for k in range(n):
        row = []
        for j in range(8):
            if j == 7:
                S[j].append(None)
                row.append("OPEN")
            elif j == 6 and k > 400:
                S[j].append(None)
                row.append("----")
            else:
                x = round(22 + j + 0.01 * k * (1 + j / 4), 1)
                S[j].append(x)
                row.append(de(x, 1))
        L.append(f"{k + 1};{hms(36000 + 2 * k)};" + ";".join(row))
    return Made(enc(L), [2.0 * k for k in range(n)], {f"T{j + 1}": Fact("temperature", S[j]) for j in range(7)})


@case
def preamble_forty() -> Made:
    A, V, _H = drive(1500, 0.1, 64)
    L = (
        [
            "Test report",
            "==========",
            "Serial: 00112",
            "Firmware: 3.14.15",
            "Channels: 2",
            "Range 1: 60 V",
            "Range 2: 200 A",
        ]
        + [f"Limit {k},{k},{2 * k},{3 * k}" for k in range(1, 25)]
        + ["Calibration,2026-01-05,OK", "", "Rate,10,Hz", "", "", "Time,Voltage,Current", "(s),(V),(A)"]
        + [f"{0.1 * k:.1f},{V[k]},{A[k]}" for k in range(1500)]
    )
    return Made(enc(L), [round(0.1 * k, 1) for k in range(1500)], VI(V, A, "Voltage", "Current"))


@case
def fixed_underlined() -> Made:
    A, V, H = drive(1500, 0.1, 65)
    L = ["  Time s   Battery V   Battery A    Motor C", "--------  ----------  ----------  ---------"] + [
        f"{0.1 * k:8.1f}  {V[k]:10.3f}  {A[k]:10.2f}  {H[k]:9.1f}" for k in range(1500)
    ]
    return Made(enc(L), [round(0.1 * k, 1) for k in range(1500)], VI(V, A, "Battery V", "Battery A"), file="log.txt")


@case
def piped() -> Made:
    A, V, _H = drive(600, 0.1, 66)
    L = ["| time (s) | voltage (V) | current (A) |", "|---------:|------------:|------------:|"] + [
        f"| {0.1 * k:.1f} | {V[k]} | {A[k]} |" for k in range(600)
    ]
    return Made(enc(L), [round(0.1 * k, 1) for k in range(600)], VI(V, A, "voltage (V)", "current (A)"))
